//! Statistical tolerance intervals as a table, one row for each proportion and confidence.

use super::statistics::{names, place};
use crate::analysis::tolerance::{Ends, RULE, ToleranceInterval};
use crate::record::tables::Cell;
use crate::report::words::{count, decimals, measured, percent};
use crate::study::OutputAssessment;

/// Columns of the table that is read; whether numbers stand below.
pub fn columns() -> Vec<(String, bool)> {
    [
        ("error of", false),
        ("unit", false),
        ("proportion", true),
        ("confidence", true),
        ("two-sided", true),
        ("upper limit", true),
        ("lower limit", true),
        ("of the absolute error", true),
        ("method", false),
        ("trials needed", true),
    ]
    .map(|(name, numbers)| (name.to_owned(), numbers))
    .into()
}

/// How to read it, and its rows.
pub fn table(outputs: &[&OutputAssessment]) -> (String, Vec<Vec<String>>) {
    let reading = format!(
        "With the stated confidence at least the stated proportion of all errors, not only of those found here, lies between the \
         two ends (ISO 16269-6), or within the one end. Proportions and confidences are those of the requirements of the output, \
         95\u{a0}% each where it has none. {RULE} The last column is the number that the two-sided distribution-free one needs; \
         the file has both methods, ranks and factors."
    );
    let rows =
        outputs.iter().flat_map(|assessed| levels(assessed).map(|level| row(assessed, level)).collect::<Vec<_>>());
    (reading, rows.collect())
}

/// Pairs of proportion and confidence, each once.
fn levels<'a>(assessed: &'a OutputAssessment) -> impl Iterator<Item = (f64, f64)> + 'a {
    assessed.tolerance.chunk_by(|one, other| level(one) == level(other)).map(|found| level(&found[0]))
}

const fn level(found: &ToleranceInterval) -> (f64, f64) {
    (found.proportion, found.confidence)
}

fn row(assessed: &OutputAssessment, at: (f64, f64)) -> Vec<String> {
    let found = || assessed.tolerance.iter().filter(move |found| level(found) == at);
    let of = |ends| found().find(|found| found.ends == ends && found.chosen);
    let digits = decimals(assessed.summary.sd.and_then(|sd| sd.standard_error));
    let words = |ends| of(ends).map_or_else(|| "none".to_owned(), |found| ends_in_words(found, digits));
    let method = of(Ends::Both).map_or("none", |found| found.method.word());
    let needed = found().find(|found| found.ends == Ends::Both).and_then(|found| found.needed);
    let mut row = names(assessed);
    row.extend([at.0, at.1].map(|share| format!("{}\u{a0}%", percent(share))));
    row.extend([Ends::Both, Ends::Upper, Ends::Lower, Ends::Absolute].map(words));
    row.extend([method.to_owned(), needed.map_or_else(|| "none".to_owned(), count)]);
    row
}

fn ends_in_words(found: &ToleranceInterval, digits: usize) -> String {
    match (found.low, found.high) {
        (Some(low), Some(high)) => format!("{}\u{a0}to\u{a0}{}", measured(low, digits), measured(high, digits)),
        (Some(only), None) | (None, Some(only)) => measured(only, digits),
        (None, None) => "none".to_owned(),
    }
}

/// Columns of tables/tolerance.csv.
pub const COLUMNS: [&str; 16] = [
    "arm",
    "point",
    "output",
    "unit",
    "ends",
    "method",
    "proportion",
    "confidence",
    "n_measured",
    "low",
    "high",
    "low_rank",
    "high_rank",
    "factor",
    "n_needed",
    "chosen",
];

/// Rows of the file: every method of every level.
pub fn rows(assessed: &OutputAssessment) -> Vec<Vec<Cell>> {
    let row = |found: &ToleranceInterval| {
        let mut row = place(assessed.variant, assessed.output);
        row.extend([Cell::from(found.ends.word()), found.method.word().into()]);
        row.extend([found.proportion, found.confidence].map(Cell::from));
        row.extend([Cell::from(found.count), found.low.into(), found.high.into()]);
        row.extend(found.ranks.map(Cell::from));
        row.extend([Cell::from(found.factor), found.needed.into()]);
        row.push(if found.chosen { "yes" } else { "no" }.into());
        row
    };
    assessed.tolerance.iter().map(row).collect()
}
