//! Single sources, alone, against closed forms.

use navassay::experiment::Plan;
use navassay::geometry::Vector3;
use navassay::measurement::{FeaturePose, OUTPUTS, Step};
use navassay::simulation::{CaptureKey, CaseKey};
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

/// A first-order Gauss-Markov process of rms `s` and time constant `T` has the autocorrelation `exp(-t/T)` from its
/// first frame on (Gelb A, ed. Applied Optimal Estimation. MIT Press 1974, section 2.2; from memory). Each pair of
/// frames comes from a capture of its own, so the mean product has the standard error `s^2 sqrt((1 + r^2)/n)`.
#[test]
fn outside_tremor_has_its_rms_and_its_time_constant() {
    for (time_constant_s, frame_rate_hz) in [(0.02, 30.0), (0.1, 30.0), (0.1, 60.0)] {
        let text = format!(
            "seed = 2\n[noise.probe.tremor]\neach_axis_mm = {{ normal = {{ sd = 0.4 }} }}\n\
             time_constant_s = {time_constant_s}\n"
        );
        let plan = Plan::parse("tremor.toml", &text).expect("a sound experiment");
        let tremor = &plan.variants[0].model.noise.probe.tremor;
        let (captures, lags) = (20_000_u64, [0, 1, 2, 5]);
        let mut products = [[0.0; 3]; 4];
        for case in 0..captures {
            let key = CaseKey { seed: 2, device: case, case, repeat: 0 };
            let capture = CaptureKey::new(Step::Pubis, 0, 0, 0);
            let mut path = tremor.path(&key, capture, frame_rate_hz).expect("a source that is on");
            let frames: [[f64; 3]; 6] = std::array::from_fn(|_| {
                let moved = tremor.next_displacement(&mut path);
                [moved.anterior, moved.superior, moved.lateral]
            });
            for (sum, lag) in products.iter_mut().zip(lags) {
                for (axis, sum) in sum.iter_mut().enumerate() {
                    *sum += frames[0][axis] * frames[lag][axis];
                }
            }
        }
        let (n, variance) = (captures as f64, 0.4 * 0.4);
        for (sum, lag) in products.iter().zip(lags) {
            let correlation = libm::exp(-(lag as f64) / (frame_rate_hz * time_constant_s));
            let error = variance * ((1.0 + correlation * correlation) / n).sqrt();
            for product in sum.map(|sum| sum / n) {
                assert!((product - variance * correlation).abs() < 4.0 * error, "lag {lag}: {product}");
            }
        }
    }
}

/// The sensor's axes turned by `e` in a housing that is level where the bony plane is: with the pelvis tilted by `t`
/// the table's normal is `(cos t, -sin t, 0)` in bony axes, and it is read as `(cos t, -sin t cos e, -sin t sin e)`.
#[test]
fn identity_misaligned_level_axes_cost_in_proportion_to_tilt() {
    for (tilt_deg, turned_deg) in [(10.0_f64, 1.0_f64), (-6.0, 2.0), (0.0, 5.0)] {
        for (side, sign) in [("right", 1.0), ("left", -1.0)] {
            let text = format!(
                "seed = 2\n[anatomy]\nside = \"{side}\"\ntilt_deg = {tilt_deg}\nobliquity_deg = 0\nrotation_deg = 0\n\
                 [measure]\nplane = \"level\"\n[noise]\nonly = [\"level.sensor\"]\n[noise.level.sensor]\n\
                 offset_about_y_deg = 0\noffset_about_z_deg = 0\nnoise_about_y_deg = 0\nnoise_about_z_deg = 0\n\
                 axes_about_x_deg = {turned_deg}\n"
            );
            let plan = Plan::parse("level.toml", &text).expect("a sound experiment");
            let (_, estimates, truth) = TrialRunner::new(&plan.variants[0], plan.seed).case(0);
            let up = truth.scene.camera.inverse().rotation * estimates.up.expect("a reading");
            let (tilt, turned) = (tilt_deg.to_radians(), sign * turned_deg.to_radians());
            let expected = Vector3::new(
                libm::cos(tilt),
                -libm::sin(tilt) * libm::cos(turned),
                -libm::sin(tilt) * libm::sin(turned),
            );
            let off = (up.as_displacement().vector() - expected).norm();
            assert!(off < 1e-12, "{side} {tilt_deg} {turned_deg}: {off}");
        }
    }
}

/// With k holds in a divot the mean of the points is used: the variance of what a frame adds falls by k.
#[test]
fn coverage_repeated_holds_are_averaged() {
    let spread = |captures: u32| {
        let text = format!(
            "seed = 2\n[measure]\nfemur = \"divot\"\n[protocol]\ndivot_frames = 4\ndivot_captures = {captures}\n\
             [noise]\nonly = [\"femur.groove\"]\n"
        );
        let plan = Plan::parse("divot.toml", &text).expect("a sound experiment");
        let runner = TrialRunner::new(&plan.variants[0], plan.seed);
        let square = |case: u64| {
            let (_, estimates, truth) = runner.case(case);
            let place = estimates.baseline.expect("no failure").pose.place();
            (place - truth.scene.camera * truth.baseline.origin).vector().norm_squared()
        };
        (0..2000).map(square).sum::<f64>() / 2000.0
    };
    for captures in [1, 3] {
        let expected = 3.0 * 0.15 * 0.15 / f64::from(4 * captures);
        // The mean of 2000 sums of three squared normal components.
        let error = expected * (2.0 / 6000.0_f64).sqrt();
        let found = spread(captures);
        assert!((found - expected).abs() < 4.0 * error, "{captures}: {found} for {expected}");
    }
}

/// Two rounds of a trace start at two places and are fitted together.
#[test]
fn identity_repeated_traces_are_fitted_together() {
    let text = "seed = 2\n[protocol]\ntrace_captures = 2\n[noise]\nonly = [\"posture\"]\n";
    let plan = Plan::parse("trace.toml", text).expect("a sound experiment");
    let (observed, estimates, truth) = TrialRunner::new(&plan.variants[0], plan.seed).case(0);
    let rounds: Vec<_> = observed.captures.iter().filter(|capture| capture.step == Step::FemurBaseline).collect();
    assert_eq!(rounds.iter().map(|capture| capture.frames.len()).collect::<Vec<_>>(), [60, 60]);
    let trace = estimates.baseline.expect("no failure");
    let off = trace.pose.place() - truth.scene.camera * truth.baseline.origin;
    assert!(off.vector().norm() < 1e-9);
    let runner = TrialRunner::new(
        &Plan::parse("once.toml", &text.replace("= 2\n[noise", "= 1\n[noise")).expect("a sound experiment").variants
            [0],
        2,
    );
    let once = runner.case(0).1.baseline.expect("no failure");
    assert!(trace.largest_gap_deg < once.largest_gap_deg, "the second start fills gaps of the first");
}
