//! Walks the table of published checks.

use navassay::checks::{Check, Found, Mark, SECTIONS, Tolerance, Verdict, all, run_all};
use std::collections::BTreeSet;

#[test]
fn table_of_published_checks() {
    let outcomes = run_all();
    assert!(outcomes.iter().map(|outcome| outcome.check.id).eq(all().map(|check| check.id)), "order of the table");
    let failed: Vec<_> =
        outcomes.iter().filter(|outcome| outcome.verdict == Verdict::Failed).map(ToString::to_string).collect();
    assert!(failed.is_empty(), "{} of {} checks failed:\n{}", failed.len(), outcomes.len(), failed.join("\n"));
    // Rows that are never judged still have to find something, and are no majority.
    let shown = outcomes.iter().filter(|outcome| outcome.verdict == Verdict::Shown).count();
    assert!(shown * 10 < outcomes.len(), "{shown} of {} rows are shown only", outcomes.len());
}

#[test]
fn identity_every_row_can_be_named_and_traced() {
    let mut ids = BTreeSet::new();
    for section in SECTIONS {
        assert!(!section.title.is_empty());
        assert!(section.checks().next().is_some(), "{} has no row", section.title);
    }
    for check in all() {
        assert!(ids.insert(check.id), "two rows have the id {}", check.id);
        assert!(!check.source.trim().is_empty(), "{} has no source", check.id);
        assert!(!check.quantity.trim().is_empty(), "{} does not say what it compares", check.id);
        assert!(check.expected.is_finite(), "{} expects {}", check.id, check.expected);
    }
}

/// A check of which only the comparison matters.
fn expecting(expected: f64, tolerance: Tolerance, mark: Mark) -> Check {
    let function = || Err("not run".to_owned());
    Check { id: "test", quantity: "a number", unit: "mm", expected, tolerance, source: "this test", mark, function }
}

#[test]
fn identity_a_wrong_expected_value_fails() {
    // Every judged row, with its expected value put out of reach of what it finds.
    for outcome in run_all().iter().filter(|outcome| outcome.verdict == Verdict::Passed) {
        let Ok(found) = &outcome.found else { panic!("{outcome} passed without a value") };
        let reach = match outcome.check.tolerance {
            Tolerance::Absolute(distance) => distance,
            Tolerance::StandardErrors { times, rounding } => {
                times * found.standard_error.expect("a Monte Carlo result has a standard error") + rounding
            }
        };
        let margin = 1e-12_f64.max(1e-9 * found.value.abs());
        for wrong in [found.value + 1.001 * reach + margin, found.value - 1.001 * reach - margin] {
            let check = Check { expected: wrong, ..*outcome.check };
            assert_eq!(check.judge(Some(found)), Verdict::Failed, "{} accepts {wrong}", check.id);
        }
    }
}

#[test]
fn identity_comparison_by_distance_and_by_standard_errors() {
    let judge = |tolerance, value, standard_error| {
        let found = Found { value, standard_error, count: 100 };
        expecting(10.0, tolerance, Mark::Published).judge(Some(&found))
    };
    let (near, by_chance) = (Tolerance::Absolute(0.5), Tolerance::StandardErrors { times: 3.0, rounding: 0.25 });
    assert_eq!(judge(near, 10.5, None), Verdict::Passed);
    assert_eq!(judge(near, 9.4, None), Verdict::Failed);
    assert_eq!(judge(near, f64::NAN, None), Verdict::Failed);
    assert_eq!(judge(by_chance, 10.5, Some(0.1)), Verdict::Passed);
    assert_eq!(judge(by_chance, 10.6, Some(0.1)), Verdict::Failed);
    assert_eq!(judge(by_chance, 10.0, None), Verdict::Failed, "chance without a standard error");
    assert_eq!(judge(by_chance, 10.0, Some(f64::NAN)), Verdict::Failed);
    for mark in [Mark::Published, Mark::Derived, Mark::Recalled, Mark::Plausibility] {
        assert_eq!(expecting(10.0, near, mark).judge(None), Verdict::Failed, "nothing found");
    }
    let far = Found::exact(90.0);
    assert_eq!(expecting(10.0, near, Mark::Recalled).judge(Some(&far)), Verdict::Shown);
    assert_eq!(expecting(10.0, near, Mark::Plausibility).judge(Some(&far)), Verdict::Shown);
    assert_eq!(expecting(10.0, near, Mark::Derived).judge(Some(&far)), Verdict::Failed);
}
