//! Recorded cases: what is written down is read back, measured as it was, and what is wrong with it is named.

use navassay::experiment::Plan;
use navassay::measurement::{FemurFeature, OUTPUTS};
use navassay::record::recording::{Recordings, read_recordings};
use navassay::record::truths::read_truths;
use navassay::replay::{Reading, complaints, replay};
use navassay::trial::{RecordOptions, TrialRunner};
use std::fmt::Write as _;
use std::path::Path;

/// Few frames, so that fifty cases of every kind take a moment; three reductions, repeated captures, a default noise.
fn experiment(side: &str, plane: &str, femur: &str) -> Plan {
    let text = format!(
        "seed = 11\n[anatomy]\nside = \"{side}\"\n[measure]\nplane = \"{plane}\"\nfemur = \"{femur}\"\n\
         measurand_plane = \"bony\"\n\
         [protocol]\ntip_pivot_frames = 12\nlandmark_frames = 3\nlandmark_captures = 2\nlevel_captures = 3\n\
         divot_frames = 3\ntrace_frames = 14\ntrace_unevenness = 0.2\ncentre_frames = 12\ncup_frames = 4\n\
         [[reduction]]\nname = \"short\"\n\
         [[reduction]]\nname = \"long\"\nadded_leg_length_mm = 3.0\nflexion_deg = 10.0\n\
         [[reduction]]\nname = \"wide\"\nadded_offset_mm = 2.0\n"
    );
    Plan::parse("trial.toml", &text).unwrap_or_else(|error| panic!("{error}\n{text}"))
}

/// The readings and errors of recorded trials are those of the run, to 1e-9.
fn round_trip(options: RecordOptions, cases: u64) {
    let folder = tempfile::tempdir().expect("a folder");
    for side in ["right", "left"] {
        for plane in ["bony", "level"] {
            for femur in ["divot", "circle", "ellipse", "three-divots"] {
                let plan = experiment(side, plane, femur);
                let runner = TrialRunner::new(&plan.variants[0], plan.seed);
                let files = runner.record(&plan.variants[0], 0..=cases - 1, options, folder.path());
                let [recordings, truth, file] = files.expect("room for recordings");
                let asked = Plan::read_replay(&file).unwrap_or_else(|error| panic!("{error}"));
                assert!(asked.warnings.is_empty(), "{:?}", asked.warnings);
                let recordings = read_recordings(&recordings, &FemurFeature::ALL).expect("what was just written");
                let truths = read_truths(&truth).expect("what was just written");
                let found = replay(&asked, &recordings, Some(&truths));
                assert!(complaints(&recordings, Some(&truths), &found).is_empty());
                assert_eq!(found.readings.len() as u64, 3 * cases);
                for reading in &found.readings {
                    let (_, estimates, true_values) = runner.case(reading.case as u64);
                    let index = usize::try_from(reading.take - 1).expect("a reduction");
                    let expected = estimates.reductions[index].readings;
                    let procedure = &plan.variants[0].procedure;
                    let truth = true_values.reading(index, plan.variants[0].measurand_plane, procedure.angles);
                    for (place, output) in OUTPUTS.into_iter().enumerate() {
                        let expected = expected.get(output).expect("a reading");
                        let got = reading.value(place).expect("a reading");
                        let error = reading.error(place).expect("a known truth");
                        assert!((got - expected).abs() < 1e-9, "{side} {plane} {femur} {output:?}: {got} {expected}");
                        assert!((error - (expected - truth[place])).abs() < 1e-9);
                    }
                }
            }
        }
    }
}

#[test]
fn identity_fifty_recorded_trials_of_every_kind_read_as_the_run() {
    round_trip(RecordOptions::default(), 50);
}

#[test]
fn identity_fifty_recorded_trials_of_every_kind_read_as_the_run_from_markers() {
    round_trip(RecordOptions { markers: true, parquet: false }, 50);
}

#[test]
fn identity_recorded_trials_read_as_the_run_from_parquet() {
    round_trip(RecordOptions { markers: false, parquet: true }, 2);
    round_trip(RecordOptions { markers: true, parquet: true }, 2);
}

