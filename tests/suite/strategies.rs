//! Every way of registering, through whole runs.

use crate::support::Silent;
use navassay::analysis::paired::{Difference, Measure};
use navassay::experiment::Plan;
use navassay::measurement::{OUTPUTS, Output, PivotEstimator, Plane};
use navassay::study::assess;
use navassay::trial::{self, RunFolder, TrialRunner, Worker};

fn plan(text: &str) -> Plan {
    Plan::parse("strategies.toml", text).unwrap_or_else(|error| panic!("{text}\n{error}"))
}

/// Errors of the first cases of the only variant.
fn errors(text: &str, cases: u64) -> Vec<[f64; OUTPUTS.len()]> {
    let plan = plan(text);
    let (runner, mut worker) = (TrialRunner::new(&plan.variants[0], plan.seed), Worker::default());
    (0..cases).map(|case| runner.errors(case, &mut worker)).collect()
}

/// The first two arms, by one measure of one output.
fn compared(text: &str, output: Output, measure: Measure) -> Difference {
    let plan = plan(text);
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let run = RunFolder::open(folder.path(), &plan, false).expect("an empty folder");
    trial::run(&plan, &run, 2, &Silent).expect("room for a small run");
    let assessment = assess(&plan, &run.parts()).expect("parts that were just written");
    let row = assessment.arms.pairs.iter().find(|row| row.output == output && row.measure == measure);
    row.expect("two arms that were read").found
}

/// Whoever adds a strategy has it tried here: with every plane and every pivot estimator each case gives every reading, and
/// without noise each error is nothing but what a baseline posture leaves, which is switched off too.
#[test]
fn identity_every_strategy_reads_every_case() {
    let template = "[anatomy]\nasis_width_mm = 238.0\npubis_drop_mm = 92.7\nhip_anterior_mm = 0.0\n\
                    hip_superior_mm = 0.0\nhip_lateral_mm = 0.0\n";
    for plane in Plane::ALL {
        for pivot in PivotEstimator::ALL {
            let measure = format!("[measure]\nplane = \"{}\"\npivot = \"{}\"\n", plane.word(), pivot.word());
            let noisy = errors(&format!("seed = 5\n{measure}"), 20);
            assert!(noisy.iter().flatten().all(|error| error.is_finite()), "{plane:?} {pivot:?}: {noisy:?}");
            let text = format!("seed = 5\n{measure}{template}[noise]\nonly = [\"posture.reduction\"]\n");
            let exact = errors(&text, 20);
            let largest = exact.iter().flatten().fold(0.0_f64, |most, error| most.max(error.abs()));
            assert!(largest < 1e-8, "{plane:?} {pivot:?}: {largest}");
        }
    }
}

/// A patient equal to the template and nothing that disturbs: the plane to 1e-9, whatever the sizes stated.
#[test]
fn identity_template_recovers_its_own_patient() {
    let text = "seed = 11\n[anatomy]\nasis_width_mm = 221.0\npubis_drop_mm = 88.5\nhip_anterior_ratio = -0.17\n\
                hip_superior_ratio = -0.31\nhip_lateral_ratio = 0.34\nhip_anterior_mm = 0.0\nhip_superior_mm = 0.0\n\
                hip_lateral_mm = 0.0\n[measure]\nplane = \"template\"\n[measure.template]\nasis_width_mm = 221.0\n\
                pubis_drop_mm = 88.5\nhip_ratio = [-0.17, -0.31, 0.34]\nasis_width_sd_mm = 12.0\n\
                [noise]\nonly = [\"posture.reduction\"]\n";
    for error in errors(text, 50).iter().flatten() {
        assert!(error.abs() < 1e-9, "{error}");
    }
}

