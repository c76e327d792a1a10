//! Whole cases a second: `cargo bench --bench cases`.
//!
//! Ellipse, one baseline and two reductions, 460 camera frames of which 180 are traced, every default noise on.

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use navassay::experiment::Plan;
use navassay::record::Block;
use navassay::trial::{SCHEMA, TrialRunner, Worker};
use rayon::prelude::*;

const EXPERIMENT: &str = "
seed = 1
[[reduction]]
name = \"first\"
[[reduction]]
name = \"second\"
";

const CASES: u64 = 2_000;

fn cases(criterion: &mut Criterion) {
    let plan = Plan::parse("bench", EXPERIMENT).unwrap_or_else(|error| panic!("{error:?}"));
    let runner = TrialRunner::new(&plan.variants[0], plan.seed);
    let mut group = criterion.benchmark_group("cases");
    group.throughput(Throughput::Elements(CASES)).sample_size(20);
    for threads in [1, 2] {
        let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(threads).build() else { return };
        group.bench_function(BenchmarkId::new("threads", threads), |bencher| {
            bencher.iter(|| {
                pool.install(|| {
                    (0..CASES as usize / 100).into_par_iter().for_each_init(Worker::default, |worker, task| {
                        let mut rows = Block::with_capacity(SCHEMA, 200);
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

criterion_group!(benches, cases);
criterion_main!(benches);
