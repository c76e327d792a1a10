//! The two controls, measured: no noise gives no error, and a known error is found.

use navassay::experiment::{Plan, Variant};
use navassay::measurement::{OUTPUTS, Output, RESOLUTION};
use navassay::trial::TrialRunner;
use std::path::Path;

fn control(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("experiments/controls").join(name);
    std::fs::read_to_string(path).expect("a shipped control")
}

/// Errors of all outputs, in the order of `OUTPUTS`, at every reduction of the first trials of a variant.
fn errors(variant: &Variant, seed: u64, trials: u64) -> Vec<[f64; OUTPUTS.len()]> {
    let runner = TrialRunner::new(variant, seed);
    let mut errors = Vec::new();
    for trial in 0..trials {
        let (_, estimates, truth) = runner.case(trial);
        for (reduction, estimated) in estimates.reductions.iter().enumerate() {
            let truth = truth.reading(reduction, variant.measurand_plane, variant.procedure.angles);
            let mut read = OUTPUTS.map(|output| estimated.readings.get(output).expect("controls do not fail"));
            read.iter_mut().zip(truth).for_each(|(read, truth)| *read -= truth);
            errors.push(read);
        }
    }
    errors
}

/// With no noise but the leg's posture, what is read is the truth to rounding, in every combination that sees the
/// whole pose of the femur.
#[test]
fn identity_without_noise_every_error_vanishes() {
    let shipped = control("zero-noise.toml");
    let plan = Plan::parse("zero-noise.toml", &shipped).expect("a shipped control");
    let base = &plan.variants[0];
    assert!(errors(base, plan.seed, 1000).iter().flatten().all(|error| error.abs() < RESOLUTION));

    for plane in ["bony", "level"] {
        for femur in ["ellipse", "three-divots"] {
            for side in ["right", "left"] {
                let text = format!(
                    "seed = 11\n[anatomy]\nside = \"{side}\"\n[measure]\nplane = \"{plane}\"\nfemur = \"{femur}\"\n\
                     [noise]\nonly = [\"posture.reduction\"]\n\
                     [[reduction]]\nname = \"flexed\"\nflexion_deg = 35.0\nadduction_deg = -12.0\n\
                     [[reduction]]\nname = \"turned\"\nadduction_deg = 15.0\ninternal_rotation_deg = 28.0\n"
                );
                let plan = Plan::parse("zero.toml", &text).expect("a sound experiment");
                for error in errors(&plan.variants[0], plan.seed, 1000).iter().flatten() {
                    assert!(error.abs() < RESOLUTION, "{plane}, {femur}, {side}: {error}");
                }
            }
        }
    }
}

/// The sensor says one degree too much about Z: the measured plane is turned by it, and the cup is read as if the
/// pelvis had tilted by -1 degree: OA' = OA - 1, OI' = OI (operative angles, Murray DW. J Bone Joint Surg Br
/// 1993;75-B:228-232), carried to radiographic angles by the identities tan OA = tan RA / cos RI and
/// sin OI = sin RI cos RA and back, at the truth of each trial.
#[test]
fn identity_one_degree_of_the_level_is_the_tilt_formula() {
    let plan = Plan::parse("known-bias.toml", &control("known-bias.toml")).expect("a shipped control");
    let runner = TrialRunner::new(&plan.variants[0], plan.seed);
    for trial in 0..1000 {
        let (_, estimates, truth) = runner.case(trial);
        let readings = estimates.reductions[0].readings;
        let truth = truth.reading(0, plan.variants[0].measurand_plane, plan.variants[0].procedure.angles);
        let (inclination, anteversion) = tilted(truth[0], truth[1], -1.0);
        for (output, expected) in [(Output::Inclination, inclination), (Output::Anteversion, anteversion)] {
            let read = readings.get(output).expect("controls do not fail");
            assert!((read - expected).abs() < 1e-9, "trial {trial}, {}: {read} for {expected}", output.id());
        }
    }
    // In size 0.767 and 0.167 at 40/15, derived from the same formula.
    let (inclination, anteversion) = tilted(40.0, 15.0, -1.0);
    assert!((40.0 - inclination - 0.167).abs() < 5e-4 && (15.0 - anteversion - 0.767).abs() < 5e-4);
}

/// Radiographic angles, degrees, after a tilt, degrees.
fn tilted(inclination_deg: f64, anteversion_deg: f64, tilt_deg: f64) -> (f64, f64) {
    let (ri, ra) = (inclination_deg.to_radians(), anteversion_deg.to_radians());
    let oa = libm::atan(libm::tan(ra) / libm::cos(ri)) + tilt_deg.to_radians();
    let sin_oi = libm::sin(ri) * libm::cos(ra);
    let cos_oi = (1.0 - sin_oi * sin_oi).sqrt();
    let ri = libm::atan(sin_oi / cos_oi / libm::cos(oa));
    (ri.to_degrees(), libm::asin(libm::sin(oa) * cos_oi).to_degrees())
}
