//! The noise that the recordings show.

use crate::record::tables::Cell;
use crate::replay::{Fitted, NoiseFit};
use crate::report::chart::{Alternative, Axis, IntervalRow, Intervals, intervals};
use crate::report::evidence::{Chart, Entry, Files, Heading, Section, Table};
use crate::report::words::{count, decimals, number, percent};

const COLUMNS: [&str; 9] =
    ["id", "meaning", "unit", "sd", "sd_low", "sd_high", "degrees_of_freedom", "captures", "from"];

pub fn section(fit: &NoiseFit, files: &mut Files) -> Section {
    let cells = fit.rows.iter().map(|row| {
        let spread = row.spread;
        vec![
            row.id.into(),
            row.meaning.as_str().into(),
            row.unit.into(),
            spread.map(|s| s.sd).into(),
            spread.map(|s| s.low).into(),
            spread.map(|s| s.high).filter(|high| high.is_finite()).into(),
            spread.map(|s| s.freedom).into(),
            Cell::from(row.captures),
            row.from.as_str().into(),
        ]
    });
    let csv = files.add("fit", &COLUMNS, cells.collect());
    let entries = vec![
        Entry::paragraph(
            "Estimated from the recordings alone, by how frames scatter within a capture and captures within a case; no \
             truth is needed, so what is the same in every capture of a case cannot be seen. What was held still shows the \
             camera's noise; what was touched by hand shows that and tremor together. fitted.toml is an experiment that \
             runs with these numbers; its blocks carry the basis \"measured\".",
        ),
        Entry::Table(table(fit, csv.clone())),
        Entry::Charts {
            charts: [("mm", "Fitted noise in mm"), ("deg", "Fitted noise in degrees")]
                .into_iter()
                .filter_map(|(unit, caption)| chart(fit, unit, caption, &csv))
                .collect(),
        },
    ];
    Section { id: "fit", title: "Noise fitted to the recordings", entries }
}

fn table(fit: &NoiseFit, csv: String) -> Table {
    let row = |row: &Fitted| {
        let value = row.spread.map_or_else(
            || "not shown".to_owned(),
            |s| {
                let digits = decimals(Some((s.high - s.low) / 4.0).filter(|se| se.is_finite()));
                format!(
                    "{} ({}\u{a0}to\u{a0}{})",
                    number(s.sd, digits),
                    number(s.low, digits),
                    if s.high.is_finite() { number(s.high, digits) } else { "open".to_owned() }
                )
            },
        );
        vec![
            row.id.to_owned(),
            row.meaning.clone(),
            row.unit.to_owned(),
            value,
            count(row.captures),
            row.from.clone(),
        ]
    };
    let heads = ["id", "what", "unit", "standard deviation", "captures", "from"];
    Table {
        id: "table-fit".to_owned(),
        caption: "Noise as the recordings show it".to_owned(),
        reading: format!(
            "Standard deviation with its {}\u{a0}% interval (chi-squared; where one variance is taken off another, off the \
             ends as well; those of jitter.position and jitter.rotation hold together). `not shown` means that the recordings hold nothing to estimate it from, for example because no \
             landmark was touched twice.",
            percent(fit.confidence)
        ),
        columns: heads
            .map(|name| Heading {
                name: name.to_owned(),
                numbers: ["standard deviation", "captures"].contains(&name),
            })
            .into(),
        rows: fit.rows.iter().map(row).collect(),
        csv,
    }
}

fn chart(fit: &NoiseFit, unit: &str, caption: &str, csv: &str) -> Option<Chart> {
    let rows: Vec<IntervalRow> = fit
        .rows
        .iter()
        .filter(|row| row.unit == unit)
        .filter_map(|row| {
            let spread = row.spread?;
            Some(IntervalRow { label: row.id, point: spread.sd, low: spread.low, high: spread.high })
        })
        .collect();
    if rows.is_empty() {
        return None;
    }
    let reading = "A long stroke is an estimate from few captures: record more of them before it is used.";
    Some(Chart {
        id: format!("fit-{unit}"),
        caption: caption.to_owned(),
        reading: reading.to_owned(),
        svg: intervals(
            Alternative { title: caption, description: reading },
            &Intervals { axis: Axis { label: "Standard deviation", unit }, rows: &rows, reference: None },
        ),
        wide: false,
        csv: csv.to_owned(),
    })
}
