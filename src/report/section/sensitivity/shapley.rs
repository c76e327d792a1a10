//! Shapley effects in a table, charts and sentences.

use super::{Arm, Tables, capital};
use crate::analysis::Estimate;
use crate::analysis::indices::{RESAMPLES, above_zero};
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, IntervalRow, Intervals, intervals};
use crate::report::evidence::{Chart, Entry, Files, Heading, Table};
use crate::report::words::{count, estimate, number, percent};
use crate::study::sensitivity::{CONFIDENCE, MOST_DROPPED, ShapleyStudy};

const FILE: &str = "shapley";

/// Rows of the file.
#[derive(Default)]
pub struct Rows(Vec<Vec<Cell>>);

impl Rows {
    pub fn write(self, files: &mut Files) {
        if !self.0.is_empty() {
            let header = [
                "arm",
                "output",
                "unit",
                "rows",
                "dropped",
                "variance",
                "group",
                "effect",
                "effect_low",
                "effect_high",
            ];
            files.add(FILE, &header, self.0);
        }
    }
}

pub fn entries(arm: &Arm, study: &ShapleyStudy, tables: &mut Tables) -> Vec<Entry> {
    let text = format!(
        "A group's Shapley effect is its share of the variance where groups may be correlated: what it adds to the variance of \
         the groups before it, averaged over all orders (Song et al. 2016). The effects add up to 1, and what correlated groups \
         have in common is split between them. Estimated from {} rows of {} cases each, every set of groups drawn anew given the \
         others. Intervals are {}\u{a0}% percentile intervals of {RESAMPLES} bootstrap samples of whole rows.",
        count(study.rows),
        study.cases,
        percent(CONFIDENCE),
    );
    let mut items = Vec::new();
    let mut rows = Vec::new();
    let mut charts = Vec::new();
    for (output, found) in &study.outputs {
        let name = output.name();
        let many = found.dropped as f64 > MOST_DROPPED * (found.rows + found.dropped) as f64;
        let mut ranked: Vec<_> = study.groups.iter().zip(&found.effects).collect();
        ranked.sort_by(|a, b| b.1.value.total_cmp(&a.1.value));
        let told: Vec<String> = ranked
            .iter()
            .filter(|(_, effect)| above_zero(effect))
            .take(3)
            .map(|(group, effect)| format!("{} ({}\u{a0}%)", group.name, number(100.0 * effect.value, 0)))
            .collect();
        items.push(match (found.effects.is_empty(), many, told.is_empty()) {
            (true, ..) => format!("{}: the error does not vary, so nothing is to be shared out.", capital(name)),
            (_, true, _) => format!(
                "{}: more than {}\u{a0}% of the rows were dropped; no ranking is stated.",
                capital(name),
                percent(MOST_DROPPED)
            ),
            (_, _, true) => format!("{}: no group stands out.", capital(name)),
            _ => format!("{}: most comes from {}.", capital(name), told.join(", ")),
        });
        for (group, effect) in study.groups.iter().zip(&found.effects) {
            let mark = if many { " (too many rows dropped)" } else { "" };
            let zero = if above_zero(effect) { "" } else { ", not distinguishable from zero" };
            rows.push(vec![
                format!("{name}{mark}"),
                group.name.clone(),
                format!("{}{zero}", estimate(Some(*effect))),
            ]);
            let ends = |end: fn(&crate::analysis::Interval) -> f64| Cell::from(effect.interval.as_ref().map(end));
            tables.shapley.0.push(vec![
                arm.name.into(),
                output.id().into(),
                format!("{}2", output.unit().suffix()).into(),
                found.rows.into(),
                found.dropped.into(),
                found.variance.into(),
                group.name.as_str().into(),
                effect.value.into(),
                ends(|interval| interval.low),
                ends(|interval| interval.high),
            ]);
        }
        let bar = |(group, effect): &(&'_ crate::experiment::Group, &Estimate)| {
            let (low, high) = effect.interval.map_or((f64::NAN, f64::NAN), |interval| (interval.low, interval.high));
            (group.name.clone(), effect.value, low, high)
        };
        let bars: Vec<(String, f64, f64, f64)> = ranked.iter().map(bar).collect();
        let bars: Vec<IntervalRow> = bars
            .iter()
            .map(|(label, point, low, high)| IntervalRow { label, point: *point, low: *low, high: *high })
            .collect();
        if !bars.is_empty() {
            let title = format!("Shapley effects, {name}");
            let axis = Axis { label: "Share of the variance", unit: "" };
            let alternative = Alternative { title: &title, description: items.last().map_or("", String::as_str) };
            charts.push(Chart {
                id: format!("{}shapley-{}", arm.prefix, output.id().replace('_', "-")),
                caption: arm.caption(&format!("Shapley effects on the error of {name}")),
                reading: "The further right, the more of the variance; the effects of all groups add up to 1."
                    .to_owned(),
                svg: intervals(alternative, &Intervals { axis, rows: &bars, reference: Some((0.0, "nothing")) }),
                wide: false,
                csv: FILE.to_owned(),
            });
        }
    }
    let columns = [("error of", false), ("group", false), ("Shapley effect", true)];
    vec![
        Entry::heading(format!("{}shapley", arm.prefix), arm.caption("Shares of the variance of correlated groups")),
        Entry::paragraph(text),
        Entry::List { items },
        Entry::Table(Table {
            id: format!("table-{}shapley", arm.prefix),
            caption: arm.caption("Shapley effects"),
            reading: "Shares of the variance; those of one output add up to 1. A group may have a share by its correlation alone."
                .to_owned(),
            columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
            rows,
            csv: FILE.to_owned(),
        }),
        Entry::Charts { charts },
    ]
}
