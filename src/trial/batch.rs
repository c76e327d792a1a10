//! A folder of parts and the variants whose trials fill it: those of a run, or the cells of a study.

use super::one::TrialRunner;
use super::run::RunError;
use crate::experiment::{Design, Plan, Variant};
use crate::record::{Block, Origin, PartError, PartId, Parts, TRIALS_IN_A_PART, write_part};
use rayon::prelude::*;
use std::ops::Range;
use std::path::PathBuf;

/// Variants whose trials fill one folder of parts; the variant of a part is its place among them.
#[derive(Debug)]
pub(super) struct Batch<'a> {
    /// The folder.
    pub folder: PathBuf,
    /// The variants.
    pub variants: &'a [Variant],
    /// Trials of each variant.
    pub trials: u64,
    seed: u64,
    design: Option<Design>,
    /// SHA-256 of all that moves draws and readings.
    hash: String,
}

/// A part that is not there, or not whole.
#[derive(Debug)]
pub(super) struct Missing {
    pub id: PartId,
    /// Its place in the order of the batch.
    pub place: usize,
    /// The trials that it takes.
    pub trials: Range<u64>,
    /// What is wrong with the part that is there; `None` where none is, or it holds fewer trials.
    pub why: Option<PartError>,
}

impl Missing {
    pub fn count(&self) -> u64 {
        self.trials.end - self.trials.start
    }
}

impl<'a> Batch<'a> {
    /// The trials of a plan.
    pub fn of_run(plan: &'a Plan, folder: PathBuf) -> Self {
        let Plan { variants, trials, seed, design, .. } = plan;
        Self { folder, variants, trials: *trials, seed: *seed, design: *design, hash: plan.simulation_hash() }
    }

    /// The cells of a study, each run over the same cases; every case is a new device and a new patient.
    pub fn of_study(plan: &Plan, variants: &'a [Variant], hash: String, cases: u64, folder: PathBuf) -> Self {
        Self { folder, variants, trials: cases, seed: plan.seed, design: None, hash }
    }

    /// Number of its parts.
    pub fn len(&self) -> usize {
        self.ids().count()
    }

    /// Its parts, in their order.
    pub fn ids(&self) -> impl Iterator<Item = PartId> {
        let parts = self.trials.div_ceil(TRIALS_IN_A_PART);
        let variants = (0..).zip(self.variants).map(|(variant, _)| variant);
        variants.flat_map(move |variant| (0..parts).map(move |part| PartId { variant, part }))
    }

    /// The trials that a part takes.
    pub fn trials_of(&self, id: PartId) -> Range<u64> {
        id.first_trial()..self.trials.min(id.first_trial() + TRIALS_IN_A_PART)
    }

    /// Runs the trials of a part.
    pub fn runner(&self, id: PartId) -> TrialRunner {
        TrialRunner::new(self.variant(id), self.seed).in_design(self.design)
    }

    fn variant(&self, id: PartId) -> &Variant {
        &self.variants[id.variant as usize]
    }

    /// What all rows of a part share.
    pub fn origin(&self, id: PartId) -> Origin<'_> {
        let variant = self.variant(id);
        Origin {
            simulation_hash: &self.hash,
            seed: self.seed,
            arm: &variant.arm,
            point: variant.point,
            replicate: u32::try_from(variant.model.replicates.anatomy).unwrap_or(u32::MAX),
        }
    }

    /// Writes a part, whole or not at all.
    pub fn write(&self, id: PartId, rows: &Block) -> Result<(), PartError> {
        write_part(&self.folder, id, self.origin(id), rows)
    }

    /// Parts that are not there, not whole, or known to have been changed. Parts are looked at side by side.
    ///
    /// # Errors
    /// If a part belongs to another run or does not add up: it was not left there by this run, so it is neither used nor
    /// made again.
    pub fn missing(&self, changed: impl Fn(PartId) -> bool + Sync) -> Result<Vec<Missing>, RunError> {
        let present = Parts::list(&self.folder)?;
        let look = |(place, id): (usize, PartId)| {
            let trials = self.trials_of(id);
            let found = (present.contains(id) && !changed(id)).then(|| present.check(id, &self.origin(id)));
            let why = match found {
                Some(Err(error)) if error.is_refused() => return Err(error.into()),
                Some(Err(error)) => Some(error),
                Some(Ok(found))
                    if (found.trials, found.trial_count)
                        == ((trials.start, trials.end - 1), trials.end - trials.start) =>
                {
                    return Ok(None);
                }
                Some(Ok(_)) | None => None,
            };
            Ok(Some(Missing { id, place, trials, why }))
        };
        let ids: Vec<_> = self.ids().enumerate().collect();
        let looked: Result<Vec<Option<Missing>>, RunError> = ids.into_par_iter().map(look).collect();
        Ok(looked?.into_iter().flatten().collect())
    }
}
