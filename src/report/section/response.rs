//! Response curves: what each output does along a sweep.

use crate::analysis::Summary;
use crate::experiment::{Plan, Variant};
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::chart::{Against, Alternative, Axis, BandPoint, Drawn, Level, Lines, Series, against, lines};
use crate::report::evidence::{Chart, Entry, Files, Section, shown_by_default};
use crate::report::tables;
use crate::report::words::{percent, unit_of_key};
use crate::study::{Assessment, OutputAssessment};
use std::collections::BTreeSet;

const FILE: &str = "response";
/// Lines in a chart, at most.
const MOST_SERIES: usize = 6;

/// The section; none without a sweep over numbers.
pub fn section(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Option<Section> {
    let paths = numeric_paths(plan);
    if paths.is_empty() {
        return None;
    }
    file(plan, assessment, &paths, files);
    let mut charts = Vec::new();
    for (which, path) in paths.iter().enumerate() {
        for output in shown(plan) {
            charts.push(chart(plan, assessment, &paths, which, path, output));
        }
    }
    let entries = vec![
        Entry::paragraph(format!(
            "What each output does as the swept settings change. All points share their draws, so the curves differ by the \
             settings and not by luck; bands are {}\u{a0}% intervals of each point by itself.",
            percent(crate::analysis::CONFIDENCE)
        )),
        Entry::Charts { charts },
    ];
    Some(Section { id: "response", title: "Response to the swept settings", entries })
}

/// The outputs with a requirement, or the first without one.
fn shown(plan: &Plan) -> Vec<Output> {
    let required = |output: &Output| plan.requirements.iter().any(|requirement| requirement.output == *output);
    let found: Vec<Output> = plan.asked().outputs().filter(required).collect();
    if found.is_empty() { shown_by_default(plan) } else { found }
}

/// A swept path with its value at each point.
pub(super) struct Swept {
    pub path: String,
    pub values: Vec<f64>,
}

impl Swept {
    fn distinct(&self) -> Vec<f64> {
        let mut values = self.values.clone();
        values.sort_by(f64::total_cmp);
        values.dedup();
        values
    }
}

/// Swept settings that are numbers and take more than one value.
pub(super) fn numeric_paths(plan: &Plan) -> Vec<Swept> {
    let Some(first) = plan.points.first() else { return Vec::new() };
    let swept = |which: usize| {
        let value = |point: &crate::experiment::SweepPoint| point.values.get(which)?.1.trim().parse::<f64>().ok();
        let values: Option<Vec<f64>> = plan.points.iter().map(value).collect();
        let values = values.filter(|values| values.iter().any(|value| *value != values[0]))?;
        Some(Swept { path: first.values[which].0.clone(), values })
    };
    (0..first.values.len()).filter_map(swept).collect()
}

fn of<'a>(assessment: &'a Assessment, variant: &Variant, output: Output) -> Option<&'a OutputAssessment<'a>> {
    assessment.outputs.iter().find(|assessed| std::ptr::eq(assessed.variant, variant) && assessed.output == output)
}

fn file(plan: &Plan, assessment: &Assessment, paths: &[Swept], files: &mut Files) {
    let header: Vec<String> = ["arm", "point", "output", "unit"]
        .into_iter()
        .map(String::from)
        .chain(paths.iter().map(|swept| swept.path.clone()))
        .chain(tables::BRIEF.map(String::from))
        .collect();
    let rows = assessment.outputs.iter().map(|assessed| {
        let OutputAssessment { variant, output, summary, .. } = assessed;
        let mut row: Vec<Cell> = vec![variant.arm.as_str().into(), variant.point.into()];
        row.extend([Cell::from(output.id()), output.unit().suffix().into()]);
        row.extend(paths.iter().map(|swept| Cell::from(swept.values.get(variant.point as usize).copied())));
        row.extend(tables::brief(summary));
        row
    });
    debug_assert!(plan.points.len() > 1);
    files.add(FILE, &header, rows.collect());
}

