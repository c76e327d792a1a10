//! `navassay assess`: assess and report again from saved trials.

use super::Ending;
use super::arguments::AssessArguments;
use super::message::{Stop, warn};
use super::progress::Bar;
use super::run::conclude;
use crate::experiment::Plan;
use crate::trial::RunFolder;

/// Assesses a run again, perhaps with changed requirements or texts.
pub fn assess(arguments: &AssessArguments) -> Result<Ending, Stop> {
    let folder = RunFolder::reopen(&arguments.folder)?;
    let saved = folder.experiment()?;
    let mut plan = match &arguments.file {
        Some(file) => Plan::read(file)?,
        None => Plan::parse_saved(&saved.name, &saved.text, &saved.data)?,
    };
    (plan.trials, plan.seed) = (saved.trials, saved.seed);
    folder.demand_same_simulation(&plan)?;
    warn(&plan.warnings);
    conclude(&plan, &folder, 0, Bar::new(arguments.quiet), arguments.quiet)
}
