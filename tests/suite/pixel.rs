//! The chain with cameras that form images.

use crate::support::reported;
use navassay::experiment::Plan;
use navassay::measurement::{OUTPUTS, Reason, Step};
use navassay::trial::TrialRunner;

/// A camera that sees every tool.
const PLACE: &str =
    "[camera]\nmodel = \"pixel\"\nposition_mm = [380.0, 260.0, -40.0]\naim_mm = [150.0, 20.0, 40.0]\n";

fn runner(text: &str) -> (Plan, TrialRunner) {
    let plan = Plan::parse("pixel.toml", text).unwrap_or_else(|error| panic!("{text}\n{error}"));
    let runner = TrialRunner::new(&plan.variants[0], plan.seed);
    (plan, runner)
}

/// Without noise, images lead to the truth as markers do: with one camera and with two, with distortion, with markers
/// in one plane and not.
#[test]
fn identity_without_noise_images_lead_to_the_truth() {
    let flat = "[tools]\nprobe_markers_mm = [[-26, -18, 0], [24, -24, 0], [31, 20, 0], [-20, 29, 0], [2, 3, 0]]\n";
    for cameras in ["1", "2"] {
        for tools in ["", flat] {
            let text = format!(
                "seed = 4\n{PLACE}[camera.pixel]\ncameras = {cameras}\nradial_distortion = [-0.1, 0.02, -0.001]\n\
                 tangential_distortion = [1e-3, -5e-4]\n[camera.second]\nposition_mm = [80, 2, 0]\n\
                 rotation_deg = [1, -8, 0.5]\nfocal_length_px = 1480\n{tools}[noise]\nonly = []\n"
            );
            let (plan, runner) = runner(&text);
            let variant = &plan.variants[0];
            for case in 0..20 {
                let (_, estimates, truth) = runner.case(case);
                let truth = truth.reading(0, variant.measurand_plane, variant.procedure.angles);
                for (output, truth) in OUTPUTS.into_iter().zip(truth) {
                    let read = estimates.reductions[0].readings.get(output);
                    let error = read.unwrap_or_else(|failure| panic!("{cameras} {tools} {case}: {failure}")) - truth;
                    assert!(error.abs() < 1e-6, "{cameras} {tools} {}: {error}", output.id());
                }
                let frames = estimates.frames;
                assert!(Step::TRACKED.iter().all(|&step| frames.lost_share(step).is_some_and(|share| share < 0.5)));
            }
        }
    }
}

/// Markers that look away are not seen: the step fails by name, and only what needs it.
#[test]
fn identity_markers_that_look_away_are_not_seen() {
    let away = "inserter_marker_normals = [[0, 0, -1], [0, 0, -1], [0, 0, -1], [0, 0, -1]]\n";
    let (_, runner) = runner(&format!("seed = 4\n{PLACE}[tools]\n{away}"));
    let (_, estimates, _) = runner.case(0);
    let failure = estimates.cup_axis.expect_err("no marker was seen");
    assert_eq!((failure.step, failure.reason), (Step::Cup, Reason::MarkersNotSeen));
    assert_eq!(estimates.frames.lost_share(Step::Cup), Some(1.0));
    assert_eq!(estimates.frames.lost_share(Step::TipPivot), Some(0.0));
    assert_eq!(estimates.frames.lost_share(Step::Level), None);
    assert!(estimates.tip.is_ok() && estimates.renewed.is_ok());
}

/// With three markers left of four a single camera has no pose; two cameras have.
#[test]
fn identity_fewer_markers_than_needed_lose_the_frame() {
    let away = "inserter_marker_normals = [[0, 0, 1], [0, 0, -1], [0, 0, 1], [0, 0, 1]]\n";
    for (cameras, lost) in [(1, 1.0), (2, 0.0)] {
        let text = format!(
            "seed = 4\n{PLACE}[camera.pixel]\ncameras = {cameras}\n[camera.second]\nposition_mm = [80, 0, 0]\n\
             [tools]\n{away}"
        );
        let (_, estimates, _) = runner(&text).1.case(0);
        assert_eq!(estimates.frames.lost_share(Step::Cup), Some(lost), "{cameras}");
    }
}

/// A flat tool that faces the camera far away: its two poses cannot be told apart, which is said.
#[test]
fn identity_a_flat_tool_seen_face_on_is_ambiguous() {
    let flat = "head_markers_mm = [[-12, -12, 0], [12, -12, 0], [12, 12, 0], [-12, 12, 0]]\n";
    let text = format!(
        "seed = 4\n{PLACE}[camera.pixel]\nstated_noise_px = 1.0\n[noise.tracker.jitter]\npixel_px = 1.0\n\
         [tools]\n{flat}[measure]\nleast_tracked_proportion = 0.99\n"
    );
    let (_, runner) = runner(&text);
    let named = (0..20)
        .filter(|&case| runner.case(case).1.native.is_err_and(|failure| failure.reason == Reason::AmbiguousPose));
    assert!(named.count() > 0);
}

/// The report counts lost frames step by step and draws the markers; without images there is nothing to count.
#[test]
fn identity_lost_frames_are_reported() {
    let away = "[tools]\ninserter_marker_normals = [[0, 0, -1], [0, 0, 1], [0, 0, 1], [0, 0, 1]]\n";
    let report = reported(&format!("seed = 5\ntrials = 60\n{PLACE}{away}"));
    let frames = std::fs::read_to_string(report.folder.path().join("tables/frames.csv")).expect("a table");
    let cup = frames.lines().find(|line| line.contains(",cup,")).expect("a row for the cup");
    let tip = frames.lines().find(|line| line.contains(",tip-pivot,")).expect("a row for the tip");
    assert_eq!(cup, "base,0,cup,60,1,1,1,60,1");
    assert!(tip.starts_with("base,0,tip-pivot,60,"), "{tip}");
    assert!(report.page.contains("cup: markers not seen"), "the failure is named");
    assert!(report.evidence.charts().any(|chart| chart.id == "markers"));

    let report = reported("seed = 5\ntrials = 60\n");
    assert!(!report.folder.path().join("tables/frames.csv").exists());
}

/// Where a hidden marker is does not move the noise of the others.
#[test]
fn identity_hidden_markers_move_no_draw() {
    let seen = |normals: &str| {
        let text = format!("seed = 4\n{PLACE}[tools]\nprobe_marker_normals = {normals}\n");
        let (observed, ..) = runner(&text).1.case(3);
        let navassay::measurement::Sightings::Images(images) = observed.sightings else { panic!("images") };
        images
    };
    let (all, some) = (seen("[]"), seen("[[0, 0, 1], [0, 0, -1], [0, 0, 1], [0, 0, 1]]"));
    let hidden = all.iter().zip(&some).filter(|(all, some)| all.is_some() && some.is_none()).count();
    assert!(hidden > 50, "{hidden}");
    assert!(all.iter().zip(&some).all(|(all, some)| some.is_none() || all == some));
}
