//! The two controls, measured: no noise gives no error, and a known error is found.
#![cfg(feature = "simulator")]

use navassay::experiment::{Plan, Variant};
use navassay::measurement::{OUTPUTS, Output};
use navassay::trial::TrialRunner;
use std::path::Path;

fn control(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("experiments/controls").join(name);
    std::fs::read_to_string(path).expect("a shipped control")
}

/// Errors of an output over the first trials of a variant.
fn errors(variant: &Variant, seed: u64, output: Output) -> Vec<f64> {
    let runner = TrialRunner::new(variant, seed);
    let place = OUTPUTS.iter().position(|&other| other == output).expect("one of the outputs");
    (0..200)
        .flat_map(|trial| {
            let (_, estimates, truth) = runner.case(trial);
            let readings = estimates.reductions.iter().map(|reduction| reduction.readings).collect::<Vec<_>>();
            readings.into_iter().enumerate().map(move |(reduction, readings)| {
                let truth = truth.reading(reduction, variant.measurand_plane, variant.procedure.angles);
                readings.get(output).expect("controls do not fail") - truth[place]
            })
        })
        .collect()
}

#[test]
fn identity_without_noise_every_error_vanishes() {
    let plan = Plan::parse("zero-noise.toml", &control("zero-noise.toml")).expect("a shipped control");
    for output in OUTPUTS {
        for error in errors(&plan.variants[0], plan.seed, output) {
            assert!(error.abs() < 1e-6, "{}: {error}", output.id());
        }
    }
}

/// A turn of the measured plane about Z changes operative anteversion by that angle and operative inclination not at
/// all (Murray DW. J Bone Joint Surg Br 1993;75-B:228-232: operative anteversion is an angle about Z).
#[test]
fn identity_one_degree_of_the_level_is_one_degree_of_operative_anteversion() {
    let text = control("known-bias.toml").replace("plane = \"level\"", "plane = \"level\"\nangles = \"operative\"");
    let plan = Plan::parse("known-bias.toml", &text).expect("a shipped control");
    let anteversion = errors(&plan.variants[0], plan.seed, Output::Anteversion);
    for error in &anteversion {
        assert!((error.abs() - 1.0).abs() < 1e-6, "{error}");
    }
    assert!(anteversion.iter().all(|error| error.signum() == anteversion[0].signum()));
    for error in errors(&plan.variants[0], plan.seed, Output::Inclination) {
        assert!(error.abs() < 1e-6, "{error}");
    }
}

#[test]
fn identity_known_bias_is_beyond_its_limit() {
    let plan = Plan::parse("known-bias.toml", &control("known-bias.toml")).expect("a shipped control");
    let requirement = &plan.requirements[0];
    let errors = errors(&plan.variants[0], plan.seed, requirement.output);
    let within = errors.iter().filter(|error| error.abs() <= requirement.limit).count();
    // cos 60 degrees is 0.5, and no inclination of 40 ± 5 degrees comes near 60.
    assert_eq!(within, 0);
}
