//! What the errors would be if a source were larger or smaller, from the run's own variance budget.

use crate::experiment::Plan;
use crate::record::tables::Cell;
use crate::report::evidence::{
    Entry, Files, Heading, Panel, PanelRequired, PanelRow, PanelSource, Section, Table, label, prefix,
};
use crate::report::section::answer::limit_words;
use crate::report::words::{count, number, percent, with_unit};
use crate::study::sensitivity::{
    ArmSensitivity, CHECKED, Change, Compared, OneAtATime, Predicted, Prediction, Required,
};

const FILE: &str = "what-if";
/// Name of the file of required quantiles.
const REQUIRED: &str = "what-if-required";
/// A prediction that is off by more than this part of the quantile with everything as it is, is marked.
const OFF: f64 = 0.05;
/// Sources of an output in the page, at most; the file has all.
const MOST_ROWS: usize = 6;

/// The section; none where no source was run alone.
pub fn section(plan: &Plan, sensitivity: &[ArmSensitivity], files: &mut Files) -> Option<Section> {
    let mut entries = vec![Entry::paragraph(
        "A prediction without another run: the variance that each source has alone, times the square of its scale, and its bias, \
         times its scale, are added to what no source has alone. The 95\u{a0}% quantile is that of normal errors of this bias and \
         standard deviation, times what the errors of this run have beyond normal ones. It was checked for one source at a time, \
         without it, at half and at twice of it; several sources scaled at once, and scales beyond 2, were not checked. Where a \
         slider is at a checked scale and all others are at 1, what the run found is shown below the prediction.",
    )];
    let (mut cells, mut required) = (Vec::new(), Vec::new());
    for arm in sensitivity {
        let Some(study) = &arm.one_at_a_time else { continue };
        let predictions = Prediction::of(plan, study);
        if predictions.is_empty() {
            continue;
        }
        let index = plan.variants.iter().position(|variant| std::ptr::eq(variant, arm.variant)).unwrap_or(0);
        let (prefix, label) = (prefix(plan, index), label(plan, arm.variant));
        let of = label.as_ref().map_or(String::new(), |label| format!(", {label}"));
        entries.extend(label.map(|label| Entry::heading(format!("{prefix}scaled-sources"), label)));
        entries.push(Entry::List { items: predictions.iter().map(|one| checked(one, study)).collect() });
        entries.push(Entry::WhatIf(panel(plan, study, &predictions, format!("{prefix}what-if-panel"), &of)));
        for prediction in &predictions {
            for compared in prediction.compared(study) {
                cells.push(row(&arm.variant.arm, prediction, study, &compared));
                required.extend(required_rows(plan, &arm.variant.arm, prediction, study, &compared));
            }
        }
        entries.push(Entry::Table(table(plan, study, &predictions, &prefix, &of)));
    }
    if cells.is_empty() {
        return None;
    }
    let header = [
        "arm",
        "output",
        "unit",
        "source",
        "run",
        "bias_predicted",
        "bias_found",
        "sd_predicted",
        "sd_found",
        "p95_abs_predicted",
        "p95_abs_found",
    ];
    files.add(FILE, &header, cells);
    if !required.is_empty() {
        let header = ["arm", "requirement", "unit", "source", "run", "limit", "quantile_predicted", "quantile_found"];
        files.add(REQUIRED, &header, required);
    }
    Some(Section { id: "what-if", title: "What if a source were larger or smaller", entries })
}

/// How far the prediction is off where it was checked.
fn checked(prediction: &Prediction, study: &OneAtATime) -> String {
    let all = prediction.at(|_| 1.0);
    let compared = prediction.compared(study);
    let (name, unit) = (prediction.output.name(), prediction.output.unit().symbol());
    if !(all.sd > 0.0) {
        return format!("Error of {name}: it does not vary, so nothing is predicted.");
    }
    let worst = |of: &dyn Fn(&Compared) -> f64| -> Option<(f64, &Compared)> {
        compared.iter().map(|one| (of(one).abs(), one)).max_by(|a, b| a.0.total_cmp(&b.0))
    };
    let of_sd = worst(&|one| one.predicted.sd - one.found.sd);
    let of_p95 = worst(&|one| one.predicted.p95 - one.found.p95);
    let words = |found: Option<(f64, &Compared)>, whole: f64| {
        found.map_or_else(String::new, |(off, one)| {
            format!(
                "{} (of {}; {} {})",
                three(off, unit),
                three(whole, unit),
                study.sources[one.source].name,
                one.change.word()
            )
        })
    };
    format!(
        "Error of {name}: over {} checked runs of {} cases the predicted standard deviation is off by {} at most, the predicted \
         95\u{a0}% quantile by {}.",
        count(compared.len() as u64),
        count(study.rows),
        words(of_sd, all.sd),
        words(of_p95, all.p95),
    )
}

