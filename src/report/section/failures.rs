//! Trials that gave no reading: counted, named, never dropped.

use super::frames;
use crate::experiment::{Plan, Variant};
use crate::record::tables::Cell;
use crate::record::{PartError, Parts};
use crate::report::evidence::{Entry, Files, Heading, Section, Table, label, prefix};
use crate::report::words::{count, number, quoted, short, with_unit};
use crate::study::{Assessment, WORST};
use std::collections::BTreeMap;
use std::fmt::Write;

/// With the lost frames of the trials where there are parts of a run.
///
/// # Errors
/// If a part of the run cannot be read.
pub fn section(
    plan: &Plan,
    assessment: &Assessment,
    parts: Option<&Parts>,
    files: &mut Files,
) -> Result<Section, PartError> {
    let (mut rows, mut cells) = (Vec::new(), Vec::new());
    for (variant, reasons) in plan.variants.iter().zip(&assessment.failures) {
        let failed: u64 = reasons.values().sum();
        let name = label(plan, variant).unwrap_or_else(|| variant.arm.clone());
        let mut push = |outcome: &str, number: u64| {
            rows.push(vec![name.clone(), outcome.to_owned(), count(number)]);
            cells.push(vec![name.as_str().into(), outcome.into(), number.into()]);
        };
        push("attempted", plan.trials);
        push("measured, every output", plan.trials.saturating_sub(failed));
        push("failed, at least one output", failed);
        for (reason, &number) in reasons {
            push(&format!("failed at {reason}"), number);
        }
    }
    let csv = files.add("failures", &["variant", "outcome", "trials"], cells);
    let total: u64 = assessment.failures.iter().flat_map(|reasons| reasons.values()).sum();
    let mut entries = vec![
        Entry::heading("failed", "Trials that failed"),
        Entry::paragraph(format!(
            "{} An estimator that cannot answer says why; the trial is kept and counted. For each requirement a trial \
             without a reading of its output counts as out of the limit; bias, standard deviation and quantiles \
             describe the trials that were measured.",
            if total == 0 { "No trial failed.".to_owned() } else { format!("{} trials failed.", count(total)) },
        )),
        Entry::Table(Table {
            id: "table-failures".to_owned(),
            caption: "Trials attempted, measured and failed".to_owned(),
            reading: "Attempted is the sum of measured and failed; a failed trial is listed under the earliest step \
                      of the procedure that gave no answer."
                .to_owned(),
            columns: [("variant", false), ("outcome", false), ("trials", true)]
                .map(|(name, numbers)| Heading { name: name.to_owned(), numbers })
                .into(),
            rows,
            csv,
        }),
    ];
    entries.extend(retries(plan, assessment, files));
    if let Some(parts) = parts {
        entries.extend(frames::lost(plan, parts, files)?);
        entries.push(Entry::heading("worst", "The worst trials"));
        entries.extend(worst(plan, assessment, files));
    }
    Ok(Section { id: "failures", title: "Failures and worst trials", entries })
}

/// How many trials of a variant were attempted, measured and failed, and why.
pub fn counts(plan: &Plan, assessment: &Assessment, index: usize) -> String {
    let none = BTreeMap::new();
    let reasons = assessment.failures.get(index).unwrap_or(&none);
    let failed: u64 = reasons.values().sum();
    let because: Vec<String> =
        reasons.iter().map(|(reason, number)| format!("{} at {reason}", count(*number))).collect();
    let because = if because.is_empty() { String::new() } else { format!(": {}", because.join(", ")) };
    format!(
        "{} trials attempted, {} measured in every output, {} failed{because}.",
        count(plan.trials),
        count(plan.trials.saturating_sub(failed)),
        count(failed)
    )
}

