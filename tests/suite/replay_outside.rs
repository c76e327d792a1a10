//! Recorded cases against readings by another implementation. The recordings of `tests/data/bench` are made up (a
//! phantom with invented numbers); the expected readings come from a program in another language with general-purpose
//! solvers (singular values, least squares), written from the definitions of the chain alone: `tests/data/bench/ORIGIN.md`.

use navassay::experiment::Plan;
use navassay::measurement::OUTPUTS;
use navassay::record::recording::read_recordings;
use navassay::record::truths::output_column;
use navassay::replay::{complaints, replay};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/bench").join(name)
}

/// Every plane, feature and definition as an arm.
fn plan(side: &str, drawn_tip: bool) -> Plan {
    let tools = std::fs::read_to_string(data("tools.toml")).expect("the tools");
    let tools = if drawn_tip { tools } else { tools.replace("probe_tip_mm", "# probe_tip_mm") };
    let mut text = format!("[replay]\nrecordings = \"here.csv\"\n[anatomy]\nside = \"{side}\"\n{tools}\n");
    for plane in ["bony", "level"] {
        for femur in ["divot", "circle", "ellipse", "three-divots"] {
            for angles in ["radiographic", "operative", "anatomic"] {
                let _ = write!(
                    text,
                    "[[arm]]\nname = \"{plane} {femur} {angles}\"\nset = {{ \"measure.plane\" = \"{plane}\", \
                     \"measure.femur\" = \"{femur}\", \"measure.angles\" = \"{angles}\" }}\n"
                );
            }
        }
    }
    Plan::parse_replay("bench.toml", &text).unwrap_or_else(|error| panic!("{error}"))
}

fn agrees(name: &str, side: &str, drawn_tip: bool) {
    let plan = plan(side, drawn_tip);
    let features: Vec<_> = plan.variants.iter().map(|variant| variant.procedure.femur).collect();
    let recordings = read_recordings(&data(&format!("{name}.csv")), &features).expect("recordings");
    let found = replay(&plan, &recordings, None);
    assert!(complaints(&recordings, None, &found).is_empty());
    let mut expected = csv::Reader::from_path(data(&format!("{name}.expected.csv"))).expect("readings");
    let header = expected.headers().expect("a header").clone();
    let columns =
        OUTPUTS.map(|output| header.iter().position(|name| name == output_column(output)).expect("a column"));
    let (mut rows, mut worst, mut worst_ellipse) = (0, 0.0_f64, 0.0_f64);
    for row in expected.records() {
        let row = row.expect("a row");
        let reading = found.readings.iter().find(|reading| {
            let procedure = &plan.variants[reading.variant].procedure;
            let words = [
                recordings.cases[reading.case].name.as_str(),
                &reading.take.to_string(),
                procedure.plane.word(),
                procedure.femur.word(),
                procedure.angles.word(),
            ];
            words.iter().zip(&row).all(|(one, other)| *one == other)
        });
        let reading = reading.unwrap_or_else(|| panic!("{row:?}"));
        for (output, column) in columns.into_iter().enumerate() {
            let expected: f64 = row[column].parse().expect("a number");
            let difference = (reading.value(output).expect("a reading") - expected).abs();
            let (within, worst) = if &row[3] == "ellipse" { (1e-4, &mut worst_ellipse) } else { (1e-6, &mut worst) };
            *worst = worst.max(difference);
            assert!(difference < within, "{row:?}: {output} off by {difference}");
        }
        rows += 1;
    }
    assert_eq!(rows, found.readings.len());
    println!("{name}: {rows} readings, largest difference {worst:e}, of ellipses {worst_ellipse:e}");
}

#[test]
fn outside_readings_of_a_right_hip() {
    agrees("right_poses", "right", false);
}

#[test]
fn outside_readings_of_a_left_hip() {
    agrees("left_poses", "left", false);
}

#[test]
fn outside_readings_of_a_left_hip_from_markers() {
    agrees("left_markers", "left", false);
}

#[test]
fn outside_readings_with_a_tip_as_drawn() {
    agrees("right_drawn_tip", "right", true);
}
