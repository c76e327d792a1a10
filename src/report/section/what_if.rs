//! What the errors would be if a source were larger or smaller, from the run's own variance budget.

use crate::experiment::Plan;
use crate::record::tables::Cell;
use crate::report::evidence::{
    Entry, Files, Heading, Panel, PanelOutput, PanelSource, Section, Table, label, prefix,
};
use crate::report::section::answer::limit_words;
use crate::report::words::{count, number, with_unit};
use crate::study::sensitivity::{ArmSensitivity, Change, Compared, OneAtATime, Prediction};

const FILE: &str = "what-if";
/// Sources of an output in the page, at most; the file has all.
const MOST_ROWS: usize = 6;

/// The section; none where no source was run alone.
pub fn section(plan: &Plan, sensitivity: &[ArmSensitivity], files: &mut Files) -> Option<Section> {
    let mut entries = vec![Entry::paragraph(
        "A prediction without another run: the variance that each source has alone, times the square of its scale, and its bias, \
         times its scale, are added to what no source has alone. The 95\u{a0}% quantile is that of normal errors of this bias and \
         standard deviation, times what the errors of this run have beyond normal ones. It was checked for one source at a time, \
         without it, at half and at twice of it; several sources scaled at once, and scales beyond 2, were not checked.",
    )];
    let mut cells = Vec::new();
    for arm in sensitivity {
        let Some(study) = &arm.one_at_a_time else { continue };
        let predictions = Prediction::of(study);
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
            cells.extend(
                prediction.compared(study).iter().map(|compared| row(&arm.variant.arm, prediction, study, compared)),
            );
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
                study.sources[one.source].source,
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

fn panel(plan: &Plan, study: &OneAtATime, predictions: &[Prediction], id: String, of: &str) -> Panel {
    let sources = study.sources.iter().enumerate().map(|(i, source)| PanelSource {
        name: source.source.to_owned(),
        biases: predictions.iter().map(|one| one.alone[i][0]).collect(),
        variances: predictions.iter().map(|one| one.alone[i][1]).collect(),
    });
    let outputs = predictions.iter().map(|one| {
        let limits = plan.requirements.iter().filter(|requirement| requirement.output == one.output);
        let limit = limits.min_by(|a, b| a.limit.total_cmp(&b.limit));
        PanelOutput {
            name: one.output.name().to_owned(),
            unit: one.output.unit().symbol().to_owned(),
            bias: one.rest[0],
            variance: one.rest[1],
            shape: one.shape,
            limit: limit.map(limit_words),
        }
    });
    Panel {
        id,
        caption: format!("Scale each source, from 0 (off) to 2 (twice){of}"),
        sources: sources.collect(),
        outputs: outputs.collect(),
    }
}

fn row(arm: &str, prediction: &Prediction, study: &OneAtATime, compared: &Compared) -> Vec<Cell> {
    let Compared { source, change, predicted, found } = compared;
    let output = prediction.output;
    let mut row: Vec<Cell> = vec![arm.into(), output.id().into(), output.unit().suffix().into()];
    row.extend([Cell::from(study.sources[*source].source), change.word().into()]);
    for (one, other) in [(predicted.bias, found.bias), (predicted.sd, found.sd), (predicted.p95, found.p95)] {
        row.extend([Cell::from(one), other.into()]);
    }
    row
}

fn table(plan: &Plan, study: &OneAtATime, predictions: &[Prediction], prefix: &str, of: &str) -> Table {
    let limited = |one: &&Prediction| plan.requirements.iter().any(|requirement| requirement.output == one.output);
    let any = predictions.iter().any(|one| limited(&one));
    let mut rows = Vec::new();
    for prediction in predictions.iter().filter(|one| !any || limited(one)) {
        let compared = prediction.compared(study);
        let mut order: Vec<usize> = (0..study.sources.len()).collect();
        order.sort_by(|&a, &b| prediction.alone[b][1].total_cmp(&prediction.alone[a][1]));
        for source in order.into_iter().take(MOST_ROWS) {
            let unit = prediction.output.unit().symbol();
            let mut row =
                vec![format!("{}, {unit}", prediction.output.name()), study.sources[source].source.to_owned()];
            for change in [Change::Half, Change::Double] {
                let one = compared.iter().find(|one| one.source == source && one.change == change);
                let words = |of: &dyn Fn(&Compared) -> [f64; 2]| {
                    one.map_or_else(String::new, |one| of(one).map(|value| number(value, 3)).join(" / "))
                };
                row.push(words(&|one| [one.predicted.sd, one.found.sd]));
                row.push(words(&|one| [one.predicted.p95, one.found.p95]));
            }
            rows.push(row);
        }
    }
    let columns = [
        ("error of", false),
        ("source", false),
        ("standard deviation at half: predicted / found", true),
        ("95\u{a0}% within at half", true),
        ("standard deviation at twice", true),
        ("95\u{a0}% within at twice", true),
    ];
    Table {
        id: format!("table-{prefix}what-if"),
        caption: format!("Predicted and found, one source scaled{of}"),
        reading: format!(
            "Before the stroke what is predicted, behind it what a run of {} cases with that source scaled found. The {MOST_ROWS} \
             sources with the largest variance alone are shown, of outputs with a requirement where there are any; the file has \
             all, and each source taken away as well.",
            count(study.rows)
        ),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv: FILE.to_owned(),
    }
}