fn band(x: f64, summary: &Summary) -> Option<BandPoint> {
    let end = |value: Option<f64>| value.unwrap_or(f64::NAN);
    Some(BandPoint { x, y: summary.p95_abs?.value, low: end(summary.p95_abs_low), high: end(summary.p95_abs_high) })
}

/// The unit of the last key of a path that has one.
pub(super) fn unit(path: &str) -> &'static str {
    path.split('.').rev().map(unit_of_key).find(|unit| !unit.is_empty()).map_or("", |unit| match unit {
        "°" => "deg",
        other => other,
    })
}

fn chart(
    plan: &Plan,
    assessment: &Assessment,
    paths: &[Swept],
    which: usize,
    swept: &Swept,
    output: Output,
) -> Chart {
    let label = format!("95 % of the errors of {} are within", output.name());
    let (x, y) =
        (Axis { label: &swept.path, unit: unit(&swept.path) }, Axis { label: &label, unit: output.unit().suffix() });
    let description = format!("The 95 % quantile of the absolute error of {} over {}.", output.name(), swept.path);
    let alternative = Alternative { title: &label, description: &description };
    let id = format!("response-{}-{}", which + 1, output.id().replace('_', "-"));
    let others: BTreeSet<String> = plan.variants.iter().map(|variant| key_of(plan, paths, which, variant)).collect();
    let limit = plan.requirements.iter().filter(|r| r.output == output).map(|r| r.limit).min_by(f64::total_cmp);
    // In a Latin hypercube every value stands once, beside other values of the other settings: no lines there.
    let scattered = paths.len() > 1 && swept.distinct().len() == swept.values.len();
    let (svg, reading) = if scattered {
        let found: Vec<(f64, f64)> = plan
            .variants
            .iter()
            .filter_map(|variant| {
                let summary = &of(assessment, variant, output)?.summary;
                Some((*swept.values.get(variant.point as usize)?, summary.p95_abs?.value))
            })
            .collect();
        let (values, errors): (Vec<f64>, Vec<f64>) = found.into_iter().unzip();
        let svg = against(
            alternative,
            &Against { axis: y, errors: &errors, limit: None },
            &Drawn { axis: x, values: &values },
        );
        (
            svg,
            "One dot a point of the Latin hypercube: the other swept settings differ from dot to dot, and what scatters about \
               the trend is theirs.",
        )
    } else {
        let lines_of: Vec<(String, Vec<BandPoint>)> = others
            .into_iter()
            .take(MOST_SERIES)
            .map(|key| {
                let own = plan.variants.iter().filter(|variant| key_of(plan, paths, which, variant) == key);
                let mut points: Vec<BandPoint> = own
                    .filter_map(|variant| {
                        let x = *swept.values.get(variant.point as usize)?;
                        band(x, &of(assessment, variant, output)?.summary)
                    })
                    .collect();
                points.sort_by(|a, b| a.x.total_cmp(&b.x));
                (key, points)
            })
            .collect();
        let series: Vec<Series> = lines_of.iter().map(|(label, points)| Series { label, points }).collect();
        let levels: Vec<Level> = limit.map(|value| Level { value, label: "limit" }).into_iter().collect();
        let data = Lines { x, logarithmic: false, y, series: &series, levels: &levels };
        (
            lines(alternative, &data),
            "Go up from a value of the setting to a line: 95\u{a0}% of the absolute errors are within the \
               value on the left. Lines are arms, or values of the other swept settings.",
        )
    };
    Chart {
        id,
        caption: format!("Error of {} over {}", output.name(), swept.path),
        reading: reading.to_owned(),
        svg,
        wide: false,
        csv: FILE.to_owned(),
    }
}

/// What tells a line from the others of a chart: the arm, and the values of the other swept settings.
fn key_of(plan: &Plan, paths: &[Swept], which: usize, variant: &Variant) -> String {
    let several_arms = plan.variants.iter().any(|other| other.arm != variant.arm);
    let values = paths.iter().enumerate().filter(|(other, _)| *other != which);
    let values =
        values.map(|(_, swept)| swept.values.get(variant.point as usize).map_or(String::new(), f64::to_string));
    several_arms.then(|| variant.arm.clone()).into_iter().chain(values).collect::<Vec<_>>().join(", ")
}