/// Patients, palpation and centres as the template states them.
const RIGHT_WEIGHTS: &str = "[anatomy]\nasis_width_mm = { normal = { mean = 238.0, sd = 20.1, truncated = [150.0, 330.0] } }\n\
     pubis_drop_mm = { normal = { mean = 92.7, sd = 10.5, truncated = [40.0, 145.0] } }\n\
     [noise]\nonly = [\"landmark.palpation\", \"centre.native\"]\n\
     [noise.centre.native]\nanterior_mm = { normal = { sd = 1.1 } }\nsuperior_mm = { normal = { sd = 1.1 } }\n\
     lateral_mm = { normal = { sd = 1.1 } }\ncase_share = 1.0\n";

const ARMS: &str =
    "[[arm]]\nname = \"bony\"\n[[arm]]\nname = \"template\"\nset = { \"measure.plane\" = \"template\" }\n";

/// With weights that are right the template scatters less than three points alone, in both angles.
#[test]
fn outside_template_beats_bony_with_right_weights() {
    for output in [Output::Inclination, Output::Anteversion] {
        let sd = compared(&format!("seed = 13\ntrials = 4000\n{RIGHT_WEIGHTS}{ARMS}"), output, Measure::Sd);
        println!("{}: sd bony {:.3}, template {:.3}, p {:?}", output.id(), sd.value_a, sd.value_b, sd.p);
        assert!(sd.difference > 0.0 && sd.p.expect("a probability") < 1e-4, "{sd:?}");
    }
}

/// Patients whose hips lie 12 mm further back than the template believes: the plane follows the template, and three points
/// alone are better.
#[test]
fn outside_template_loses_with_other_patients() {
    let text = format!(
        "seed = 13\ntrials = 1000\n{}{ARMS}",
        RIGHT_WEIGHTS
            .replace("[anatomy]\n", "[anatomy]\nhip_anterior_mm = { normal = { mean = -12.0, sd = 3.0 } }\n")
    );
    let bias = compared(&text, Output::Anteversion, Measure::Bias);
    let rms = compared(&text, Output::Anteversion, Measure::Rms);
    println!(
        "bias bony {:.3}, template {:.3}; rms {:.3}, {:.3}",
        bias.value_a, bias.value_b, rms.value_a, rms.value_b
    );
    assert!(bias.value_b.abs() > bias.value_a.abs() + 1.0, "{bias:?}");
    assert!(rms.difference < 0.0 && rms.p.expect("a probability") < 1e-4, "{rms:?}");
}

/// A template has a side: with sources in patient axes alone, left and right cases of one seed have the same errors.
#[test]
fn identity_template_left_and_right() {
    let of = |side: &str| {
        let sided = RIGHT_WEIGHTS.replace("[anatomy]\n", &format!("[anatomy]\nside = \"{side}\"\n"));
        errors(&format!("seed = 17\n{sided}[measure]\nplane = \"template\"\n"), 30)
    };
    for (left, right) in of("left").iter().flatten().zip(of("right").iter().flatten()) {
        assert!((left - right).abs() < 1e-9, "{left} {right}");
    }
}

/// What a template states must leave weights that are numbers, and truth cannot be stated in it.
#[test]
fn identity_what_a_template_may_say() {
    for (wrong, expected) in [
        ("[measure.template]\npubis_sd_mm = [0.0, 3.0, 3.0]\n", "pubis_sd_mm"),
        ("[measure.template]\nasis_width_mm = -1\n", "asis_width_mm"),
        ("[measure.template]\nasis_width = 1\n", "unknown key `asis_width`"),
        ("[measure]\nmeasurand_plane = \"template\"\n", "measurand_plane"),
        ("[measure]\npivot = \"two-step\"\n", "measure.pivot"),
    ] {
        let error = Plan::parse("strategies.toml", &format!("seed = 1\n{wrong}")).expect_err(wrong);
        assert!(format!("{error} {error:?}").contains(expected), "{wrong}\n{error:?}");
    }
    let plan = plan("seed = 1\n[measure]\nplane = \"template\"\n");
    assert_eq!(plan.variants[0].measurand_plane, Plane::Bony);
}
