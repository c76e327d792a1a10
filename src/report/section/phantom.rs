//! What a virtual phantom shows: points, distances, the pointer, a disturbed camera.

use super::limits::ALWAYS;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, IntervalRow, Intervals, intervals};
use crate::report::evidence::{Chart, Entry, Files, Heading, Section, Table};
use crate::report::phantom::Phantom;
use crate::report::words::{count, number};
use crate::study::{DISTURBANCES, PhantomStudy, PointSummary};

pub fn question(phantom: &Phantom) -> Section {
    let size = phantom.phantom;
    let text = format!(
        "How well does the tracker alone find points, distances and the pointer's axis, and what do they seem to do when the \
         camera is disturbed? A cube of 27 divots, {} mm apart, stands with its middle {} mm before the camera; the probe's \
         tip is pivoted once and each divot is held for as many frames as the experiment says. This is done in {} trials of \
         each arm, each with a new device. No landmark, no posture and no hip is part of it. Axes are the camera's: Z along \
         the optical axis.",
        number(size.spacing_mm, 0),
        number(size.distance_mm, 0),
        count(phantom.plan.trials),
    );
    let entries = vec![Entry::heading("asked", "Question"), Entry::paragraph(text)];
    Section { id: "question", title: "Question", entries }
}

/// What is taken from a study.
type Part = fn(&PhantomStudy) -> &[PointSummary];

pub fn points(phantom: &Phantom, files: &mut Files) -> Section {
    let part: Part = |study| &study.points;
    let mut entries = vec![Entry::paragraph(
        "The position error of a single point: mean tip of a hold minus the true place of the divot. The bias is what every \
         device has in common at that place; what differs from device to device is in the standard deviation.",
    )];
    entries.extend(tables(phantom, files, "phantom-points", "Position error by place, mm", part));
    entries.extend(charts(phantom, "phantom-points", "95th percentile of the position error by place", "mm", part));
    Section { id: "points", title: "Single points over the volume", entries }
}

pub fn distances(phantom: &Phantom, files: &mut Files) -> Section {
    let part: Part = |study| &study.distances;
    let mut entries = vec![Entry::paragraph(
        "The error of the distance between two divots, all pairs of equal true distance together. What moves both points alike \
         cancels, so distances may be better than points.",
    )];
    entries.extend(tables(phantom, files, "phantom-distances", "Error of distances by their length, mm", part));
    entries.extend(charts(
        phantom,
        "phantom-distances",
        "95th percentile of the distance error by length",
        "mm",
        part,
    ));
    Section { id: "distances", title: "Distances between points", entries }
}

pub fn pointers(phantom: &Phantom, files: &mut Files) -> Section {
    let part: Part = |study| &study.tilted;
    let mut entries = vec![Entry::paragraph(
        "The middle divot touched with the pointer tilted: a tip that is calibrated wrongly shows as an error that turns with \
         the pointer. Below, the angle by which the pointer's axis, from tip to tracker, is off at each place.",
    )];
    entries.extend(tables(phantom, files, "phantom-tilted", "Position error with the pointer tilted, mm", part));
    let part: Part = |study| &study.pointers;
    entries.extend(tables(
        phantom,
        files,
        "phantom-pointer",
        "Angle of the pointer's axis off the true one, degrees",
        part,
    ));
    entries.extend(charts(
        phantom,
        "phantom-pointer",
        "95th percentile of the pointer's angle by place",
        "deg",
        part,
    ));
    Section { id: "pointer", title: "The pointer tilted, and its axis", entries }
}

pub fn disturbed(phantom: &Phantom, files: &mut Files) -> Section {
    let mut entries = vec![Entry::paragraph(
        "The cube is touched, the camera is disturbed, and the cube is touched again: a point that has not moved seems to have \
         moved by this much. Every trial has the disturbance, however rare it is in the experiment; noise of both rounds is in \
         it too, and without a disturbance in the experiment it is all there is.",
    )];
    let parts: [Part; 2] = [|study| &study.disturbed[0], |study| &study.disturbed[1]];
    for (what, part) in DISTURBANCES.into_iter().zip(parts) {
        let name = format!("phantom-{}", what.replace(' ', "-"));
        let caption = format!("Seeming displacement, camera {what}, mm");
        entries.extend(tables(phantom, files, &name, &caption, part));
        let caption = format!("95th percentile of the seeming displacement, camera {what}");
        entries.extend(charts(phantom, &name, &caption, "mm", part));
    }
    Section { id: "disturbed", title: "Before and after a disturbance", entries }
}

