//! How much memory ten million trials take.
#![cfg(target_os = "linux")]

use crate::command_line::{Bench, SMALL};
use navassay::experiment::Plan;
use navassay::record::{Block, Diagnostics, Origin, PartId, Row, Schema, TRIALS_IN_A_PART, write_part};
use navassay::trial::{RunFolder, TrialRunner};
use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

/// Largest resident memory of a process until its end, in MiB, and how long it took.
fn peak_mib(mut process: Child) -> (u64, Duration) {
    let (mut peak, started) = (0, Instant::now());
    while process.try_wait().expect("a process of our own").is_none() {
        let status = std::fs::read_to_string(format!("/proc/{}/status", process.id())).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let kib = line.and_then(|line| line.trim().trim_end_matches(" kB").parse::<u64>().ok());
        peak = peak.max(kib.unwrap_or_default() / 1024);
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(process.wait().expect("an end").code().is_some_and(|code| code < 2));
    (peak, started.elapsed())
}

fn start(bench: &Bench, arguments: &[&str]) -> Child {
    let mut command = bench.command(arguments);
    command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("a process that starts")
}

/// Rows of one part. Outputs vary with seven errors of their own; what is drawn is always the same, which keeps the
/// files small and changes no column's size in memory.
fn part(id: PartId, schema: Schema) -> Block {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(id.part);
    let rows = usize::try_from(TRIALS_IN_A_PART).expect("a small number");
    let mut block = Block::with_capacity(schema, rows);
    let (anatomy, implant) = (vec![1.0; schema.anatomy.len()], vec![1.0; schema.implant.len()]);
    for trial in id.first_trial()..id.first_trial() + TRIALS_IN_A_PART {
        let errors: [f64; 7] = std::array::from_fn(|_| f64::from(random.random::<f32>() - 0.5));
        block.push(&Row {
            trial,
            device: trial,
            case: trial,
            repeat: 0,
            reduction: 0,
            failure: None,
            anatomy: &anatomy,
            implant: &implant,
            lost: &[],
            events: [u32::from(trial % 100 == 0), 0, 0],
            truth: [1.0; 7],
            read: errors.map(|error| Some(1.0 + error)),
            diagnostics: Diagnostics {
                pose_rms_mm: 1.0,
                tip_pivot_rms_mm: 1.0,
                centre_native_rms_mm: 1.0,
                centre_new_rms_mm: 1.0,
                feature_baseline_rms_mm: 1.0,
                feature_reduction_rms_mm: 1.0,
                largest_gap_deg: 1.0,
                retries: 0,
            },
        });
    }
    block
}

/// The trials are not simulated but written as parts of a run, and joined as if shards had made them.
#[test]
#[ignore = "takes minutes and 2 GB of disk"]
fn outside_ten_million_trials_are_assessed_in_500_mib() {
    const TRIALS: u64 = 10_000_000;
    let bench = Bench::new();
    let path = bench.path("run");
    let plan = Plan { trials: TRIALS, ..Plan::parse("small.toml", SMALL).expect("a sound experiment") };
    let folder = RunFolder::open(&path, &plan, false).expect("a new folder");
    let schema = TrialRunner::new(&plan.variants[0], plan.seed).schema();
    let hash = plan.simulation_hash();
    let origin =
        Origin { simulation_hash: &hash, seed: plan.seed, arm: &plan.variants[0].arm, point: 0, replicate: 0 };
    for part_number in 0..TRIALS / TRIALS_IN_A_PART {
        let id = PartId { variant: 0, part: part_number };
        write_part(&folder.parts(), id, origin, &part(id, schema)).expect("room for a part");
    }
    drop(folder);
    let (peak, took) = peak_mib(start(&bench, &["finish", "run"]));
    println!("{TRIALS} trials assessed and reported in {took:?}, at most {peak} MiB");
    assert!(peak > 80, "a column alone is 76 MiB");
    assert!(peak < 500, "{peak} MiB");
}

/// Ten times as many trials take no more memory while they are simulated.
#[test]
#[ignore = "takes a minute"]
fn outside_the_memory_of_a_run_does_not_grow() {
    let bench = Bench::new();
    let peak = |shard_of: &str, trials: &str| {
        let out = format!("run-{trials}");
        let (peak, took) = peak_mib(start(
            &bench,
            &["run", "small.toml", "--trials", trials, "--threads", "2", "--out", &out, "--shard", shard_of],
        ));
        println!("{trials} trials simulated in {took:?}, at most {peak} MiB");
        peak
    };
    let (short, long) = (peak("1/1", "20000"), peak("1/1", "200000"));
    assert!(long < short + short / 4, "{short} MiB grew to {long} MiB");
}
