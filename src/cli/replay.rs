//! `navassay replay`: recorded cases through the same procedure as simulated ones.

use super::Ending;
use super::arguments::ReplayArguments;
use super::message::{Stop, remark, warn};
use super::run::default_folder;
use super::terminal;
use crate::experiment::{Plan, Replay};
use crate::record::recording::{Recordings, read_recordings};
use crate::record::sheet::SheetError;
use crate::record::truths::{Truths, read_truths};
use crate::record::{Parts, sums, write_whole};
use crate::replay::{Complaint, Replayed, complaints, fit, fitted_experiment, replay as measure};
use crate::report::{Bench, Evidence, write_report};
use crate::study::{Validation, ValidationError, validate};
use crate::trial::RunFolder;
use std::io::{self, Write as _};
use std::path::Path;

/// The experiment with the fitted noise.
const FITTED: &str = "fitted.toml";

/// Complaints that are said one by one; a table holds all.
const SAID: usize = 20;

/// Measures recorded cases and reports.
pub fn replay(arguments: &ReplayArguments) -> Result<Ending, Stop> {
    let mut plan = Plan::read_replay(&arguments.file)?;
    let Some(asked) = plan.replay.clone() else {
        return Err(Stop::new(Ending::Refused, "the file has no section [replay]", None));
    };
    let base = arguments.file.parent().unwrap_or(Path::new(""));
    let features: Vec<_> = plan.variants.iter().map(|variant| variant.procedure.femur).collect();
    let recordings = read_recordings(&base.join(&asked.recordings), &features)?;
    let truths = asked.truth.as_ref().map(|truth| read_truths(&base.join(truth))).transpose()?;
    warn(&plan.warnings);
    check(&plan, &recordings, truths.as_ref())?;
    plan.trials = recordings.cases.len() as u64;
    let replayed = measure(&plan, &recordings, truths.as_ref());
    let complaints = complaints(&recordings, truths.as_ref(), &replayed);
    say(&complaints);
    if replayed.readings.iter().all(|reading| reading.read.is_none()) {
        let help = Some("every case has a wrong row; the messages above name the first of them");
        return Err(Stop::new(Ending::Refused, format_args!("no case of {} can be measured", recordings.file), help));
    }
    let out = arguments.out.clone().unwrap_or_else(|| default_folder(&arguments.file));
    let folder = RunFolder::open_results(&out, "replay", arguments.replace)?;
    let assessment = replayed.assess();
    let model = arguments.model.clone().or_else(|| asked.model.as_ref().map(|model| base.join(model)));
    let validation = model.map(|model| against(&model, &replayed, asked.confidence)).transpose()?;
    // What is fitted belongs to the recordings, whatever is read from them: the first variant will do.
    let variant = plan.variants.first().filter(|_| arguments.fit);
    let fit = variant.map(|variant| fit(variant, &recordings, &asked));
    let bench = Bench {
        plan: &plan,
        recordings: &recordings,
        truths: truths.as_ref(),
        replayed: &replayed,
        complaints: &complaints,
        assessment: &assessment,
        validation: validation.as_ref(),
        fit: fit.as_ref(),
        sums: [
            Some(sum(&base.join(&asked.recordings))?),
            asked.truth.as_ref().map(|truth| sum(&base.join(truth))).transpose()?,
        ],
    };
    folder.write_manifest(&manifest(&bench, &asked))?;
    let evidence = Evidence::of_bench(&bench)?;
    if let Some((variant, fit)) = variant.zip(fit.as_ref()) {
        let text = fitted_experiment(variant, fit, &recordings.file);
        write_whole(&folder.path().join(FITTED), |file| file.write_all(text.map_err(io::Error::other)?.as_bytes()))?;
    }
    let written = write_report(folder.path(), &evidence)?;
    sums::write_sums(folder.path()).map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    if !arguments.quiet {
        terminal::show(&terminal::bench(&bench));
    }
    terminal::show(&terminal::bench_files(&folder, &written, arguments.fit.then_some(FITTED)));
    let measured = complaints.iter().all(|complaint| !complaint.serious);
    Ok(if assessment.all_shown() && measured { Ending::Shown } else { Ending::NotShown })
}

