//! What a bench alone has: its question, what was recorded, what was read of each case, and what fixes the numbers.

use super::limits::ALWAYS;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::replay::Reading;
use crate::report::bench::Bench;
use crate::report::evidence::{Entry, Files, Heading, Section, Table};
use crate::report::words::{count, number, quoted, with_unit};
use crate::study::measured_in_words;

/// Rows of a table on the page, at most; its file holds all.
const ROWS: usize = 60;

/// Columns before the outputs of tables/readings.csv.
pub const READINGS: [&str; 5] = ["case", "take", "plane", "femur", "angles"];

pub fn question(bench: &Bench) -> Section {
    let plan = bench.plan;
    let given = |text: &Option<String>, what: &str| match text {
        Some(text) => text.clone(),
        None => format!("Not given: the experiment file states no {what}."),
    };
    let recordings = bench.recordings;
    let truth = match bench.truths {
        Some(truths) => format!(
            "What is known to be true of them stands in {} rows of {}.",
            count(truths.rows.len() as u64),
            truths.file
        ),
        None => "No truth is given, so there are readings and no errors.".to_owned(),
    };
    let entries = vec![
        Entry::heading("asked", "Question"),
        Entry::paragraph(given(&plan.question, "question")),
        Entry::heading("context-of-use", "Context of use"),
        Entry::paragraph(given(&plan.context_of_use, "context of use")),
        Entry::heading("method", "How it is answered"),
        Entry::paragraph(format!(
            "{} recorded cases in {} rows of {} were measured by the same code that measures simulated cases. {truth} \
             Error is reading minus truth. A case counts once, by its last reduction whose truth is known. At each \
             reduction every other step is taken from its last take that is not later, else from its first.",
            count(recordings.cases.len() as u64),
            count(recordings.rows),
            recordings.file,
        )),
    ];
    Section { id: "question", title: "Question and context of use", entries }
}

/// How many cases were measured, which were not and why, and every reading.
pub fn readings(bench: &Bench, files: &mut Files) -> Section {
    let (whole, part, refused) = outcomes(bench);
    let mut entries = vec![Entry::paragraph(format!(
        "{} of {} cases were measured whole, {} in part, and {} not at all because their rows are wrong.",
        count(whole),
        count(bench.recordings.cases.len() as u64),
        count(part),
        count(refused),
    ))];
    let csv = files.add("complaints", &["file", "row", "case", "what", "reading_missing"], complaint_cells(bench));
    if !bench.complaints.is_empty() {
        entries.push(Entry::Table(complaints(bench, csv)));
    }
    let header: Vec<String> = READINGS
        .iter()
        .map(ToString::to_string)
        .chain(asked(bench).map(crate::record::truths::output_column))
        .collect();
    let csv = files.add("readings", &header, reading_cells(bench));
    entries.push(Entry::Table(readings_table(bench, csv)));
    files.add("errors", &error_header(bench), error_cells(bench));
    files.add("fits", &FITS, fit_cells(bench));
    Section { id: "readings", title: "Cases and readings", entries }
}

/// Cases measured whole, in part, and not at all.
pub fn outcomes(bench: &Bench) -> (u64, u64, u64) {
    let (mut whole, mut part, mut refused) = (0, 0, 0);
    for readings in bench.replayed.readings.chunk_by(|one, next| one.case == next.case) {
        if readings.iter().all(|reading| reading.read.is_none()) {
            refused += 1;
        } else if readings.iter().all(Reading::is_whole) {
            whole += 1;
        } else {
            part += 1;
        }
    }
    (whole, part, refused)
}

fn complaint_cells(bench: &Bench) -> Vec<Vec<Cell>> {
    let row = |complaint: &crate::replay::Complaint| -> Vec<Cell> {
        let missing = if complaint.serious { "yes" } else { "no" };
        vec![
            complaint.file.as_str().into(),
            complaint.row.into(),
            complaint.case.as_str().into(),
            complaint.what.as_str().into(),
            missing.into(),
        ]
    };
    bench.complaints.iter().map(row).collect()
}

