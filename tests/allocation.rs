//! After the first trial, a trial allocates nothing.

use navassay::experiment::Plan;
use navassay::record::Block;
use navassay::trial::{TrialRunner, Worker};

const TRIALS: usize = 50;

#[test]
fn identity_no_allocation_in_the_trial_loop() {
    let images = "[camera]\nmodel = \"pixel\"\nposition_mm = [380.0, 260.0, -40.0]\naim_mm = [150.0, 20.0, 40.0]\n";
    let two = format!("{images}[camera.pixel]\ncameras = 2\n");
    for (plane, camera) in [("bony", ""), ("level", ""), ("bony", images), ("bony", two.as_str())] {
        for femur in ["divot", "circle", "ellipse", "three-divots"] {
            let text = format!(
                "seed = 3\n{camera}[measure]\nplane = \"{plane}\"\nfemur = \"{femur}\"\n\
                 [[reduction]]\nname = \"first\"\n[[reduction]]\nname = \"second\"\n"
            );
            let plan = Plan::parse("allocation.toml", &text).expect("a sound experiment");
            let runner = TrialRunner::new(&plan.variants[0], plan.seed);
            let mut worker = Worker::default();
            let mut rows = Block::with_capacity(runner.schema(), 2 * TRIALS);
            runner.trial(0, &mut worker, &mut rows);
            let counted = allocation_counter::measure(|| {
                for trial in 1..TRIALS as u64 {
                    runner.trial(trial, &mut worker, &mut rows);
                }
            });
            assert_eq!(counted.count_total, 0, "{plane}, {femur}, {camera}: {counted:?}");
        }
    }
}
