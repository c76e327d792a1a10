//! Paired differences: how far apart two arms are, measure by measure.

use super::super::response::{numeric_paths, unit};
use super::claims::yes;
use super::{
    MOST_POINTS, against, at_point, difference, heading, left_out, point_file_columns, probability, shown, suffix,
};
use crate::analysis::CONFIDENCE;
use crate::analysis::paired::{Measure, P95_COVERAGE};
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::chart::{
    Alternative, Axis, BandPoint, IntervalRow, Intervals, Level, Lines, Series, intervals, lines,
};
use crate::report::evidence::{Chart, Entry, Files, Table};
use crate::report::words::{count, decimals, number, percent};
use crate::study::{Assessment, PairedMeasure};
use std::collections::BTreeMap;

const FILE: &str = "pairs";
const HEADER: [&str; 21] = [
    "arm_a",
    "arm_b",
    "output",
    "measure",
    "difference",
    "low",
    "high",
    "n",
    "unit",
    "point",
    "requirement",
    "value_a",
    "value_b",
    "standard_error",
    "unpaired_standard_error",
    "confidence",
    "p",
    "p_holm",
    "low_open",
    "high_open",
    "method",
];
/// Lines in a chart, at most.
const MOST_SERIES: usize = 6;

pub fn entries(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Vec<Entry> {
    let rows = &assessment.arms.pairs;
    files.add_tidy(FILE, &HEADER, rows.iter().map(row).collect());
    let mut entries = vec![
        Entry::heading("pairs", "Paired differences"),
        Entry::paragraph(explanation(assessment)),
        Entry::paragraph(saving(rows)),
    ];
    entries.extend(left_out(plan));
    for output in shown(plan).into_iter().filter(|output| rows.iter().any(|row| row.output == *output)) {
        let paths = numeric_paths(plan);
        let charts = if paths.is_empty() {
            vec![differences(plan, rows, output)]
        } else {
            let over = |(which, _): (usize, _)| curves(plan, rows, output, which);
            paths.iter().enumerate().map(over).collect()
        };
        entries.push(Entry::Charts { charts });
        for point in (0..MOST_POINTS).take(plan.points.len()) {
            entries.push(Entry::Table(table(plan, rows, output, point)));
        }
    }
    entries
}

fn explanation(assessment: &Assessment) -> String {
    let units = if assessment.devices.is_some() {
        "whole devices, because cases on one device are not independent"
    } else {
        "whole trials"
    };
    format!(
        "All differences here are exploratory: {level}\u{a0}% intervals of single comparisons, not corrected for their number, and \
         no verdict. A difference is the first arm minus the second. Of the standard deviation, the root mean square and the 95th \
         percentile the smaller is the better, so a difference below 0 favours the first arm; of a bias the one nearer to 0. These \
         rest on the trials that both arms read. Proportions within the limit and failed count all trials; a failed trial counts as \
         out of the limit. Standard errors come from the influence of each trial on both arms and rest on {units}. p is the \
         probability of a difference as large if there were none. A 95th percentile here is the Harrell-Davis estimate, a weighted \
         mean of order statistics; the summary of an arm by itself gives a single order statistic of all its trials, so the two \
         figures differ a little. Where few trials differ between the arms, the interval is that of a sign test. In simulations of \
         100 to 5,000 trials the 95\u{a0}% interval of this difference covered {least} to {most}\u{a0}% \
         (tests/data/p95_difference_coverage.csv in the source of the program). Identical: every trial has the same size of error \
         in both arms, which gives no interval.",
        level = percent(CONFIDENCE),
        least = percent(P95_COVERAGE[0]),
        most = percent(P95_COVERAGE[1]),
    )
}

/// What pairing saved, over all pairs and outputs.
fn saving(rows: &[PairedMeasure]) -> String {
    let of = |measure: Measure| {
        let mut found: Vec<f64> =
            rows.iter().filter(|row| row.measure == measure).filter_map(|row| row.found.saved()).collect();
        found.sort_by(f64::total_cmp);
        let middle = found.get(found.len() / 2).copied();
        found.first().zip(found.last()).zip(middle).map(|((least, most), middle)| {
            format!("{} times ({} to {})", number(middle, 1), number(*least, 1), number(*most, 1))
        })
    };
    match of(Measure::Bias).zip(of(Measure::Sd)) {
        Some((bias, sd)) => format!(
            "How much pairing saved: the standard error of a difference of bias is {bias} smaller than it would be if each arm \
             had seen patients of its own, that of a difference of standard deviations {sd}; medians over all pairs and outputs, \
             with the range. Without pairing the same certainty would take as many times more trials as the square of that."
        ),
        None => "No difference has a standard error that pairing could have made smaller.".to_owned(),
    }
}

fn row(row: &PairedMeasure) -> Vec<Cell> {
    let found = &row.found;
    let unit = if row.measure.is_proportion() { "proportion" } else { row.output.unit().suffix() };
    let mut cells: Vec<Cell> = point_file_columns(row.arms).into();
    cells.extend([Cell::from(row.output.id()), row.measure.id().into(), found.difference.into()]);
    cells.extend([found.interval.map(|ends| ends.low), found.interval.map(|ends| ends.high)].map(Cell::from));
    cells.extend([found.n.into(), unit.into(), Cell::from(row.arms[0].point)]);
    cells.push(row.requirement.map(|requirement| requirement.id.as_str()).into());
    cells.extend([found.value_a, found.value_b].map(Cell::from));
    cells.extend([found.standard_error, found.unpaired_standard_error].map(Cell::from));
    // Single differences are exploratory, so none has an adjusted probability; those of claims are in the file of claims.
    cells.extend([Cell::from(CONFIDENCE), found.p.into(), None::<f64>.into()]);
    cells.extend(found.open.map(yes));
    cells.push(found.method.id().into());
    cells
}

/// What a row of a table is of.
fn measure_words(row: &PairedMeasure) -> String {
    match row.requirement {
        Some(requirement) => format!("{} of {}", row.measure.name(), requirement.id),
        None => row.measure.name().to_owned(),
    }
}

fn table(plan: &Plan, rows: &[PairedMeasure], output: Output, point: u32) -> Table {
    let mut own: Vec<&PairedMeasure> =
        rows.iter().filter(|row| row.output == output && row.arms[0].point == point).collect();
    // Pair by pair, in the order of the plan's arms.
    let place =
        |row: &PairedMeasure| row.arms.map(|arm| plan.variants.iter().position(|other| std::ptr::eq(other, arm)));
    own.sort_by_key(|row| place(row));
    let symbol = output.unit().symbol();
    let line = |row: &&PairedMeasure| {
        let found = &row.found;
        let factor = if row.measure.is_proportion() { 100.0 } else { 1.0 };
        let scaled = |value: f64| factor * value;
        let digits = decimals(found.standard_error.map(scaled)).min(6);
        vec![
            against(row.arms),
            measure_words(row),
            if row.measure.is_proportion() { "%".to_owned() } else { symbol.to_owned() },
            number(scaled(found.value_a), digits),
            number(scaled(found.value_b), digits),
            difference(found, factor),
            count(found.n),
            probability(found.p),
            found.saved().map_or_else(|| "none".to_owned(), |saved| number(saved, 1)),
        ]
    };
    let at = own.first().map_or_else(String::new, |row| at_point(plan, row.arms[0]));
    Table {
        id: format!("table-pairs-{}", suffix(plan, output, point)),
        caption: format!("Paired differences, {}{at}", output.name()),
        reading: "Exploratory: each interval and p is of one comparison, not corrected for their number. Saved: how many times \
                  smaller pairing made the standard error."
            .to_owned(),
        columns: vec![
            heading("arms", false),
            heading("measure", false),
            heading("unit", false),
            heading("first", true),
            heading("second", true),
            heading(format!("difference ({}\u{a0}% interval)", percent(CONFIDENCE)), true),
            heading("trials", true),
            heading("p", true),
            heading("saved", true),
        ],
        rows: own.iter().map(line).collect(),
        csv: FILE.to_owned(),
    }
}

fn of_rms<'r, 'p>(rows: &'r [PairedMeasure<'p>], output: Output) -> impl Iterator<Item = &'r PairedMeasure<'p>> {
    rows.iter().filter(move |row| row.output == output && row.measure == Measure::Rms)
}

