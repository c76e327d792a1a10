//! What `check` plans is what `run` judges by.

use crate::command_line::{Bench, Ended, SMALL};
use navassay::record::{Parts, Rows};

/// Some columns of a table of a run, row by row.
fn columns<const N: usize>(bench: &Bench, run: &str, table: &str, names: [&str; N]) -> Vec<[String; N]> {
    let table = std::fs::read_to_string(bench.path(run).join(format!("tables/{table}.csv"))).expect("a table");
    let mut lines = table.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let head = lines.next().expect("a head");
    let places = names.map(|name| head.iter().position(|column| *column == name).expect("a column"));
    lines.map(|cells| places.map(|place| cells[place].to_owned())).collect()
}

fn planned(bench: &Bench, text: &str) -> (Ended, Vec<String>) {
    bench.write("planned.toml", text);
    let checked = bench.run(&["check", "planned.toml", "--out", "run"]).with(0);
    let ran = bench.run(&["run", "planned.toml", "--out", "run"]);
    assert!(matches!(ran.status, Some(0 | 1)), "{ran:?}");
    let found = columns(bench, "run", "verdicts", ["verdict"]).into_iter().map(|[verdict]| verdict).collect();
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

/// The tables of a run against closed forms: trials for a standard error fall with its square; trials for equivalence by normal
/// theory, `((z(0.95) + z(0.9)) sd / margin)^2` with scores 1.644854 and 1.281552 (standard normal table), and for Student's
/// factor about `z(0.95)^2 / 2` more; a pass at the allowed proportion is no more probable than 1 less the confidence.
#[test]
fn outside_tables_of_planned_numbers() {
    let arms = "[[arm]]\nname = \"pubis\"\n[[arm]]\nname = \"level\"\nset = { \"measure.plane\" = \"level\" }\n\
                [measure]\nmeasurand_plane = \"level\"\n\
                [[comparison]]\nid = \"C\"\ntext = \"t\"\narm = \"level\"\nagainst = \"pubis\"\noutput = \"inclination\"\n\
                measure = \"bias\"\nclaim = \"equivalent\"\nmargin_deg = 0.4\nconfidence = 0.95\n";
    let bench = Bench::new();
    bench.write("planned.toml", &(SMALL.to_owned() + arms));
    let said = bench.run(&["check", "planned.toml"]).with(0).said;
    assert!(said.contains("pilot of 200 cases") && said.contains("C, equivalent"), "{said}");
    bench.run(&["run", "planned.toml", "--out", "run"]);
    let number = |text: &String| text.parse::<f64>().expect("a number");
    let precision = columns(&bench, "run", "precision", ["mcse", "mcse_aimed_at", "trials_for_mcse"]);
    assert!(precision.len() >= 16, "four estimates of each output of two arms");
    for row in precision.iter().filter(|row| !row[0].is_empty()) {
        let [mcse, aim, trials] = row.each_ref().map(number);
        let ratio = mcse / aim;
        assert!((300.0 * ratio * ratio - trials).abs() <= 2.0, "{row:?}");
    }
    let names = ["sd_of_pair", "margin", "true_difference", "trials_80"];
    let claims = columns(&bench, "run", "claims_trials", names);
    let [sd, margin, difference, trials] = claims[0].each_ref().map(number);
    let [errors] = &columns(&bench, "run", "claims", ["standard_error"])[..] else { panic!("one claim") };
    assert!((number(&errors[0]) * 300_f64.sqrt() / sd - 1.0).abs() < 0.01, "{errors:?} {sd}");
    let scores = (1.644_854 + 1.281_552) * sd / margin;
    let expected = scores * scores + 0.5 * 1.644_854 * 1.644_854;
    assert!(difference == 0.0 && (trials - expected).abs() <= 0.01 * expected + 2.0, "{trials} {expected}");
    let curve = columns(&bench, "run", "operating_characteristic", ["true_outside", "probability_of_pass"]);
    let curve: Vec<[f64; 2]> = curve.iter().map(|row| row.each_ref().map(number)).collect();
    assert!(curve.windows(2).all(|pair| pair[0][0] < pair[1][0] && pair[0][1] >= pair[1][1]));
    assert!(curve[0] == [0.0, 1.0] && curve.iter().all(|&[outside, pass]| outside < 0.1 || pass <= 0.1));
}

/// A nested design is planned in devices: `0.9^D <= 0.1` from 22 devices on, however many cases each has.
#[test]
fn outside_devices_of_a_nested_design() {
    let nested = |devices: u64| {
        SMALL.replace("trials = 300\n", "")
            + &format!(
                "[design]\ndevices = {devices}\ncases = 5\nrepeats = 2\n[planning]\noutside_of_allowed = [0.1]\n"
            )
    };
    let bench = Bench::new();
    let (checked, found) = planned(&bench, &nested(21));
    assert!(checked.said.contains("REQ-01: this design cannot pass: at least 22 devices"), "{}", checked.said);
    assert!(checked.complained.contains("too few devices"), "{}", checked.complained);
    assert_eq!(found, ["not shown"]);
    let (checked, found) = planned(&bench, &nested(22));
    assert!(!checked.said.contains("cannot pass") && !checked.complained.contains("too few"), "{checked:?}");
    assert_eq!(found, ["pass"]);
}
