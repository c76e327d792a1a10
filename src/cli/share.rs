//! A run shared between machines: `navassay run --shard K/N` makes a share of the parts, `navassay finish` joins them.

use super::Ending;
use super::arguments::FinishArguments;
use super::cases::Cases;
use super::message::Stop;
use super::run::conclude;
use super::terminal::show;
use super::{frozen, held, interrupt, progress::Bar};
use crate::experiment::Plan;
use crate::trial::{self, RunFolder, Shard};
use std::path::Path;

/// Simulates one share of a plan; nothing is assessed.
pub fn run(
    plan: &Plan,
    bench: Option<Cases>,
    out: &Path,
    shard: Shard,
    threads: usize,
    quiet: bool,
) -> Result<Ending, Stop> {
    let folder = RunFolder::open_for_shard(out, plan, shard)?;
    held::keep(bench, &folder)?;
    let bar = Bar::new(quiet);
    let simulated = trial::run(plan, &folder, threads, &bar)?;
    drop(bar);
    let out = out.display();
    show(&format!(
        "shard {shard} is done, {simulated} trials simulated now\nonce every shard is: navassay finish {out}\n"
    ))?;
    Ok(Ending::Shown)
}

/// Assesses and reports what all shards have left in a folder.
pub fn finish(arguments: &FinishArguments) -> Result<Ending, Stop> {
    interrupt::end_at_once();
    let folder = RunFolder::reopen(&arguments.folder)?;
    let mut plan = folder.experiment()?.plan()?;
    trial::demand_whole(&plan, &folder)?;
    plan.bench = held::kept(&plan, &folder)?;
    if let Some(file) = &arguments.file {
        plan.frozen = frozen::in_force(plan.frozen, frozen::for_run(file)?, file);
    }
    let experiment = arguments.file.clone().or_else(|| frozen::experiment_of(&plan));
    conclude(&plan, &folder, experiment.as_deref(), 0, Bar::new(arguments.quiet), arguments.quiet)
}
