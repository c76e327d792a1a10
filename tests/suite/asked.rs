//! Outputs that are not asked for: their steps are left out, no draw of what remains moves, and nothing is said of them.

use crate::support::{Reported, reported};
use navassay::experiment::Plan;
use navassay::measurement::{FemurFeature, OUTPUTS, Output, Step};
use navassay::record::recording::read_recordings;
use navassay::record::tables::Cell;
use navassay::record::truths::read_truths;
use navassay::replay::{Reading, complaints, replay};
use navassay::report::{Bench, Csv, Evidence};
use navassay::trial::{RecordOptions, TrialRunner, Worker};

fn plan(plane: &str, camera: &str, outputs: &[Output]) -> Plan {
    let ids: Vec<_> = outputs.iter().map(|output| format!("\"{}\"", output.id())).collect();
    let text = format!(
        "seed = 5\n[[reduction]]\nname = \"first\"\n[[reduction]]\nname = \"second\"\n[camera]\nmodel = \"{camera}\"\n\
         [measure]\nplane = \"{plane}\"\noutputs = [{}]\n",
        ids.join(", ")
    );
    Plan::parse("asked", &text).unwrap_or_else(|error| panic!("{error:?}"))
}

fn errors(plan: &Plan) -> Vec<[f64; OUTPUTS.len()]> {
    let runner = TrialRunner::new(&plan.variants[0], plan.seed);
    let mut worker = Worker::default();
    (0..20).map(|trial| runner.errors(trial, &mut worker)).collect()
}

const GROUPS: [&[Output]; 4] = [&Output::CUP, &Output::LEG, &Output::CENTRE, &[Output::Anteversion, Output::Offset]];

#[test]
fn identity_asked_outputs_are_the_same_bits_whatever_else_is_asked() {
    for plane in ["bony", "level", "template"] {
        for camera in ["marker", "pose"] {
            let all = errors(&plan(plane, camera, &OUTPUTS));
            for group in GROUPS {
                for (some, all) in errors(&plan(plane, camera, group)).iter().zip(&all) {
                    for output in OUTPUTS {
                        let (some, all) = (some[output.place()], all[output.place()]);
                        let expected = if group.contains(&output) { all } else { f64::NAN };
                        assert_eq!(some.to_bits(), expected.to_bits(), "{plane} {camera} {}", output.id());
                    }
                }
            }
        }
    }
}

#[test]
fn identity_steps_that_nothing_needs_are_left_out() {
    let steps = |plane: &str, outputs: &[Output]| {
        let plan = plan(plane, "marker", outputs);
        let (observed, estimates, _) = TrialRunner::new(&plan.variants[0], plan.seed).case(0);
        assert_eq!(estimates.reductions.len(), 2, "a row for each reduction, whatever is asked");
        let mut steps: Vec<Step> = observed.captures.iter().map(|capture| capture.step).collect();
        steps.dedup();
        steps
    };
    let touched = [Step::TipPivot, Step::AsisLeft, Step::AsisRight, Step::Pubis];
    assert_eq!(steps("bony", &Output::CUP), [&touched[..], &[Step::Cup]].concat());
    assert_eq!(steps("bony", &Output::CENTRE), [&touched[..], &[Step::CentreNative, Step::CentreNew]].concat());
    // The template is laid through the native centre too.
    assert_eq!(steps("template", &Output::CUP), [&touched[..], &[Step::CentreNative, Step::Cup]].concat());
}

