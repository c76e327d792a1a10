//! A bench that a run is held against: kept in the folder of the run, so that it can be assessed where the bench no longer
//! is.

use super::Ending;
use super::cases::Cases;
use super::message::Stop;
use crate::experiment::{BenchIdentity, FileIdentity, Plan, Replay};
use crate::record::{Parts, sums, write_whole};
use crate::replay::replay;
use crate::study::{HeldBench, demand_partners, validate};
use crate::trial::RunFolder;
use std::fs::File;
use std::io;
use std::path::{Component, Path};

/// The experiment of recorded cases, as it is kept.
const FILE: &str = "replay.toml";

/// Reads the bench that an experiment names, if it names one, and says what is wrong with it before any trial runs.
pub fn look(plan: &Plan, experiment: &Path) -> Result<Option<Cases>, Stop> {
    let Some(bench) = &plan.reporting.bench else { return Ok(None) };
    let file = experiment.parent().unwrap_or(Path::new("")).join(bench);
    let cases = Cases::read(&file)?;
    cases.warn();
    demand_partners(&cases.plan, plan)?;
    for name in names(&cases) {
        if !Path::new(name).components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir)) {
            let message =
                format!("{} names {name}, expected a file beside it or in a folder beside it", file.display());
            let help =
                "the run keeps these files in its own folder: put the recordings beside the file that names them";
            return Err(Stop::new(Ending::Refused, message, Some(help)));
        }
    }
    Ok(Some(cases))
}

/// Files that recorded cases come from.
fn names(cases: &Cases) -> impl Iterator<Item = &str> {
    [Some(&cases.asked.recordings), cases.asked.truth.as_ref()].into_iter().flatten().map(String::as_str)
}

/// Names and checksums of a bench that an experiment names.
pub fn identity(plan: &Plan, cases: &Cases) -> Result<BenchIdentity, Stop> {
    let file = |name: &str| {
        let sha256 = sums::sum(&cases.base.join(name)).map_err(|error| Stop::new(Ending::Refused, error, None))?;
        Ok::<_, Stop>(FileIdentity { file: name.to_owned(), sha256 })
    };
    let Replay { recordings, truth, confidence, .. } = &cases.asked;
    Ok(BenchIdentity {
        experiment: FileIdentity {
            file: plan.reporting.bench.clone().unwrap_or_default(),
            sha256: sums::sum_of(cases.plan.source.as_bytes()),
        },
        recordings: file(recordings)?,
        truth: truth.as_deref().map(file).transpose()?,
        confidence: *confidence,
    })
}

/// The same of the bench that is kept in the folder of a run.
pub fn kept(plan: &Plan, folder: &RunFolder) -> Result<Option<BenchIdentity>, Stop> {
    if plan.reporting.bench.is_none() {
        return Ok(None);
    }
    identity(plan, &Cases::read(&folder.bench().join(FILE))?).map(Some)
}

/// Keeps the bench that an experiment names in the folder of its run; where it names none, an older one is removed.
pub fn keep(cases: Option<Cases>, folder: &RunFolder) -> Result<(), Stop> {
    let place = folder.bench();
    let failed = |path: &Path, error: io::Error| {
        Stop::new(Ending::Unfinished, format_args!("{}: {error}", path.display()), None)
    };
    let Some(cases) = cases else {
        return match std::fs::remove_dir_all(&place) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(failed(&place, error)),
            _ => Ok(()),
        };
    };
    for name in names(&cases) {
        let from = cases.base.join(name);
        let mut file = File::open(&from).map_err(|error| failed(&from, error))?;
        write_whole(&place.join(name), |kept| io::copy(&mut file, kept).map(|_| ()))?;
    }
    Ok(write_whole(&place.join(FILE), |kept| io::Write::write_all(kept, cases.plan.source.as_bytes()))?)
}

/// Holds a run against the bench that is kept with it.
pub fn hold(plan: &Plan, folder: &RunFolder, parts: &Parts) -> Result<Option<HeldBench>, Stop> {
    let Some(named) = &plan.reporting.bench else { return Ok(None) };
    let Cases { plan: bench, asked, recordings, truths, .. } = Cases::read(&folder.bench().join(FILE))?;
    let replayed = replay(&bench, &recordings, truths.as_ref());
    let validation = validate(&replayed, plan, parts, asked.confidence)?;
    let of_a_case = replayed.readings.chunk_by(|one, next| one.case == next.case);
    let unread = of_a_case.filter(|readings| readings.iter().all(|reading| reading.read.is_none())).count() as u64;
    Ok(Some(HeldBench { file: named.clone(), plan: bench, validation, unread }))
}
