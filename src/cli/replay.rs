//! `navassay replay`: recorded cases through the same procedure as simulated ones.

use super::Ending;
use super::arguments::ReplayArguments;
use super::cases::Cases;
use super::message::{Stop, remark};
use super::run::default_folder;
use super::terminal;
use crate::experiment::Replay;
use crate::record::{Parts, sums, write_whole};
use crate::replay::{Complaint, Replayed, complaints, fit, fitted_experiment, replay as measure};
use crate::report::{Bench, Evidence, write_report};
use crate::study::{Validation, validate};
use crate::trial::RunFolder;
use std::io::{self, Write as _};
use std::path::Path;

/// The experiment with the fitted noise.
const FITTED: &str = "fitted.toml";

/// Complaints that are said one by one; a table holds all.
const SAID: usize = 20;

/// Measures recorded cases and reports.
pub fn replay(arguments: &ReplayArguments) -> Result<Ending, Stop> {
    let cases = Cases::read(&arguments.file)?;
    cases.warn();
    let Cases { plan, asked, base, recordings, truths } = cases;
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
    folder.seal(&written.edited).map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    if !arguments.quiet {
        terminal::show(&terminal::bench(&bench))?;
    }
    terminal::show(&terminal::bench_files(&folder, &written, arguments.fit.then_some(FITTED)))?;
    let measured = complaints.iter().all(|complaint| !complaint.serious);
    Ok(if assessment.is_met(&plan) && measured { Ending::Shown } else { Ending::NotShown })
}

/// Holds the run in a folder against the bench.
fn against(folder: &Path, replayed: &Replayed, confidence: f64) -> Result<Validation, Stop> {
    let folder = RunFolder::reopen(folder)?;
    let model = folder.experiment()?.plan()?;
    let parts = Parts::list(&folder.parts())?;
    Ok(validate(replayed, &model, &parts, confidence)?)
}

fn sum(path: &Path) -> Result<String, Stop> {
    sums::sum(path).map_err(|error| Stop::new(Ending::Refused, error, None))
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