/// The worst and the first failed trials, each with the command that shows it.
fn worst(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Vec<Entry> {
    let header = ["arm", "point", "trial", "what", "output", "unit", "error", "size", "command"];
    let mut cells: Vec<Vec<Cell>> = Vec::new();
    let mut tables = Vec::new();
    for (index, (variant, together)) in plan.variants.iter().zip(&assessment.together).enumerate() {
        let place = |trial: u64| vec![Cell::from(variant.arm.as_str()), variant.point.into(), trial.into()];
        let mut rows = Vec::new();
        for found in &together.worst {
            let (output, command) = (found.output, command(plan, variant, found.trial));
            rows.push(vec![
                found.trial.to_string(),
                output.name().to_owned(),
                with_unit(&number(found.error, 2), output.unit().symbol()),
                number(found.size, 2),
                command.clone(),
            ]);
            let mut row = place(found.trial);
            row.extend([Cell::from("large error"), output.id().into(), output.unit().suffix().into()]);
            row.extend([Cell::from(found.error), found.size.into(), command.into()]);
            cells.push(row);
        }
        for (trial, failure) in &together.failed {
            let command = command(plan, variant, *trial);
            rows.push(vec![
                trial.to_string(),
                format!("failed at {failure}"),
                String::new(),
                String::new(),
                command.clone(),
            ]);
            let mut row = place(*trial);
            row.extend([
                Cell::from(format!("failed at {failure}")),
                Cell::Blank,
                Cell::Blank,
                Cell::Blank,
                Cell::Blank,
            ]);
            row.push(command.into());
            cells.push(row);
        }
        tables.push((prefix(plan, index), label(plan, variant), rows));
    }
    let csv = files.add("worst", &header, cells);
    let unit =
        if plan.requirements.is_empty() { "the 95th percentile of its absolute error" } else { "its smallest limit" };
    let table = |(prefix, label, rows): (String, Option<String>, Vec<Vec<String>>)| {
        let of = label.map_or(String::new(), |label| format!(", {label}"));
        Entry::Table(Table {
            id: format!("table-{prefix}worst"),
            caption: format!("The worst trials, and those that failed first{of}"),
            reading: format!(
                "The {WORST} trials with the largest errors, each compared with {unit}, and up to {WORST} failed ones. The command, \
                 given in the folder of the experiment file, shows that trial step by step: where its error arises."
            ),
            columns: [
                ("trial", true),
                ("error of", false),
                ("error", true),
                ("in its units", true),
                ("command", false),
            ]
            .map(|(name, numbers)| Heading { name: name.to_owned(), numbers })
            .into(),
            rows,
            csv: csv.clone(),
        })
    };
    tables.into_iter().map(table).collect()
}

/// The command that shows a trial.
fn command(plan: &Plan, variant: &Variant, trial: u64) -> String {
    let mut text = format!("navassay trial {} {trial} --seed {}", quoted(&plan.file_name), plan.seed);
    if plan.variants.len() > 1 {
        let _ = write!(text, " --arm {} --point {}", quoted(&variant.arm), variant.point);
    }
    text
}

/// What the stillness gate did, if any variant has one.
fn retries(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Option<Entry> {
    let (mut rows, mut cells) = (Vec::new(), Vec::new());
    for (variant, retries) in plan.variants.iter().zip(&assessment.retries) {
        let (Some(limit_mm), Some(retries)) = (variant.model.protocol.stillness_limit_mm, retries) else { continue };
        let name = label(plan, variant).unwrap_or_else(|| variant.arm.clone());
        let tries = u64::from(variant.model.protocol.stillness_tries);
        rows.push(vec![
            name.clone(),
            short(limit_mm),
            count(tries),
            count(retries.trials_with),
            count(retries.trials),
            count(retries.holds),
        ]);
        cells.push(vec![
            name.as_str().into(),
            limit_mm.into(),
            tries.into(),
            retries.trials_with.into(),
            retries.trials.into(),
            retries.holds.into(),
        ]);
    }
    if rows.is_empty() {
        return None;
    }
    let header = ["variant", "limit_mm", "tries", "trials_with_retries", "trials", "retries"];
    let csv = files.add("retries", &header, cells);
    let columns = [
        ("variant", false),
        ("limit, mm", true),
        ("tries at most", true),
        ("trials with a retry", true),
        ("of trials", true),
        ("holds taken again", true),
    ];
    Some(Entry::Table(Table {
        id: "table-retries".to_owned(),
        caption: "Holds taken again by the stillness gate".to_owned(),
        reading: "A hold of the probe is taken again while one of its frames lies further than the limit from the hold's \
                  mean tip, as the camera sees it. One that is not still at the last try fails as not still, and is counted \
                  above. The gate turns away motion within a hold, not a hold in the wrong place."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv,
    }))
}