fn complaints(bench: &Bench, csv: String) -> Table {
    let row = |complaint: &crate::replay::Complaint| {
        vec![
            format!("{}, {} {}", complaint.file, complaint.row_word, complaint.row),
            complaint.case.clone(),
            complaint.what.clone(),
            if complaint.serious { "yes" } else { "no" }.to_owned(),
        ]
    };
    let shown = bench.complaints.len().min(ROWS);
    Table {
        id: "table-complaints".to_owned(),
        caption: caption("What is wrong with recorded cases", shown, bench.complaints.len()),
        reading:
            "Each thing with the place where it stands. A case with a wrong row is not measured at all; a step that \
                  is missing leaves out the outputs that need it. All other cases are measured."
                .to_owned(),
        columns: words(&["where", "case", "what", "a reading is missing"]),
        rows: bench.complaints.iter().take(ROWS).map(row).collect(),
        csv,
    }
}

fn caption(what: &str, shown: usize, all: usize) -> String {
    if shown < all { format!("{what}: the first {shown} of {}", count(all as u64)) } else { what.to_owned() }
}

fn words(names: &[&str]) -> Vec<Heading> {
    names.iter().map(|name| Heading { name: (*name).to_owned(), numbers: false }).collect()
}

/// Readings of different procedures; variants that measure alike read alike.
fn distinct<'b>(bench: &'b Bench) -> impl Iterator<Item = &'b Reading> {
    let variants = &bench.plan.variants;
    let first = |variant: usize| (0..variant).all(|other| variants[other].procedure != variants[variant].procedure);
    bench.replayed.readings.iter().filter(move |reading| first(reading.variant))
}

/// The outputs that are asked for.
fn asked(bench: &Bench) -> impl Iterator<Item = Output> {
    bench.plan.asked().outputs()
}

fn kind(bench: &Bench, reading: &Reading) -> Vec<String> {
    let procedure = &bench.plan.variants[reading.variant].procedure;
    vec![
        bench.recordings.cases[reading.case].name.clone(),
        reading.take.to_string(),
        procedure.plane.word().to_owned(),
        procedure.femur.word().to_owned(),
        procedure.angles.word().to_owned(),
    ]
}

fn reading_cells(bench: &Bench) -> Vec<Vec<Cell>> {
    let row = |reading: &Reading| {
        let mut cells: Vec<Cell> = kind(bench, reading).into_iter().map(Cell::from).collect();
        cells[1] = reading.take.into();
        cells.extend(asked(bench).map(|output| Cell::from(reading.value(output.place()))));
        cells
    };
    distinct(bench).map(row).collect()
}

fn readings_table(bench: &Bench, csv: String) -> Table {
    let short = |output: Output| format!("{}, {}", output.name(), output.unit().symbol());
    let mut columns = words(&READINGS);
    columns.extend(asked(bench).map(|output| Heading { name: short(output), numbers: true }));
    let all = distinct(bench).count();
    let row = |reading: &Reading| {
        let mut row = kind(bench, reading);
        let value = |output: Output| {
            reading.value(output.place()).map_or_else(|| "none".to_owned(), |value| number(value, 2))
        };
        row.extend(asked(bench).map(value));
        row
    };
    Table {
        id: "table-readings".to_owned(),
        caption: caption("What was read of each case at each reduction", all.min(ROWS), all),
        reading:
            "One row a reduction and procedure; `none` is an output that could not be read, for the reason given \
                  above. The file holds every digit."
                .to_owned(),
        columns,
        rows: distinct(bench).take(ROWS).map(row).collect(),
        csv,
    }
}

fn error_header(bench: &Bench) -> Vec<String> {
    let mut header: Vec<String> =
        ["arm", "point", "case", "take", "plane", "measurand_plane", "femur", "angles"].map(str::to_owned).into();
    for output in asked(bench) {
        let (id, unit) = (output.id(), output.unit().suffix());
        header.extend(["true", "read", "error"].map(|what| format!("{id}_{what}_{unit}")));
    }
    header
}

fn error_cells(bench: &Bench) -> Vec<Vec<Cell>> {
    let known = bench.replayed.readings.iter().filter(|reading| reading.truth.iter().any(Option::is_some));
    let row = |reading: &Reading| {
        let variant = &bench.plan.variants[reading.variant];
        let mut cells: Vec<Cell> = vec![variant.arm.as_str().into(), variant.point.into()];
        cells.extend(kind(bench, reading).into_iter().map(Cell::from));
        cells[3] = reading.take.into();
        cells.insert(5, variant.measurand_plane.word().into());
        for output in asked(bench).map(Output::place) {
            cells.extend([reading.truth[output], reading.value(output), reading.error(output)].map(Cell::from));
        }
        cells
    };
    known.map(row).collect()
}

