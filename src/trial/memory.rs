//! Errors of variants that are needed once and kept in memory only.

use super::one::{TrialRunner, Worker};
use super::run::{Progress, RunError, TRIALS_IN_A_TASK, pool};
use crate::experiment::Variant;
use crate::measurement::OUTPUTS;
use rayon::prelude::*;

/// Errors of one case in the order of the outputs; NaN where there is no reading.
pub type CaseErrors = [f64; OUTPUTS.len()];

/// Errors of the first `cases` cases of each variant, at the last reduction.
///
/// # Errors
/// If it is stopped, or no threads can be started.
pub fn errors_in_memory(
    variants: &[Variant],
    seed: u64,
    cases: usize,
    threads: usize,
    progress: &dyn Progress,
) -> Result<Vec<Vec<CaseErrors>>, RunError> {
    let asked = (variants.len() * cases) as u64;
    progress.begin(asked);
    let tasks = cases.div_ceil(TRIALS_IN_A_TASK);
    let runners: Vec<_> = variants.iter().map(|variant| TrialRunner::new(variant, seed)).collect();
    let task = |worker: &mut Worker, which: usize| {
        let (runner, first) = (&runners[which / tasks], which % tasks * TRIALS_IN_A_TASK);
        let last = cases.min(first + TRIALS_IN_A_TASK);
        if progress.interrupted() {
            return Vec::new();
        }
        let errors = (first..last).map(|case| runner.errors(case as u64, worker)).collect();
        progress.advance((last - first) as u64);
        errors
    };
    let blocks: Vec<Vec<CaseErrors>> = pool(threads)?
        .install(|| (0..runners.len() * tasks).into_par_iter().map_init(Worker::default, task).collect());
    if progress.interrupted() {
        return Err(RunError::Interrupted { done: 0, asked });
    }
    Ok(blocks.chunks(tasks.max(1)).map(<[_]>::concat).collect())
}
