//! The command line: arguments, progress and exit status; no arithmetic.

mod arguments;
mod assess;
mod budget;
mod cases;
mod check;
mod explain;
mod frozen;
mod held;
mod interrupt;
mod message;
mod mistake;
mod new;
mod phantom;
mod planned;
mod progress;
mod replay;
mod run;
mod selfcheck;
mod share;
mod terminal;
mod trial;
mod verify;

use crate::experiment::Plan;
use arguments::{Arguments, Command};
use clap::Parser;
use message::Stop;
use std::io::Write as _;
use std::process::ExitCode;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// Every requirement is shown, or there was nothing to show.
    Shown = 0,
    /// It ran, but a requirement failed or could not be shown.
    NotShown = 1,
    /// Wrong input or usage; nothing has run.
    Refused = 2,
    /// It could not finish; the same command goes on.
    Unfinished = 3,
}

impl From<Ending> for ExitCode {
    fn from(ending: Ending) -> Self {
        Self::from(ending as u8)
    }
}

/// Takes the number of trials that was typed, if any, instead of the file's.
fn take_trials(plan: &mut Plan, typed: Option<u64>) -> Result<(), Stop> {
    let taken = typed.map_or(Ok(()), |trials| plan.set_trials(trials));
    let help = "name a multiple, or change `[design]` in the file";
    taken.map_err(|message| Stop::new(Ending::Refused, message, Some(help)))
}

/// Runs the command that the process was given.
#[must_use]
pub fn main() -> ExitCode {
    mistake::tell();
    let ending = match Arguments::try_parse() {
        Ok(arguments) => std::panic::catch_unwind(|| run_command(arguments.command)),
        Err(said) => Ok(answer(&said)),
    };
    // A panic has been told already.
    ending.map_or(Ending::Unfinished, |ending| ending.unwrap_or_else(Stop::report)).into()
}

/// What was typed is wrong, or asks for help or the version.
fn answer(said: &clap::Error) -> Result<Ending, Stop> {
    let printed = said.print();
    if said.use_stderr() {
        return Ok(Ending::Refused);
    }
    terminal::written(printed.and_then(|()| std::io::stdout().flush()))?;
    Ok(Ending::Shown)
}

fn run_command(command: Command) -> Result<Ending, Stop> {
    match command {
        Command::Run(arguments) => run::run(&arguments),
        Command::Check(arguments) => check::check(&arguments),
        Command::Finish(arguments) => share::finish(&arguments),
        Command::Assess(arguments) => assess::assess(&arguments),
        Command::Verify(arguments) => verify::verify(&arguments),
        Command::Trial(arguments) => trial::trial(&arguments),
        Command::Budget(arguments) => budget::run(&arguments),
        Command::Phantom(arguments) => phantom::phantom(&arguments),
        Command::Replay(arguments) => replay::replay(&arguments),
        Command::Selfcheck(arguments) => selfcheck::selfcheck(&arguments),
        Command::Explain(arguments) => explain::explain(&arguments),
        Command::New(arguments) => new::new(&arguments),
    }
}
