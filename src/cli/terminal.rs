//! Results on standard output: a compact table, the verdicts, and every file written.

use super::message::Stop;
use crate::analysis::Estimate;
use crate::experiment::{Plan, Requirement, RequirementsNeeded, Variant};
use crate::record::sums::SUMS_FILE;
use crate::record::{Edited, WriteError};
use crate::replay::NoiseFit;
use crate::report::words::{Bound, bounded_percent, percent};
use crate::report::{Bench, Phantom, Written, agreement, outcomes};
use crate::study::{Assessment, OutputAssessment};
use crate::trial::RunFolder;
use comfy_table::{CellAlignment, LineStyle, Row, Table, TableStyle};
use std::fmt::Write as _;
use std::io::{self, Write as _};

/// Writes to standard output. A reader who has gone away is no error; a disk that is full is one.
pub fn show(text: &str) -> Result<(), Stop> {
    let mut out = std::io::stdout().lock();
    written(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

/// What became of a write to standard output.
pub fn written(outcome: io::Result<()>) -> Result<(), Stop> {
    match outcome {
        Err(source) if source.kind() != io::ErrorKind::BrokenPipe => {
            Err(WriteError { path: "standard output".into(), source }.into())
        }
        _ => Ok(()),
    }
}

/// What the run found.
pub fn results(plan: &Plan, assessment: &Assessment) -> String {
    let mut text = format!("{}: {} trials", plan.title, plan.trials);
    if let Some(question) = &plan.question {
        let _ = write!(text, "\n{question}");
    }
    text.push('\n');
    for (variant, failures) in plan.variants.iter().zip(&assessment.failures) {
        let rows = assessment.outputs.iter().filter(|assessed| std::ptr::eq(assessed.variant, variant));
        let _ = writeln!(text, "\n{}", heading(variant, plan));
        let _ = writeln!(text, "{}", summary_table(rows));
        let failed: u64 = failures.values().sum();
        let _ = write!(text, "{failed} of {} trials failed", plan.trials);
        let reasons: Vec<_> = failures.iter().map(|(reason, count)| format!("{count} {reason}")).collect();
        let _ = writeln!(
            text,
            "{}",
            if reasons.is_empty() { String::new() } else { format!(": {}", reasons.join(", ")) }
        );
    }
    if !assessment.requirements.is_empty() {
        let _ = writeln!(text, "\n{}", verdict_table(assessment));
        if plan.requirements_needed == RequirementsNeeded::Any {
            let met = if assessment.is_met(plan) { "demonstrated" } else { "not demonstrated" };
            let _ = writeln!(text, "one requirement suffices in each variant: {met}");
        }
    }
    text
}

/// What recorded cases showed.
pub fn bench(bench: &Bench) -> String {
    let (plan, assessment) = (bench.plan, bench.assessment);
    let (whole, part, refused) = outcomes(bench);
    let mut text = format!(
        "{}: {} recorded cases; {whole} measured whole, {part} in part, {refused} not measured\n",
        plan.title, plan.trials
    );
    if let Some(question) = &plan.question {
        let _ = writeln!(text, "{question}");
    }
    for variant in &plan.variants {
        let rows: Vec<_> =
            assessment.outputs.iter().filter(|assessed| std::ptr::eq(assessed.variant, variant)).collect();
        let _ = writeln!(text, "\n{}", heading(variant, plan));
        if rows.iter().all(|row| row.summary.n == 0) {
            let _ = writeln!(text, "no truth is known: readings and no errors");
        } else {
            let _ = writeln!(text, "{}", summary_table(rows.into_iter()));
        }
    }
    if !assessment.requirements.is_empty() {
        let _ = writeln!(text, "\n{}", verdict_table(assessment));
    }
    if let Some(fit) = bench.fit {
        let _ = writeln!(text, "\nnoise fitted to the recordings\n{}", fit_table(fit));
    }
    for validated in bench.validation.iter().flat_map(|validation| &validation.variants) {
        let arm = &plan.variants[validated.variant].arm;
        let _ = writeln!(
            text,
            "\nmodel against bench, {arm}\n{}",
            agreement(&validated.agreements).replace('\u{a0}', " ")
        );
    }
    text
}

/// What a virtual phantom showed: the best and the worst place, and distances.
pub fn phantom(found: &Phantom) -> String {
    let mut text = format!("{}: virtual phantom, {} trials\n", found.plan.title, found.plan.trials);
    for (variant, study) in &found.studies {
        let _ = writeln!(text, "\n{}", variant.arm);
        let mut table = table(["what", "95 % within, best", "worst", "unit"]);
        for (what, rows, unit) in [
            ("position of a point", &study.points, "mm"),
            ("distance of two points", &study.distances, "mm"),
            ("point with the pointer tilted", &study.tilted, "mm"),
            ("axis of the pointer", &study.pointers, "°"),
            ("seeming displacement, camera put back", &study.disturbed[0], "mm"),
            ("seeming displacement, camera knocked", &study.disturbed[1], "mm"),
        ] {
            let found = || rows.iter().map(|row| row.p95).filter(|p95| p95.is_finite());
            let ends = [found().min_by(f64::total_cmp), found().max_by(f64::total_cmp)];
            let [best, worst] = ends.map(|end| end.map_or_else(|| "none".to_owned(), |end| format!("{end:.3}")));
            table.add_row([what.to_owned(), best, worst, unit.to_owned()]);
        }
        let _ = writeln!(text, "{}\n{} trials failed", align_right(table), study.failed);
        if study.failed == found.plan.trials {
            let _ = writeln!(
                text,
                "the camera did not see the probe in every hold of any trial: a phantom further away (--distance) or smaller \
                 (--spacing) may fit its view"
            );
        }
    }
    text
}

/// The last lines of a phantom.
pub fn phantom_files(folder: &RunFolder, written: &Written) -> String {
    let Written { tables, charts, .. } = written;
    let documents = documents(written);
    format!(
        "\nwritten to {}\n  run.json\n  tables/ ({tables} CSV files)\n  charts/ ({charts} SVG files)\n{documents}  {SUMS_FILE}\n",
        folder.path().display(),
    )
}

fn fit_table(fit: &NoiseFit) -> String {
    let mut table = table(["what", "sd", "interval", "unit", "captures"]);
    for row in &fit.rows {
        let Some(spread) = row.spread else { continue };
        table.add_row([
            row.meaning.clone(),
            format!("{:.4}", spread.sd),
            format!("{:.4}..{:.4}", spread.low, spread.high),
            row.unit.to_owned(),
            row.captures.to_string(),
        ]);
    }
    align_right(table)
}

/// The last lines of a replay.
pub fn bench_files(folder: &RunFolder, written: &Written, fitted: Option<&str>) -> String {
    let Written { tables, charts, .. } = written;
    let documents = documents(written);
    let fitted = fitted.map_or(String::new(), |name| format!("  {name}\n"));
    format!(
        "\nwritten to {}\n  run.json\n  tables/ ({tables} CSV files, among them readings.csv and errors.csv)\n  charts/ \
         ({charts} SVG files)\n{fitted}{documents}  {SUMS_FILE}\n",
        folder.path().display(),
    )
}

/// The last lines: every file written, tables and charts by their folder.
pub fn files(folder: &RunFolder, written: &Written) -> String {
    let Written { tables, charts, .. } = written;
    let documents = documents(written);
    let bench = if folder.bench().is_dir() { "  bench/ (the recorded cases that it is held against)\n" } else { "" };
    format!(
        "\nwritten to {}\n  run.json\n  tables/ ({tables} CSV files, among them summary.csv and verdicts.csv)\n  charts/ ({charts} \
         SVG files)\n{bench}{documents}  {SUMS_FILE}\n",
        folder.path().display(),
    )
}

/// A line for each page and document, with those that a person has edited.
fn documents(written: &Written) -> String {
    let mut lines = String::new();
    for name in &written.documents {
        let edited = written.edited.iter().find(|edited| edited.new.as_ref() == Some(name));
        let _ = match edited {
            Some(Edited { name: old, .. }) => writeln!(lines, "  {name} ({old} has been edited and is kept)"),
            None => writeln!(lines, "  {name}"),
        };
    }
    for Edited { name, .. } in written.edited.iter().filter(|edited| edited.new.is_none()) {
        let _ = writeln!(lines, "  {name} (has been edited and is kept; this report has no such document)");
    }
    lines
}

fn heading(variant: &Variant, plan: &Plan) -> String {
    let procedure = &variant.procedure;
    let mut text = format!(
        "{}, {} hip, {} plane{}; error = reading - truth in the {} plane",
        variant.arm,
        procedure.side.word(),
        procedure.plane.word(),
        procedure.ways(),
        variant.measurand_plane.word(),
    );
    let values = plan.points.get(variant.point as usize).map_or(&[][..], |point| &point.values);
    for (path, value) in values {
        let _ = write!(text, "; {path} = {value}");
    }
    text
}

/// A table with one rule, below its header.
pub fn table(header: impl Into<Row>) -> Table {
    const STYLE: TableStyle = TableStyle::new().header_separator(LineStyle::none().fill('─').junction('─'));
    let mut table = Table::new();
    table.load_style(STYLE);
    table.set_header(header);
    table
}

fn summary_table<'a>(rows: impl Iterator<Item = &'a OutputAssessment<'a>>) -> String {
    let mut table = table(["error of", "n", "bias (95 %)", "sd (95 %)", "95 % within (95 %)", "largest"]);
    for row in rows {
        let (s, unit) = (&row.summary, row.output.unit().symbol());
        let p95 = s.p95_abs.map(|p95| p95.value).map(|value| match s.p95_abs_low.zip(s.p95_abs_high) {
            Some((low, high)) => format!("{value:.2} ({low:.2}..{high:.2})"),
            None => format!("{value:.2}"),
        });
        table.add_row([
            format!("{}, {unit}", row.output.name()),
            (s.n - s.failed).to_string(),
            estimate(s.bias),
            estimate(s.sd),
            p95.unwrap_or_default(),
            s.max_abs.map(|value| format!("{value:.2}")).unwrap_or_default(),
        ]);
    }
    align_right(table)
}

fn verdict_table(assessment: &Assessment) -> String {
    let mut table = table(["requirement", "arm", "limit", "required", "out", "at most (confidence)", "verdict"]);
    for assessed in &assessment.requirements {
        let (asked, found) = (&assessed.asked, &assessed.judgement);
        let limit = |limit: &&Requirement| format!("{} {}", limit.limit, limit.output.unit().symbol());
        table.add_row([
            asked.id.to_owned(),
            assessed.variant.arm.clone(),
            asked.limits.iter().map(limit).collect::<Vec<_>>().join(" and "),
            format!("{} % within", percent(asked.proportion)),
            format!("{} of {}", found.out_of_acceptance, found.n),
            format!(
                "{} % ({} %)",
                bounded_percent(found.exceed_high, 1.0 - asked.proportion, Bound::Upper),
                percent(found.confidence)
            ),
            found.verdict.word().to_owned(),
        ]);
    }
    align_right(table)
}

/// The text of a table whose columns but the first are numbers.
pub fn align_right(mut table: Table) -> String {
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    table.trim_fmt()
}

fn estimate(estimate: Option<Estimate>) -> String {
    let Some(Estimate { value, interval, .. }) = estimate else { return String::new() };
    // Adding 0 takes the sign off a rounded zero.
    let two = |value: f64| format!("{:.2}", libm::round(value * 100.0) / 100.0 + 0.0);
    match interval {
        Some(interval) => format!("{} ({}..{})", two(value), two(interval.low), two(interval.high)),
        None => two(value),
    }
}
