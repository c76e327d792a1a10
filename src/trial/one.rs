//! One trial: a case is simulated, measured blind, and only then scored against its truth.

use crate::experiment::{Design, Variant};
use crate::measurement::{
    Estimates, OUTPUTS, Observations, Plane, Procedure, ReductionEstimates, Step, StillnessGate, Trace, Workspace,
};
use crate::record::{Block, Diagnostics, Row, Schema};
use crate::simulation::{Anatomy, CameraModel, CaseKey, Implant, Memory, SealedTruth, Simulator, Truth};

/// Runs trials of one variant.
#[derive(Debug)]
pub struct TrialRunner {
    seed: u64,
    design: Option<Design>,
    pub(super) simulator: Simulator,
    pub(super) procedure: Procedure,
    pub(super) measurand_plane: Plane,
}

/// Memory of one thread, used again from trial to trial: after the first, a trial allocates nothing.
#[derive(Debug, Default)]
pub struct Worker {
    memory: Memory,
    workspace: Workspace,
}

impl TrialRunner {
    /// For a variant of an experiment with this seed.
    #[must_use]
    pub fn new(variant: &Variant, seed: u64) -> Self {
        let procedure = variant.procedure.clone();
        let simulator = Simulator::new(variant.model.clone(), &procedure);
        Self { seed, design: None, simulator, procedure, measurand_plane: variant.measurand_plane }
    }

    /// The same in a nested design; without one every trial is a new device and a new case.
    #[must_use]
    pub fn in_design(self, design: Option<Design>) -> Self {
        Self { design, ..self }
    }

    /// What the trial with this absolute index draws.
    pub(super) fn key(&self, index: u64) -> CaseKey {
        self.design.map_or(CaseKey::alone(self.seed, index), |design| design.key(self.seed, index))
    }

    /// Number of rows that one trial adds: one for each reduction.
    #[must_use]
    pub fn rows_per_trial(&self) -> usize {
        self.simulator.model().reductions.len()
    }

    /// What the rows of its trials carry.
    #[must_use]
    pub fn schema(&self) -> Schema {
        let lost: &[Step] = match self.simulator.model().camera.model {
            CameraModel::Marker | CameraModel::Pose => &[],
            CameraModel::Pixel => &Step::TRACKED,
        };
        Schema { anatomy: Anatomy::KEYS, implant: Implant::KEYS, lost }
    }

    /// Adds the rows of the trial with this absolute index.
    pub fn trial(&self, index: u64, worker: &mut Worker, rows: &mut Block) {
        let key = self.key(index);
        let sealed = self.observe(&key, worker);
        let estimates = self.procedure.measure(&worker.memory.observed, &mut worker.workspace);
        let truth = sealed.unseal();
        self.score(&key, index, &truth, (&estimates, worker.memory.observed.retries), rows);
        worker.workspace.reclaim(estimates);
        worker.memory.reclaim(truth);
    }

    /// Errors of the trial with this absolute index at its last reduction, in the order of the outputs; NaN where there is
    /// no reading. Each index is a new device and a new case, whatever the design.
    #[must_use]
    pub fn errors(&self, index: u64, worker: &mut Worker) -> [f64; OUTPUTS.len()] {
        let key = CaseKey::alone(self.seed, index);
        let sealed = self.observe(&key, worker);
        let estimates = self.procedure.measure(&worker.memory.observed, &mut worker.workspace);
        let truth = sealed.unseal();
        let last = estimates.reductions.len().saturating_sub(1);
        let true_values = truth.reading(last, self.measurand_plane, self.procedure.angles);
        let asked = self.procedure.asked;
        let errors = std::array::from_fn(|i| match estimates.reductions.last() {
            Some(reduction) if asked.has(OUTPUTS[i]) => {
                reduction.readings.get(OUTPUTS[i]).map_or(f64::NAN, |read| read - true_values[i])
            }
            _ => f64::NAN,
        });
        worker.workspace.reclaim(estimates);
        worker.memory.reclaim(truth);
        errors
    }

    /// One case with everything that was drawn, observed and estimated, for a reader who follows the chain.
    #[must_use]
    pub fn case(&self, index: u64) -> (Observations, Estimates, Truth) {
        let key = self.key(index);
        let mut worker = Worker::default();
        let sealed = self.observe(&key, &mut worker);
        let estimates = self.procedure.measure(&worker.memory.observed, &mut worker.workspace);
        (worker.memory.observed, estimates, sealed.unseal())
    }

    /// Simulates a case; the stillness gate, if there is one, is the measurement's.
    fn observe(&self, key: &CaseKey, worker: &mut Worker) -> SealedTruth {
        let limit_mm = self.simulator.model().protocol.stillness_limit_mm.unwrap_or(f64::INFINITY);
        let mut gate = StillnessGate::new(&self.procedure, &mut worker.workspace, limit_mm);
        self.simulator.observe(key, &mut worker.memory, &mut |observed| gate.is_still(observed))
    }

    fn score(
        &self,
        key: &CaseKey,
        trial: u64,
        truth: &Truth,
        (estimates, retries): (&Estimates, u32),
        rows: &mut Block,
    ) {
        let (anatomy, implant) = (truth.patient.values(), truth.change.values());
        let lost = Step::TRACKED.map(|step| estimates.frames.lost_share(step).unwrap_or(f64::NAN));
        let lost = &lost[..rows.schema().lost.len()];
        let asked = self.procedure.asked;
        for (index, (reduction, estimated)) in (0..).zip(&estimates.reductions).enumerate() {
            let truth = truth.reading(index, self.measurand_plane, self.procedure.angles);
            let row = Row {
                trial,
                device: key.device,
                case: key.case,
                repeat: key.repeat,
                reduction,
                failure: estimated.readings.failure(asked),
                anatomy: &anatomy,
                implant: &implant,
                lost,
                truth: OUTPUTS.map(|output| if asked.has(output) { truth[output.place()] } else { f64::NAN }),
                read: OUTPUTS.map(|output| estimated.readings.get(output).ok().filter(|_| asked.has(output))),
                diagnostics: diagnostics(estimates, estimated, retries),
            };
            rows.push(&row);
        }
    }
}

fn diagnostics(estimates: &Estimates, reduction: &ReductionEstimates, retries: u32) -> Diagnostics {
    let residuals = &estimates.residuals;
    let (baseline, later) = (estimates.baseline.ok(), reduction.feature.ok());
    let rms = |trace: Option<Trace>| trace.map_or(f64::NAN, |trace| trace.residual_rms_mm);
    let gap = |trace: Option<Trace>| trace.map_or(f64::NAN, |trace| trace.largest_gap_deg);
    Diagnostics {
        pose_rms_mm: residuals.pose_mm,
        tip_pivot_rms_mm: residuals.tip_pivot_mm,
        centre_native_rms_mm: residuals.native_mm,
        centre_new_rms_mm: residuals.renewed_mm,
        feature_baseline_rms_mm: rms(baseline),
        feature_reduction_rms_mm: rms(later),
        largest_gap_deg: gap(baseline).max(gap(later)),
        retries,
    }
}