fn three(value: f64, unit: &str) -> String {
    with_unit(&number(value, 3), unit)
}

/// Each prediction once for each requirement of its output, or once without one.
fn lines(predictions: &[Prediction]) -> Vec<(&Prediction, Option<usize>)> {
    let of_one = |prediction: &'_ Prediction| match prediction.required.len() {
        0 => vec![None],
        required => (0..required).map(Some).collect(),
    };
    predictions.iter().flat_map(|one| of_one(one).into_iter().map(move |which| (one, which))).collect()
}

fn panel(plan: &Plan, study: &OneAtATime, predictions: &[Prediction], id: String, of: &str) -> Panel {
    let lines = lines(predictions);
    let compared: Vec<Vec<Compared>> = lines.iter().map(|(one, _)| one.compared(study)).collect();
    let runs = |source: usize| {
        let of_line = |((_, which), compared): (&(&Prediction, Option<usize>), &Vec<Compared>)| {
            CHECKED.map(|change| {
                let one = compared.iter().find(|one| one.source == source && one.change == change);
                let required = one.zip(*which).map(|(one, which)| one.required[which][1]);
                let found = one.map(|one| one.found);
                [found.map(|found| found.bias), found.map(|found| found.sd), found.map(|found| found.p95), required]
                    .map(|value| value.filter(|value| value.is_finite()))
            })
        };
        let found: Vec<[[Option<f64>; 4]; CHECKED.len()]> = lines.iter().zip(&compared).map(of_line).collect();
        serde_json::json!(found).to_string()
    };
    let sources = study.sources.iter().enumerate().map(|(i, source)| PanelSource {
        name: source.name.clone(),
        biases: lines.iter().map(|(one, _)| one.alone[i][0]).collect(),
        variances: lines.iter().map(|(one, _)| one.alone[i][1]).collect(),
        runs: runs(i),
    });
    let rows = lines.iter().zip(&compared).map(|((one, which), compared)| {
        let required = which.map(|which| &one.required[which]);
        PanelRow {
            name: one.output.name().to_owned(),
            unit: one.output.unit().symbol().to_owned(),
            bias: one.rest[0],
            variance: one.rest[1],
            shape: one.shape,
            required: required.map(|required| panel_required(plan, required)),
            off: largest_error(study, one, *which, compared),
        }
    });
    let (sources, rows) = (sources.collect(), rows.collect());
    Panel { id, caption: format!("Scale each source, from 0 (off) to 2 (twice){of}"), sources, rows }
}

fn panel_required(plan: &Plan, required: &Required) -> PanelRequired {
    let asked = &plan.requirements[required.requirement];
    let guard = if asked.guard > 0.0 { ", less the guard band" } else { "" };
    PanelRequired {
        words: format!("{}: {}\u{a0}% within {}{guard}", asked.id, percent(asked.proportion), limit_words(asked)),
        proportion: required.proportion,
        direction: required.direction.word().to_owned(),
        acceptance: required.acceptance,
        shape: required.shape,
    }
}

/// Predicted and found quantile of a run: of a requirement, or the 95 % quantile.
fn quantiles(compared: &Compared, which: Option<usize>) -> [f64; 2] {
    which.map_or([compared.predicted.p95, compared.found.p95], |which| compared.required[which])
}

/// The quantile with everything as it is.
fn quantile_as_it_is(prediction: &Prediction, which: Option<usize>) -> f64 {
    let all: Predicted = prediction.at(|_| 1.0);
    which.map_or(all.p95, |which| prediction.required[which].at(&all))
}

/// Where the predicted quantile is off most, as a part of the quantile with everything as it is.
fn largest_error(study: &OneAtATime, prediction: &Prediction, which: Option<usize>, compared: &[Compared]) -> String {
    let off = |one: &Compared| {
        let [predicted, found] = quantiles(one, which);
        (predicted - found) / quantile_as_it_is(prediction, which)
    };
    let finite = compared.iter().map(|one| (off(one), one)).filter(|(off, _)| off.is_finite());
    finite.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs())).map_or_else(String::new, |(off, one)| {
        let name = &study.sources[one.source].name;
        format!("quantile {} ({name}, {})", in_words(off), one.change.word())
    })
}

