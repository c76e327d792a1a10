//! One trial: a case is simulated, measured blind, and only then scored against its truth.

use crate::experiment::{Design, Variant};
use crate::measurement::{
    Estimates, OUTPUTS, Observations, Plane, Procedure, ReductionEstimates, Step, StillnessGate, Trace, Workspace,
};
use crate::record::{Block, Diagnostics, Row, Schema};
use crate::simulation::{
    Anatomy, ByEventSource, CameraModel, CaseKey, Implant, Memory, Outcome, SealedTruth, Simulator, TrueReading,
    Truth, event_sources,
};

/// Runs trials of one variant.
#[derive(Debug)]
pub struct TrialRunner {
    seed: u64,
    design: Option<Design>,
    pub(super) simulator: Simulator,
    pub(super) procedure: Procedure,
    pub(super) measurand_plane: Plane,
    events: ByEventSource<Option<&'static str>>,
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
        let events = event_sources(simulator.model(), &procedure).map(|event| event.map(|event| event.key));
        Self { seed, design: None, simulator, procedure, measurand_plane: variant.measurand_plane, events }
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
        Schema { anatomy: Anatomy::KEYS, implant: Implant::KEYS, lost, events: self.events }
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

    /// Adds the rows of the trial with this absolute index as far as they are known without its observations: what was drawn
    /// and what is true.
    pub(super) fn truth(&self, index: u64, rows: &mut Block) {
        let key = self.key(index);
        let Outcome { patient, change, scene, shifts } = self.simulator.outcome(&key);
        let lost = vec![f64::NAN; rows.schema().lost.len()];
        for (reduction, shift) in (0..).zip(shifts) {
            let truth = scene.reading(shift, self.measurand_plane, self.procedure.angles);
            rows.push(&Row {
                trial: index,
                device: key.device,
                case: key.case,
                repeat: key.repeat,
                reduction,
                failure: None,
                anatomy: &patient.values(),
                implant: &change.values(),
                lost: &lost,
                events: [0; 3],
                truth: self.asked(truth),
                read: [None; OUTPUTS.len()],
                diagnostics: Diagnostics::NONE,
            });
        }
    }

    /// The true values of what is asked for; NaN for the others.
    fn asked(&self, truth: TrueReading) -> TrueReading {
        let asked = self.procedure.asked;
        OUTPUTS.map(|output| if asked.has(output) { truth[output.place()] } else { f64::NAN })
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
            let slips = truth.reductions.get(index).map_or(0, |reduction| reduction.slips);
            let events = truth.happened.counts(slips);
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
                events,
                truth: self.asked(truth),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::Plan;

    /// Counts of each source's events in the last reductions of so many trials, with its probability in a trial.
    fn counted(file: &str, trials: u64) -> Vec<(&'static str, f64, Vec<u32>)> {
        let plan = Plan::parse("events.toml", file).expect("a plan");
        let variant = &plan.variants[0];
        let runner = TrialRunner::new(variant, plan.seed).in_design(plan.design);
        let mut block = Block::with_capacity(runner.schema(), 0);
        let mut worker = Worker::default();
        (0..trials).for_each(|trial| runner.trial(trial, &mut worker, &mut block));
        let rows = runner.rows_per_trial();
        let sources = event_sources(&variant.model, &variant.procedure);
        let columns = sources.into_iter().zip(block.events());
        columns
            .filter_map(|(source, counts)| {
                let last = counts.iter().skip(rows - 1).step_by(rows).copied().collect();
                source.map(|source| (source.source, source.in_a_trial(), last))
            })
            .collect()
    }

    const FREQUENT: &str = "seed = 3\n[noise]\noff = [\"tracker\"]\n[noise.camera.drift]\nknock_probability = 0.2\n\
                            [noise.probe.slip]\nin_hold_probability = 0.1\n[noise.femur.loosening]\nprobability = 0.3\n";

    /// The proportion of trials in which an event is recorded is the probability that follows from the plan, with and
    /// without a gate that has holds taken again.
    #[test]
    fn outside_events_are_as_frequent_as_the_plan_says() {
        for protocol in ["", "[protocol]\nstillness_limit_mm = 0.8\nlandmark_captures = 2\n"] {
            let trials = 2000;
            let found = counted(&format!("{FREQUENT}{protocol}"), trials);
            assert_eq!(found.len(), 3, "{protocol}");
            for (source, probability, counts) in found {
                let share = counts.iter().filter(|&&count| count > 0).count() as f64 / trials as f64;
                let standard_error = (probability * (1.0 - probability) / trials as f64).sqrt();
                assert!((share - probability).abs() < 3.5 * standard_error, "{source}: {share} for {probability}");
            }
        }
    }

    /// An event of a case is the same in its repeats; sources that are off, or whose event always or never happens, have no
    /// column.
    #[test]
    fn identity_events_belong_to_their_stratum() {
        let nested = format!("{FREQUENT}[design]\ndevices = 50\ncases = 2\nrepeats = 2\n");
        for (source, _, counts) in counted(&nested, 200) {
            let same = counts.chunks_exact(2).all(|case| case[0] == case[1]);
            assert_eq!(same, source != "probe.slip", "{source}");
        }
        assert!(
            counted("seed = 3\n[noise]\noff = [\"camera.drift\", \"probe.slip\", \"femur.loosening\"]\n", 2)
                .is_empty()
        );
        let certain = FREQUENT.replace("0.2", "0.0").replace("0.3", "1.0");
        let left: Vec<_> = counted(&certain, 2).into_iter().map(|(source, ..)| source).collect();
        assert_eq!(left, ["probe.slip"]);
    }
}
