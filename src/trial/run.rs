//! The run: every part of every variant that is not there yet, simulated on all threads and written whole.

use super::folder::{FolderError, RunFolder};
use super::machine::write_machine;
use super::one::{TrialRunner, Worker};
use crate::experiment::Plan;
use crate::record::{Block, Origin, PartError, PartId, Parts, TRIALS_IN_A_PART, WriteError, write_part};
use rayon::prelude::*;
use rayon::{ThreadPool, ThreadPoolBuilder};
use std::ops::Range;
use std::path::Path;
use std::time::Instant;

/// What the run tells while it runs, and what may stop it.
pub trait Progress: Sync {
    /// So many trials are to be done in all.
    fn begin(&self, trials: u64);
    /// So many more are done.
    fn advance(&self, trials: u64);
    /// Whether to stop at the next chance.
    fn interrupted(&self) -> bool;
}

/// Why a run did not finish.
#[derive(Debug, thiserror::Error)]
pub enum RunError {
    /// The folder cannot be used.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// A part cannot be written or read.
    #[error(transparent)]
    Part(#[from] PartError),
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The user stopped it.
    #[error("stopped; {done} of {asked} trials are saved")]
    Interrupted {
        /// Trials whose parts are written.
        done: u64,
        /// Trials asked for.
        asked: u64,
    },
    /// No threads could be started.
    #[error("cannot start {threads} threads: {why}")]
    Threads {
        /// Threads asked for.
        threads: usize,
        /// What the system said.
        why: String,
    },
}

/// Trials that one task of a thread does; parts do not depend on it.
pub(super) const TRIALS_IN_A_TASK: usize = 100;

/// Simulates what the folder does not hold yet; `threads` 0 means all there are. Returns the number of trials
/// simulated now.
///
/// # Errors
/// See [`RunError`]; the parts that were written stay, and the same run goes on from there.
pub fn run(plan: &Plan, folder: &RunFolder, threads: usize, progress: &dyn Progress) -> Result<u64, RunError> {
    let pool = pool(threads)?;
    let started = Instant::now();
    let missing = missing_parts(&folder.parts(), plan.variants.len(), plan.trials)?;
    let asked: u64 = missing.iter().map(|(_, trials)| trials.end - trials.start).sum();
    progress.begin(asked);
    let mut done = 0;
    for (id, trials) in missing {
        let variant = &plan.variants[id.variant as usize];
        let runner = TrialRunner::new(variant, plan.seed).in_design(plan.design);
        let block = pool.install(|| simulate(&runner, trials.clone(), progress));
        if progress.interrupted() {
            return Err(RunError::Interrupted { done, asked });
        }
        let origin = Origin { arm: &variant.arm, point: variant.point, replicate: 0 };
        write_part(&folder.parts(), id, origin, &block)?;
        done += trials.end - trials.start;
    }
    if done > 0 {
        write_machine(folder.path(), pool.current_num_threads(), done, started.elapsed())?;
    }
    Ok(done)
}

/// So many threads; 0 means all there are.
pub(super) fn pool(threads: usize) -> Result<ThreadPool, RunError> {
    ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .map_err(|error| RunError::Threads { threads, why: error.to_string() })
}

/// Parts of so many variants that are not there, or not whole, with the trials they take.
pub(super) fn missing_parts(
    folder: &Path,
    variants: usize,
    trials_each: u64,
) -> Result<Vec<(PartId, Range<u64>)>, RunError> {
    let present = Parts::list(folder)?;
    let mut missing = Vec::new();
    for (variant, _) in (0..).zip(0..variants) {
        for part in 0..trials_each.div_ceil(TRIALS_IN_A_PART) {
            let id = PartId { variant, part };
            let trials = id.first_trial()..trials_each.min(id.first_trial() + TRIALS_IN_A_PART);
            // A part that cannot be read was not written by a whole run: it is made again.
            let expected = (Some((trials.start, trials.end - 1)), trials.end - trials.start);
            let whole = present.contains(id)
                && present.check(id).is_ok_and(|found| (found.trials, found.trial_count) == expected);
            if !whole {
                missing.push((id, trials));
            }
        }
    }
    Ok(missing)
}

/// Rows of a range of trials, the same on any number of threads.
pub(super) fn simulate(runner: &TrialRunner, trials: Range<u64>, progress: &dyn Progress) -> Block {
    let rows = runner.rows_per_trial();
    let count = usize::try_from(trials.end - trials.start).unwrap_or(usize::MAX);
    let blocks: Vec<Block> = (0..count.div_ceil(TRIALS_IN_A_TASK))
        .into_par_iter()
        .map_init(Worker::default, |worker, task| {
            let first = task * TRIALS_IN_A_TASK;
            let last = count.min(first + TRIALS_IN_A_TASK);
            let mut block = Block::with_capacity(runner.schema(), (last - first) * rows);
            if !progress.interrupted() {
                for trial in first..last {
                    runner.trial(trials.start + trial as u64, worker, &mut block);
                }
                progress.advance((last - first) as u64);
            }
            block
        })
        .collect();
    let mut all = Block::with_capacity(runner.schema(), count * rows);
    for block in blocks {
        all.append(block);
    }
    all
}
