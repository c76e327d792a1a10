//! A camera on a stand and a second tracker on the pelvis, against the camera on the pelvis and against the covariance that
//! two noisy poses compose.

use nalgebra::{Matrix3, Matrix3x6, Matrix6, Vector3};
use navassay::experiment::Plan;
use navassay::geometry::{Point, Pose};
use navassay::measurement::{Camera, FemurFeature, OUTPUTS, Observations, Side, Step, Tracker, Workspace};
use navassay::record::recording::read_recordings;
use navassay::replay::replay;
use navassay::simulation::{CaseKey, Memory, Simulator};
use navassay::trial::{RecordOptions, TrialRunner, Worker};

const STAND: &str = "mount = \"stand\"\nposition_mm = [900.0, 500.0, 500.0]\n";

fn plan(camera: &str, noise: &str) -> Plan {
    Plan::parse("stand", &format!("seed = 5\n[camera]\n{camera}\n[noise]\n{noise}")).expect("a plan")
}

/// The poses at a step as they are measured in a case, and the observations.
fn poses(plan: &Plan, step: Step, case: u64) -> (Vec<Pose<Tracker, Camera>>, Observations) {
    let variant = &plan.variants[0];
    let simulator = Simulator::new(variant.model.clone(), &variant.procedure);
    let mut memory = Memory::default();
    let _ = simulator.observe(&CaseKey::alone(plan.seed, case), &mut memory, &mut |_| true);
    let observed = memory.observed;
    let index = observed.captures.iter().position(|capture| capture.step == step).expect("the step is there");
    let mut found = variant.procedure.poses(&observed, &mut Workspace::default());
    (found.swap_remove(index).expect("every frame is seen"), observed)
}

/// Errors of all outputs of a case.
fn errors(plan: &Plan, case: u64) -> Vec<f64> {
    TrialRunner::new(&plan.variants[0], plan.seed).errors(case, &mut Worker::default()).to_vec()
}

#[test]
fn identity_without_noise_a_stand_reads_the_truth_with_every_camera() {
    for model in ["marker", "pose", "pixel"] {
        for plane in ["bony", "level"] {
            for side in [Side::Left, Side::Right] {
                let text = format!(
                    "seed = 5\n[anatomy]\nside = \"{}\"\n[measure]\nplane = \"{plane}\"\n[camera]\nmodel = \"{model}\"\n{STAND}\
                     [camera.pixel]\nstated_noise_px = 0.0\nlargest_view_angle_deg = 89.0\n[noise]\nonly = []\n",
                    side.word()
                );
                let plan = Plan::parse("stand", &text).expect("a plan");
                for (output, error) in OUTPUTS.iter().zip(errors(&plan, 3)) {
                    assert!(error.abs() < 1e-6, "{model}, {plane}, {}: {error}", output.id());
                }
            }
        }
    }
}

/// What the pelvis carries is put back or creeps: the same errors, whatever it is, where it sits in the same place and looks
/// in the same direction.
#[test]
fn identity_a_tracker_put_back_askew_costs_what_a_camera_does() {
    let noise = "only = [\"camera.remount\", \"camera.drift\"]\n";
    // A patient whose hip centre is at (-45.6, -72, 86.4) and whose spine at (0, 0, 120): a camera in the tracker's place that
    // is aimed at the stand's has the tracker's axes.
    let anatomy =
        "[anatomy]\nasis_width_mm = 240.0\nhip_anterior_mm = 0.0\nhip_superior_mm = 0.0\nhip_lateral_mm = 0.0\n";
    let [x, y, z] = [900.0 + 45.6, 500.0 + 72.0, 500.0 + 120.0 - 86.4];
    let aimed = format!("position_mm = [70.0, 50.0, 30.0]\naim_mm = [{x}, {y}, {z}]\n{anatomy}");
    let (stand, carried) = (plan(&format!("{STAND}{anatomy}"), noise), plan(&aimed, noise));
    assert_eq!(stand.variants[0].model.camera.pelvis_tracker_mm, carried.variants[0].model.camera.position_mm);
    for case in 0..20 {
        let (stand, carried) = (errors(&stand, case), errors(&carried, case));
        assert!(stand.iter().all(|error| error.abs() > 1e-6), "{stand:?}");
        for (one, other) in stand.iter().zip(&carried) {
            assert!((one - other).abs() < 1e-9, "{stand:?} {carried:?}");
        }
    }
}

