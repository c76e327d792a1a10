//! Performance of each arm by itself: every measure with its Monte Carlo standard error.

use super::apart::is_apart;
use super::{MOST_POINTS, at_point, heading, shown, suffix};
use crate::analysis::Estimate;
use crate::analysis::paired::Measure;
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Table};
use crate::report::section::rare_events;
use crate::report::words::{count, decimals, number};
use crate::study::{Assessment, OutputAssessment};

const FILE: &str = "performance";

/// Measures of one arm and output, each with its standard error where it has one.
fn measures(assessed: &OutputAssessment, independent: bool) -> Vec<(Measure, Option<Estimate>)> {
    let summary = &assessed.summary;
    let rate = summary.failed as f64 / summary.n as f64;
    // Where devices measure several cases, trials are not independent, and this formula would say too little.
    let standard_error = independent.then(|| (rate * (1.0 - rate) / summary.n as f64).sqrt());
    let failed =
        (summary.n > 0).then_some(Estimate { value: rate, interval: None, standard_error, count: summary.n });
    vec![
        (Measure::Bias, summary.bias),
        (Measure::Sd, summary.sd),
        (Measure::Rms, summary.rms),
        (Measure::P95Abs, summary.p95_abs),
        (Measure::FailureRate, failed),
    ]
}

pub fn entries(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Vec<Entry> {
    let independent = assessment.devices.is_none();
    let rows = assessment.outputs.iter().flat_map(|assessed| {
        measures(assessed, independent).into_iter().map(|(measure, found)| {
            let unit = if measure.is_proportion() { "proportion" } else { assessed.output.unit().suffix() };
            let mut cells = vec![Cell::from(assessed.variant.arm.as_str()), assessed.variant.point.into()];
            cells.extend([Cell::from(assessed.output.id()), unit.into(), measure.id().into()]);
            cells.push(found.map(|found| found.value).into());
            cells.push(found.and_then(|found| found.standard_error).into());
            cells.push(found.map(|found| found.count).into());
            cells
        })
    });
    let header = ["arm", "point", "output", "unit", "measure", "estimate", "monte_carlo_standard_error", "n"];
    files.add_tidy(FILE, &header, rows.collect());
    let mut entries = vec![
        Entry::heading("performance-of-arms", "Performance of each arm"),
        Entry::paragraph(
            "Each measure of an arm by itself, with its Monte Carlo standard error (Morris TP, White IR, Crowther MJ. Stat Med \
             2019;38:2074-2102). Arms share their patients and most of their draws, so the difference of two arms has a smaller \
             standard error than these suggest; it is found from pairs of trials.",
        ),
    ];
    for output in shown(plan) {
        for point in (0..MOST_POINTS).take(plan.points.len()) {
            entries.push(Entry::Table(table(plan, assessment, output, point)));
        }
    }
    entries
}

fn table(plan: &Plan, assessment: &Assessment, output: Output, point: u32) -> Table {
    let own: Vec<&OutputAssessment> = assessment
        .outputs
        .iter()
        .filter(|assessed| assessed.output == output && assessed.variant.point == point)
        .collect();
    // Arms with different estimands are told apart where they are side by side.
    let apart = is_apart(assessment, output);
    let row = |assessed: &&OutputAssessment| {
        let mut row = vec![assessed.variant.arm.clone()];
        row.extend(apart.then(|| assessed.variant.estimand(output).to_string()));
        row.push(count(assessed.summary.n));
        row.extend(measures(assessed, assessment.devices.is_none()).into_iter().map(|(measure, found)| {
            let Some(found) = found else { return "none".to_owned() };
            let factor = if measure.is_proportion() { 100.0 } else { 1.0 };
            let error = found.standard_error.map(|error| factor * error);
            let digits = decimals(error).min(6);
            let value = number(factor * found.value, digits);
            error.map_or_else(|| value.clone(), |error| format!("{value} (±\u{a0}{})", number(error, digits)))
        }));
        row
    };
    let at = own.first().map_or_else(String::new, |assessed| at_point(plan, assessed.variant));
    let symbol = output.unit().symbol();
    let mut columns = vec![heading("arm", false)];
    columns.extend(apart.then(|| heading("estimand", false)));
    columns.push(heading("trials", true));
    columns.extend(
        ["bias", "sd", "rms", "95th percentile of |error|"]
            .map(|name| heading(format!("{name}, {symbol} (MCSE)"), true)),
    );
    columns.push(heading("failed, % (MCSE)", true));
    Table {
        id: format!("table-performance-{}", suffix(plan, output, point)),
        caption: format!("Performance, {}{at}", output.name()),
        reading: format!(
            "An estimate and its Monte Carlo standard error (MCSE). The 95th percentile is an order statistic of all trials of the \
             arm.{}",
            rare_events::without_interval(own.iter().map(|assessed| &assessed.summary)),
        ),
        columns,
        rows: own.iter().map(row).collect(),
        csv: FILE.to_owned(),
    }
}