fn ends(row: &PairedMeasure) -> (f64, f64) {
    row.found.interval.map_or((f64::NAN, f64::NAN), |ends| (ends.low, ends.high))
}

/// Differences of the root mean square, a row a pair.
fn differences(plan: &Plan, rows: &[PairedMeasure], output: Output) -> Chart {
    let labels: Vec<String> = of_rms(rows, output).map(|row| against(row.arms)).collect();
    let drawn: Vec<IntervalRow> = of_rms(rows, output)
        .zip(&labels)
        .map(|(row, label)| {
            let (low, high) = ends(row);
            IntervalRow { label, point: row.found.difference, low, high }
        })
        .collect();
    let title = format!("Difference of rms error, {}", output.name());
    let axis = Axis { label: &title, unit: output.unit().suffix() };
    let description = format!("{} pairs of arms with 95 % intervals of the paired difference.", drawn.len());
    let alternative = Alternative { title: &title, description: &description };
    Chart {
        id: format!("pairs-{}", suffix(plan, output, 0)),
        caption: format!("Paired difference of RMS error, {}", output.name()),
        reading:
            "Left of 0 the first arm of the row has the smaller root mean square error. Exploratory 95\u{a0}% intervals, each of one \
             comparison."
                .to_owned(),
        svg: intervals(alternative, &Intervals { axis, rows: &drawn, reference: Some((0.0, "equal")) }),
        wide: false,
        csv: FILE.to_owned(),
    }
}

