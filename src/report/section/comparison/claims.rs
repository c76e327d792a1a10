//! Claims on two arms and what the trials say of them.

use super::claims_in_words::{introduction, sentence};
use super::{against, at_point, difference, heading, point_file_columns, probability};
use crate::experiment::Plan;
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Finding, Table};
use crate::report::words::{percent, short, with_unit};
use crate::study::{Assessment, JudgedClaim};

const HEADER: [&str; 23] = [
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
    "primary",
    "p",
    "p_holm",
    "low_open",
    "high_open",
    "method",
];

/// A sentence where there is no claim.
pub fn entries(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Vec<Entry> {
    let (judged, level) = (&assessment.arms.claims, assessment.arms.level);
    if judged.is_empty() {
        return vec![Entry::paragraph(
            "The plan states no claim on two arms, so all comparisons here are exploratory. An interval that contains 0 does not \
             demonstrate agreement.",
        )];
    }
    let csv = files.add_tidy("claims", &HEADER, judged.iter().map(row).collect());
    let mut entries = vec![
        Entry::heading("claims", "Claims with a margin stated beforehand"),
        Entry::paragraph(introduction(plan, judged, level)),
    ];
    entries.extend(judged.iter().map(|judged| {
        Entry::Verdict(Finding {
            verdict: judged.verdict.word(),
            label: format!("{}, {}{}", judged.claim.id, against(judged.arms), at_point(plan, judged.arms[0])),
            text: judged.claim.text.clone(),
            risk: None,
            sentence: sentence(plan, judged, level),
        })
    }));
    let line = |judged: &JudgedClaim| {
        let unit = judged.claim.output.unit().symbol();
        let interval = judged.found.and_then(|found| found.interval);
        vec![
            judged.claim.id.clone(),
            format!("{}{}", against(judged.arms), at_point(plan, judged.arms[0])),
            format!("{}, {}", judged.claim.output.name(), judged.claim.measure.name()),
            judged.claim.claim.word().to_owned(),
            with_unit(&short(judged.claim.margin), unit),
            judged.found.map_or_else(|| "none".to_owned(), |found| difference(&found, 1.0)),
            interval.map_or_else(|| "none".to_owned(), |ends| format!("{}\u{a0}%", percent(ends.confidence))),
            if judged.claim.primary { probability(judged.adjusted) } else { "not primary".to_owned() },
            judged.verdict.word().to_owned(),
        ]
    };
    entries.push(Entry::Table(Table {
        id: "table-claims".to_owned(),
        caption: "Claims and verdicts".to_owned(),
        reading: "Compare the adjusted p with 1 less the confidence of the claim, and the interval with the margin."
            .to_owned(),
        columns: [
            ("id", false),
            ("arms", false),
            ("of", false),
            ("claim", false),
            ("margin", true),
            ("difference (interval)", true),
            ("level of the interval", true),
            ("adjusted p", true),
            ("verdict", false),
        ]
        .map(|(name, numbers)| heading(name, numbers))
        .into(),
        rows: judged.iter().map(line).collect(),
        csv,
    }));
    entries
}

fn row(judged: &JudgedClaim) -> Vec<Cell> {
    let JudgedClaim { claim, arms, found, test, adjusted, verdict, .. } = judged;
    let interval = found.and_then(|found| found.interval);
    let mut cells = vec![Cell::from(claim.id.as_str())];
    cells.extend(point_file_columns(*arms));
    cells.extend([Cell::from(arms[0].point), claim.output.id().into(), claim.output.unit().suffix().into()]);
    cells.extend([Cell::from(claim.measure.id()), claim.claim.word().into()]);
    cells.extend([claim.margin, claim.confidence].map(Cell::from));
    cells.extend([Cell::from(found.map(|found| found.n)), found.map(|found| found.difference).into()]);
    cells.push(found.and_then(|found| found.standard_error).into());
    cells.extend([interval.map(|ends| ends.low), interval.map(|ends| ends.high)].map(Cell::from));
    cells.extend([Cell::from(interval.map(|ends| ends.confidence)), verdict.word().into()]);
    cells.push(yes(claim.primary));
    cells.extend([test.map(|test| test.shown), *adjusted].map(Cell::from));
    cells.extend(found.map_or([Cell::from(None::<&str>), None::<&str>.into()], |found| found.open.map(yes)));
    cells.push(found.map(|found| found.method.id()).into());
    cells
}

/// A truth value in a file.
pub fn yes(holds: bool) -> Cell {
    (if holds { "yes" } else { "no" }).into()
}
