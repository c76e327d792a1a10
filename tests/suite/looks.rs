//! Looks at verdicts are remembered beside a frozen plan, whatever folder or seed they were taken in.

use crate::command_line::{Bench, SMALL};

fn read(bench: &Bench, name: &str) -> String {
    std::fs::read_to_string(bench.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn frozen() -> Bench {
    let bench = Bench::new();
    bench.run(&["check", "small.toml", "--freeze"]).with(0);
    assert_eq!(read(&bench, "small.looks.jsonl"), "");
    bench
}

fn sums(bench: &Bench, run: &str) -> String {
    read(bench, &format!("{run}/SHA256SUMS"))
}

#[test]
fn identity_another_folder_and_another_seed_leave_a_trace() {
    let bench = frozen();
    let run = |arguments: &[&str], status| {
        bench.run(&[&["run", "small.toml", "--quiet"][..], arguments].concat()).with(status)
    };
    run(&["--out", "first"], 0);
    let one = read(&bench, "small.looks.jsonl");
    assert_eq!(one.lines().count(), 1);
    for word in ["\"seed\":5", "\"trials\":300", "\"REQ-01\":{\"pass\":1}", "\"folder\":\"first\""] {
        assert!(one.contains(word), "{word}: {one}");
    }
    let first = sums(&bench, "first");
    // The same plan, seed and trials in another folder: no new look, and the same bytes.
    run(&["--out", "again"], 0);
    assert_eq!((read(&bench, "small.looks.jsonl"), sums(&bench, "again")), (one.clone(), first.clone()));
    // Another seed is a second look, which the plan did not declare.
    let second = run(&["--out", "second", "--seed", "6"], 1);
    assert!(second.complaint().contains("this is look 2 at verdicts"), "{}", second.complaint());
    let two = read(&bench, "small.looks.jsonl");
    assert!(two.starts_with(&one) && two.lines().count() == 2, "{two}");
    let table = read(&bench, "second/tables/looks.csv");
    assert!(table.contains("1,revision 1,5,300,1,REQ-01 pass"), "{table}");
    assert!(table.contains("2,revision 1,6,300,1,REQ-01 not shown"), "{table}");
    assert!(read(&bench, "second/verification.html").contains("Deleting the file hides looks"));
    // What was seen first is assessed as it was seen first.
    bench.run(&["assess", "first", "--quiet"]).with(0);
    assert_eq!(sums(&bench, "first"), first);
    let before = sums(&bench, "second");
    std::fs::remove_file(bench.path("small.looks.jsonl")).expect("looks");
    bench.run(&["assess", "second", "--quiet"]).with(1);
    assert_eq!(sums(&bench, "second"), before, "without the file the record of the run has the list");
    // The file was begun anew with what that record remembers, so more trials in the first folder are the third look; a check
    // beforehand agrees.
    let checked = bench.run(&["check", "small.toml", "--trials", "400", "--out", "first"]).with(0).said;
    assert!(
        checked.contains("this would be look 3 at verdicts, 1 declared: a run would give no verdict"),
        "{checked}"
    );
    let longer = run(&["--out", "first", "--trials", "400"], 1);
    assert!(longer.complaint().contains("this is look 3 at verdicts"), "{}", longer.complaint());
}

#[test]
fn identity_declared_looks_at_a_frozen_plan_give_verdicts() {
    let bench = Bench::new();
    bench.write("small.toml", &format!("looks = 2\n{}", SMALL.trim_start()));
    bench.run(&["check", "small.toml", "--freeze"]).with(0);
    bench.run(&["run", "small.toml", "--out", "first", "--quiet"]).with(0);
    let checked = bench.run(&["check", "small.toml"]).with(0).said;
    assert!(checked.contains("this would be look 1 at verdicts"), "the same trials again: {checked}");
    let checked = bench.run(&["check", "small.toml", "--trials", "400"]).with(0).said;
    assert!(checked.contains("look 2 at verdicts, 2 declared: a run would give verdicts"), "{checked}");
    bench.run(&["run", "small.toml", "--out", "second", "--seed", "6", "--quiet"]).with(0);
    bench.run(&["run", "small.toml", "--out", "third", "--seed", "7", "--quiet"]).with(1);
}

/// Shards take no look; whoever joins them does, and finds the file by its name in the record or is told it.
#[test]
fn identity_joined_shards_leave_a_trace() {
    let bench = frozen();
    for shard in ["1/2", "2/2"] {
        bench.run(&["run", "small.toml", "--out", "run", "--shard", shard]).with(0);
    }
    assert_eq!(read(&bench, "small.looks.jsonl"), "");
    std::fs::create_dir(bench.path("elsewhere")).expect("a folder");
    let away = bench.command(&["finish", "../run", "--quiet"]).current_dir(bench.path("elsewhere")).output();
    let away = crate::command_line::Ended::of(&away.expect("a command that starts")).with(0);
    assert!(away.complaint().contains("kept in the record of the run only"), "{}", away.complaint());
    let before = sums(&bench, "run");
    bench.run(&["finish", "run", "small.toml", "--quiet"]).with(0);
    assert_eq!(sums(&bench, "run"), before);
    assert_eq!(read(&bench, "small.looks.jsonl").lines().count(), 1);
    std::fs::remove_file(bench.path("small.looks.jsonl")).expect("looks");
    bench.run(&["finish", "run", "--quiet"]).with(0);
    assert_eq!(read(&bench, "small.looks.jsonl").lines().count(), 1, "by the name in the record");
}

#[test]
fn identity_a_damaged_file_of_looks_is_refused_before_any_trial() {
    let bench = frozen();
    bench.write("small.looks.jsonl", "{\"seed\": 5}\n");
    let refused = bench.run(&["run", "small.toml"]).with(2).complaint();
    assert!(refused.contains("small.looks.jsonl, line 1: expected a look at verdicts"), "{refused}");
    assert!(!bench.path("reports").exists());
}
