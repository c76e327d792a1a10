//! Estimates and verdicts of whole runs: nested designs, several limits together, failures.

use crate::support::{Reported, cells, reported, table};
use navassay::analysis::components::components;
use navassay::analysis::nested::{Nested, summarise_nested};
use navassay::analysis::rare_events::RareEvents;
use navassay::analysis::{Errors, Estimate, Summary, summarise};
use navassay::experiment::Plan;
use navassay::record::{Parts, Rows};
use navassay::study::assess;
use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
use rand_distr::{Distribution, StandardNormal};

const NESTED: &str = "seed = 5\n[design]\ndevices = 6\ncases = 4\nrepeats = 2\n";

fn requirement(id: &str, rest: &str) -> String {
    format!("[[requirement]]\nid = \"{id}\"\ntext = \"A requirement.\"\n{rest}\nproportion = 0.9\nconfidence = 0.9\n")
}

fn column(report: &Reported, name: &str) -> Vec<f64> {
    let parts = Parts::list(&report.folder.path().join("parts")).expect("parts");
    let column = parts.column(0, name, Rows::LastReduction).expect("a column");
    column.iter().map(|value| value.expect("a value")).collect()
}

/// Repeats of a case share patient, implant and device, and differ in what is captured; devices share nothing.
#[test]
fn identity_a_nested_run_repeats_what_it_should() {
    let report = reported(NESTED);
    let place = |name: &str| column(&report, name);
    let (device, case, repeat) = (place("device"), place("case"), place("repeat"));
    assert_eq!(device.len(), 48);
    for trial in 0..48_u32 {
        let at = usize::try_from(trial).expect("small");
        let expected = [trial / 8, trial / 2, trial % 2].map(f64::from);
        assert_eq!([device[at], case[at], repeat[at]], expected);
    }
    let truths = ["implant_inclination_deg", "anatomy_asis_width_mm", "inclination_true_deg"].map(place);
    let errors = place("inclination_error_deg");
    for pair in 0..24 {
        let (one, other) = (2 * pair, 2 * pair + 1);
        assert!(truths.iter().all(|truth| truth[one] == truth[other]), "case {pair}");
        assert_ne!(errors[one], errors[other], "case {pair}");
    }
    let strata = cells(&table(&report, "components"), "stratum");
    assert_eq!(strata[..5], ["device", "case", "repeat", "case and repeat", "total"]);
    assert!(report.page.contains("The effective unit is the device"));
}

/// A source of the device alone: nothing is new in a repeat, and the trials of one device agree.
#[test]
fn identity_a_device_error_is_a_device_component() {
    let report = reported(&format!("{NESTED}[noise]\nonly = [\"cup.runout\"]\n"));
    let components = table(&report, "components");
    let (strata, shares) = (cells(&components, "stratum"), cells(&components, "share"));
    let share = |which: usize| shares[which].parse::<f64>().expect("a share");
    assert_eq!(strata[..3], ["device", "case", "repeat"]);
    assert!(share(0) > 0.9 && share(2) < 1e-12, "{shares:?}");
}

#[test]
fn identity_a_nested_run_of_few_devices_gives_no_verdict() {
    let report = reported(&format!("{NESTED}{}", requirement("WIDE", "output = \"inclination\"\nlimit_deg = 60")));
    let verdicts = table(&report, "verdicts");
    assert_eq!(cells(&verdicts, "verdict"), ["not shown"]);
    assert_eq!(cells(&verdicts, "devices"), ["6"]);
    assert!(report.page.contains("This design cannot pass: at least 22 devices are needed"));
}

/// One case on each device is an independent design: verdicts, proportions and the target box have the same bounds.
#[test]
fn identity_one_case_a_device_is_an_independent_design() {
    let joint = [
        requirement("NARROW", "output = \"inclination\"\nlimit_deg = 2\nguard_deg = 0.2"),
        requirement("WIDE", "output = \"anteversion\"\nlimit_deg = 4"),
        requirement("BOTH", "all_of = [\"NARROW\", \"WIDE\"]"),
    ]
    .concat();
    let nested = reported(&format!("seed = 5\n[design]\ndevices = 60\ncases = 1\nrepeats = 1\n{joint}"));
    let independent = reported(&format!("seed = 5\ntrials = 60\n{joint}"));
    for (name, columns) in [
        ("verdicts", &["out", "out_of_acceptance", "exceed_low", "exceed_high", "bound"][..]),
        ("target", &["trials", "of", "proportion_low", "proportion_high"]),
        ("cup", &["content"]),
    ] {
        for column in columns {
            let numbers = |report: &Reported| -> Vec<Option<f64>> {
                cells(&table(report, name), column).iter().map(|cell| cell.parse().ok()).collect()
            };
            let (one, other) = (numbers(&nested), numbers(&independent));
            assert_eq!(one.len(), other.len());
            for pair in one.into_iter().zip(other) {
                let same = match pair {
                    (Some(one), Some(other)) => (one - other).abs() < 1e-8,
                    (one, other) => one == other,
                };
                assert!(same, "{name} {column}: {pair:?}");
            }
        }
    }
}

