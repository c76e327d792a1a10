//! A run that is killed, or finds the disk full, at any instant: the same command finishes it with the same bytes.
#![cfg(unix)]

use crate::command_line::{Bench, Ended};
use crate::shards::sums;
use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Two parts, one of them short.
const RUN: [&str; 6] = ["run", "small.toml", "--trials", "10300", "--threads", "2"];

/// Kills runs at random instants until it has done so `kills` times; each run is finished in the end and compared.
fn kill_at_random(kills: u32, seed: u64) {
    let bench = Bench::new();
    let started = Instant::now();
    bench.run(&[&RUN[..], &["--out", "whole"]].concat()).with(0);
    let whole = started.elapsed();
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let (mut killed, mut finished, mut slowest) = (0, 0, Duration::ZERO);
    while killed < kills {
        let out = format!("run-{finished}");
        let mut child = bench
            .command(&[&RUN[..], &["--out", &out]].concat())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("a run that starts");
        std::thread::sleep(whole.mul_f64(random.random::<f64>()));
        // Every third is asked to end, the others are not asked.
        if random.random::<f64>() < 1.0 / 3.0 && bench.path(&out).join("run.json").exists() {
            let _ = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
            let sent = Instant::now();
            let status = child.wait().expect("an end").code();
            assert!(matches!(status, Some(0 | 3)), "{status:?}");
            slowest = slowest.max(sent.elapsed());
        } else {
            child.kill().expect("a process of our own");
        }
        if child.wait().expect("an end").success() {
            assert_same(&bench, &out);
            finished += 1;
            continue;
        }
        killed += 1;
        if random.random::<f64>() < 0.3 {
            cut_the_newest_part(&bench.path(&out).join("parts"), random.random());
        }
    }
    let out = format!("run-{finished}");
    bench.run(&[&RUN[..], &["--out", &out]].concat()).with(0);
    assert_same(&bench, &out);
    println!("{killed} times killed, {} runs finished, slowest end after an interrupt {slowest:?}", finished + 1);
}

fn assert_same(bench: &Bench, out: &str) {
    assert_eq!(sums(bench, out), sums(bench, "whole"), "{out}");
    let mut verify = Command::new("sha256sum");
    verify.args(["--check", "--quiet", "SHA256SUMS"]).current_dir(bench.path(out));
    assert!(verify.status().expect("sha256sum").success(), "{out}");
    for sub in ["", "parts", "tables", "charts"] {
        let entries = std::fs::read_dir(bench.path(out).join(sub)).expect("a folder");
        let names: Vec<_> = entries.map(|entry| entry.expect("an entry").file_name()).collect();
        assert!(names.iter().all(|name| !name.to_string_lossy().starts_with(".unfinished")), "{names:?}");
    }
}

/// What a loss of power may leave of the file that was written last.
fn cut_the_newest_part(parts: &Path, share: f64) {
    let Ok(entries) = std::fs::read_dir(parts) else { return };
    let modified = |path: &PathBuf| path.metadata().and_then(|about| about.modified()).ok();
    let newest = entries.filter_map(|entry| Some(entry.ok()?.path())).max_by_key(modified);
    if let Some(file) = newest.and_then(|path| std::fs::File::options().write(true).open(path).ok()) {
        let length = file.metadata().expect("a file").len() as f64 * share;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a share of a file's length
        file.set_len(length as u64).expect("a shorter file");
    }
}

#[test]
fn identity_killed_at_random_the_same_bytes() {
    kill_at_random(8, 11);
}

#[test]
#[ignore = "takes minutes; for each change of what is written and when"]
fn identity_killed_200_times_the_same_bytes() {
    kill_at_random(200, 12);
}

/// A file may not grow beyond a limit, which a write meets as it meets a full disk: at a record, a part, a table, a
/// chart or the page.
#[test]
fn identity_a_disk_that_is_full_ends_with_three_and_the_same_command_goes_on() {
    let bench = Bench::new();
    let run = ["run", "small.toml", "--trials", "300", "--threads", "1", "--quiet"];
    bench.run(&[&run[..], &["--out", "whole"]].concat()).with(0);
    let page = bench.path("whole/report.html").metadata().expect("the page").len() / 512;
    let mut refused = 0;
    for blocks in [1, 8, 32, 64, 128, 256, page - 1] {
        let output = Command::new("sh")
            .args(["-c", "trap '' XFSZ; ulimit -f \"$1\"; shift; exec \"$@\"", "sh", &blocks.to_string()])
            .arg(assert_cmd::cargo::cargo_bin!("navassay"))
            .args([&run[..], &["--out", "run"]].concat())
            .current_dir(bench.path("."))
            .output();
        let ended = Ended::of(&output.expect("a shell")).with(3);
        assert!(ended.complained.contains("could not be written"), "{blocks}: {}", ended.complained);
        assert!(ended.complained.contains("repeat the command to go on"), "{blocks}: {}", ended.complained);
        refused += 1;
    }
    assert_eq!(refused, 7);
    bench.run(&[&run[..], &["--out", "run"]].concat()).with(0);
    assert_eq!(sums(&bench, "run"), sums(&bench, "whole"));
}

#[test]
#[ignore = "needs root, to mount a small disk; .ci/run runs it where it can"]
fn outside_a_small_disk_that_is_full() {
    let bench = Bench::new();
    bench.run(&[&RUN[..], &["--out", "whole"]].concat()).with(0);
    let disk = bench.path("disk");
    std::fs::create_dir(&disk).expect("a folder");
    let mount = Command::new("mount").args(["-t", "tmpfs", "-o", "size=64k", "tmpfs"]).arg(&disk).status();
    assert!(mount.expect("mount").success());
    let larger = |size: &str| {
        let status = Command::new("mount").args(["-o", &format!("remount,size={size}")]).arg(&disk).status();
        assert!(status.expect("mount").success());
    };
    let mut statuses = Vec::new();
    for size in ["64k", "256k", "1m", "2m", "3m", "4m", "64m"] {
        larger(size);
        let ended = bench.run(&[&RUN[..], &["--out", "disk/run"]].concat());
        statuses.push(ended.status);
        assert!(ended.status != Some(3) || ended.complained.contains("to go on"), "{}", ended.complained);
    }
    let same = sums(&bench, "disk/run") == sums(&bench, "whole");
    assert!(Command::new("umount").arg(&disk).status().expect("umount").success());
    assert!(same);
    assert_eq!((statuses[0], statuses[6]), (Some(3), Some(0)), "{statuses:?}");
    assert!(statuses.iter().all(|status| matches!(status, Some(0 | 3))), "{statuses:?}");
}