/// A recording and the plan that replays it.
struct Recorded {
    folder: tempfile::TempDir,
    plan: Plan,
}

impl Recorded {
    fn new(plan: &str, femur: &str, options: RecordOptions) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let simulated = experiment("right", plan, femur);
        let runner = TrialRunner::new(&simulated.variants[0], simulated.seed);
        let files = runner.record(&simulated.variants[0], 0..=3, options, folder.path()).expect("room");
        let plan = Plan::read_replay(&files[2]).unwrap_or_else(|error| panic!("{error}"));
        Self { folder, plan }
    }

    fn path(&self, name: &str) -> std::path::PathBuf {
        self.folder.path().join(name)
    }

    fn lines(&self) -> Vec<String> {
        let text = std::fs::read_to_string(self.path("recordings.csv")).expect("recordings");
        text.lines().map(str::to_owned).collect()
    }

    fn write(&self, lines: &[String]) -> Recordings {
        let path = self.path("recordings.csv");
        std::fs::write(&path, lines.join("\n") + "\n").expect("room");
        read_recordings(&path, &[self.plan.variants[0].procedure.femur]).expect("a table")
    }

    fn readings(&self, recordings: &Recordings) -> Vec<Reading> {
        replay(&self.plan, recordings, None).readings
    }

    /// What is said of a recording, and how many of its four cases are measured whole.
    fn said(&self, recordings: &Recordings) -> (String, usize) {
        let found = replay(&self.plan, recordings, None);
        let said: Vec<_> = complaints(recordings, None, &found)
            .iter()
            .map(|complaint| match &complaint.help {
                Some(help) => format!("{complaint}\n    {help}"),
                None => complaint.to_string(),
            })
            .collect();
        let whole = found
            .readings
            .chunk_by(|one, next| one.case == next.case)
            .filter(|readings| readings.iter().all(Reading::is_whole))
            .count();
        (said.join("\n"), whole)
    }
}

fn equal(one: &[Reading], other: &[Reading], within: f64) {
    assert_eq!(one.len(), other.len());
    for (a, b) in one.iter().zip(other) {
        assert_eq!((a.take, a.variant), (b.take, b.variant));
        for output in 0..OUTPUTS.len() {
            let difference = a.value(output).expect("a reading") - b.value(output).expect("a reading");
            assert!(difference.abs() <= within, "{output}: {difference}");
        }
    }
}

/// Neither the order of the rows nor that of the columns means anything, nor the sign of a quaternion.
#[test]
fn identity_rows_and_columns_in_any_order() {
    let recorded = Recorded::new("level", "ellipse", RecordOptions::default());
    let lines = recorded.lines();
    let expected = recorded.readings(&recorded.write(&lines));
    let mixed: Vec<String> = lines
        .iter()
        .map(|line| {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            if line.contains("probe") || !line.starts_with("case") {
                for cell in cells[5..9].iter_mut().filter(|cell| !cell.is_empty()) {
                    *cell = match cell.strip_prefix('-') {
                        Some(rest) => rest.to_owned(),
                        None => format!("-{cell}"),
                    };
                }
            }
            cells.rotate_left(4);
            cells.join(",")
        })
        .collect();
    let mut mixed_rows = mixed[1..].to_vec();
    mixed_rows.reverse();
    // The cases stay in the order of their first rows: those of the last case come first now.
    let found = recorded.write(&[&mixed[..1], &mixed_rows[..]].concat());
    let mut readings = recorded.readings(&found);
    readings.sort_by_key(|reading| (std::cmp::Reverse(reading.case), reading.take));
    equal(&readings, &expected, 1e-9);
}

