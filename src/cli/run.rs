//! `navassay run`: simulate, assess, report.

use super::Ending;
use super::arguments::RunArguments;
use super::frozen;
use super::held;
use super::interrupt;
use super::message::{Stop, warn};
use super::progress::Bar;
use super::share;
use super::terminal;
use super::verify::fingerprint_line;
use crate::checks::{Outcome, run_all};
use crate::experiment::{Plan, ReportKind};
use crate::record::Parts;
use crate::record::sums::{self, SUMS_FILE};
use crate::report::{Evidence, Run, Written, write_report};
use crate::study::sensitivity::sensitivity;
use crate::study::{Assessment, assess_after, definitional};
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
    plan.frozen = frozen::for_run(&arguments.file)?;
    let bench = held::look(&plan, &arguments.file)?;
    plan.bench = bench.as_ref().map(|cases| held::identity(&plan, cases)).transpose()?;
    if let Some(shard) = arguments.shard {
        return share::run(&plan, bench, &out, shard, threads, arguments.quiet);
    }
    let folder = RunFolder::open(&out, &plan, arguments.replace)?;
    held::keep(bench, &folder)?;
    plan.frozen = frozen::in_force(folder.frozen()?, plan.frozen, &arguments.file);
    let bar = Bar::new(arguments.quiet);
    trial::run(&plan, &folder, threads, &bar)?;
    conclude(&plan, &folder, Some(&arguments.file), threads, bar, arguments.quiet)
}

/// Makes every result of the trials that are there, and says what was found.
pub fn conclude(
    plan: &Plan,
    folder: &RunFolder,
    experiment: Option<&Path>,
    threads: usize,
    bar: Bar,
    quiet: bool,
) -> Result<Ending, Stop> {
    let (assessment, written) = make(plan, folder, experiment, threads, bar)?;
    let fingerprint = sums::sum(&folder.path().join(SUMS_FILE));
    let fingerprint = fingerprint.map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    if !quiet {
        terminal::show(&terminal::results(plan, &assessment))?;
    }
    terminal::show(&terminal::files(folder, &written))?;
    terminal::show(&fingerprint_line(&fingerprint))?;
    Ok(if assessment.is_met(plan) { Ending::Shown } else { Ending::NotShown })
}

/// Assesses the trials that are there, runs the studies that are asked for and writes every result. The experiment file,
/// where it is known, is where a look at a frozen plan leaves its trace.
pub fn make<'p>(
    plan: &'p Plan,
    folder: &RunFolder,
    experiment: Option<&Path>,
    threads: usize,
    bar: Bar,
) -> Result<(Assessment<'p>, Written), Stop> {
    folder.unseal()?;
    // The file of looks is held from reading it until this look is in it, so that two runs at once count each other.
    let seen = frozen::Seen::of(plan, folder, experiment)?;
    let mut assessment = assess_after(plan, &folder.parts(), &seen.looks)?;
    seen.add(plan, &assessment.look, folder.path());
    assessment.definitional = definitional(plan, folder, threads, &bar)?;
    let found = sensitivity(plan, folder, threads, &bar)?;
    drop(bar);
    folder.write_manifest(&trial::manifest(plan, &assessment.failures, &assessment.look.to_record()))?;
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
    frozen::say_undeclared(&assessment.look);
    let written = write_report(folder.path(), &evidence)?;
    folder.seal(&written.edited).map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    Ok((assessment, written))
}

/// The published checks, where a verification report is asked for by name: they take some seconds.
fn checks_for(plan: &Plan) -> Vec<Outcome> {
    if plan.reporting.kinds.contains(&ReportKind::Verification) { run_all() } else { Vec::new() }
}

/// reports/<file stem>
pub fn default_folder(file: &Path) -> PathBuf {
    Path::new("reports").join(file.file_stem().unwrap_or(file.as_os_str()))
}
