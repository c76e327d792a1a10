//! `navassay verify`: whether a finished run is what its plan, its seed and this program make.

use super::Ending;
use super::arguments::VerifyArguments;
use super::held;
use super::interrupt;
use super::message::Stop;
use super::progress::Bar;
use super::run::make;
use super::terminal::show;
use crate::analysis::detection::share_found;
use crate::experiment::Plan;
use crate::record::is_document;
use crate::record::sums::{self, Difference, SUMS_FILE, SumsError};
use crate::report::words::percent;
use crate::trial::{Audited, FolderError, RunFolder, Sample};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

/// Probability with which the sample finds the share of forged trials that is printed.
const PROBABILITY: f64 = 0.99;

/// Differences that are said one by one.
const SAID: usize = 20;

/// What was checked, and what was found wrong.
#[derive(Default)]
struct Verified {
    checked: Vec<(&'static str, String)>,
    wrong: Vec<String>,
}

impl Verified {
    fn check(&mut self, what: &'static str, said: String) {
        self.checked.push((what, said));
    }
}

/// Verifies a run; nothing is written into its folder.
pub fn verify(arguments: &VerifyArguments) -> Result<Ending, Stop> {
    interrupt::end_at_once();
    let sample = if arguments.all {
        Sample::All
    } else {
        Sample::Random { trials: arguments.sample, seed: arguments.sample_seed.unwrap_or_else(rand::random) }
    };
    let scratch = tempfile::tempdir().map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    let folder = RunFolder::view(&arguments.folder, scratch.path(), sample).map_err(|error| match error {
        FolderError::Unreadable { .. } => Stop::new(Ending::NotShown, error, None),
        error => error.into(),
    })?;
    let mut found = Verified::default();
    let unreadable = |error: SumsError| Stop::new(Ending::NotShown, error, None);
    let recorded = sums::recorded_sums(&arguments.folder).map_err(unreadable)?;
    let differences = sums::verify_sums(&arguments.folder).map_err(unreadable)?;
    found.check("checksums", format!("{} files compared with {SUMS_FILE}", recorded.len()));
    found.wrong.extend(differences.iter().map(said_of));
    if cfg!(not(feature = "docx")) && recorded.keys().any(is_docx) {
        let message = "the run has documents for a word processor, which this program cannot make again";
        return Err(Stop::new(
            Ending::Unfinished,
            message,
            Some("verify it with a program built with --features docx"),
        ));
    }
    match planned(&folder) {
        Ok(plan) => again(&plan, &folder, &recorded, arguments, &mut found)?,
        // The record names no experiment that runs: nothing else can be made again.
        Err(stop) => found.wrong.push(stop.message()),
    }
    let fingerprint = sums::sum(&arguments.folder.join(SUMS_FILE)).map_err(unreadable)?;
    if let Some(expected) = arguments.fingerprint.as_ref().filter(|expected| **expected != fingerprint) {
        found.wrong.push(format!("the fingerprint is {fingerprint}, expected {expected}"));
    }
    show(&report(&arguments.folder, &found, &folder.audited(), sample))?;
    show(&fingerprint_line(&fingerprint))?;
    Ok(if found.wrong.is_empty() { Ending::Shown } else { Ending::NotShown })
}

/// The plan of the run, with the recorded cases that are kept with it.
fn planned(folder: &RunFolder) -> Result<Plan, Stop> {
    let mut plan = folder.experiment()?.plan()?;
    plan.bench = held::kept(&plan, folder)?;
    Ok(plan)
}

/// The line that identifies a finished run.
pub fn fingerprint_line(fingerprint: &str) -> String {
    format!("fingerprint {fingerprint} (SHA-256 of {SUMS_FILE})\n")
}

/// Whether a file is a document for a word processor, which only some builds of the program make.
fn is_docx(name: &String) -> bool {
    Path::new(name).extension().is_some_and(|ending| ending == "docx")
}

fn said_of((name, how): &(String, Difference)) -> String {
    match how {
        Difference::Changed => format!("{name} differs from its checksum"),
        Difference::Missing => format!("{name} has a checksum and is not there"),
        Difference::Added if is_document(name) => format!("{name} has no checksum: a person has edited it"),
        Difference::Added => format!("{name} has no checksum"),
    }
}

/// Trials, studies, tables and documents made again and compared.
fn again(
    plan: &Plan,
    folder: &RunFolder,
    recorded: &BTreeMap<String, String>,
    arguments: &VerifyArguments,
    found: &mut Verified,
) -> Result<(), Stop> {
    if let Err(error) = folder.demand_same_simulation(plan) {
        found.wrong.push(error.to_string());
    }
    let threads = arguments.threads.map_or(0, usize::from);
    let bar = Bar::new(arguments.quiet);
    folder.audit_run(plan, threads, &bar)?;
    let is_sound = |folder: &RunFolder| folder.audited().iter().all(|audited| audited.differences.is_empty());
    if is_sound(folder) {
        match make(plan, folder, None, threads, bar) {
            Ok(_) => compare(folder.path(), recorded, found)?,
            Err(stop) if stop.ending() == Ending::Unfinished && interrupt::heard() => return Err(stop),
            Err(stop) if !is_sound(folder) => drop(stop),
            Err(stop) => found.wrong.push(stop.message()),
        }
    }
    for audited in folder.audited() {
        found.wrong.extend(audited.differences);
    }
    let studies: Vec<String> = folder.audited().into_iter().map(|audited| format!("{}/", audited.folder)).collect();
    let unknown = recorded.keys().filter(|name| name.starts_with("studies/"));
    let unknown = unknown.filter(|name| !studies.iter().any(|study| name.starts_with(study)));
    if found.wrong.is_empty() {
        found.wrong.extend(unknown.map(|name| format!("{name} belongs to no study of this plan")));
    }
    Ok(())
}

/// Compares what was made again with the checksums of the run.
fn compare(scratch: &Path, recorded: &BTreeMap<String, String>, found: &mut Verified) -> Result<(), Stop> {
    let made = sums::recorded_sums(scratch).map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    let is_result = |name: &&String| !["parts/", "bench/", "studies/"].iter().any(|folder| name.starts_with(folder));
    // A document stands beside one that a person has edited under a name of its own.
    let plain = |name: &String| match name.split_once(".new") {
        Some((stem, rest)) if is_document(name) => {
            format!("{stem}.{}", rest.rsplit_once('.').map_or("", |(_, ending)| ending))
        }
        _ => name.clone(),
    };
    let results: BTreeMap<String, &String> =
        recorded.iter().filter(|(name, _)| is_result(name)).map(|(name, sum)| (plain(name), sum)).collect();
    for (name, sum) in &results {
        match made.get(name) {
            Some(again) if again == *sum => {}
            Some(_) => found.wrong.push(format!("{name} is not what this program makes of the trials")),
            None => found.wrong.push(format!("{name} is nothing that this program makes of the trials")),
        }
    }
    let lacking = made.keys().filter(|name| !results.contains_key(*name) && !is_docx(name));
    found.wrong.extend(lacking.map(|name| format!("{name} is not there, and this program makes it")));
    found.check("plan", "run.json made again from its experiment and seed".to_owned());
    found.check("results", format!("{} tables, charts and documents made again", results.len().saturating_sub(1)));
    Ok(())
}

fn report(folder: &Path, found: &Verified, audited: &[Audited], sample: Sample) -> String {
    let mut text = String::new();
    let line = |text: &mut String, what: &str, said: &str| {
        let _ = writeln!(text, "  {what:<11} {said}");
    };
    let _ = writeln!(text, "{}: checked", folder.display());
    for (what, said) in &found.checked {
        line(&mut text, what, said);
    }
    for Audited { folder, parts, rows, trials, simulated, .. } in audited {
        line(&mut text, folder, &format!("{parts} files whole and of this run"));
        line(
            &mut text,
            "",
            &format!("{rows} rows: error = reading - truth; truth and drawn values as seed and plan give them"),
        );
        let (each, share) = match (folder.as_str(), sample) {
            (_, Sample::All) => ("", "any forged trial is found".to_owned()),
            (folder, Sample::Random { .. }) => (
                if folder == "parts" { " of each variant" } else { "" },
                share_found(*simulated, *trials, PROBABILITY).map_or_else(
                    || "none is found".to_owned(),
                    |share| {
                        format!(
                            "forged trials are found with {} % probability from a share of {share:.2}",
                            percent(PROBABILITY)
                        )
                    },
                ),
            ),
        };
        line(&mut text, "", &format!("{simulated} of {trials} trials{each} simulated again; {share}"));
    }
    if let Sample::Random { seed, .. } = sample {
        line(&mut text, "sample", &format!("--sample-seed {seed} draws the same trials"));
    }
    if found.wrong.is_empty() {
        text.push_str("everything is what plan, seed and program make\n");
        return text;
    }
    let _ = writeln!(text, "{} found wrong", found.wrong.len());
    for wrong in found.wrong.iter().take(SAID) {
        line(&mut text, "wrong", wrong);
    }
    if found.wrong.len() > SAID {
        line(&mut text, "", &format!("and {} more", found.wrong.len() - SAID));
    }
    text
}