/// Differences of the root mean square over a swept setting, a line a pair and value of the other settings.
fn curves(plan: &Plan, rows: &[PairedMeasure], output: Output, which: usize) -> Chart {
    let paths = numeric_paths(plan);
    let swept = &paths[which];
    let mut drawn: BTreeMap<String, Vec<BandPoint>> = BTreeMap::new();
    for row in of_rms(rows, output) {
        let point = row.arms[0].point as usize;
        let others = paths.iter().enumerate().filter(|(other, _)| *other != which);
        let others = others.filter_map(|(_, other)| Some(other.values.get(point)?.to_string()));
        let label = std::iter::once(against(row.arms)).chain(others).collect::<Vec<_>>().join(", ");
        let (low, high) = ends(row);
        if let Some(&x) = swept.values.get(point) {
            drawn.entry(label).or_default().push(BandPoint { x, y: row.found.difference, low, high });
        }
    }
    for points in drawn.values_mut() {
        points.sort_by(|a, b| a.x.total_cmp(&b.x));
    }
    let series: Vec<Series> =
        drawn.iter().take(MOST_SERIES).map(|(label, points)| Series { label, points }).collect();
    let title = format!("Difference of rms error, {}", output.name());
    let x = Axis { label: &swept.path, unit: unit(&swept.path) };
    let y = Axis { label: &title, unit: output.unit().suffix() };
    let description = format!("Paired differences of pairs of arms over {}.", swept.path);
    let alternative = Alternative { title: &title, description: &description };
    let levels = [Level { value: 0.0, label: "equal" }];
    let data = Lines { x, logarithmic: false, y, series: &series, levels: &levels };
    Chart {
        id: format!("pairs-{}-over-{}", output.id().replace('_', "-"), which + 1),
        caption: format!("Paired difference of RMS error, {} over {}", output.name(), swept.path),
        reading: format!(
            "Below 0 the first arm has the smaller root mean square error, above 0 the second. Bands are exploratory {}\u{a0}% \
             intervals at each point by itself.",
            percent(CONFIDENCE)
        ),
        svg: lines(alternative, &data),
        wide: false,
        csv: FILE.to_owned(),
    }
}
