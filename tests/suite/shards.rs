//! One run, made by several threads, processes or machines: the same bytes.

use crate::command_line::{Bench, SMALL};
use std::fs::File;
use std::process::Stdio;

/// Three parts of one variant; one of the last is short.
const TRIALS: &str = "20100";

/// The checksums of a finished run, which stand for all its evidence.
pub fn sums(bench: &Bench, run: &str) -> String {
    std::fs::read_to_string(bench.path(run).join("SHA256SUMS")).expect("the checksums of a finished run")
}

#[test]
fn identity_the_same_evidence_on_1_2_3_and_8_threads() {
    let bench = Bench::new();
    for threads in ["1", "2", "3", "8"] {
        bench
            .run(&["run", "small.toml", "--trials", TRIALS, "--threads", threads, "--out", threads, "--quiet"])
            .with(0);
        assert_eq!(sums(&bench, threads), sums(&bench, "1"), "{threads} threads");
    }
    assert_eq!(sums(&bench, "1").matches("parts/").count(), 3);
}

/// All shards of a run start at once in a folder that is not there yet.
#[test]
fn identity_the_same_evidence_from_1_3_and_7_shards() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--trials", TRIALS, "--out", "whole", "--quiet"]).with(0);
    for of in [1, 3, 7] {
        let out = format!("shards-{of}");
        let start = |number: i32| {
            let shard = format!("{number}/{of}");
            let arguments =
                ["run", "small.toml", "--trials", TRIALS, "--threads", "1", "--out", &out, "--shard", &shard];
            bench
                .command(&arguments)
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .expect("a shard that starts")
        };
        let running: Vec<_> = (1..=of).map(start).collect();
        for mut shard in running {
            assert_eq!(shard.wait().expect("a shard that ends").code(), Some(0));
        }
        bench.run(&["finish", &out, "--quiet"]).with(0);
        assert_eq!(sums(&bench, &out), sums(&bench, "whole"), "{of} shards");
        let machines = bench.bytes(&out).into_keys().filter(|name| name.starts_with("machine-")).count();
        assert_eq!(machines, usize::try_from(of.min(3)).expect("a small number"), "one for each shard that had work");
    }
}

#[test]
fn identity_finish_says_what_is_missing() {
    let bench = Bench::new();
    let shard =
        |number: &str| bench.run(&["run", "small.toml", "--trials", TRIALS, "--out", "run", "--shard", number]);
    let first = shard("1/3").with(0);
    assert!(first.said.contains("10000 trials") && first.said.contains("navassay finish run"), "{}", first.said);
    assert!(!bench.path("run/report.html").exists());
    for command in ["finish", "assess"] {
        let early = bench.run(&[command, "run"]).with(3).complained;
        assert!(early.contains("2 of 3 parts") && early.contains("0000-000001.parquet"), "{early}");
    }
    shard("2/3").with(0);
    // The rest is made by a run of the whole, which asks for what the shards did not.
    bench.run(&["run", "small.toml", "--trials", TRIALS, "--out", "run"]).with(0);
    bench.run(&["run", "small.toml", "--trials", TRIALS, "--out", "whole"]).with(0);
    assert_eq!(sums(&bench, "run"), sums(&bench, "whole"));
    bench.run(&["finish", "run"]).with(0);
    assert_eq!(sums(&bench, "run"), sums(&bench, "whole"));
    // A shard of a finished run finds nothing to do and leaves everything as it is.
    shard("2/3").with(0);
    assert_eq!(sums(&bench, "run"), sums(&bench, "whole"));
}

#[test]
fn identity_a_shard_of_another_plan_is_refused() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--out", "run", "--shard", "1/2"]).with(0);
    bench.write("other.toml", &SMALL.replace("cup_frames = 2", "cup_frames = 3"));
    let refused = bench.run(&["run", "other.toml", "--out", "run", "--shard", "2/2"]).with(2).complained;
    assert!(refused.contains("protocol.cup_frames was 2 there and is 3 now"), "{refused}");
    bench.run(&["run", "small.toml", "--trials", "200", "--out", "run", "--shard", "2/2"]).with(2);
    // More trials of the same plan extend it.
    for shard in ["1/2", "2/2"] {
        bench.run(&["run", "small.toml", "--trials", TRIALS, "--out", "run", "--shard", shard]).with(0);
    }
    bench.run(&["finish", "run"]).with(0);
    bench.run(&["run", "small.toml", "--trials", TRIALS, "--out", "whole"]).with(0);
    assert_eq!(sums(&bench, "run"), sums(&bench, "whole"));
}

/// The test holds the folder's lock as a run, or as a shard, does.
#[test]
fn identity_two_writers_at_once_are_refused() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--out", "run"]).with(0);
    let before = sums(&bench, "run");
    let lock = File::options().read(true).write(true).open(bench.path("run/.lock")).expect("the lock of a run");
    let commands: [&[&str]; 4] = [
        &["run", "small.toml", "--out", "run"],
        &["run", "small.toml", "--out", "run", "--replace"],
        &["finish", "run"],
        &["assess", "run"],
    ];
    let shard = ["run", "small.toml", "--out", "run", "--shard", "1/2"];
    lock.lock().expect("a lock");
    for arguments in commands.into_iter().chain([&shard[..]]) {
        let refused = bench.run(arguments).with(2).complained;
        assert!(refused.contains("another run is writing to run"), "{arguments:?}: {refused}");
    }
    lock.unlock().expect("a lock");
    // While shards are at work another shard is welcome, and nobody else.
    lock.lock_shared().expect("a lock");
    for arguments in commands {
        bench.run(arguments).with(2);
    }
    bench.run(&shard).with(0);
    lock.unlock().expect("a lock");
    bench.run(&["assess", "run"]).with(0);
    assert_eq!(sums(&bench, "run"), before);
}