pub fn limits() -> Section {
    let mut items = vec![
        "The phantom's places are taken as known without error.".to_owned(),
        "Points, distances and their statistics follow the scope of ASTM F2554; the angle of the pointer is outside it. No \
         conformity with that standard is stated."
            .to_owned(),
    ];
    items.extend(ALWAYS.iter().map(|text| (*text).to_owned()));
    Section { id: "limits", title: "Limits of what is said", entries: vec![Entry::List { items }] }
}

fn tables(phantom: &Phantom, files: &mut Files, name: &str, caption: &str, part: Part) -> Vec<Entry> {
    let axes = phantom.studies.first().and_then(|(_, study)| part(study).first()).map_or(1, |first| first.bias.len());
    let mut header: Vec<String> = ["arm", "what", "x_mm", "y_mm", "z_mm", "n"].map(str::to_owned).into();
    for what in ["bias", "sd"] {
        let ends: &[&str] = if axes == 3 { &["_x", "_y", "_z"] } else { &[""] };
        header.extend(ends.iter().map(|end| format!("{what}{end}")));
    }
    header.extend(["rms", "p95", "p95_low", "p95_high"].map(str::to_owned));
    let finite = |value: &f64| Cell::from(value.is_finite().then_some(*value));
    let mut cells = Vec::new();
    for (variant, study) in &phantom.studies {
        for row in part(study) {
            let mut line: Vec<Cell> = vec![variant.arm.as_str().into(), row.name.as_str().into()];
            line.extend((0..3).map(|axis| Cell::from(row.place.map(|place| place[axis]))));
            line.push(row.n.into());
            line.extend(row.bias.iter().chain(&row.sd).map(finite));
            line.extend([finite(&row.rms), finite(&row.p95), row.p95_interval.0.into(), row.p95_interval.1.into()]);
            cells.push(line);
        }
    }
    let csv = files.add(name, &header, cells);
    let one = |(variant, study): &(&crate::experiment::Variant, PhantomStudy), index: usize| {
        Entry::Table(Table {
            id: format!("table-{name}-{}", index + 1),
            caption: if phantom.studies.len() > 1 { format!("{caption}, {}", variant.arm) } else { caption.to_owned() },
            reading: "Bias and standard deviation on the camera's X, Y and Z where there are three; root mean square and 95th \
                      percentile are those of the length of the error."
                .to_owned(),
            columns: [("where", false), ("bias", true), ("sd", true), ("rms", true), ("95 % within", true)]
                .map(|(name, numbers)| Heading { name: name.to_owned(), numbers })
                .into(),
            rows: part(study).iter().map(line).collect(),
            csv: csv.clone(),
        })
    };
    phantom.studies.iter().enumerate().map(|(index, study)| one(study, index)).collect()
}

fn line(row: &PointSummary) -> Vec<String> {
    let several = |values: &[f64]| values.iter().map(|value| number(*value, 3)).collect::<Vec<_>>().join(", ");
    vec![whereabouts(row), several(&row.bias), several(&row.sd), number(row.rms, 3), number(row.p95, 3)]
}

fn whereabouts(row: &PointSummary) -> String {
    match row.place {
        Some(_) if row.name.starts_with("tilted") => row.name.clone(),
        Some([x, y, z]) => format!("{}, {}, {}", number(x, 0), number(y, 0), number(z, 0)),
        None => row.name.clone(),
    }
}

fn charts(phantom: &Phantom, name: &str, caption: &str, unit: &'static str, part: Part) -> Vec<Entry> {
    let mut charts = Vec::new();
    for (index, (variant, study)) in phantom.studies.iter().enumerate() {
        let labels: Vec<String> = part(study).iter().map(whereabouts).collect();
        let rows: Vec<IntervalRow> = part(study)
            .iter()
            .zip(&labels)
            .map(|(row, label)| IntervalRow {
                label,
                point: row.p95,
                low: row.p95_interval.0.unwrap_or(f64::NAN),
                high: row.p95_interval.1.unwrap_or(f64::NAN),
            })
            .collect();
        let several = phantom.studies.len() > 1;
        let caption = if several { format!("{caption}, {}", variant.arm) } else { caption.to_owned() };
        let reading = "95 of 100 trials are within the point of a row; the stroke is its 95\u{a0}% interval from order statistics, \
                       where trials are independent.";
        charts.push(Chart {
            id: if several { format!("{name}-{}", index + 1) } else { name.to_owned() },
            svg: intervals(
                Alternative { title: &caption, description: reading },
                &Intervals { axis: Axis { label: "95th percentile", unit }, rows: &rows, reference: None },
            ),
            caption,
            reading: reading.to_owned(),
            wide: false,
            csv: name.to_owned(),
        });
    }
    vec![Entry::Charts { charts }]
}