/// With `G` the tool's pose from the pelvis tracker, small motions of both trackers of covariance `S` in their own axes move
/// the tool's point `x` by `R_G A(x) s_tool - A(G x) s_pelvis`, `A(x) = [I, -[x]x]`.
#[test]
fn coverage_errors_of_a_point_have_the_composed_covariance() {
    let rows = [
        [0.010, 0.002, 0.0, 0.0, 0.001, 0.0],
        [0.002, 0.012, 0.0, -0.001, 0.0, 0.0],
        [0.0, 0.0, 0.060, 0.0, 0.0, 0.0],
        [0.0, -0.001, 0.0, 0.009, 0.002, 0.0],
        [0.001, 0.0, 0.0, 0.002, 0.011, 0.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.004],
    ];
    let stated = format!("model = \"pose\"\n{STAND}pose_covariance = {rows:?}\n");
    let true_poses = poses(&plan(&stated, "only = []\n"), Step::Cup, 0).0;
    let truth = true_poses[0];
    let unit = |i: usize| if i < 3 { 1.0 } else { 1.0_f64.to_radians() };
    let covariance = Matrix6::from_fn(|i, j| rows[i][j] * unit(i) * unit(j));
    let answer = |x: Vector3<f64>| {
        let mut answer = Matrix3x6::identity();
        answer.fixed_view_mut::<3, 3>(0, 3).copy_from(&-x.cross_matrix());
        answer
    };
    let point: Point<Tracker> = Point::new(20.0, -210.0, 5.0);
    let turned = truth.rotation.matrix() * answer(*point.vector());
    let beside = answer(*(truth * point).vector());
    let expected = turned * covariance * turned.transpose() + beside * covariance * beside.transpose();

    let noisy = plan(&format!("{stated}[protocol]\ncup_frames = 20000\n"), "only = [\"tracker.jitter\"]\n");
    let (frames, _) = poses(&noisy, Step::Cup, 0);
    let count = frames.len() as f64;
    let mut found = Matrix3::zeros();
    for frame in &frames {
        let error = *(*frame * point - truth * point).vector();
        found += error * error.transpose() / count;
    }
    for i in 0..3 {
        for j in 0..3 {
            let product = expected[(i, i)] * expected[(j, j)] + expected[(i, j)] * expected[(i, j)];
            let error = (product / count).sqrt();
            assert!((found[(i, j)] - expected[(i, j)]).abs() < 4.5 * error, "{found} for {expected}");
        }
    }
    // The test can tell: the tool's own share alone, and the pelvis tracker's alone, are far off.
    let own = turned * covariance * turned.transpose();
    assert!((expected - own).norm() > 0.1 * expected.norm() && own.norm() > 0.1 * expected.norm());
}

/// Markers on a stand: the pelvis tracker's noise is that of its own stream, and both residuals count.
#[test]
fn identity_the_pelvis_tracker_draws_for_itself() {
    let noisy = plan(STAND, "only = [\"tracker.jitter\"]\n");
    let (_, observed) = poses(&noisy, Step::Cup, 0);
    let pelvis = observed.pelvis.as_ref().expect("a tracker on the pelvis");
    assert_eq!(pelvis.len(), observed.sightings.len());
    // The tools' own draws are those of a camera on the pelvis in the same place.
    let carried = plan("position_mm = [900.0, 500.0, 500.0]\n", "only = [\"tracker.jitter\"]\n");
    let (_, alone) = poses(&carried, Step::Cup, 0);
    assert_eq!(alone.sightings, observed.sightings);
    assert_eq!(alone.pelvis, None);
}

/// Recorded poses are those from the pelvis tracker: replayed they give the readings of the run. Markers alone would not.
#[test]
fn identity_a_case_from_a_stand_is_recorded_by_its_poses_and_not_by_markers() {
    let plan = plan(STAND, "scale = { \"tracker.jitter\" = 0.05 }\n");
    let (variant, folder) = (&plan.variants[0], tempfile::tempdir().expect("a folder"));
    let runner = TrialRunner::new(variant, plan.seed);
    let poses = RecordOptions::default();
    let [recordings, _, file] = runner.record(variant, 0..=2, poses, folder.path()).expect("room");
    let asked = Plan::read_replay(&file).expect("what was just written");
    let recordings = read_recordings(&recordings, &FemurFeature::ALL).expect("what was just written");
    let found = replay(&asked, &recordings, None);
    assert_eq!(found.readings.len(), 3);
    for reading in &found.readings {
        let (_, estimates, _) = runner.case(reading.case as u64);
        for (place, output) in OUTPUTS.into_iter().enumerate() {
            let expected = estimates.reductions[0].readings.get(output).expect("a reading");
            let got = reading.value(place).expect("a reading");
            assert!((got - expected).abs() < 1e-9, "{}: {got} {expected}", output.id());
        }
    }
    let markers = RecordOptions { markers: true, ..poses };
    let refused = runner.record(variant, 0..=0, markers, folder.path()).expect_err("no place for the pelvis");
    assert!(refused.to_string().contains("record the poses instead"), "{refused}");
}

#[test]
fn identity_a_frame_that_hides_the_pelvis_tracker_is_lost() {
    // Markers that all look away from the camera.
    let away = "[tools]\npelvis_marker_normals = [[0, 0, -1], [0, 0, -1], [0, 0, -1], [0, 0, -1]]\n";
    let hidden = plan(&format!("model = \"pixel\"\n{STAND}{away}"), "only = []\n");
    assert!(errors(&hidden, 0).iter().all(|error| error.is_nan()));
}
