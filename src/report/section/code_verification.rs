//! The published checks, as this build passed them.

use crate::checks::{Check, Count, Found, Mark, Outcome, SECTIONS, Verdict};
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Heading, Section, Table};
use crate::report::words::short;

/// Columns of the file of checks.
pub const COLUMNS: [&str; 13] = [
    "id",
    "quantity",
    "unit",
    "expected",
    "found",
    "standard_error",
    "trials",
    "allowed_difference",
    "allowed",
    "source",
    "mark",
    "ok",
    "why_not",
];

/// A check as a row of the file, in the order of [`COLUMNS`].
#[must_use]
pub fn row(outcome: &Outcome) -> Vec<Cell> {
    let Outcome { check, found, verdict } = outcome;
    let value = found.as_ref().ok();
    vec![
        check.id.into(),
        check.quantity.into(),
        check.unit.into(),
        check.expected.into(),
        value.map(|found| found.value).filter(|value| value.is_finite()).into(),
        value.and_then(|found| found.standard_error).into(),
        value.map(|found| found.count).into(),
        check.tolerance.to_string().into(),
        value.map(|found| check.tolerance.allowed(found)).filter(|allowed| allowed.is_finite()).into(),
        check.source.into(),
        check.mark.word().into(),
        word(*verdict).into(),
        found.as_ref().err().cloned().into(),
    ]
}

/// The word for a verdict in tables.
#[must_use]
pub const fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Passed => "yes",
        Verdict::Failed => "NO",
        Verdict::Shown => "shown only",
    }
}

/// The section; none where the checks were not run.
pub(in crate::report) fn section(outcomes: &[Outcome], files: &mut Files) -> Option<Section> {
    if outcomes.is_empty() {
        return None;
    }
    let counted = |mark: Mark, what: &str| {
        let count = Count::of(outcomes, mark);
        format!("Of {} checks against {what}, {} passed and {} failed.", count.judged(), count.passed, count.failed)
    };
    let shown = outcomes.iter().filter(|outcome| outcome.verdict == Verdict::Shown).count();
    let text = format!(
        "The program was compared with values from outside it, by the very code that made this report, on the machine that made \
         it. {} {} {shown} more are shown without a verdict, because the value is recalled from memory or belongs to another \
         set-up. `navassay selfcheck` runs the same checks by themselves.",
        counted(Mark::Published, "a published value"),
        counted(Mark::Derived, "a value that a stated formula gives and an independent simulation confirms"),
    );
    let csv = files.add("selfcheck", &COLUMNS, outcomes.iter().map(row).collect());
    let sources = sources(outcomes);
    let numbered =
        (1..).zip(&sources).map(|(number, source): (usize, _)| vec![format!("[{number}]"), (*source).to_owned()]);
    let entries = vec![
        Entry::paragraph(text),
        Entry::Table(by_subject(outcomes, &csv)),
        Entry::Table(table(outcomes, &sources, &csv)),
        files.table(
            "selfcheck-sources",
            "Sources of the checks",
            "A check names the source of its expected value by this number.",
            &["number", "source"],
            numbered.collect(),
        ),
    ];
    Some(Section { id: "code-verification", title: "Code verification", entries })
}

/// Every source once, in the order in which it is first used.
fn sources(outcomes: &[Outcome]) -> Vec<&'static str> {
    let mut sources: Vec<&str> = Vec::new();
    for source in outcomes.iter().map(|outcome| outcome.check.source) {
        if !sources.contains(&source) {
            sources.push(source);
        }
    }
    sources
}

/// How many checks of each subject passed.
fn by_subject(outcomes: &[Outcome], csv: &str) -> Table {
    let rows = SECTIONS.iter().map(|subject| {
        let ids: Vec<&str> = subject.checks().map(|check| check.id).collect();
        let own: Vec<Outcome> = outcomes.iter().filter(|outcome| ids.contains(&outcome.check.id)).cloned().collect();
        let [published, derived] = [Mark::Published, Mark::Derived].map(|mark| Count::of(&own, mark));
        let shown = own.iter().filter(|outcome| outcome.verdict == Verdict::Shown).count();
        let counts = [published.passed, derived.passed, published.failed + derived.failed, shown];
        std::iter::once(subject.title.to_owned()).chain(counts.map(|count| count.to_string())).collect()
    });
    let columns = [
        ("subject", false),
        ("published, passed", true),
        ("derived, passed", true),
        ("failed", true),
        ("shown only", true),
    ];
    Table {
        id: "table-checks-by-subject".to_owned(),
        caption: "Checks by subject".to_owned(),
        reading: "A check passes where the value that the program finds is within the allowed difference of the expected one."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows: rows.collect(),
        csv: csv.to_owned(),
    }
}

fn table(outcomes: &[Outcome], sources: &[&str], csv: &str) -> Table {
    let value = |value: f64, check: &Check| {
        if check.unit.is_empty() { short(value) } else { format!("{}\u{a0}{}", short(value), check.unit) }
    };
    let row = |Outcome { check, found, verdict }: &Outcome| {
        let allowed = check.tolerance.in_words(found.as_ref().ok());
        let found = match found {
            Ok(Found { value: found, .. }) => value(*found, check),
            Err(why) => format!("nothing: {why}"),
        };
        vec![
            check.id.to_owned(),
            check.quantity.to_owned(),
            value(check.expected, check),
            found,
            allowed,
            sources
                .iter()
                .position(|source| *source == check.source)
                .map_or_else(String::new, |at| format!("[{}]", at + 1)),
            word(*verdict).to_owned(),
        ]
    };
    let columns = [
        ("check", false),
        ("what is compared", false),
        ("expected", true),
        ("found", true),
        ("allowed difference", false),
        ("source", false),
        ("ok", false),
    ];
    Table {
        id: "table-checks".to_owned(),
        caption: "Checks with their allowed differences".to_owned(),
        reading:
            "The list below has the sources by number. The file has the source in full, standard errors, numbers of trials and \
             marks as well."
                .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows: outcomes.iter().map(row).collect(),
        csv: csv.to_owned(),
    }
}
