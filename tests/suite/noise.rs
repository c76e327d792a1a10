//! Single sources, alone, against closed forms.

use navassay::experiment::Plan;
use navassay::geometry::Vector3;
use navassay::measurement::{FeaturePose, OUTPUTS};
use navassay::trial::TrialRunner;

/// Error of the hip centre's shift in one case, mm: superior, lateral, anterior.
fn centre_error_mm(plan: &Plan, runner: &TrialRunner, case: u64) -> Vector3<f64> {
    let (_, estimates, truth) = runner.case(case);
    let truth = truth.reading(0, plan.variants[0].measurand_plane, plan.variants[0].procedure.angles);
    let error = |i: usize| estimates.reductions[0].readings.get(OUTPUTS[i]).expect("no failure") - truth[i];
    Vector3::new(error(4), error(5), error(6))
}

/// The native centre is found at step 4 and the new one at step 7, 3 of the 7 intervals from step 2 to step 9 apart;
/// the landmarks of step 2 are seen before anything has crept. So the error has 3/7 of the drift's length.
#[test]
fn identity_drift_shifts_the_centre_by_three_sevenths() {
    let text = "seed = 2\n[noise]\nonly = [\"camera.drift\"]\n[noise.camera.drift]\nrotation_deg = 0.0\n\
                translation_mm = 0.7\nknock_probability = 0.0\n";
    let plan = Plan::parse("drift.toml", text).expect("a sound experiment");
    let runner = TrialRunner::new(&plan.variants[0], plan.seed);
    for case in 0..20 {
        let error = centre_error_mm(&plan, &runner, case).norm();
        assert!((error - 3.0 / 7.0 * 0.7 * 3.0_f64.sqrt()).abs() < 1e-9, "{error}");
    }
}

/// A knock shifts the new centre against the native one if it comes between steps 4 and 7: with probability 3/7.
#[test]
fn coverage_knock_comes_at_any_moment() {
    let text = "seed = 2\n[noise]\nonly = [\"camera.drift\"]\n[noise.camera.drift]\nrotation_deg = 0.0\n\
                translation_mm = 0.0\nknock_probability = 1.0\nknock_rotation_deg = 0.0\nknock_translation_mm = 2.0\n";
    let plan = Plan::parse("knock.toml", text).expect("a sound experiment");
    let runner = TrialRunner::new(&plan.variants[0], plan.seed);
    let (cases, mut between) = (2000, 0.0);
    for case in 0..cases {
        let error = centre_error_mm(&plan, &runner, case).norm();
        let full = (error - 2.0 * 3.0_f64.sqrt()).abs() < 1e-9;
        assert!(full || error < 1e-9, "{error}");
        between += f64::from(u8::from(full));
    }
    let (n, p) = (cases as f64, 3.0 / 7.0);
    assert!((between / n - p).abs() < 4.0 * (p * (1.0 - p) / n).sqrt(), "{between} of {n}");
}

/// A circle traced evenly from a random start while it moves evenly by `d`: to first order its centre is found at
/// `d/2` along the normal and at `(I/2 + a Q) d` in its plane, `Q` a reflection that depends on the start and
/// `a = 1 / (2 (n - 1) sin(2 pi / n))` for n frames. So the mean squares of the shift are `s^2/4` and, on each of the
/// two axes in the plane, `s^2 (1/4 + a^2)`.
#[test]
fn coverage_motion_shifts_a_traced_circle_by_half() {
    let text = "seed = 2\n[measure]\nfemur = \"circle\"\n[protocol]\ntrace_unevenness = 0.0\n\
                [noise]\nonly = [\"femur.motion\"]\n";
    let plan = Plan::parse("motion.toml", text).expect("a sound experiment");
    let runner = TrialRunner::new(&plan.variants[0], plan.seed);
    let (mut along, mut across, cases) = (0.0, 0.0, 4000_u64);
    for case in 0..cases {
        let (_, estimates, truth) = runner.case(case);
        let FeaturePose::Axial(centre, _) = estimates.baseline.expect("no failure").pose else {
            panic!("a circle has an axis")
        };
        let feature = truth.scene.camera * truth.baseline;
        let shift = centre - feature.origin;
        let normal = shift.along(feature.rotation.axes()[0]);
        along += normal * normal;
        across += shift.vector().norm_squared() - normal * normal;
    }
    let (n, variance) = (cases as f64, 0.3 * 0.3);
    let a = 1.0 / (2.0 * 59.0 * libm::sin(std::f64::consts::TAU / 60.0));
    let (along, across) = (along / n, across / n);
    // Mean squares of one and of two normal components.
    let expected = 0.25 * variance;
    assert!((along - expected).abs() < 4.0 * expected * (2.0 / n).sqrt(), "{along} for {expected}");
    let expected = 2.0 * variance * (0.25 + a * a);
    // A quadratic form of normal components with eigenvalues 1/2 + a and 1/2 - a, whatever the start.
    let fourth = |x: f64| x * x * x * x;
    let error = variance * (2.0 * (fourth(0.5 + a) + fourth(0.5 - a)) / n).sqrt();
    assert!((across - expected).abs() < 4.0 * error, "{across} for {expected}");
}
