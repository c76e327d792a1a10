//! The shipped Slurm scripts on a Slurm of one node: a task is killed, put back into the queue, and the bytes are those
//! of one machine.

use crate::command_line::{Bench, SMALL};
use crate::shards::sums;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

/// A Slurm of one node; stopped when dropped.
struct Slurm {
    folder: PathBuf,
}

impl Slurm {
    fn start(folder: PathBuf) -> Self {
        let slurm = Self { folder };
        let started = slurm.script("start");
        assert!(started.status.success(), "{}", String::from_utf8_lossy(&started.stderr));
        slurm
    }

    fn script(&self, what: &str) -> Output {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/slurm/single-node.sh");
        Command::new(script).arg(what).arg(&self.folder).output().expect("a shell")
    }

    /// What one of its commands says.
    fn ask(&self, program: &str, arguments: &[&str]) -> String {
        let output = self.command(program).args(arguments).output().expect("Debian's slurm-wlm is installed");
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
    }

    fn command(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        command.env("SLURM_CONF", self.folder.join("slurm.conf"));
        command.env("NAVASSAY", assert_cmd::cargo::cargo_bin!("navassay"));
        command
    }
}

impl Drop for Slurm {
    fn drop(&mut self) {
        self.script("stop");
    }
}

/// Asks again until there is an answer.
#[track_caller]
fn wait_for<T>(what: &str, limit: Duration, mut ask: impl FnMut() -> Option<T>) -> T {
    let started = Instant::now();
    loop {
        if let Some(answer) = ask() {
            return answer;
        }
        assert!(started.elapsed() < limit, "waited in vain for {what}");
        std::thread::sleep(Duration::from_millis(200));
    }
}

/// The process whose arguments, each ended by a zero byte, hold these.
fn process_with(arguments: &str) -> Option<String> {
    let entries = std::fs::read_dir("/proc").expect("the processes of Linux");
    let names = entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok());
    let holds = |id: &String| {
        let line = std::fs::read(format!("/proc/{id}/cmdline")).unwrap_or_default();
        String::from_utf8_lossy(&line).contains(arguments)
    };
    names.filter(|name| name.parse::<u32>().is_ok()).find(holds)
}

#[test]
#[ignore = "needs root and Debian's slurm-wlm and munge, and takes minutes: Slurm waits for two before it tries again"]
fn outside_slurm_array_with_a_killed_task_ends_as_one_machine() {
    let bench = Bench::new();
    // Parts that take seconds, so that one can be killed.
    bench.write("slow.toml", &SMALL.replace("centre_frames = 6", "centre_frames = 30").replace("= 12", "= 60"));
    bench.run(&["run", "slow.toml", "--trials", "60000", "--out", "whole", "--quiet"]).with(0);

    let slurm = Slurm::start(bench.path("slurm"));
    let submit = Path::new(env!("CARGO_MANIFEST_DIR")).join("experiments/cluster/submit.sh");
    let submitted = slurm
        .command(submit.to_str().expect("a path in UTF-8"))
        .env("TRIALS", "60000")
        .current_dir(bench.path("."))
        .args(["slow.toml", "run", "3", "--cpus-per-task=1"])
        .output()
        .expect("a shell");
    assert!(submitted.status.success(), "{}", String::from_utf8_lossy(&submitted.stderr));

    // The first shard is killed after it has written a part.
    let log = |name: &str| std::fs::read_to_string(bench.path("run.logs").join(name)).unwrap_or_default();
    let first = bench.path("run/parts/0000-000000.parquet");
    wait_for("a part", Duration::from_mins(3), || first.exists().then_some(()));
    let shard = format!("{}\0--shard\01/3\0", bench.path("run").display());
    let id = process_with(&shard).expect("the shard's process");
    assert!(Command::new("kill").args(["-KILL", &id]).status().expect("kill").success());
    wait_for("the attempt that was killed", Duration::from_mins(1), || {
        log("shard-1.txt").contains("attempt 1: status 137").then_some(())
    });
    let queue = slurm.ask("squeue", &["--noheader", "--format=%j %i %T %r"]);
    println!("{queue}");

    wait_for("the end of all jobs", Duration::from_mins(8), || {
        slurm.ask("squeue", &["--noheader", "--format=%i"]).trim().is_empty().then_some(())
    });
    for (shard, attempt) in [("1", 2), ("2", 1), ("3", 1)] {
        let told = log(&format!("shard-{shard}.txt"));
        assert!(told.contains(&format!("attempt {attempt}: status 0")), "{told}");
        println!("{told}");
    }
    assert!(log("finish.txt").contains("SHA256SUMS"), "{}", log("finish.txt"));
    assert_eq!(sums(&bench, "run"), sums(&bench, "whole"));
}
