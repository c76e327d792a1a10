//! Claims on two arms and what the trials say of them.

use super::{against, at_point, heading, point_file_columns};
use crate::analysis::claim::Claim;
use crate::analysis::{Estimate, Withheld};
use crate::experiment::Plan;
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Finding, Table};
use crate::report::words::{Bound, bounded, estimate, percent, short, with_unit};
use crate::study::{Assessment, JudgedClaim};

const HEADER: [&str; 17] = [
    "comparison",
    "arm",
    "against",
    "point",
    "output",
    "unit",
    "measure",
    "claim",
    "margin",
    "confidence",
    "n",
    "difference",
    "standard_error",
    "low",
    "high",
    "interval_confidence",
    "verdict",
];

/// Nothing without a claim.
pub fn entries(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Vec<Entry> {
    let judged = &assessment.arms.claims;
    if judged.is_empty() {
        return vec![Entry::paragraph(
            "The experiment states no margin, so nothing here says that arms are equivalent: an interval that holds 0 is no \
             evidence of that. A section `[[comparison]]` states one beforehand.",
        )];
    }
    let csv = files.add_tidy("claims", &HEADER, judged.iter().map(row).collect());
    let mut entries = vec![
        Entry::heading("claims", "Claims with a margin stated beforehand"),
        Entry::paragraph(
            "A claim is shown where the interval of the paired difference lies inside the margin, and refuted where it lies \
             beyond it: for equivalence both one-sided tests at once (Schuirmann DJ. J Pharmacokinet Biopharm 1987;15:657-680). \
             What is not shown is not refuted: more trials may tell. Each claim is judged by itself, and the exit status of the \
             program is that of the requirements.",
        ),
    ];
    entries.extend(judged.iter().map(|judged| Entry::Verdict(finding(plan, judged))));
    let line = |judged: &JudgedClaim| {
        let unit = judged.claim.output.unit().symbol();
        let shown = judged.found.map(|found| Estimate {
            value: found.difference,
            interval: judged.interval,
            standard_error: found.standard_error,
            count: found.n,
        });
        vec![
            judged.claim.id.clone(),
            format!("{}{}", against(judged.arms), at_point(plan, judged.arms[0])),
            format!("{}, {}", judged.claim.output.name(), judged.claim.measure.name()),
            judged.claim.claim.word().to_owned(),
            with_unit(&short(judged.claim.margin), unit),
            estimate(shown),
            judged.verdict.word().to_owned(),
        ]
    };
    entries.push(Entry::Table(Table {
        id: "table-claims".to_owned(),
        caption: "Claims and verdicts".to_owned(),
        reading: "Compare the ends of the interval with the margin: equivalence needs both inside it, not-worse the upper one."
            .to_owned(),
        columns: ["id", "arms", "of", "claim"]
            .into_iter()
            .map(|name| heading(name, false))
            .chain([heading("margin", true), heading("difference (interval of the test)", true), heading("verdict", false)])
            .collect(),
        rows: judged.iter().map(line).collect(),
        csv,
    }));
    entries
}

fn row(judged: &JudgedClaim) -> Vec<Cell> {
    let JudgedClaim { claim, arms, found, interval, verdict, .. } = judged;
    let mut cells = vec![Cell::from(claim.id.as_str())];
    cells.extend(point_file_columns(*arms));
    cells.extend([Cell::from(arms[0].point), claim.output.id().into(), claim.output.unit().suffix().into()]);
    cells.extend([Cell::from(claim.measure.id()), claim.claim.word().into()]);
    cells.extend([claim.margin, claim.confidence].map(Cell::from));
    cells.extend([Cell::from(found.map(|found| found.n)), found.map(|found| found.difference).into()]);
    cells.push(found.and_then(|found| found.standard_error).into());
    cells.extend([interval.map(|ends| ends.low), interval.map(|ends| ends.high)].map(Cell::from));
    cells.extend([Cell::from(interval.map(|ends| ends.confidence)), verdict.word().into()]);
    cells
}

fn finding(plan: &Plan, judged: &JudgedClaim) -> Finding {
    let JudgedClaim { claim, arms, found, interval, verdict, withheld } = judged;
    let unit = claim.output.unit().symbol();
    let margin = with_unit(&short(claim.margin), unit);
    let sentence = match (found, interval) {
        _ if *withheld => Withheld::UndeclaredLook.sentence(),
        (Some(_), Some(ends)) => {
            let (low, high) =
                (bounded(ends.low, -claim.margin, Bound::Lower), bounded(ends.high, claim.margin, Bound::Upper));
            let inside = match claim.claim {
                Claim::Equivalent => format!("the claim needs −{margin} to {margin}"),
                Claim::NotWorse => format!("the claim needs at most {margin}"),
            };
            format!(
                "{}: the {} of {} differs by {} to {} (interval at {}\u{a0}%), and {inside}.",
                capital(verdict.word()),
                claim.measure.name(),
                claim.output.name(),
                with_unit(&low, unit),
                with_unit(&high, unit),
                percent(ends.confidence),
            )
        }
        _ => "Not shown: too few trials were read by both arms.".to_owned(),
    };
    Finding {
        verdict: verdict.word(),
        label: format!("{}, {}{}", claim.id, against(*arms), at_point(plan, arms[0])),
        text: claim.text.clone(),
        risk: None,
        sentence,
    }
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
