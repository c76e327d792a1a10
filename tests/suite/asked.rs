//! Outputs that are not asked for: their steps are left out, and no draw of what remains moves.

use navassay::experiment::Plan;
use navassay::measurement::{OUTPUTS, Output, Step};
use navassay::trial::{TrialRunner, Worker};

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
