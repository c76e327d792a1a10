//! The stillness gate: taken again, counted, given up; and it moves no draw of what it lets through.

use navassay::experiment::Plan;
use navassay::measurement::{OUTPUTS, Observations, Reason, Step, largest_distance_mm};
use navassay::record::{Parts, Rows};
use navassay::trial::TrialRunner;

fn runner(text: &str) -> TrialRunner {
    let plan = Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{text}\n{error}"));
    TrialRunner::new(&plan.variants[0], plan.seed)
}

fn gated(limit_mm: f64, tries: u32) -> TrialRunner {
    runner(&format!(
        "seed = 5\n[measure]\nfemur = \"divot\"\n[protocol]\nstillness_limit_mm = {limit_mm}\nstillness_tries = {tries}\n\
         [noise]\noff = [\"tracker.lens\"]\n[noise.probe.tremor]\neach_axis_mm = {{ normal = {{ sd = 0.25 }} }}\n"
    ))
}

fn holds(observed: &Observations) -> usize {
    observed.captures.iter().filter(|capture| capture.is_hold(false)).count()
}

/// Beyond any limit nothing is taken again, and every draw is where it is without a gate.
#[test]
fn identity_a_wide_gate_is_no_gate() {
    let (wide, none) =
        (gated(1e9, 3), runner("seed = 5\n[measure]\nfemur = \"divot\"\n[noise]\noff = [\"tracker.lens\"]\n"));
    for case in 0..20 {
        let ((one, estimates, _), (other, expected, _)) = (wide.case(case), none.case(case));
        assert_eq!(one, other);
        assert_eq!(estimates, expected);
        assert_eq!(one.retries, 0);
    }
}

/// A gate that nothing passes gives every hold up after its last try, under its own name, and counts the tries between.
#[test]
fn identity_a_shut_gate_fails_by_name() {
    for tries in [1, 4] {
        let (observed, estimates, _) = gated(1e-9, tries).case(0);
        assert_eq!(holds(&observed), 5, "three landmarks, the divot before and after");
        assert_eq!(observed.retries, 5 * (tries - 1));
        let failure = estimates.asis_left.expect_err("given up");
        assert_eq!((failure.step, failure.reason), (Step::AsisLeft, Reason::NotStill));
        assert_eq!(estimates.baseline.expect_err("given up").reason, Reason::NotStill);
        // What needs no hold is there.
        assert!(estimates.tip.is_ok() && estimates.native.is_ok() && estimates.cup_axis.is_ok());
        let readings = estimates.reductions[0].readings;
        assert!(OUTPUTS.iter().all(|&output| readings.get(output).is_err()));
    }
}

/// What passes is within the limit as the camera sees it, and a case whose holds all pass at once is the case that would
/// have been there without a gate. The limit is what half of the cases keep to by themselves.
#[test]
fn identity_what_passes_is_within_the_limit() {
    let none = gated(1e9, 1);
    let mut stillness_mm: Vec<_> = (0..60).map(|case| none.case(case).1.residuals.stillness_mm).collect();
    stillness_mm.sort_by(f64::total_cmp);
    let (limit_mm, mut again, mut at_once) = (stillness_mm[30], 0, 0);
    let gate = gated(limit_mm, 50);
    for case in 0..60 {
        let ((observed, estimates, _), (free, wild, _)) = (gate.case(case), none.case(case));
        assert!(estimates.residuals.stillness_mm <= limit_mm, "{}", estimates.residuals.stillness_mm);
        assert_eq!(holds(&observed), holds(&free));
        assert_eq!(observed.sightings.len(), free.sightings.len());
        again += observed.retries;
        if observed.retries == 0 {
            at_once += 1;
            assert_eq!(observed, free);
        } else {
            assert!(wild.residuals.stillness_mm > limit_mm);
            assert_ne!(observed.sightings, free.sightings);
        }
    }
    assert!(again >= 29 && at_once == 31, "{again} holds taken again, {at_once} cases without");
}

/// Tries have draws of their own: a case that fails at two tries may pass at the third, and the first two are the same.
#[test]
fn identity_more_tries_extend_fewer() {
    let (two, many) = (gated(0.7, 2), gated(0.7, 40));
    let mut rescued = 0;
    for case in 0..40 {
        let ((few, ..), (more, ..)) = (two.case(case), many.case(case));
        assert!(more.retries >= few.retries);
        for (one, other) in few.captures.iter().zip(&more.captures) {
            assert!(other.still || !one.still, "a hold given up after many tries is given up after two");
            rescued += usize::from(other.still && !one.still);
        }
    }
    assert!(rescued > 5, "{rescued}");
}

/// The gate judges what the camera gives: with a camera that sees everything 1 mm off at random, a hand that is
/// perfectly still is turned away.
#[test]
fn identity_the_gate_knows_no_truth() {
    let noisy = runner(
        "seed = 5\n[measure]\nfemur = \"divot\"\n[protocol]\nstillness_limit_mm = 0.5\n[noise]\nonly = [\"tracker.jitter\"]\n\
         [noise.tracker.jitter]\nacross_mm = { normal = { sd = 1.0 } }\n",
    );
    assert!(noisy.case(0).0.retries > 0);
}

/// Root mean square distance of N points from their mean, and the largest: three frames of a tip 1 mm apart.
#[test]
fn identity_distance_from_the_mean_tip() {
    use navassay::geometry::{Point, Pose, Rotation};
    let at = |x: f64| Pose::new(Rotation::identity(), Point::new(x, 2.0, -5.0));
    let tip = Point::new(3.0, 1.0, 0.0);
    assert!((largest_distance_mm(&[at(0.0), at(1.0), at(5.0)], tip) - 3.0).abs() < 1e-12);
    assert_eq!(largest_distance_mm(&[at(7.0)], tip), 0.0);
}

/// Retries stand in the parts and in the report; without a gate there is no such table.
#[test]
fn identity_retries_are_told() {
    let text = "seed = 5\ntrials = 40\n[measure]\nfemur = \"divot\"\n[protocol]\nstillness_limit_mm = 0.85\n";
    let run = super::support::reported(text);
    let parts = Parts::list(&run.folder.path().join("parts")).expect("parts that were just written");
    let retries = parts.column(0, "retries", Rows::All).expect("a column");
    let holds: f64 = retries.iter().flatten().sum();
    assert!(holds > 0.0);
    let table = run.evidence.tables().find(|table| table.id == "table-retries").expect("a table of retries");
    assert_eq!(table.rows[0].last().map(String::as_str), Some(holds.to_string().as_str()));
    assert!(run.page.contains("Holds taken again"));
    let none = super::support::reported("seed = 5\ntrials = 5\n");
    assert!(none.evidence.tables().all(|table| table.id != "table-retries"));
}
