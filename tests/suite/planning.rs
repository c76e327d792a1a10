//! What `check` plans is what `run` judges by.

use crate::command_line::{Bench, Ended, SMALL};
use navassay::record::{Parts, Rows};

/// The verdict of each requirement, in the order of the table.
fn verdicts(bench: &Bench, run: &str) -> Vec<(String, String)> {
    let table = std::fs::read_to_string(bench.path(run).join("tables/verdicts.csv")).expect("a table");
    let mut lines = table.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let head = lines.next().expect("a head");
    let place = |name: &str| head.iter().position(|column| *column == name).expect("a column");
    let (id, verdict) = (place("requirement"), place("verdict"));
    lines.map(|cells| (cells[id].to_owned(), cells[verdict].to_owned())).collect()
}

fn planned(bench: &Bench, text: &str) -> (Ended, Vec<String>) {
    bench.write("planned.toml", text);
    let checked = bench.run(&["check", "planned.toml", "--out", "run"]).with(0);
    let ran = bench.run(&["run", "planned.toml", "--out", "run"]);
    assert!(matches!(ran.status, Some(0 | 1)), "{ran:?}");
    let found = verdicts(bench, "run").into_iter().map(|(_, verdict)| verdict).collect();
    std::fs::remove_dir_all(bench.path("run")).expect("a run");
    (checked, found)
}

fn with_trials(trials: u64, head: &str) -> String {
    SMALL.replace("trials = 300", &format!("trials = {trials}\n{head}"))
}

/// With five looks each has the confidence 1 - 0.1/5: of `n` trials none outside shows 90 % where 0.9^n <= 0.02, from 38 on.
#[test]
fn outside_each_of_five_looks() {
    let bench = Bench::new();
    let (checked, found) = planned(&bench, &with_trials(37, "looks = 5"));
    assert!(checked.said.contains("REQ-01: this design cannot pass: at least 38 trials"), "{}", checked.said);
    assert_eq!(found, ["not shown"]);
    let (checked, found) = planned(&bench, &with_trials(38, "looks = 5"));
    assert!(!checked.said.contains("cannot pass"), "{}", checked.said);
    assert!(checked.said.replace("\n  ", " ").contains("at most 0 of the 38 trials"), "{}", checked.said);
    assert_eq!(found, ["pass"]);
}

/// Limits that must hold in the same case have a rule of their own: 95 % with 95 % takes 59 trials with none outside.
#[test]
fn outside_limits_that_hold_together() {
    let both = "[[requirement]]\nid = \"REQ-02\"\ntext = \"Offset.\"\noutput = \"offset\"\nlimit_mm = 100.0\n\
                proportion = 0.9\nconfidence = 0.9\n\
                [[requirement]]\nid = \"BOTH\"\ntext = \"Both.\"\nall_of = [\"REQ-01\", \"REQ-02\"]\n\
                proportion = 0.95\nconfidence = 0.95\n";
    let bench = Bench::new();
    let (checked, found) = planned(&bench, &(with_trials(58, "") + both));
    assert!(checked.said.contains("BOTH: this design cannot pass: at least 59 trials"), "{}", checked.said);
    assert!(!checked.said.contains("REQ-01: this"), "{}", checked.said);
    assert_eq!(found, ["pass", "pass", "not shown"]);
    let (checked, found) = planned(&bench, &(with_trials(59, "") + both));
    assert!(!checked.said.contains("cannot pass"), "{}", checked.said);
    assert!(checked.said.contains("all 3 requirements"), "{}", checked.said);
    assert_eq!(found, ["pass", "pass", "pass"]);
}

/// As many trials outside as `check` says pass, one more does not; with a guard band outside the acceptance limit.
#[test]
fn identity_the_most_that_may_be_outside() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--out", "first"]).with(0);
    let parts = Parts::list(&bench.path("first").join("parts")).expect("parts");
    let errors = parts.column(0, "inclination_error_deg", Rows::LastReduction).expect("a column");
    let mut sizes: Vec<f64> = errors.iter().map(|error| error.map_or(f64::INFINITY, f64::abs)).collect();
    sizes.sort_by(|one, other| other.total_cmp(one));
    let said = bench.run(&["check", "small.toml"]).with(0).said.replace("\n  ", " ");
    let (_, rest) = said.split_once("at most ").expect("a number");
    let most: usize = rest.split(' ').next().and_then(|word| word.parse().ok()).expect("a number");
    // Normal theory: 30 - 1.28 sqrt(300 * 0.1 * 0.9) = 23.3, less half a trial.
    assert!((21..=24).contains(&most), "{most}");
    for (guard, outside, verdict) in
        [(0.0, most, "pass"), (0.0, most + 1, "not shown"), (0.5, most, "pass"), (0.5, most + 1, "not shown")]
    {
        let acceptance = 0.5 * (sizes[outside - 1] + sizes[outside]);
        let limit = format!("limit_deg = {}\nguard_deg = {guard}", acceptance + guard);
        let (checked, found) = planned(&bench, &SMALL.replace("limit_deg = 30.0", &limit));
        assert_eq!(found, [verdict], "{guard} {outside}");
        assert_eq!(checked.said.contains("acceptance limit"), guard > 0.0, "{}", checked.said);
    }
}
