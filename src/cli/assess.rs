//! `navassay assess`: assess and report again from saved trials.

use super::Ending;
use super::arguments::AssessArguments;
use super::message::{Stop, note, warn};
use super::progress::Bar;
use super::run::conclude;
use super::{frozen, held, interrupt};
use crate::experiment::Plan;
use crate::record::is_document;
use crate::record::sums::Difference;
use crate::trial::{self, RunFolder};

/// Assesses a run again, perhaps with changed requirements or texts.
pub fn assess(arguments: &AssessArguments) -> Result<Ending, Stop> {
    interrupt::end_at_once();
    let folder = RunFolder::reopen(&arguments.folder)?;
    let saved = folder.experiment()?;
    let mut plan = match &arguments.file {
        Some(file) => {
            let frozen = frozen::in_force(saved.frozen, frozen::for_run(file)?, file);
            Plan { trials: saved.trials, seed: saved.seed, frozen, ..Plan::read(file)? }
        }
        None => saved.plan()?,
    };
    folder.demand_same_simulation(&plan)?;
    warn(&plan.warnings);
    name_changed(&folder)?;
    if let Some(file) = &arguments.file {
        held::keep(held::look(&plan, file)?, &folder)?;
    }
    trial::demand_whole(&plan, &folder)?;
    plan.bench = held::kept(&plan, &folder)?;
    let experiment = arguments.file.clone().or_else(|| frozen::experiment_of(&plan));
    conclude(&plan, &folder, experiment.as_deref(), 0, Bar::new(arguments.quiet), arguments.quiet)
}

/// Says which files are not those of the run. What is assessed must be; what is only a result is made again.
fn name_changed(folder: &RunFolder) -> Result<(), Stop> {
    let sentence = |(name, how): &(String, Difference)| {
        let what = match how {
            Difference::Changed => "has been changed",
            Difference::Missing => "is gone",
            Difference::Added => "was not there",
        };
        format!("{name} {what} since the run was finished")
    };
    let found = folder.changed().map_err(|error| Stop::new(Ending::Refused, error, None))?;
    let (evidence, results): (Vec<_>, Vec<_>) = found.iter().partition(|(name, _)| RunFolder::is_evidence(name));
    // A document beside the recorded ones is one that a person has edited: it is named among the files of the run.
    let known = |(name, how): &&&(String, Difference)| *how == Difference::Added && is_document(name);
    for changed in results.iter().filter(|changed| !known(changed)) {
        note(&sentence(changed));
    }
    if evidence.is_empty() {
        return Ok(());
    }
    let list: Vec<_> = evidence.into_iter().map(sentence).collect();
    let help = "bring back the files as they were, or make their trials again: navassay run FILE --out DIR";
    Err(Stop::new(Ending::Refused, list.join("\n"), Some(help)))
}