/// Holds the run in a folder against the bench.
fn against(folder: &Path, replayed: &Replayed, confidence: f64) -> Result<Validation, Stop> {
    let folder = RunFolder::reopen(folder)?;
    let saved = folder.experiment()?;
    let model = Plan::parse(&saved.name, &saved.text)?;
    let parts = Parts::list(&folder.parts())?;
    validate(replayed, &model, &parts, confidence).map_err(|error| match error {
        ValidationError::Part(error) => error.into(),
        ValidationError::NoArm { .. } => Stop::new(
            Ending::Refused,
            error,
            Some("run an experiment with the side, plane, feature and angles of the bench"),
        ),
    })
}

fn sum(path: &Path) -> Result<String, Stop> {
    sums::sum(path).map_err(|error| Stop::new(Ending::Refused, error, None))
}

/// What makes the files useless as a whole, and what a reader should know of them.
fn check(plan: &Plan, recordings: &Recordings, truths: Option<&Truths>) -> Result<(), Stop> {
    if recordings.cases.is_empty() {
        return Err(Stop::new(Ending::Refused, format_args!("{} holds no rows", recordings.file), None));
    }
    let unknown = |file: &str, columns: &[String]| {
        if !columns.is_empty() {
            remark(&format!("{file}: columns that are not known and not read: {}", columns.join(", ")), None);
        }
    };
    unknown(&recordings.file, &recordings.unknown_columns);
    let Some(truths) = truths else { return Ok(()) };
    unknown(&truths.file, &truths.unknown_columns);
    let mut definitions = plan.variants.iter().map(|variant| variant.procedure.angles);
    let first = definitions.next();
    if !truths.states_angles && definitions.any(|other| Some(other) != first) {
        return Err(Stop::new(
            Ending::Refused,
            format_args!(
                "{} does not say by which definition its angles are stated, and the arms use several",
                truths.file
            ),
            Some("add a column angles: radiographic, operative or anatomic"),
        ));
    }
    Ok(())
}

/// Says what is wrong, the first of it.
fn say(complaints: &[Complaint]) {
    for complaint in complaints.iter().take(SAID) {
        remark(&complaint.to_string(), complaint.help.as_deref());
    }
    if complaints.len() > SAID {
        remark(&format!("and {} more; tables/complaints.csv holds all", complaints.len() - SAID), None);
    }
}

/// The record of the replay: what was asked, what was recorded, how many cases failed; nothing of when or where.
fn manifest(bench: &Bench, asked: &Replay) -> serde_json::Value {
    let plan = bench.plan;
    serde_json::json!({
        "program": { "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") },
        "assessment_hash": plan.assessment_hash(),
        "replay": {
            "recordings": { "file": asked.recordings, "sha256": bench.sums[0], "rows": bench.recordings.rows },
            "truth": { "file": asked.truth, "sha256": bench.sums[1] },
            "model": asked.model,
        },
        "cases": plan.trials,
        "counts": bench.assessment.failures.iter().map(|reasons| serde_json::json!({
            "cases": plan.trials, "failed": reasons.values().sum::<u64>(), "by_reason": reasons,
        })).collect::<Vec<_>>(),
        "experiment": { "file": plan.file_name, "text": plan.source },
    })
}

impl From<SheetError> for Stop {
    fn from(error: SheetError) -> Self {
        let help = match &error {
            SheetError::NoColumn { .. } => Some("navassay trial FILE N --record DIR writes an example"),
            SheetError::Unreadable { .. } => None,
        };
        Self::new(Ending::Refused, &error, help)
    }
}
