//! Trials of a finished run simulated again, and compared with its parts bit by bit.

use super::batch::Batch;
use super::one::{TrialRunner, Worker};
use super::run::{Progress, RunError, TRIALS_IN_A_TASK};
use crate::record::{Block, Compared, PartId, Parts};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{SeedableRng, seq::index};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;

/// Which trials are simulated again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sample {
    /// All of them.
    All,
    /// A random sample, drawn without replacement.
    Random {
        /// Trials of each variant of a run, or of each study.
        trials: u64,
        /// Seed of the sample.
        seed: u64,
    },
}

/// What was found in one folder of parts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Audited {
    /// `parts`, or the folder of the study.
    pub folder: String,
    /// Number of parts.
    pub parts: u64,
    /// Rows whose arithmetic and truth were checked.
    pub rows: u64,
    /// Trials from which each sample was drawn.
    pub trials: u64,
    /// Trials of each sample that were simulated again.
    pub simulated: u64,
    /// What differs, each with its file.
    pub differences: Vec<String>,
}

/// An audit of a run: how it samples, and what it has found so far.
#[derive(Debug)]
pub(super) struct Audit {
    sample: Sample,
    found: Mutex<Vec<Audited>>,
}

impl Audit {
    pub fn new(sample: Sample) -> Self {
        Self { sample, found: Mutex::default() }
    }

    /// What was found in every folder so far.
    pub fn found(&self) -> Vec<Audited> {
        self.found.lock().map(|found| found.clone()).unwrap_or_default()
    }

    /// Checks the parts of a run, with a sample of each variant, or of a study, with one sample over all its cells.
    ///
    /// # Errors
    /// If it is stopped, or the folder cannot be listed.
    pub fn check(&self, folder: &str, batch: &Batch, is_run: bool, progress: &dyn Progress) -> Result<(), RunError> {
        let chosen = self.choose(batch, is_run);
        let asked = chosen.values().map(|trials| trials.len() as u64).sum();
        progress.begin(asked);
        let parts = Parts::list(&batch.folder)?;
        let ids: BTreeSet<PartId> = batch.ids().collect();
        let strange = parts.ids().filter(|id| !ids.contains(id));
        let mut differences: Vec<String> =
            strange.map(|id| format!("{folder}/{id} is no part of this run")).collect();
        let ids: Vec<PartId> = ids.into_iter().collect();
        let none = BTreeSet::new();
        let look = |&id: &PartId| {
            let (rows, difference) = self.part(batch, &parts, id, chosen.get(&id).unwrap_or(&none), progress);
            (rows, difference.map(|what| format!("{folder}/{id}: {what}")))
        };
        let looked: Vec<(u64, Option<String>)> = ids.par_iter().map(look).collect();
        if progress.interrupted() {
            return Err(RunError::Interrupted { done: 0, asked });
        }
        let rows = looked.iter().map(|(rows, _)| rows).sum();
        differences.extend(looked.into_iter().filter_map(|(_, difference)| difference));
        let cells = batch.variants.len() as u64;
        let samples = if is_run { cells.max(1) } else { 1 };
        let audited = Audited {
            folder: folder.to_owned(),
            parts: ids.len() as u64,
            rows,
            trials: batch.trials * cells / samples,
            simulated: asked / samples,
            differences,
        };
        if let Ok(mut found) = self.found.lock() {
            found.push(audited);
        }
        Ok(())
    }

    /// The trials of each part that are simulated again.
    fn choose(&self, batch: &Batch, is_run: bool) -> BTreeMap<PartId, BTreeSet<u64>> {
        let Sample::Random { trials, seed } = self.sample else {
            return batch.ids().map(|id| (id, batch.trials_of(id).collect())).collect();
        };
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let cells = batch.variants.len() as u64;
        // Samples of so many cells each, which follow each other.
        let cells_of_a_sample = if is_run { 1 } else { cells };
        let mut chosen: BTreeMap<PartId, BTreeSet<u64>> = BTreeMap::new();
        for first in (0..cells).step_by(usize::try_from(cells_of_a_sample.max(1)).unwrap_or(usize::MAX)) {
            let all = batch.trials * cells_of_a_sample;
            let size = |count: u64| usize::try_from(count).unwrap_or(usize::MAX);
            for place in index::sample(&mut random, size(all), size(trials.min(all))) {
                let (cell, trial) = (first + place as u64 / batch.trials, place as u64 % batch.trials);
                let id = PartId::holding(u32::try_from(cell).unwrap_or(u32::MAX), trial);
                chosen.entry(id).or_default().insert(trial);
            }
        }
        chosen
    }

    /// One part: number of its rows, and what is wrong with it.
    fn part(
        &self,
        batch: &Batch,
        parts: &Parts,
        id: PartId,
        chosen: &BTreeSet<u64>,
        progress: &dyn Progress,
    ) -> (u64, Option<String>) {
        let trials = batch.trials_of(id);
        let origin = batch.origin(id);
        let found = match parts.check(id, &origin) {
            Ok(found) => found,
            Err(error) => return (0, Some(error.to_string())),
        };
        let rows = found.rows as u64;
        let expected = ((trials.start, trials.end - 1), trials.end - trials.start);
        if (found.trials, found.trial_count) != expected {
            return (
                rows,
                Some(format!("it does not hold each of the trials {} to {}", trials.start, trials.end - 1)),
            );
        }
        let runner = batch.runner(id);
        let compare = |made: &Block, compared| match parts.first_difference(id, origin, made, compared) {
            Ok(difference) => difference,
            Err(error) => Some(error.to_string()),
        };
        // Where every trial is simulated again, its truth is too.
        let of_truth = match self.sample {
            Sample::All => None,
            Sample::Random { .. } => {
                let every: Vec<u64> = trials.collect();
                compare(&again(&runner, &every, |_, runner, trial, rows| runner.truth(trial, rows)), Compared::Truth)
            }
        };
        let chosen: Vec<u64> = chosen.iter().copied().collect();
        let difference = of_truth.or_else(|| {
            let made = again(&runner, &chosen, |worker, runner, trial, rows| {
                if !progress.interrupted() {
                    runner.trial(trial, worker, rows);
                    progress.advance(1);
                }
            });
            compare(&made, Compared::Everything)
        });
        let all_rows = trial_rows(&runner, expected.1);
        let difference =
            difference.or_else(|| (rows != all_rows).then(|| format!("it has {rows} rows, expected {all_rows}")));
        (rows, difference)
    }
}

/// Rows of so many trials.
fn trial_rows(runner: &TrialRunner, trials: u64) -> u64 {
    trials * runner.rows_per_trial() as u64
}

/// Rows of trials, side by side and in their order.
fn again(
    runner: &TrialRunner,
    trials: &[u64],
    make: impl Fn(&mut Worker, &TrialRunner, u64, &mut Block) + Sync,
) -> Block {
    let task = |worker: &mut Worker, trials: &[u64]| {
        let mut rows = Block::with_capacity(runner.schema(), trials.len() * runner.rows_per_trial());
        for &trial in trials {
            make(worker, runner, trial, &mut rows);
        }
        rows
    };
    let blocks: Vec<Block> = trials.par_chunks(TRIALS_IN_A_TASK).map_init(Worker::default, task).collect();
    let mut all = Block::with_capacity(runner.schema(), trials.len() * runner.rows_per_trial());
    for block in blocks {
        all.append(block);
    }
    all
}
