//! `navassay selfcheck`: the published checks on this machine, as a record that can be printed.

use super::Ending;
use super::arguments::SelfcheckArguments;
use super::message::Stop;
use super::terminal::{align_right, show, table};
use crate::checks::{Check, Count, Found, Mark, Outcome, Verdict, run_all};
use crate::record::tables::table_bytes;
use crate::record::write_named;
use crate::report::code_verification::{COLUMNS, row, word};
use std::fmt::Write as _;

/// Runs every check and says what was found.
pub fn selfcheck(arguments: &SelfcheckArguments) -> Result<Ending, Stop> {
    let outcomes = run_all();
    show(&record(&outcomes))?;
    if let Some(file) = &arguments.csv {
        let table = table_bytes(&COLUMNS, outcomes.iter().map(row));
        write_named(file, |out| out.write_all(&table?))?;
        show(&format!("\nwritten to {}\n", file.display()))?;
    }
    let failed = outcomes.iter().any(|outcome| outcome.verdict == Verdict::Failed);
    Ok(if failed { Ending::NotShown } else { Ending::Shown })
}

/// The table, the sources in full below it, and the counts.
fn record(outcomes: &[Outcome]) -> String {
    let mut text = format!(
        "{} {}: checks against published and derived values\n\n",
        env!("CARGO_PKG_NAME"),
        env!("CARGO_PKG_VERSION")
    );
    let mut rows = table(["check", "expected", "found", "allowed difference", "source", "mark", "ok"]);
    let mut sources: Vec<&str> = Vec::new();
    for Outcome { check, found, verdict } in outcomes {
        let place = sources.iter().position(|source| *source == check.source).unwrap_or_else(|| {
            sources.push(check.source);
            sources.len() - 1
        });
        rows.add_row([
            check.id.to_owned(),
            with_unit(check.expected, check),
            shown(found),
            check.tolerance.in_words(found.as_ref().ok()),
            format!("[{}]", place + 1),
            check.mark.word().to_owned(),
            word(*verdict).to_owned(),
        ]);
    }
    let _ = writeln!(text, "{}\n\nwhat is compared", align_right(rows));
    for check in outcomes.iter().map(|outcome| outcome.check) {
        let _ = writeln!(text, "  {}: {}", check.id, check.quantity);
    }
    let _ = writeln!(text, "\nsources");
    for (number, source) in (1..).zip(&sources) {
        let _ = writeln!(text, "  [{number}] {source}");
    }
    let counts = [Mark::Published, Mark::Derived].map(|mark| {
        let count = Count::of(outcomes, mark);
        format!("{}: {} of {} passed, {} failed", mark.word(), count.passed, count.judged(), count.failed)
    });
    let shown = outcomes.iter().filter(|outcome| outcome.verdict == Verdict::Shown).count();
    let _ = writeln!(
        text,
        "\n{}; shown only, without a verdict (recalled from memory, or of another set-up): {shown}",
        counts.join("; ")
    );
    for outcome in outcomes.iter().filter(|outcome| outcome.verdict == Verdict::Failed) {
        let _ = writeln!(text, "failed: {outcome}");
    }
    text
}

fn with_unit(value: f64, check: &Check) -> String {
    if check.unit.is_empty() { value.to_string() } else { format!("{value} {}", check.unit) }
}

fn shown(found: &Result<Found, String>) -> String {
    match found {
        Ok(Found { value, standard_error: None, .. }) => format!("{value:.6}"),
        Ok(Found { value, standard_error: Some(error), .. }) => format!("{value:.6} ± {error:.1e}"),
        Err(_) => "nothing".to_owned(),
    }
}
