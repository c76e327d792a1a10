//! The table of the README: `cargo bench --bench table` prints it, `cargo bench --bench table -- --write` puts it there.

mod common;

use common::WORKS;
use navassay::experiment::Variant;
use navassay::measurement::Workspace;
use navassay::record::Block;
use navassay::simulation::{CaseKey, Memory, Simulator, StreamKey};
use navassay::trial::{TrialRunner, Worker};
use rayon::prelude::*;
use std::fmt::Write;
use std::time::Instant;

/// The fastest of so many runs counts: the others had to wait for something else on the machine.
const RUNS: usize = 7;

/// Shortest time of a case over the runs, microseconds.
fn shortest_us(cases: u64, mut run: impl FnMut()) -> f64 {
    let time = |run: &mut dyn FnMut()| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64() * 1e6 / cases as f64
    };
    (0..RUNS).map(|_| time(&mut run)).fold(f64::INFINITY, f64::min)
}

/// Whole cases on so many threads.
fn whole_us(variant: &Variant, threads: usize, cases: u64) -> f64 {
    let runner = TrialRunner::new(variant, 1);
    let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(threads).build() else { return f64::NAN };
    shortest_us(cases, || {
        pool.install(|| {
            (0..cases / 50).into_par_iter().for_each_init(Worker::default, |worker, task| {
                let mut rows = Block::with_capacity(runner.schema(), 100);
                for case in 0..50 {
                    runner.trial(task * 50 + case, worker, &mut rows);
                }
            });
        });
    })
}

fn scores_us(scores: usize) -> f64 {
    let key = StreamKey { seed: 1, replicate: 0, source: 0, device: 0, case: 0, capture: 0 };
    let mut drawn = vec![0.0; scores];
    shortest_us(500, || {
        for _ in 0..500 {
            key.open().fill(std::hint::black_box(&mut drawn));
        }
    })
}

/// Simulating, and fitting poses to what was simulated, on one thread.
fn parts_us(variant: &Variant, cases: u64) -> (f64, f64) {
    let simulator = Simulator::new(variant.model.clone(), &variant.procedure);
    let (mut memory, mut workspace) = (Memory::default(), Workspace::default());
    let simulated = shortest_us(cases, || {
        for case in 0..cases {
            let truth = simulator.observe(&CaseKey::alone(1, case), &mut memory, &mut |_| true).unseal();
            memory.reclaim(truth);
        }
    });
    let fitted = shortest_us(cases, || {
        for _ in 0..cases {
            std::hint::black_box(variant.procedure.poses(&memory.observed, &mut workspace));
        }
    });
    (simulated, fitted)
}

fn table() -> String {
    let mut table = String::from(
        "| what | cases/s, 1 thread | cases/s, 2 threads | gain | scores of a case | time to draw them | case / draws | draws | \
         synthesis | pose fits | other fits |\n| --- | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n",
    );
    for work in &WORKS {
        let (plan, cases, scores) = (work.plan(), work.cases, work.scores);
        let variant = &plan.variants[0];
        let (one, two) = (whole_us(variant, 1, cases), whole_us(variant, 2, cases));
        let draws = scores_us(scores);
        let (simulated, fitted) = parts_us(variant, cases);
        // Parts are timed by themselves: their sum is the whole but for the noise of the clock.
        let share = |part: f64| format!("{:.0} %", (100.0 * part / one).clamp(0.0, 100.0));
        let cells = [
            work.name.to_owned(),
            format!("{:.0}", 1e6 / one),
            format!("{:.0}", 1e6 / two),
            format!("{:.2}", one / two),
            scores.to_string(),
            format!("{draws:.1} µs"),
            format!("{:.1}", one / draws),
            share(draws),
            share(simulated - draws),
            share(fitted),
            share(one - simulated - fitted),
        ];
        let _ = writeln!(table, "| {} |", cells.join(" | "));
    }
    table
}

const BEGIN: &str = "<!-- made by `cargo bench --bench table -- --write` -->\n";
const END: &str = "<!-- end of the table -->";

fn main() {
    let table = table();
    print!("{table}");
    if !std::env::args().any(|argument| argument == "--write") {
        return;
    }
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/README.md");
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{path}: {error}"));
    let (Some(begin), Some(end)) = (text.find(BEGIN), text.find(END)) else {
        panic!("{path}: no place for the table")
    };
    let written = format!("{}{table}{}", &text[..begin + BEGIN.len()], &text[end..]);
    std::fs::write(path, written).unwrap_or_else(|error| panic!("{path}: {error}"));
}
