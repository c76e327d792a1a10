//! After the first trials, in which every estimator has had its memory, a trial allocates nothing.

use navassay::experiment::Plan;
use navassay::record::Block;
use navassay::trial::{TrialRunner, Worker};

const TRIALS: usize = 50;
const WARM_UP: u64 = 5;

/// Whatever a file may ask of the simulator: costly distributions, covariances, correlations, a gate.
const EVERYTHING: &str = "[protocol]\nstillness_limit_mm = 0.85\nstillness_tries = 4\n\
    [noise.femur.groove]\neach_axis_mm = { student_t = { scale = 0.1, degrees_of_freedom = 4 } }\n\
    [noise.tracker.build]\neach_axis_mm = { empirical = { values = [-0.05, 0.0, 0.06] } }\n\
    [noise.probe.tremor]\neach_axis_mm = { mixture = { main = { normal = { sd = 0.2 } }, event = 1.0, \
    probability = 0.01 } }\n\
    [noise.posture.reduction]\ncovariance_deg2 = [[4, 1, 0], [1, 4, 0], [0, 0, 4]]\n\
    [[noise.correlation]]\nbetween = [\"landmark.palpation.asis\", \"landmark.palpation.pubis\"]\ncoefficient = 0.5\n";

#[test]
fn identity_no_allocation_in_the_trial_loop() {
    let images = "[camera]\nmodel = \"pixel\"\nposition_mm = [380.0, 260.0, -40.0]\naim_mm = [150.0, 20.0, 40.0]\n";
    let two = format!("{images}[camera.pixel]\ncameras = 2\n");
    let stand = "[camera]\nmount = \"stand\"\nposition_mm = [900.0, 500.0, 500.0]\n";
    let poses = format!("{stand}model = \"pose\"\n");
    for (plane, pivot, more) in [
        ("bony", "one-step", stand),
        ("level", "one-step", poses.as_str()),
        ("bony", "one-step", ""),
        ("level", "one-step", ""),
        ("bony", "one-step", EVERYTHING),
        ("level", "one-step", EVERYTHING),
        ("bony", "one-step", images),
        ("bony", "one-step", two.as_str()),
        ("template", "robust", ""),
        ("bony", "sphere", EVERYTHING),
    ] {
        for femur in ["divot", "circle", "ellipse", "three-divots"] {
            let text = format!(
                "seed = 3\n{more}[measure]\nplane = \"{plane}\"\npivot = \"{pivot}\"\nfemur = \"{femur}\"\n\
                 [[reduction]]\nname = \"first\"\n[[reduction]]\nname = \"second\"\n"
            );
            let plan = Plan::parse("allocation.toml", &text).expect("a sound experiment");
            let runner = TrialRunner::new(&plan.variants[0], plan.seed);
            let mut worker = Worker::default();
            let mut rows = Block::with_capacity(runner.schema(), 2 * TRIALS);
            // An estimator whose fits fail in one trial has no need of its memory before another.
            (0..WARM_UP).for_each(|trial| runner.trial(trial, &mut worker, &mut rows));
            let counted = allocation_counter::measure(|| {
                for trial in WARM_UP..TRIALS as u64 {
                    runner.trial(trial, &mut worker, &mut rows);
                }
            });
            assert_eq!(counted.count_total, 0, "{plane}, {pivot}, {femur}, {more}: {counted:?}");
        }
    }
}
