//! Every way of registering, through whole runs.

use crate::support::Silent;
use navassay::analysis::moments::moments;
use navassay::analysis::paired::{Difference, Measure};
use navassay::experiment::Plan;
use navassay::measurement::{FemurFeature, OUTPUTS, Outline, Output, PivotEstimator, Plane, Taking};
use navassay::record::{Parts, Rows, Schema};
use navassay::study::{assess, definitional};
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

/// The same with every femoral feature, the leg put back as it was; and what a feature says of how it is taken agrees with
/// its drawing.
#[test]
fn identity_every_femoral_feature_reads_every_case() {
    for femur in FemurFeature::ALL {
        let strategy = femur.strategy();
        let text = format!("seed = 5\n[measure]\nfemur = \"{}\"\n", strategy.word);
        let noisy = errors(&text, 20);
        assert!(noisy.iter().flatten().all(|error| error.is_finite()), "{femur:?}: {noisy:?}");
        let exact = errors(&format!("{text}[noise]\nonly = []\n"), 20);
        let largest = exact.iter().flatten().fold(0.0_f64, |most, error| most.max(error.abs()));
        assert!(largest < 1e-8, "{femur:?}: {largest}");

        let taking = match (strategy.outline)(&plan(&text).variants[0].procedure.instruments) {
            Outline::Places(places) => Taking::Held(u32::try_from(places.len()).unwrap()),
            Outline::Groove(_) => Taking::Traced,
        };
        assert_eq!(taking, strategy.taking, "{femur:?}");
        assert_eq!(FemurFeature::ALL.iter().filter(|other| other.word() == strategy.word).count(), 1, "{femur:?}");
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

/// Patients whose hips lie 18 mm further back than the template believes: the plane follows the template, and three points
/// alone are better.
#[test]
fn outside_template_loses_with_other_patients() {
    let text = format!(
        "seed = 13\ntrials = 1000\n{}{ARMS}",
        RIGHT_WEIGHTS
            .replace("[anatomy]\n", "[anatomy]\nhip_anterior_mm = { normal = { mean = -18.0, sd = 3.0 } }\n")
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

/// Nothing but the leg put back in another posture; the components change nothing, so every reading should be 0.
fn put_back(femur: &str, posture: &str, tools: &str) -> String {
    format!(
        "seed = 19\n[implant]\nleg_length_mm = 0.0\noffset_mm = 0.0\ncentre_superior_mm = 0.0\ncentre_lateral_mm = 0.0\n\
         centre_anterior_mm = 0.0\n[measure]\nfemur = \"{femur}\"\n[tools]\n{tools}\n[noise]\nonly = [\"posture.reduction\"]\n\
         [noise.posture.reduction]\n{posture}\n"
    )
}

/// A point a lateral and b distal of the hip centre, abducted by d, lies b cos d - a sin d distal and a cos d + b sin d
/// lateral (by the drawing; for a 70, b 20 and 5 degrees that is 6.18 mm less). One divot reads what that differs by from
/// a and b; so does a groove whose axis points forwards, because spin about that axis stays unseen. The full features read 0.
#[test]
fn outside_posture_costs_what_the_drawing_says() {
    let (a, b, d) = (70.0, 20.0, 5.0_f64.to_radians());
    let by_drawing = |a: f64, b: f64, d: f64| {
        let (sine, cosine) = libm::sincos(d);
        [b * cosine - a * sine - b, a * cosine + b * sine - a]
    };
    assert!((by_drawing(a, b, d)[0] + 6.18).abs() < 0.005);
    let forwards = "feature_normal = [1.0, 0.0, 0.0]";
    for degrees in [1.0, 2.0, 5.0, 10.0] {
        let posture = format!("flexion_deg = 0.0\nadduction_deg = -{degrees}\ninternal_rotation_deg = 0.0");
        for femur in ["divot", "circle", "ellipse", "three-divots"] {
            let plan = plan(&put_back(femur, &posture, forwards));
            let runner = TrialRunner::new(&plan.variants[0], plan.seed);
            for case in 0..5 {
                let (_, estimates, truth) = runner.case(case);
                let lever = truth.baseline.origin - truth.scene.native_centre;
                let (a, b) = (lever.z(), -lever.y());
                let readings = estimates.reductions[0].readings;
                let expected = match femur {
                    "divot" | "circle" => by_drawing(a, b, f64::to_radians(degrees)),
                    _ => [0.0, 0.0],
                };
                for (output, expected) in [Output::LegLength, Output::Offset].into_iter().zip(expected) {
                    let read = readings.get(output).expect("a reading");
                    assert!((read - expected).abs() < 1e-6, "{femur}, {degrees}, {output:?}: {read} {expected}");
                }
            }
        }
    }
}

/// A groove whose axis points forwards sees flexion, which turns the axis, and then nothing is lost; a divot loses.
#[test]
fn identity_a_circle_sees_what_turns_its_axis() {
    let posture = "flexion_deg = 6.0\nadduction_deg = 0.0\ninternal_rotation_deg = 0.0";
    let largest = |femur: &str| {
        let text = put_back(femur, posture, "feature_normal = [1.0, 0.0, 0.0]");
        errors(&text, 5).iter().map(|errors| errors[2].abs()).fold(0.0, f64::max)
    };
    assert!(largest("circle") < 1e-6 && largest("divot") > 0.1, "{} {}", largest("circle"), largest("divot"));
}

/// The level plane read while the bony plane is meant, without noise: exactly, operative anteversion grows by the tilt and
/// operative inclination stays. Of 40/15 degrees, 10 degrees of posterior tilt make 42.241/22.543 and 10 degrees of
/// anterior tilt 38.749/7.261 (from the identity, both ways to four digits).
#[test]
fn table_level_read_against_bony_truth_shows_the_tilt() {
    for (tilt, inclination, anteversion) in [(10.0, 42.241, 22.543), (-10.0, 38.749, 7.261)] {
        let text = format!(
            "seed = 23\n[anatomy]\ntilt_deg = {tilt}\nobliquity_deg = 0.0\nrotation_deg = 0.0\n[implant]\n\
             inclination_deg = 40.0\nanteversion_deg = 15.0\n[measure]\nplane = \"level\"\nmeasurand_plane = \"bony\"\n\
             [noise]\nonly = [\"posture.reduction\"]\n"
        );
        for errors in errors(&text, 10) {
            assert!((errors[0] - (inclination - 40.0)).abs() < 1e-3, "{tilt}: {}", errors[0]);
            assert!((errors[1] - (anteversion - 15.0)).abs() < 1e-3, "{tilt}: {}", errors[1]);
        }
    }
}

/// With the scenario's own tilt, mean -4.2 and sd 6.4 degrees, every noise on: the split names as definitional what the
/// identity says, averaged over the tilt by quadrature, and the technical part is that of the same arm held against its own
/// plane.
#[test]
fn outside_definitional_error_of_the_scenario() {
    let arms = "[[arm]]\nname = \"meant bony\"\nset = { \"measure.measurand_plane\" = \"bony\" }\n\
                [[arm]]\nname = \"meant level\"\nset = { \"measure.measurand_plane\" = \"level\" }\n";
    let text = format!(
        "seed = 29\ntrials = 3000\n[anatomy]\ntilt_deg = {{ normal = {{ mean = -4.2, sd = 6.4 }} }}\nobliquity_deg = 0.0\n\
         rotation_deg = 0.0\n[implant]\ninclination_deg = 40.0\nanteversion_deg = 15.0\n[measure]\nplane = \"level\"\n{arms}"
    );
    let plan = plan(&text);
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let run = RunFolder::open(folder.path(), &plan, false).expect("an empty folder");
    trial::run(&plan, &run, 2, &Silent).expect("room for a small run");
    let split = definitional(&plan, &run, 2, &Silent).expect("room for a small study");
    assert_eq!(split.len(), 1);
    assert_eq!(split[0].variant.arm, "meant bony");
    // sin OI = sin RI cos RA, tan OA = tan RA / cos RI; OA + t; sin RA' = sin(OA + t) cos OI.
    let (inclination, anteversion) = (40.0_f64.to_radians(), 15.0_f64.to_radians());
    let operative_inclination = libm::asin(libm::sin(inclination) * libm::cos(anteversion));
    let operative_anteversion = libm::atan(libm::tan(anteversion) / libm::cos(inclination));
    let read = |tilt: f64| {
        let turned = operative_anteversion + tilt.to_radians();
        libm::asin(libm::sin(turned) * libm::cos(operative_inclination)).to_degrees() - 15.0
    };
    let (mut sum, mut square, mut total) = (0.0, 0.0, 0.0);
    for step in -600..=600 {
        let score = f64::from(step) / 100.0;
        let weight = libm::exp(-0.5 * score * score);
        let error = read(-4.2 + 6.4 * score);
        (sum, square, total) = (sum + weight * error, square + weight * error * error, total + weight);
    }
    let (mean, sd) = (sum / total, (square / total - (sum / total) * (sum / total)).sqrt());
    let found = &split[0].outputs[1];
    assert_eq!(found.output, Output::Anteversion);
    let [bias, spread] = found.definitional.map(|estimate| estimate.expect("3000 cases"));
    println!("definitional bias {:.3} ({mean:.3}), sd {:.3} ({sd:.3})", bias.value, spread.value);
    assert!((bias.value - mean).abs() < 3.5 * bias.standard_error.expect("3000 cases"), "{bias:?} {mean}");
    assert!((spread.value - sd).abs() < 3.5 * spread.standard_error.expect("3000 cases"), "{spread:?} {sd}");
    // The same readings held against the level truth leave the technical part alone.
    let parts = Parts::list(&run.parts()).expect("parts that were just written");
    let (own, _) = parts
        .column(1, &Schema::error_column(Output::Anteversion), Rows::LastReduction)
        .expect("a part that was just written")
        .into_present();
    let own = moments(&own).expect("3000 trials");
    let [technical, scatter] = found.technical.map(|estimate| estimate.expect("3000 cases").value);
    assert!((technical - own.mean).abs() < 1e-9);
    assert!((scatter - own.sd().expect("3000 trials")).abs() < 1e-9);
}
