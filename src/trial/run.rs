//! The run: every part of every variant that is not there yet, simulated on all threads and written whole.

use super::batch::{Batch, Missing};
use super::folder::{FolderError, RunFolder};
use super::machine::write_machine;
use super::one::{TrialRunner, Worker};
use crate::experiment::Plan;
use crate::record::sums::{Difference, SumsError};
use crate::record::{Block, PartError, PartId, WriteError};
use rayon::prelude::*;
use rayon::{ThreadPool, ThreadPoolBuilder};
use std::collections::BTreeSet;
use std::ops::Range;
use std::time::Instant;

/// What the run tells while it runs, and what may stop it.
pub trait Progress: Sync {
    /// So many trials are to be done in all.
    fn begin(&self, trials: u64);
    /// So many more are done.
    fn advance(&self, trials: u64);
    /// Whether to stop at the next chance.
    fn interrupted(&self) -> bool;
    /// A part that is there is not whole, and made again.
    fn made_again(&self, _why: &PartError) {}
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
    /// Parts of the plan are not there, or not whole.
    #[error("{missing} of {all} parts are not there or not whole, the first {first}{because}",
        because = why.as_ref().map_or_else(String::new, |why| format!(": {why}")))]
    Incomplete {
        /// How many.
        missing: usize,
        /// Of how many.
        all: usize,
        /// The first of them.
        first: PartId,
        /// What is wrong with that, if it is there.
        why: Option<Box<PartError>>,
    },
    /// The checksums of the folder cannot be read.
    #[error(transparent)]
    Sums(#[from] SumsError),
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

/// Simulates what the folder does not hold yet, all of it or the folder's shard; `threads` 0 means all there are.
/// Returns the number of trials simulated now.
///
/// # Errors
/// See [`RunError`]; the parts that were written stay, and the same run goes on from there.
pub fn run(plan: &Plan, folder: &RunFolder, threads: usize, progress: &dyn Progress) -> Result<u64, RunError> {
    let pool = pool(threads)?;
    let started = Instant::now();
    let batch = Batch::of_run(plan, folder.parts());
    let mut missing = pool.install(|| missing_of(&batch, folder))?;
    if let Some(shard) = folder.shard() {
        missing.retain(|part| shard.holds(part.place));
    }
    if !missing.is_empty() {
        folder.unseal()?;
    }
    let asked: u64 = missing.iter().map(Missing::count).sum();
    progress.begin(asked);
    let mut done = 0;
    for Missing { id, trials, why, .. } in missing {
        if let Some(why) = why {
            progress.made_again(&why);
        }
        let runner = batch.runner(id);
        let block = pool.install(|| simulate(&runner, trials.clone(), progress));
        if progress.interrupted() {
            return Err(RunError::Interrupted { done, asked });
        }
        batch.write(id, &block)?;
        done += trials.end - trials.start;
    }
    if done > 0 {
        write_machine(&folder.machine_file(), pool.current_num_threads(), done, started.elapsed())?;
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

/// Finds every part of the plan whole.
///
/// # Errors
/// If parts are missing, or the folder cannot be read.
pub fn demand_whole(plan: &Plan, folder: &RunFolder) -> Result<(), RunError> {
    let batch = Batch::of_run(plan, folder.parts());
    let missing = missing_of(&batch, folder)?;
    let count = missing.len();
    match missing.into_iter().next() {
        None => Ok(()),
        Some(Missing { id, why, .. }) => {
            let why = why.map(Box::new);
            Err(RunError::Incomplete { missing: count, all: batch.len(), first: id, why })
        }
    }
}

fn missing_of(batch: &Batch, folder: &RunFolder) -> Result<Vec<Missing>, RunError> {
    let changed: BTreeSet<String> = match folder.changed() {
        Ok(changed) => {
            changed.into_iter().filter(|(_, how)| *how == Difference::Changed).map(|(name, _)| name).collect()
        }
        // Checksums that cannot be read say nothing; the parts are still looked at one by one.
        Err(SumsError::Line { .. }) => BTreeSet::new(),
        Err(error) => return Err(error.into()),
    };
    batch.missing(|id| changed.contains(&format!("parts/{id}")))
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
            // A case may take long: whoever interrupts does not wait for a whole task.
            for trial in (first..last).take_while(|_| !progress.interrupted()) {
                runner.trial(trials.start + trial as u64, worker, &mut block);
            }
            progress.advance((last - first) as u64);
            block
        })
        .collect();
    let mut all = Block::with_capacity(runner.schema(), count * rows);
    for block in blocks {
        all.append(block);
    }
    all
}