/// How far a prediction is off, from its difference as a part of the whole.
fn in_words(off: f64) -> String {
    let way = if off < 0.0 { "too small" } else { "too large" };
    format!("{}\u{a0}% {way}", number(100.0 * off.abs(), usize::from(off.abs() < 0.095)))
}

fn required_rows(
    plan: &Plan,
    arm: &str,
    prediction: &Prediction,
    study: &OneAtATime,
    compared: &Compared,
) -> Vec<Vec<Cell>> {
    let rows = prediction.required.iter().zip(&compared.required);
    rows.map(|(required, [predicted, found])| {
        let id = plan.requirements[required.requirement].id.as_str();
        let mut row: Vec<Cell> = vec![arm.into(), id.into(), prediction.output.unit().suffix().into()];
        row.extend([Cell::from(study.sources[compared.source].name.as_str()), compared.change.word().into()]);
        row.extend([
            Cell::from(required.acceptance),
            (*predicted).into(),
            Some(*found).filter(|found| found.is_finite()).into(),
        ]);
        row
    })
    .collect()
}

fn row(arm: &str, prediction: &Prediction, study: &OneAtATime, compared: &Compared) -> Vec<Cell> {
    let Compared { source, change, predicted, found, .. } = compared;
    let output = prediction.output;
    let mut row: Vec<Cell> = vec![arm.into(), output.id().into(), output.unit().suffix().into()];
    row.extend([Cell::from(study.sources[*source].name.as_str()), change.word().into()]);
    for (one, other) in [(predicted.bias, found.bias), (predicted.sd, found.sd), (predicted.p95, found.p95)] {
        row.extend([Cell::from(one), other.into()]);
    }
    row
}

/// Predicted and found quantile in a cell, with what is to be marked.
fn cell(prediction: &Prediction, which: Option<usize>, compared: &Compared) -> String {
    let [predicted, found] = quantiles(compared, which);
    let limit = which.map_or(f64::INFINITY, |which| prediction.required[which].acceptance);
    let marked = |value: f64| format!("{}{}", number(value, 3), if value > limit { " beyond" } else { "" });
    let off = (predicted - found) / quantile_as_it_is(prediction, which);
    let off = if off.abs() > OFF { format!("; {}", in_words(off)) } else { String::new() };
    format!("{} / {}{off}", marked(predicted), marked(found))
}

fn table(plan: &Plan, study: &OneAtATime, predictions: &[Prediction], prefix: &str, of: &str) -> Table {
    let any = predictions.iter().any(|one| !one.required.is_empty());
    let mut rows = Vec::new();
    for (prediction, which) in lines(predictions).into_iter().filter(|(_, which)| !any || which.is_some()) {
        let compared = prediction.compared(study);
        let required = which.map(|which| &prediction.required[which]);
        let of = required.map_or_else(
            || format!("{}, {}", prediction.output.name(), prediction.output.unit().symbol()),
            |required| panel_required(plan, required).words,
        );
        let requirement = required.map(|required| required.requirement);
        for source in study.by_removal(requirement, prediction.output).into_iter().take(MOST_ROWS) {
            let mut row = vec![of.clone(), study.sources[source].name.clone()];
            for change in [Change::Without, Change::Half, Change::Double] {
                let one = compared.iter().find(|one| one.source == source && one.change == change);
                row.push(one.map_or_else(String::new, |one| cell(prediction, which, one)));
            }
            rows.push(row);
        }
    }
    let what = if any { "required quantile" } else { "95\u{a0}% within" };
    let columns = [
        (if any { "requirement" } else { "error of" }.to_owned(), false),
        ("source".to_owned(), false),
        (format!("{what} without the source: predicted / simulated"), true),
        (format!("{what} at half"), true),
        (format!("{what} at twice"), true),
    ];
    Table {
        id: format!("table-{prefix}what-if"),
        caption: format!("Predicted and simulated quantiles, one source scaled{of}"),
        reading: format!(
            "Predicted / simulated, the latter in a run of {} cases with that source scaled. `Beyond` marks a quantile beyond \
             its limit; a prediction that is off by more than {}\u{a0}% of the quantile with everything as it is says by how much. \
             The {MOST_ROWS} sources whose removal lowers the quantile most are shown; the files {FILE} and {REQUIRED} have all, \
             bias and standard deviation too.",
            count(study.rows),
            percent(OFF),
        ),
        columns: columns.map(|(name, numbers)| Heading { name, numbers }).into(),
        rows,
        csv: if any { REQUIRED } else { FILE }.to_owned(),
    }
}
