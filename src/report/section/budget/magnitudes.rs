//! What the scales of a budget mean in the units of what they multiply.

use super::{figure, mark, name, scale_of, shown};
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Heading, Table};
use crate::report::section::inputs::{plain, value_words};
use crate::report::words::{short, unit_of_key, with_unit};
use crate::simulation::{Quantity, Shape};
use crate::study::budget::{BudgetSearch, Magnitude, Strategy};

/// For each magnitude that moves a required output: its size at scale 1, at the limit and assured.
pub fn table(search: &BudgetSearch, files: &mut Files) -> Entry {
    let (mut cells, mut rows) = (Vec::new(), Vec::new());
    for magnitude in &search.magnitudes {
        let &Magnitude { knob, size, key, .. } = magnitude;
        let unit = unit_of_key(key);
        let range = magnitude.range.map(|ends| ends.map(short));
        for found in shown(search) {
            if matches!(found.strategy, Strategy::Alone(other) if other != knob) {
                continue;
            }
            let scales = [&found.limit, &found.assured].map(|answer| scale_of(answer, knob));
            if scales == [None, None] {
                continue;
            }
            let mut row: Vec<Cell> = vec![
                search.variant.arm.as_str().into(),
                found.strategy.word().into(),
                search.knobs[knob].name.as_str().into(),
                magnitude.path.as_str().into(),
                if unit == "°" { "deg" } else { unit }.into(),
                size.into(),
            ];
            row.extend(scales.map(|scale| Cell::from(scale.map(|scale| scale * size))));
            row.extend([magnitude.range.map(|ends| ends[0]).into(), magnitude.range.map(|ends| ends[1]).into()]);
            row.extend(scales.map(|scale| Cell::from(scale.map(|scale| magnitude.plausible(scale).word()))));
            cells.push(row);
            let value = |value: f64| with_unit(&figure(value), unit);
            let at = |scale: Option<f64>| {
                let marked = |scale: f64| format!("{}{}", value(scale * size), mark(magnitude.plausible(scale)));
                scale.map_or_else(|| "none".to_owned(), marked)
            };
            let drawn = match &magnitude.quantity {
                None | Some(Quantity::Drawn(Shape::Normal { .. }, None)) => value(size),
                Some(other) => format!("{} ({})", value(size), value_words(&plain(other), unit)),
            };
            let range =
                range.as_ref().map_or_else(|| "not stated".to_owned(), |[low, high]| format!("{low} to {high}"));
            rows.push(vec![
                name(search, &found.strategy),
                magnitude.path.clone(),
                drawn,
                range,
                at(scales[0]),
                at(scales[1]),
            ]);
        }
    }
    let header = [
        "arm",
        "strategy",
        "source",
        "input",
        "unit",
        "sd",
        "limit_sd",
        "assured_sd",
        "plausible_low",
        "plausible_high",
        "limit_plausible",
        "assured_plausible",
    ];
    let csv = files.add("budget-magnitudes", &header, cells);
    let columns = [
        ("strategy", false),
        ("magnitude", false),
        ("at scale 1", true),
        ("plausible range", true),
        ("limit", true),
        ("assured", true),
    ];
    Entry::Table(Table {
        id: "table-budget-magnitudes".to_owned(),
        caption: "Magnitudes at the limit and at the assured scale".to_owned(),
        reading: "The standard deviation of each drawn quantity, or the size of one that is stated without a distribution (lens, \
                  tissue thickness, clearance of the liner): the figures for a specification of the source. Only those that move \
                  a required output are listed. The plausible range is that of the noise catalogue, in the same unit."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv,
    })
}