#[test]
fn every_section_speaks_of_outputs_that_are_asked_for() {
    let requirement = "[[requirement]]\nid = \"R\"\ntext = \"Length.\"\noutput = \"leg_length\"\nlimit_mm = 3.0\n\
                       proportion = 0.95\nconfidence = 0.95\n";
    let cup = "[measure]\noutputs = [\"inclination\", \"anteversion\"]\n";
    for (text, expected) in [
        (format!("{cup}{requirement}"), "found leg_length, expected one of the outputs in measure.outputs"),
        ("[measure]\noutputs = []\n".to_owned(), "found none, expected at least one output"),
        ("[measure]\noutputs = [\"offset\", \"offset\"]\n".to_owned(), "found \\\"offset\\\", expected each of"),
        ("[measure]\noutputs = [\"length\"]\n".to_owned(), "found \\\"length\\\", expected each of inclination"),
        (
            "[[arm]]\nname = \"a\"\n[[arm]]\nname = \"b\"\nset = { \"measure.outputs\" = [\"offset\"] }\n".to_owned(),
            "others in arm \\\"b\\\"",
        ),
    ] {
        let error = Plan::parse("asked", &format!("seed = 1\n{text}")).expect_err(expected);
        let shown = format!("{error:?}");
        assert!(shown.contains(expected), "{shown}\ndoes not say: {expected}");
    }
}

/// Two planes over a sweep in one document of each kind, with every study that does not take long.
const EVERYTHING: &str = "seed = 5\ntrials = 200\n\
     [report]\nkind = [\"verification\", \"engineering\", \"comparison\"]\n\
     [measure]\nmeasurand_plane = \"level\"\noutputs = [\"inclination\", \"anteversion\"]\n\
     [noise]\nonly = [\"landmark\", \"femur.groove\", \"centre.native\", \"cup.attach\"]\n\
     [[arm]]\nname = \"pubis\"\n\
     [[arm]]\nname = \"population\"\nset = { \"measure.plane\" = \"template\" }\n\
     [[sweep]]\nvary = \"protocol.landmark_frames\"\nover = [5, 20]\n\
     [[requirement]]\nid = \"R\"\ntext = \"Read.\"\noutput = \"anteversion\"\nlimit_deg = 9.0\nproportion = 0.9\n\
     confidence = 0.95\n\
     [sensitivity]\nrows = 64\nask = [\"indices\", \"shapley\", \"one-at-a-time\", \"linear\", \"offsets\"]\n\
     [sensitivity.groups]\nlandmarks = [\"landmark\"]\n";

fn not_asked() -> impl Iterator<Item = Output> {
    OUTPUTS.into_iter().filter(|output| !Output::CUP.contains(output))
}

/// Demands that no file names an output that is not asked for, in a cell or as what a column is of.
fn check_files(files: &[Csv]) {
    for file in files {
        let words =
            file.rows.iter().flatten().filter_map(|cell| if let Cell::Text(text) = cell { Some(text) } else { None });
        for output in not_asked() {
            let of_column = ["true", "read", "error"].map(|what| format!("{}_{what}_", output.id()));
            let heads = file.header.iter().find(|head| of_column.iter().any(|column| head.starts_with(column)));
            assert_eq!(heads, None, "{}", file.name);
            let mut words = words.clone();
            let named = words.find(|word| *word == output.id() || word.contains(output.name()));
            assert_eq!(named, None, "{}", file.name);
        }
    }
}

fn check_page(page: &str) {
    for output in not_asked() {
        assert!(!page.contains(output.name()), "{}", output.name());
    }
    for words in
        ["change of leg length from", "and femoral feature", "shift of the hip centre", "feature on the femur"]
    {
        assert!(!page.contains(words), "{words}");
    }
}

#[test]
fn identity_a_report_speaks_of_outputs_that_are_asked_for() {
    let report = reported(EVERYTHING);
    let Reported { folder, evidence, page } = &report;
    check_files(&evidence.files);
    check_page(page);
    let names: Vec<&str> = evidence.documents.iter().map(|document| document.name).collect();
    assert_eq!(names, ["verification", "engineering", "comparison"]);
    for name in names {
        check_page(&std::fs::read_to_string(folder.path().join(format!("{name}.html"))).expect("a page"));
    }
    // Of four variants both outputs, and nothing has failed.
    let summary = evidence.files.iter().find(|file| file.name == "summary").expect("a summary");
    let column = |name: &str| summary.header.iter().position(|head| head == name).expect("a column");
    assert_eq!(summary.rows.len(), 8);
    assert!(summary.rows.iter().all(|row| row[column("failed")] == Cell::from(0_u64)), "{:?}", summary.rows);
    assert!(summary.rows.iter().all(|row| row[column("n")] == Cell::from(200_u64)), "{:?}", summary.rows);
    assert!(page.contains("No trial failed."));
}

