//! Whole cases a second: `cargo bench --bench cases`.

mod common;

use common::WORKS;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use navassay::record::Block;
use navassay::simulation::StreamKey;
use navassay::trial::{TrialRunner, Worker};
use rayon::prelude::*;

fn cases(criterion: &mut Criterion) {
    for work in &WORKS {
        let (plan, cases) = (work.plan(), work.cases);
        let runner = TrialRunner::new(&plan.variants[0], plan.seed);
        let mut group = criterion.benchmark_group(format!("cases, {}", work.name));
        group.throughput(Throughput::Elements(cases)).sample_size(20);
        for threads in [1, 2] {
            let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(threads).build() else { return };
            group.bench_function(BenchmarkId::new("threads", threads), |bencher| {
                bencher.iter(|| {
                    pool.install(|| {
                        (0..cases / 100).into_par_iter().for_each_init(Worker::default, |worker, task| {
                            let mut rows = Block::with_capacity(runner.schema(), 200);
                            for case in 0..100 {
                                runner.trial(task * 100 + case, worker, &mut rows);
                            }
                        });
                    });
                });
            });
        }
        group.finish();
    }
}

/// As many scores as a case draws, by the same generator on one thread: to compare machines by.
fn scores(criterion: &mut Criterion) {
    let key = StreamKey { seed: 1, replicate: 0, source: 0, device: 0, case: 0, capture: 0 };
    let mut drawn = vec![0.0; WORKS[0].scores];
    criterion.bench_function("scores of a case, `marker`", |bencher| {
        bencher.iter(|| {
            let mut scores = key.open();
            scores.fill(&mut drawn);
            drawn.iter().sum::<f64>()
        });
    });
}

criterion_group!(benches, scores, cases);
criterion_main!(benches);