/// A step's take is the last one not greater than the reduction's, else the first; a feature not asked for is ignored.
#[test]
fn identity_takes_are_chosen_as_stated() {
    let recorded = Recorded::new("bony", "divot", RecordOptions::default());
    let lines = recorded.lines();
    let expected = recorded.readings(&recorded.write(&lines));
    let moved = |line: &String, from: &str, to: u64| {
        let cells: Vec<&str> = line.split(',').collect();
        let mut cells: Vec<String> = cells.into_iter().map(str::to_owned).collect();
        if cells[1] == from {
            cells[2] = to.to_string();
        }
        cells.join(",")
    };
    // Every take of the cup begins at 3: the first is used for the reductions 1 and 2 as well.
    let later: Vec<String> = lines.iter().map(|line| moved(line, "cup", 3)).collect();
    equal(&recorded.readings(&recorded.write(&later)), &expected, 0.0);
    // Another cup, from another case, at take 2: reductions 2 and 3 read it, reduction 1 does not.
    let of_case = |case: &str, step: &str| -> Vec<String> {
        lines.iter().filter(|line| line.starts_with(&format!("{case},{step},"))).cloned().collect()
    };
    let mut second: Vec<String> = lines.clone();
    second.extend(of_case("1", "cup").iter().map(|line| moved(&line.replacen("1,", "0,", 1), "cup", 2)));
    // A feature that is not asked for, with numbers that would be refused.
    second.push("0,femur-baseline-circle,1,1,1,1,0,0,0,0.001,0,0,,,".to_owned());
    let found = recorded.readings(&recorded.write(&second));
    assert_eq!(found.len(), 12);
    assert_eq!(found[0].value(0), expected[0].value(0));
    assert_eq!(found[1].value(0), found[2].value(0));
    assert!((found[1].value(0).unwrap() - expected[0].value(0).unwrap()).abs() > 0.01);
    assert_eq!(found[1].value(2), expected[1].value(2));
}

/// The tip as drawn is used where no pivot was recorded, and only there.
#[test]
fn identity_a_drawn_tip_stands_in_for_a_missing_pivot() {
    let recorded = Recorded::new("bony", "divot", RecordOptions::default());
    let lines = recorded.lines();
    let with_pivot = recorded.readings(&recorded.write(&lines));
    let text = std::fs::read_to_string(recorded.path("replay.toml")).expect("a file");
    let text = text.replace("[tools]", "[tools]\nprobe_tip_mm = [3.5, -155.0, 2.0]");
    let plan = Plan::parse_replay("replay.toml", &text).unwrap_or_else(|error| panic!("{error}"));
    let recordings = recorded.write(&lines);
    equal(&replay(&plan, &recordings, None).readings, &with_pivot, 0.0);
    let without: Vec<String> = lines.iter().filter(|line| !line.contains("tip-pivot")).cloned().collect();
    let recordings = recorded.write(&without);
    let drawn = replay(&plan, &recordings, None).readings;
    assert!((drawn[0].value(0).expect("a reading") - with_pivot[0].value(0).expect("a reading")).abs() < 1.0);
    assert_ne!(drawn[0].value(0), with_pivot[0].value(0));
    assert!(recorded.readings(&recordings).iter().all(|reading| reading.value(0).is_none()));
}

/// Frames with a hidden marker are fitted from the three that are seen.
#[test]
fn identity_three_of_four_markers_are_enough() {
    let recorded = Recorded::new("bony", "three-divots", RecordOptions { markers: true, parquet: false });
    let lines = recorded.lines();
    let expected = recorded.readings(&recorded.write(&lines));
    let hidden: Vec<String> = lines
        .iter()
        .filter(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            !(cells[1] == "cup" && cells[5] == "2")
        })
        .cloned()
        .collect();
    assert!(hidden.len() < lines.len());
    let found = recorded.readings(&recorded.write(&hidden));
    for (one, other) in found.iter().zip(&expected) {
        let difference = (one.value(0).expect("a reading") - other.value(0).expect("a reading")).abs();
        assert!(0.0 < difference && difference < 0.5, "{difference}");
        assert_eq!(one.value(2), other.value(2));
    }
}

/// Markers counted from 0, and whole numbers with a point, as some programs write them.
#[test]
fn identity_markers_from_zero_and_numbers_with_a_point() {
    let recorded = Recorded::new("level", "circle", RecordOptions { markers: true, parquet: false });
    let lines = recorded.lines();
    let expected = recorded.readings(&recorded.write(&lines));
    let other: Vec<String> = lines
        .iter()
        .map(|line| {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            if let Ok(marker) = cells[5].parse::<u64>() {
                cells[5] = format!("{}.0", marker - 1);
                cells[4] += ".0";
            }
            cells.join(",")
        })
        .collect();
    equal(&recorded.readings(&recorded.write(&other)), &expected, 0.0);
}

