//! How many trials each claim takes, from the standard errors of this run.

use super::{against, at_point, heading};
use crate::analysis::planning::PlannedClaim;
use crate::experiment::Plan;
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Table};
use crate::report::words::{count, percent, short, with_unit};
use crate::study::planned::PROBABILITIES;
use crate::study::{Assessment, JudgedClaim, test_confidence};

const HEADER: [&str; 10] = [
    "comparison",
    "arm",
    "against",
    "point",
    "margin",
    "sd_of_pair",
    "true_difference",
    "trials",
    "trials_80",
    "trials_90",
];

/// The table; nothing without a claim that has a standard error.
pub fn entry(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Option<Entry> {
    let (mut rows, mut cells) = (Vec::new(), Vec::new());
    for judged in &assessment.arms.claims {
        let Some((found, scale)) = planned(plan, judged) else { continue };
        let unit = judged.claim.output.unit().symbol();
        for (which, difference) in [0.0, found.difference].into_iter().enumerate() {
            let first = |words: String| if which == 0 { words } else { String::new() };
            let assumed = PlannedClaim { difference, ..found };
            let needed =
                PROBABILITIES.map(|probability| assumed.trials_needed(probability).map(|units| units * scale));
            let words = |needed: Option<u64>| match needed {
                Some(trials) => count(trials),
                None if assumed.holds() => "more than a billion".to_owned(),
                None => "the claim does not hold".to_owned(),
            };
            let size = |value: f64| with_unit(&short(value), unit);
            let mut row = vec![
                first(judged.claim.id.clone()),
                first(format!("{}{}", against(judged.arms), at_point(plan, judged.arms[0]))),
                first(size(found.margin)),
                first(size(found.sd)),
                size(difference),
            ];
            row.extend(needed.map(words));
            rows.push(row);
            let mut row: Vec<Cell> = vec![
                judged.claim.id.as_str().into(),
                judged.arms[0].arm.as_str().into(),
                judged.arms[1].arm.as_str().into(),
                judged.arms[0].point.into(),
                found.margin.into(),
                found.sd.into(),
                difference.into(),
                plan.trials.into(),
            ];
            row.extend(needed.map(Cell::from));
            cells.push(row);
        }
    }
    if rows.is_empty() {
        return None;
    }
    let csv = files.add("claims_trials", &HEADER, cells);
    let columns =
        [("claim", false), ("arms", false), ("margin", true), ("sd of a pair", true), ("true difference", true)];
    let columns = columns.into_iter().map(|(name, numbers)| heading(name, numbers));
    let trials =
        PROBABILITIES.map(|probability| heading(format!("trials for {}\u{a0}%", percent(probability)), true));
    Some(Entry::Table(Table {
        id: "table-claims-trials".to_owned(),
        caption: "Number of trials for each claim".to_owned(),
        reading: "The trials of a new run that shows the claim with the probability, if there is truly no difference, and if the \
                  true difference is the one observed here. Sd of a pair: the standard error of the difference times the root of \
                  the number of independent pairs."
            .to_owned(),
        columns: columns.chain(trials).collect(),
        rows,
        csv,
    }))
}

/// The claim as it would be planned with what this run found, and the trials of one independent unit.
fn planned(plan: &Plan, judged: &JudgedClaim) -> Option<(PlannedClaim, u64)> {
    let found = judged.found?;
    let (units, scale) = match plan.design {
        Some(design) => (design.devices(plan.trials), design.trials_of_a_device()),
        None => (found.n, 1),
    };
    let planned = PlannedClaim {
        claim: judged.claim.claim,
        margin: judged.claim.margin,
        confidence: test_confidence(plan, judged.claim),
        difference: found.difference,
        sd: found.standard_error? * (units as f64).sqrt(),
    };
    Some((planned, scale))
}