/// One angle alone: nothing is said of both together.
#[test]
fn identity_a_report_of_one_output() {
    for output in [Output::Anteversion, Output::LegLength, Output::CentreAnterior] {
        let report = reported(&format!("seed = 5\ntrials = 60\n[measure]\noutputs = [\"{}\"]\n", output.id()));
        for other in OUTPUTS.into_iter().filter(|&other| other != output) {
            let named = report.evidence.report.tables().flat_map(|table| &table.rows).flatten();
            let named = named.filter(|cell| cell.starts_with(other.name())).count();
            assert_eq!(named, 0, "{} beside {}", other.id(), output.id());
        }
        assert!(report.page.contains("No trial failed."), "{}", output.id());
        assert!(report.evidence.charts().all(|chart| chart.id != "joint-cup"));
    }
}

#[test]
fn identity_no_drawing_is_missed_of_a_tool_that_nothing_asked_for_needs() {
    let text = "[replay]\nrecordings = \"r.csv\"\n[tools]\ncup_axis = [0.0, 1.0, 0.0]\n";
    let warnings = |measure: &str| {
        let plan = Plan::parse_replay("replay.toml", &[text, measure].concat());
        plan.unwrap_or_else(|error| panic!("{error:?}")).warnings.len()
    };
    assert_eq!((warnings(""), warnings("[measure]\noutputs = [\"inclination\"]\n")), (1, 0));
}

/// What was recorded of outputs that are not asked for is not reported, and its lack is no complaint.
#[test]
fn identity_a_replay_speaks_of_outputs_that_are_asked_for() {
    let folder = tempfile::tempdir().expect("a folder");
    for recorded in [&OUTPUTS[..], &Output::CUP] {
        let plan = plan("bony", "marker", recorded);
        let runner = TrialRunner::new(&plan.variants[0], plan.seed);
        let files = runner.record(&plan.variants[0], 0..=4, RecordOptions::default(), folder.path());
        let [recordings, truth, file] = files.expect("room for recordings");
        let text = std::fs::read_to_string(&file).expect("what was just written");
        assert_eq!(text.contains("\noutputs = [\"inclination\", \"anteversion\"]\n"), recorded.len() == 2);
        let line = "angles = \"radiographic\"\n";
        let cup = format!("{line}outputs = [\"inclination\", \"anteversion\"]\n");
        let text = if recorded.len() == 2 { text } else { text.replace(line, &cup) };
        let mut asked = Plan::parse_replay("replay.toml", &text).unwrap_or_else(|error| panic!("{error:?}"));
        let recordings = read_recordings(&recordings, &FemurFeature::ALL).expect("what was just written");
        let truths = read_truths(&truth).expect("what was just written");
        asked.trials = 5;
        let replayed = replay(&asked, &recordings, Some(&truths));
        let complaints = complaints(&recordings, Some(&truths), &replayed);
        assert!(complaints.is_empty(), "{complaints:?}");
        assert!(replayed.readings.iter().all(Reading::is_whole));
        let assessment = replayed.assess();
        let assessed: Vec<Output> = assessment.outputs.iter().map(|assessed| assessed.output).collect();
        assert_eq!(assessed, Output::CUP);
        assert!(assessment.outputs.iter().all(|assessed| (assessed.summary.n, assessed.summary.failed) == (5, 0)));
        let bench = Bench {
            plan: &asked,
            recordings: &recordings,
            truths: Some(&truths),
            replayed: &replayed,
            complaints: &complaints,
            assessment: &assessment,
            validation: None,
            fit: None,
            sums: [None, None],
        };
        check_files(&Evidence::of_bench(&bench).expect("no parts are read").files);
    }
}
