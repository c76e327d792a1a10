//! Whole cases a second: `cargo bench --bench cases`.
//!
//! Ellipse, one baseline and two reductions, 460 camera frames of which 180 are traced, every default noise on.

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use navassay::experiment::Plan;
use navassay::record::Block;
use navassay::simulation::StreamKey;
use navassay::trial::{TrialRunner, Worker};
use rayon::prelude::*;

const EXPERIMENT: &str = "
seed = 1
[[reduction]]
name = \"first\"
[[reduction]]
name = \"second\"
";

const CASES: usize = 2_000;

/// Standard normal scores that one such case draws, nearly all of them for markers: what the machine is worth.
const SCORES_IN_A_CASE: usize = 7_156;

/// A place from which a camera that forms images sees every tool.
const PLACE: &str = "position_mm = [380.0, 260.0, -40.0]\naim_mm = [150.0, 20.0, 40.0]\n";

fn cases(criterion: &mut Criterion) {
    measure(criterion, "cases", EXPERIMENT, CASES);
    measure(criterion, "cases, pose", &format!("{EXPERIMENT}[camera]\nmodel = \"pose\"\n"), CASES);
    for (name, model) in
        [("cases, pixel", "[camera.pixel]\n"), ("cases, pixel, two cameras", "[camera.pixel]\ncameras = 2\n")]
    {
        let text = format!("{EXPERIMENT}[camera]\nmodel = \"pixel\"\n{PLACE}{model}");
        measure(criterion, name, &text, CASES / 5);
    }
}

fn measure(criterion: &mut Criterion, name: &str, experiment: &str, cases: usize) {
    let plan = Plan::parse("bench", experiment).unwrap_or_else(|error| panic!("{error:?}"));
    let runner = TrialRunner::new(&plan.variants[0], plan.seed);
    let mut group = criterion.benchmark_group(name);
    group.throughput(Throughput::Elements(cases as u64)).sample_size(20);
    for threads in [1, 2] {
        let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(threads).build() else { return };
        group.bench_function(BenchmarkId::new("threads", threads), |bencher| {
            bencher.iter(|| {
                pool.install(|| {
                    (0..cases / 100).into_par_iter().for_each_init(Worker::default, |worker, task| {
                        let mut rows = Block::with_capacity(runner.schema(), 200);
                        for case in 0..100 {
                            runner.trial((task * 100 + case) as u64, worker, &mut rows);
                        }
                    });
                });
            });
        });
    }
    group.finish();
}

/// As many scores as a case draws, by the same generator on one thread: to compare machines by.
fn scores(criterion: &mut Criterion) {
    let key = StreamKey { seed: 1, replicate: 0, source: 0, device: 0, case: 0, capture: 0 };
    let mut drawn = vec![0.0; SCORES_IN_A_CASE];
    criterion.bench_function("scores of a case", |bencher| {
        bencher.iter(|| {
            let mut scores = key.open();
            scores.fill(&mut drawn);
            drawn.iter().sum::<f64>()
        });
    });
}

criterion_group!(benches, scores, cases);
criterion_main!(benches);
