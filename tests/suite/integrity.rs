//! A folder of a run whose evidence was exchanged, damaged or forged: it is found, and the file is named.

use crate::command_line::{Bench, Ended, SMALL};
use crate::shards::sums;

/// Two parts of few trials: one for each arm; the second arm has a study of cells of its own.
fn two_arms(bench: &Bench) {
    let set = "\"measure.plane\" = \"level\", \"measure.measurand_plane\" = \"bony\"";
    let arms = format!("[[arm]]\nname = \"bony\"\n[[arm]]\nname = \"level\"\nset = {{ {set} }}\n");
    bench.write("arms.toml", &format!("{}{arms}", SMALL.replace("trials = 300", "trials = 40")));
}

/// Parts of another seed in a folder of shards have whole rows and a digest that belongs to them.
#[test]
fn identity_a_part_of_another_run_is_refused_and_named() {
    let bench = Bench::new();
    two_arms(&bench);
    let run = |more: &[&str]| bench.run(&[&["run", "arms.toml", "--quiet"], more].concat());
    run(&["--out", "other", "--seed", "6"]);
    run(&["--out", "run", "--shard", "1/2"]).with(0);
    let part = "parts/0001-000000.parquet";
    std::fs::copy(bench.path("other").join(part), bench.path("run").join(part)).expect("a copy");
    let commands: [&[&str]; 4] = [
        &["run", "arms.toml", "--out", "run"],
        &["run", "arms.toml", "--out", "run", "--shard", "2/2"],
        &["finish", "run"],
        &["assess", "run"],
    ];
    for arguments in commands {
        let refused = bench.run(arguments).with(2);
        for words in [part, "belongs to another run", "seed is 6, expected 5", "simulation hash is"] {
            assert!(refused.complains(words), "{arguments:?}: {words}: {refused:?}");
        }
        assert!(!bench.path("run/SHA256SUMS").exists(), "{arguments:?}");
    }
    // Without it the same command makes its own.
    std::fs::remove_file(bench.path("run").join(part)).expect("the part");
    run(&["--out", "run"]);
    run(&["--out", "whole"]);
    assert_eq!(sums(&bench, "run"), sums(&bench, "whole"));

    // The cells of a study are parts of their own plan.
    let cell = |out: &str| {
        let mut studies = std::fs::read_dir(bench.path(out).join("studies")).expect("studies");
        studies.next().expect("a study").expect("an entry").path().join("0000-000000.parquet")
    };
    std::fs::copy(cell("other"), cell("run")).expect("a copy");
    std::fs::remove_file(bench.path("run/SHA256SUMS")).expect("checksums");
    let refused = bench.run(&["assess", "run"]).with(2);
    assert!(refused.complains("0000-000000.parquet") && refused.complains("seed is 6, expected 5"), "{refused:?}");
}

/// One bit of a part, before there are checksums: `finish` and `assess` name it, `run` says that it makes it again.
#[test]
fn identity_a_flipped_bit_in_an_unfinished_folder_is_found() {
    let bench = Bench::new();
    let run = ["run", "small.toml", "--trials", "40", "--out", "run", "--quiet"];
    bench.run(&[&run[..], &["--shard", "1/1"]].concat()).with(0);
    let part = bench.path("run/parts/0000-000000.parquet");
    let mut bytes = std::fs::read(&part).expect("a part");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 8;
    std::fs::write(&part, &bytes).expect("room for a part");
    for command in ["finish", "assess"] {
        let refused = bench.run(&[command, "run"]).with(3);
        assert!(refused.complains("0000-000000.parquet is damaged: its digest is"), "{command}: {refused:?}");
    }
    let again = bench.run(&run);
    assert!(again.complains("0000-000000.parquet is damaged") && again.complains("simulated again"), "{again:?}");
    bench.run(&["run", "small.toml", "--trials", "40", "--out", "whole", "--quiet"]);
    assert_eq!(sums(&bench, "run"), sums(&bench, "whole"));
}

/// A disk that is full where standard output goes: every command that says something ends with three.
#[cfg(target_os = "linux")]
#[test]
fn identity_an_output_that_cannot_be_written_ends_with_three() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--trials", "30", "--out", "run", "--quiet"]);
    bench.run(&["trial", "small.toml", "0", "--record", "recorded"]).with(0);
    let commands: [&[&str]; 14] = [
        &["--help"],
        &["--version"],
        &["run", "--help"],
        &["explain"],
        &["explain", "--markdown"],
        &["explain", "--schema"],
        &["explain", "landmark.tissue"],
        &["check", "small.toml"],
        &["trial", "small.toml", "0"],
        &["new", "hip"],
        &["run", "small.toml", "--trials", "30", "--out", "run", "--quiet"],
        &["assess", "run"],
        &["finish", "run"],
        &["replay", "recorded/replay.toml", "--out", "seen"],
    ];
    for arguments in commands {
        let full = std::fs::File::options().write(true).open("/dev/full").expect("the device that is always full");
        let output = bench.command(arguments).stdout(full).output().expect("a command that starts");
        let ended = Ended::of(&output).with(3);
        assert!(ended.complains("standard output could not be written"), "{arguments:?}: {ended:?}");
        assert!(ended.complains("once there is room"), "{arguments:?}: {ended:?}");
    }
}

/// A pipe that nobody writes to, where a file of a run should be, is named and not read.
#[cfg(unix)]
#[test]
fn identity_a_pipe_in_the_folder_of_a_run_is_refused() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--trials", "30", "--out", "run", "--quiet"]);
    for name in ["run/tables/more.csv", "run/parts/0000-000001.parquet", "run/.shard-1-of-2.lock"] {
        let made = std::process::Command::new("mkfifo").arg(bench.path(name)).status().expect("mkfifo");
        assert!(made.success());
        for arguments in [&["assess", "run"][..], &["finish", "run"], &["run", "small.toml", "--out", "run"]] {
            let refused = bench.run(arguments).with(2);
            assert!(refused.complains(&format!("{name} is neither a file nor a folder")), "{refused:?}");
        }
        std::fs::remove_file(bench.path(name)).expect("the pipe");
    }
    assert_eq!(bench.run(&["assess", "run"]).status, bench.run(&["finish", "run"]).status);
}
