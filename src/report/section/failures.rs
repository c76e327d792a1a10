//! Trials that gave no reading: counted, named, never dropped.

use super::frames;
use crate::experiment::Plan;
use crate::record::{PartError, Parts};
use crate::report::evidence::{Entry, Files, Heading, Section, Table, label};
use crate::report::words::{count, short};
use crate::study::Assessment;

/// # Errors
/// If a part of the run cannot be read.
pub fn section(plan: &Plan, assessment: &Assessment, parts: &Parts, files: &mut Files) -> Result<Section, PartError> {
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
    entries.extend(frames::lost(plan, parts, files)?);
    Ok(Section { id: "failures", title: "Failures", entries })
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