/// Of two limits together a case is out if it is out of either; one-sided limits count one side.
#[test]
fn identity_several_limits_in_the_same_case() {
    let text = [
        "seed = 5\ntrials = 60\n".to_owned(),
        requirement("HIGH", "output = \"inclination\"\nlimit_deg = 0.5\ndirection = \"above\"\nguard_deg = 0.1"),
        requirement("LOW", "output = \"anteversion\"\nlimit_deg = 1\ndirection = \"below\""),
        requirement("BOTH", "all_of = [\"HIGH\", \"LOW\"]"),
    ]
    .concat();
    let report = reported(&text);
    let errors = ["inclination_error_deg", "anteversion_error_deg"].map(|name| column(&report, name));
    let count = |out: &dyn Fn(usize) -> bool| (0..60).filter(|&trial| out(trial)).count().to_string();
    let high = |trial: usize| errors[0][trial] > 0.5;
    let low = |trial: usize| errors[1][trial] < -1.0;
    let expected = [count(&high), count(&low), count(&|trial| high(trial) || low(trial))];
    let verdicts = table(&report, "verdicts");
    assert_eq!(cells(&verdicts, "out"), expected);
    assert_eq!(cells(&verdicts, "output"), ["inclination", "anteversion", "joint"]);
    assert_eq!(cells(&verdicts, "limit"), ["0.5", "1", "HIGH LOW"]);
    assert!(report.page.contains("read too high by more than 0.5°, or cup anteversion was read too low"));
}

fn summarised(errors: &Errors) -> Summary {
    summarise(errors, &RareEvents::default())
}

fn estimates(summary: &Summary) -> Vec<Estimate> {
    let all =
        [summary.bias, summary.sd, summary.rms, summary.p50_abs, summary.p90_abs, summary.p95_abs, summary.p99_abs];
    all.into_iter().flatten().collect()
}

/// One trial without a reading among 6,144 is counted and moves nothing by more than its standard error, even if it would have
/// been the largest error of all.
#[test]
fn identity_one_failure_in_many_moves_nothing() {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(6144);
    let values: Vec<f64> = (0..6144).map(|_| StandardNormal.sample(&mut random)).collect();
    let largest = (0..6144).max_by(|&a, &b| values[a].abs().total_cmp(&values[b].abs())).expect("values");
    let mut rest = values.clone();
    rest.remove(largest);
    let (all, one_failed) = (summarised(&Errors::new(values, 0)), summarised(&Errors::new(rest, 1)));
    assert_eq!((one_failed.n, one_failed.failed, one_failed.bias.expect("a bias").count), (6144, 1, 6143));
    let (all, one_failed) = (estimates(&all), estimates(&one_failed));
    assert_eq!(all.len(), 7);
    for (before, after) in all.iter().zip(&one_failed) {
        assert!(
            (before.value - after.value).abs() <= before.standard_error.expect("an error"),
            "{before:?} {after:?}"
        );
    }
}

/// Nothing measured, one trial, no spread: no panic, and nothing that is no number.
#[test]
fn identity_degenerate_inputs() {
    for (values, failed) in [(vec![], 0), (vec![], 50), (vec![1.5], 0), (vec![0.25; 500], 3), (vec![0.0; 2], 0)] {
        let nested = Nested::new(values.iter().map(|&value| (0, 0, Some(value))));
        let none = RareEvents::default();
        let of_devices = summarise_nested(&nested, &components(&nested, &none, 0.95), &none);
        for summary in [summarised(&Errors::new(values.clone(), failed)), of_devices] {
            for estimate in estimates(&summary) {
                assert!(estimate.value.is_finite() && estimate.standard_error.is_none_or(f64::is_finite));
            }
        }
    }
    for text in ["seed = 1\ntrials = 1\n", "seed = 1\n[design]\ndevices = 1\ncases = 1\nrepeats = 2\n"] {
        let report = reported(&format!("{text}{}", requirement("A", "output = \"offset\"\nlimit_mm = 3")));
        assert_eq!(cells(&table(&report, "verdicts"), "verdict"), ["not shown"]);
    }
}

/// The ten worst trials are those with the largest errors in units of their limits.
#[test]
fn identity_the_worst_trials_are_the_worst() {
    let report =
        reported(&format!("seed = 5\ntrials = 60\n{}", requirement("A", "output = \"offset\"\nlimit_mm = 3")));
    let mut errors: Vec<(usize, f64)> = column(&report, "offset_error_mm").into_iter().enumerate().collect();
    errors.sort_by(|one, other| other.1.abs().total_cmp(&one.1.abs()));
    let expected: Vec<String> = errors[..10].iter().map(|error| error.0.to_string()).collect();
    let worst = table(&report, "worst");
    assert_eq!(cells(&worst, "trial"), expected);
    assert!(cells(&worst, "command")[0].starts_with(&format!("navassay trial hip.toml {} --seed 5", expected[0])));
}

/// The design's number of trials is the product; what does not agree is refused.
#[test]
fn identity_design_and_trials_agree() {
    let plan = Plan::parse("hip.toml", NESTED).expect("a sound design");
    assert_eq!((plan.trials, plan.design.expect("a design").devices(plan.trials)), (48, 6));
    assert!(Plan::parse("hip.toml", &NESTED.replace("[design]", "trials = 47\n[design]")).is_err());
    assert!(Plan::parse("hip.toml", "seed = 1\n[design]\ncases = 4\n").is_err());
    let mut plan = plan;
    assert!(plan.set_trials(44).is_err() && plan.set_trials(80).is_ok());
    let empty = tempfile::tempdir().expect("a folder");
    let assessment = assess(&plan, empty.path()).expect("no parts are no error");
    assert!(assessment.outputs.iter().all(|assessed| assessed.summary.n == 0));
}
