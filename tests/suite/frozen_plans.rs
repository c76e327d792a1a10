//! A plan is frozen before its run and amended, never overwritten; what a run changes is told with its old and new value.

use crate::command_line::{Bench, SMALL};
use navassay::record::sums::sum;

fn read(bench: &Bench, name: &str) -> String {
    std::fs::read_to_string(bench.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The rows of the table of changed settings, none if the run has none.
fn changed(bench: &Bench, run: &str) -> Vec<String> {
    let table = std::fs::read_to_string(bench.path(run).join("tables/changed-settings.csv")).unwrap_or_default();
    table.lines().skip(1).map(str::to_owned).collect()
}

fn with_limit(limit: &str) -> String {
    SMALL.replace("limit_deg = 30.0", &format!("limit_deg = {limit}"))
}

#[test]
fn identity_a_plan_is_frozen_before_its_run_and_deviations_are_named() {
    let bench = Bench::new();
    let ended = bench.run(&["check", "small.toml", "--freeze"]).with(0);
    let hash = sum(&bench.path("small.plan.json")).expect("a plan that was frozen");
    assert!(ended.said.contains("the plan is frozen in small.plan.json"), "{}", ended.said);
    assert!(ended.said.contains(&format!("SHA-256 {hash}")), "{}", ended.said);
    let frozen = read(&bench, "small.plan.json");
    let again = bench.run(&["check", "small.toml", "--freeze"]).with(0);
    assert!(again.said.contains("is the same") && again.said.contains(&hash), "{}", again.said);
    bench.run(&["run", "small.toml", "--quiet"]).with(0);
    let page = read(&bench, "reports/small/verification.html");
    assert!(page.contains("The run deviates from the revision in force in no setting.") && page.contains(&hash));
    assert_eq!(changed(&bench, "reports/small"), Vec::<String>::new());

    // Another requirement and more trials than were planned, in a folder of their own.
    bench.write("small.toml", &with_limit("29.0"));
    let refused = bench.run(&["check", "small.toml", "--freeze"]).with(2).complaint();
    assert!(refused.contains("requirements.REQ-01.limit was 30.0 there and is 29.0 now"), "{refused}");
    assert!(refused.contains("--amend"), "{refused}");
    assert_eq!(read(&bench, "small.plan.json"), frozen);
    bench.run(&["run", "small.toml", "--trials", "400", "--out", "other", "--quiet"]).with(1);
    assert_eq!(
        changed(&bench, "other"),
        [
            "requirements.REQ-01.limit,30.0,29.0,none,no reason given,\"yes, 1 look\"",
            "trials,300,400,none,no reason given,\"yes, 1 look\"",
        ]
    );
    let deviations = read(&bench, "other/tables/deviations.csv");
    assert_eq!(deviations.lines().next(), Some("part,fixed before,run,deviations"));
    assert_eq!(deviations.matches("see the changed settings").count(), 2, "{deviations}");

    // What is frozen after a run is not taken for frozen before it.
    bench.write("late.toml", SMALL);
    bench.run(&["run", "late.toml", "--quiet"]).with(0);
    assert!(bench.run(&["check", "late.toml", "--freeze"]).with(2).complaint().contains("holds a run already"));
    bench.run(&["check", "late.toml", "--freeze", "--out", "elsewhere"]).with(0);
    bench.run(&["run", "late.toml", "--quiet"]).with(0);
    assert!(read(&bench, "reports/late/verification.html").contains("No plan was frozen before this run"));
    let record = read(&bench, "reports/small/run.json");
    let record: navassay::trial::RunRecord = serde_json::from_str(&record).expect("the published shape");
    assert_eq!(record.frozen.expect("the plan that was frozen").current().hash(), hash);
    assert_eq!(record.looks[0].plan, Some(hash));
}

/// A plan whose file or record is changed afterwards does not pass for the one that was frozen.
#[test]
fn identity_a_forged_plan_is_a_deviation_or_refused() {
    let bench = Bench::new();
    bench.run(&["check", "small.toml", "--freeze"]).with(0);
    bench.run(&["run", "small.toml", "--out", "run", "--quiet"]).with(0);
    // The wider limit in the experiment and in the plan beside it: the run goes by the plan in its record.
    bench.write("small.toml", &with_limit("31.0"));
    let plan = read(&bench, "small.plan.json");
    assert_eq!(plan.matches("\"limit\": 30.0").count(), 1);
    bench.write("small.plan.json", &plan.replace("\"limit\": 30.0", "\"limit\": 31.0"));
    let ended = bench.run(&["assess", "run", "small.toml"]).with(1);
    assert!(ended.complaint().contains("goes by its record"), "{}", ended.complaint());
    assert_eq!(changed(&bench, "run"), ["requirements.REQ-01.limit,30.0,31.0,none,no reason given,\"yes, 1 look\""]);
    // The same in the record, with the checksums taken away: its looks name the plan that was frozen.
    let record = read(&bench, "run/run.json");
    std::fs::remove_file(bench.path("run/SHA256SUMS")).expect("checksums");
    bench.write("run/run.json", &record.replace("\"limit\": 30.0", "\"limit\": 31.0"));
    for command in [&["assess", "run"][..], &["run", "small.toml", "--out", "run"]] {
        let refused = bench.run(command).with(2).complaint();
        assert!(refused.contains("its last look at verdicts was at a plan with"), "{refused}");
    }
}

#[test]
fn identity_another_bench_is_another_plan() {
    let bench = Bench::new();
    bench.run(&["trial", "small.toml", "0", "--to", "9", "--seed", "6", "--record", "recorded"]).with(0);
    bench.write("held.toml", &format!("{SMALL}[report]\nbench = \"recorded/replay.toml\"\n"));
    bench.run(&["check", "held.toml", "--freeze"]).with(0);
    let recordings = sum(&bench.path("recorded/recordings.csv")).expect("recordings");
    assert!(read(&bench, "held.plan.json").contains(&recordings));
    bench.run(&["run", "held.toml", "--out", "run", "--quiet"]).with(0);
    assert_eq!(changed(&bench, "run"), Vec::<String>::new());
    let sums = read(&bench, "run/SHA256SUMS");
    bench.run(&["assess", "run", "--quiet"]).with(0);
    assert_eq!(read(&bench, "run/SHA256SUMS"), sums);
    // Removed after freezing.
    bench.write("held.toml", SMALL);
    bench.run(&["run", "held.toml", "--out", "without", "--quiet"]).with(0);
    let rows = changed(&bench, "without");
    assert!(
        rows.iter().any(|row| row.contains("bench.recordings.sha256") && row.contains(",absent,none,")),
        "{rows:?}"
    );
    // Other recordings under the same name.
    bench.write("held.toml", &format!("{SMALL}[report]\nbench = \"recorded/replay.toml\"\n"));
    bench.run(&["trial", "small.toml", "0", "--to", "9", "--seed", "8", "--record", "recorded"]).with(0);
    bench.run(&["run", "held.toml", "--out", "other", "--quiet"]).with(0);
    let rows = changed(&bench, "other");
    assert!(rows.iter().any(|row| row.starts_with("bench.recordings.sha256,")), "{rows:?}");
}

#[test]
fn identity_an_amendment_keeps_the_former_plan_and_its_reason() {
    let bench = Bench::new();
    assert!(bench.run(&["check", "small.toml", "--amend", "early"]).with(2).complaint().contains("nothing to amend"));
    bench.run(&["check", "small.toml", "--freeze"]).with(0);
    let first = read(&bench, "small.plan.json");
    assert!(bench.run(&["check", "small.toml", "--amend", "same"]).with(2).complaint().contains("does not differ"));
    bench.write("small.toml", &with_limit("29.0"));
    bench.run(&["check", "small.toml", "--amend", "  "]).with(2);
    let ended = bench.run(&["check", "small.toml", "--amend", "the risk file was revised"]).with(0);
    assert!(ended.said.contains("the plan is amended in small.plan.2.json"), "{}", ended.said);
    assert_eq!(read(&bench, "small.plan.json"), first);
    let second = read(&bench, "small.plan.2.json");
    assert!(second.contains(&sum(&bench.path("small.plan.json")).expect("the first revision")));
    // Before any look: verdicts are given, and the document tells what was changed and why.
    bench.run(&["run", "small.toml", "--out", "run", "--quiet"]).with(0);
    let row = "requirements.REQ-01.limit,30.0,29.0,2,the risk file was revised,no look recorded";
    assert_eq!(changed(&bench, "run"), [row]);
    // After a look: the amendment says so, and verdicts by other criteria are withheld.
    bench.write("small.toml", &with_limit("28.0"));
    bench.run(&["check", "small.toml", "--amend", "a second thought"]).with(0);
    bench.run(&["run", "small.toml", "--out", "late", "--quiet"]).with(1);
    let late = "requirements.REQ-01.limit,29.0,28.0,3,a second thought,\"yes, 1 look\"";
    assert_eq!(changed(&bench, "late"), [row, late]);
    assert!(read(&bench, "late/verification.html").contains("No verdict is given."));
    // A revision that is gone is missed by every command that goes by the plan.
    std::fs::remove_file(bench.path("small.plan.2.json")).expect("the second revision");
    for command in
        [&["run", "small.toml", "--out", "late"][..], &["check", "small.toml"], &["assess", "late", "small.toml"]]
    {
        let missed = bench.run(command).with(2).complaint();
        assert!(missed.contains("small.plan.2.json is missing"), "{missed}");
    }
    bench.write("small.plan.2.json", &second);
    bench.write("small.plan.json", &first.replace("\"limit\": 30.0", "\"limit\": 29.5"));
    let broken = bench.run(&["run", "small.toml", "--out", "late"]).with(2).complaint();
    assert!(broken.contains("small.plan.2.json amends a plan with SHA-256"), "{broken}");
}

#[test]
fn identity_a_plan_of_another_version_is_named_by_it() {
    let bench = Bench::new();
    // The members of a plan of version 0.1.0, with a hash that was believed.
    let of_0_1_0 = "{\"assessment_hash\": \"00\", \"experiment\": \"small.toml\", \"plan\": {}, \"simulation_hash\": \"00\", \
                    \"trials\": 300, \"version\": \"0.1.0\"}";
    bench.write("small.plan.json", of_0_1_0);
    for command in
        [&["run", "small.toml"][..], &["check", "small.toml", "--freeze"], &["check", "small.toml", "--amend", "x"]]
    {
        let refused = bench.run(command).with(2).complaint();
        assert!(refused.contains("small.plan.json was written by version 0.1.0 of navassay"), "{refused}");
    }
    assert_eq!(read(&bench, "small.plan.json"), of_0_1_0);
    assert!(!bench.path("reports").exists());
    let checked = bench.run(&["check", "small.toml"]).with(0);
    assert!(checked.complaint().contains("version 0.1.0"), "{}", checked.complaint());
    // A plan of the same format is refused too, and can be amended.
    std::fs::remove_file(bench.path("small.plan.json")).expect("a plan");
    bench.run(&["check", "small.toml", "--freeze"]).with(0);
    let this = format!("\"version\": \"{}\"", env!("CARGO_PKG_VERSION"));
    bench.write("small.plan.json", &read(&bench, "small.plan.json").replace(&this, "\"version\": \"0.1.9\""));
    let refused = bench.run(&["run", "small.toml"]).with(2).complaint();
    assert!(refused.contains("written by version 0.1.9"), "{refused}");
    bench.run(&["check", "small.toml", "--amend", "another version of the program"]).with(0);
    bench.run(&["run", "small.toml", "--quiet"]).with(0);
    let rows = changed(&bench, "reports/small");
    assert_eq!(rows.len(), 1, "{rows:?}");
    assert!(rows[0].contains("version of the program,") && rows[0].contains("0.1.9"), "{rows:?}");
}