const FITS: [&str; 13] = [
    "case",
    "take",
    "plane",
    "femur",
    "angles",
    "pose_rms_mm",
    "tip_pivot_rms_mm",
    "centre_native_rms_mm",
    "centre_new_rms_mm",
    "feature_baseline_rms_mm",
    "feature_reduction_rms_mm",
    "asis_width_mm",
    "unseen_frames",
];

fn fit_cells(bench: &Bench) -> Vec<Vec<Cell>> {
    let row = |reading: &Reading| {
        let fit = reading.fit;
        let mut cells: Vec<Cell> = kind(bench, reading).into_iter().map(Cell::from).collect();
        cells[1] = reading.take.into();
        let values = [
            fit.pose_rms_mm,
            fit.tip_pivot_rms_mm,
            fit.centre_native_rms_mm,
            fit.centre_new_rms_mm,
            fit.feature_baseline_rms_mm,
            fit.feature_reduction_rms_mm,
            fit.asis_width_mm,
        ];
        cells.extend(values.map(|value| Cell::from(value.is_finite().then_some(value))));
        cells.push(fit.unseen_frames.into());
        cells
    };
    distinct(bench).map(row).collect()
}

pub fn reproduction(bench: &Bench, files: &mut Files) -> Section {
    let plan = bench.plan;
    let replay = plan.replay.as_ref();
    let sum = |which: usize| bench.sums[which].clone().unwrap_or_else(|| "none".to_owned());
    let rows = [
        ("experiment file", plan.file_name.clone()),
        ("command", format!("navassay replay {}", quoted(&plan.file_name))),
        ("recordings", replay.map_or_else(String::new, |replay| replay.recordings.clone())),
        ("recordings (SHA-256)", sum(0)),
        ("truth", replay.and_then(|replay| replay.truth.clone()).unwrap_or_else(|| "none".to_owned())),
        ("truth (SHA-256)", sum(1)),
        ("variants", plan.variants.len().to_string()),
        ("program", format!("{} {}", env!("CARGO_PKG_NAME"), env!("CARGO_PKG_VERSION"))),
    ];
    let rows = rows.map(|(what, value)| vec![what.to_owned(), value]).into();
    let entries = vec![
        Entry::paragraph(
            "The same files and version give the same numbers on any machine. run.json holds the experiment file as written \
             and the checksums of the recordings and of the truth; SHA256SUMS holds the checksum of every file written.",
        ),
        files.table(
            "reproduction",
            "What fixes the numbers",
            "Equal checksums mean the same recordings; the command is given in the folder of the experiment file.",
            &["what", "value"],
            rows,
        ),
    ];
    Section { id: "reproduction", title: "Reproduction", entries }
}

pub fn limits(bench: &Bench) -> Section {
    let mut items = vec![
        "Errors are those against the stated truth: how well that is known is not part of them.".to_owned(),
        "Recorded cases stand for the devices, operators and phantoms that were recorded, and for no others."
            .to_owned(),
        "Recordings are measured as they are: no capture is left out because it looked unsteady.".to_owned(),
    ];
    items.extend(ALWAYS[2..].iter().map(|text| (*text).to_owned()));
    let mut definitions: Vec<String> = Vec::new();
    for variant in &bench.plan.variants {
        let item = format!("{}: {}.", variant.arm, measured_in_words(variant));
        if !definitions.contains(&item) {
            definitions.push(item);
        }
    }
    let tools = bench.plan.variants.first().map(|variant| &variant.procedure.instruments);
    let tip = tools.and_then(|tools| tools.probe_tip).map(|tip| {
        let [x, y, z] = [tip.x(), tip.y(), tip.z()].map(|value| number(value, 3));
        format!(
            "Where no tip pivot was recorded the tip is at {} in the tracker's axes.",
            with_unit(&format!("{x}, {y}, {z}"), "mm")
        )
    });
    definitions.extend(tip);
    let entries = vec![
        Entry::heading("always", "What every reader should keep in mind"),
        Entry::List { items },
        Entry::heading("definitions", "What was measured"),
        Entry::List { items: definitions },
    ];
    Section { id: "limits", title: "Limits of what is said", entries }
}