/// Every kind of mistake, each with its file, row and case; all other cases are measured.
#[test]
fn regress_what_is_wrong_with_recordings() {
    let recorded = Recorded::new("bony", "divot", RecordOptions::default());
    let lines = recorded.lines();
    let row = |case: &str, step: &str, nth: usize| {
        let begins = format!("{case},{step},");
        let found = lines.iter().enumerate().filter(|(_, line)| line.starts_with(&begins)).nth(nth);
        found.expect("a row").0
    };
    let changed = |case: &str, step: &str, column: usize, value: &str| {
        let mut changed = lines.clone();
        let place = row(case, step, 0);
        let mut cells: Vec<&str> = changed[place].split(',').collect();
        cells[column] = value;
        changed[place] = cells.join(",");
        changed
    };
    let without = |case: &str, step: &str| -> Vec<String> {
        lines.iter().filter(|line| !line.starts_with(&format!("{case},{step},"))).cloned().collect()
    };
    let mut twice = lines.clone();
    twice.push(lines[row("2", "cup", 1)].clone());
    let metres: Vec<String> = lines
        .iter()
        .map(|line| {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            if cells[0] == "2" {
                for cell in &mut cells[9..12] {
                    *cell = cell.parse::<f64>().map_or_else(|_| String::new(), |mm| (mm / 1000.0).to_string());
                }
            }
            cells.join(",")
        })
        .collect();
    let mut torn = lines.clone();
    torn.last_mut().expect("a row").truncate(40);
    let mistakes = [
        ("a missing step", without("2", "centre-native"), 3),
        ("a case without a pubis", without("2", "pubis"), 3),
        ("a case without a tip pivot", without("2", "tip-pivot"), 3),
        ("a case without a reduction", without("2", "femur-reduction-divot"), 3),
        ("a quaternion far from unit", changed("2", "cup", 5, "2.5"), 3),
        ("not a number", changed("2", "pubis", 9, "NaN"), 3),
        ("words", changed("2", "pubis", 10, "12;5"), 3),
        ("a blank", changed("2", "asis-left", 11, ""), 3),
        ("a duplicate frame", twice, 3),
        ("metres", metres, 3),
        ("a step of no name", changed("2", "asis-left", 1, "asis_left"), 3),
        ("a divot that is not there", changed("2", "asis-left", 3, "2"), 3),
        ("an up vector at a landmark", changed("2", "asis-left", 12, "1"), 3),
        ("a row that ends too early", torn, 3),
    ];
    let mut page = String::new();
    for (name, lines, whole) in mistakes {
        let (said, measured) = recorded.said(&recorded.write(&lines));
        assert_eq!(measured, whole, "{name}: {said}");
        let _ = write!(page, "{name}; {measured} of 4 cases measured whole\n{said}\n\n");
    }
    insta::assert_snapshot!(page);
}

/// A file that is no recording at all stops everything, and says why.
#[test]
fn regress_what_is_no_recording() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut page = String::new();
    for (name, text) in [
        ("no-columns.csv", ""),
        ("other.csv", "a,b\n1,2\n"),
        ("no-frame.csv", "case,step,take,divot,qw,qx,qy,qz,x_mm,y_mm,z_mm\n"),
        ("in-metres.csv", "case,step,take,divot,frame,qw,qx,qy,qz,x_m,y_m,z_m\n"),
        ("text.parquet", "case,step\n"),
    ] {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("room");
        let error = read_recordings(&path, &FemurFeature::ALL).expect_err("no recording").to_string();
        let folder = folder.path().display().to_string();
        let _ = writeln!(page, "{}", error.replace(&folder, "").replace('/', ""));
    }
    let missing = read_recordings(Path::new("no-such-file.csv"), &FemurFeature::ALL).expect_err("no file");
    page.push_str(&missing.to_string());
    insta::assert_snapshot!(page);
}
