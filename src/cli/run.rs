//! `navassay run`: simulate, assess, report.

use super::Ending;
use super::arguments::RunArguments;
use super::held;
use super::interrupt;
use super::message::{Stop, warn};
use super::progress::Bar;
use super::share;
use super::terminal;
use crate::checks::{Outcome, run_all};
use crate::experiment::{Plan, ReportKind};
use crate::record::Parts;
use crate::report::{Evidence, Run, write_report};
use crate::study::sensitivity::sensitivity;
use crate::study::{Looks, assess_after, definitional};
use crate::trial::{self, RunFolder};
use std::path::{Path, PathBuf};

/// Runs an experiment.
pub fn run(arguments: &RunArguments) -> Result<Ending, Stop> {
    interrupt::end_at_once();
    let mut plan = Plan::read(&arguments.file)?;
    super::take_trials(&mut plan, arguments.trials)?;
    plan.seed = arguments.seed.unwrap_or(plan.seed);
    warn(&plan.warnings);
    let out = arguments.out.clone().unwrap_or_else(|| default_folder(&arguments.file));
    let threads = arguments.threads.map_or(0, usize::from);
    let bench = held::look(&plan, &arguments.file)?;
    if let Some(shard) = arguments.shard {
        return share::run(&plan, bench, &out, shard, threads, arguments.quiet);
    }
    let folder = RunFolder::open(&out, &plan, arguments.replace)?;
    held::keep(bench, &folder)?;
    // What was fixed after the run had begun was not fixed before it.
    plan.frozen = folder.frozen()?;
    let bar = Bar::new(arguments.quiet);
    trial::run(&plan, &folder, threads, &bar)?;
    conclude(&plan, &folder, threads, bar, arguments.quiet)
}

/// Assesses the trials that are there, runs the studies that are asked for, writes every result and says what was found.
pub fn conclude(plan: &Plan, folder: &RunFolder, threads: usize, bar: Bar, quiet: bool) -> Result<Ending, Stop> {
    folder.unseal()?;
    let looks = Looks::of_manifest(&folder.manifest()?);
    let mut assessment = assess_after(plan, &folder.parts(), &looks)?;
    assessment.definitional = definitional(plan, folder, threads, &bar)?;
    let found = sensitivity(plan, folder, threads, &bar)?;
    drop(bar);
    folder.write_manifest(&trial::manifest(plan, &assessment.failures, &looks.with(plan)))?;
    let (checks, parts) = (checks_for(plan), Parts::list(&folder.parts())?);
    let bench = held::hold(plan, folder, &parts)?;
    let run = Run {
        plan,
        assessment: &assessment,
        sensitivity: &found,
        checks: &checks,
        parts: &parts,
        bench: bench.as_ref(),
    };
    let evidence = Evidence::of(&run)?;
    let written = write_report(folder.path(), &evidence)?;
    folder.seal(&written.edited).map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    if !quiet {
        terminal::show(&terminal::results(plan, &assessment))?;
    }
    terminal::show(&terminal::files(folder, &written))?;
    Ok(if assessment.all_shown() { Ending::Shown } else { Ending::NotShown })
}

/// The published checks, where a verification report is asked for by name: they take some seconds.
fn checks_for(plan: &Plan) -> Vec<Outcome> {
    if plan.reporting.kinds.contains(&ReportKind::Verification) { run_all() } else { Vec::new() }
}

/// reports/<file stem>
pub fn default_folder(file: &Path) -> PathBuf {
    Path::new("reports").join(file.file_stem().unwrap_or(file.as_os_str()))
}
