//! One simulated case: truth and noise in, observations out, step by step as in the theatre.

use super::events::Happened;
use super::eye::Built;
use super::model::{CameraModel, Model, Mount, Reduction};
use super::patient::{Change, Patient, PatientTurn, PatientVector};
use super::pose_camera::PoseCamera;
use super::scene::Scene;
use super::source::CaptureKey;
use super::streams::{CaseKey, StreamKey, source_key};
use super::theatre::Theatre;
use super::tool::{ConeSwing, Tool, ToolKind, once_round};
use super::truth::{SealedTruth, TrueReduction, Truth};
use super::{Femur, Quantity, TruePelvis};
use crate::geometry::{Direction, Displacement, Pose, Rotation};
use crate::measurement::{Camera, Observations, Outline, Procedure, Step, Tracker};

/// Produces cases of one model, for one procedure.
#[derive(Clone, Debug)]
pub struct Simulator {
    pub(super) model: Model,
    /// The steps that the procedure needs, in the order of [`Step::ALL`].
    needed: [bool; Step::ALL.len()],
    /// Where the probe goes on the femoral feature.
    pub(super) outline: Outline,
    pub(super) probe: Tool,
    pub(super) inserter: Tool,
    pub(super) head: Tool,
    pub(super) pelvis: Tool,
    /// The direction from the working point of probe or head to the hand.
    pub(super) hold: Direction<TruePelvis>,
    pub(super) tip_swing: ConeSwing,
    pub(super) centre_swing: ConeSwing,
    /// How a camera disturbs poses, where it gives poses.
    pub(super) pose_camera: Option<PoseCamera>,
    /// Cosine and sine of the turn of each frame of a trace, from its start.
    pub(super) trace_turns: Vec<(f64, f64)>,
}

/// Memory of one thread, used again from case to case.
#[derive(Debug)]
pub struct Memory {
    /// What was observed.
    pub observed: Observations,
    /// Markers of each tool as built, in the order of [`ToolKind::ALL`].
    built: Built,
    /// Where the tracker of a tool was in the frames of a capture.
    poses: Vec<Pose<Tracker, Camera>>,
    reductions: Vec<TrueReduction>,
}

impl Default for Memory {
    fn default() -> Self {
        Self {
            observed: Observations::of_markers(),
            built: Default::default(),
            poses: Vec::new(),
            reductions: Vec::new(),
        }
    }
}

impl Memory {
    /// Takes the truth's memory back for the next case.
    pub fn reclaim(&mut self, truth: Truth) {
        self.reductions = truth.reductions;
    }
}

impl Simulator {
    /// For the captures that a procedure needs.
    #[must_use]
    pub fn new(model: Model, procedure: &Procedure) -> Self {
        let (tools, protocol) = (&model.tools, &model.protocol);
        let hold = PatientVector::from(protocol.hold_direction).on(model.side);
        let pose_camera = (model.camera.model == CameraModel::Pose).then(|| PoseCamera::new(&model));
        Self {
            probe: Tool::with_shaft(ToolKind::Probe, tools, tools.probe_tip_mm),
            head: Tool::with_shaft(ToolKind::Head, tools, tools.head_centre_mm),
            inserter: Tool::new(
                ToolKind::Inserter,
                tools,
                Displacement::from_vector(tools.cup_axis.into()),
                [0.0; 3],
            ),
            pelvis: Tool::new(ToolKind::Pelvis, tools, Displacement::new(0.0, 0.0, 1.0), [0.0; 3]),
            pose_camera,
            hold: hold.direction().unwrap_or(Direction::X),
            tip_swing: ConeSwing::new(protocol.tip_pivot_frames, protocol.tip_pivot_cone_deg),
            centre_swing: ConeSwing::new(protocol.centre_frames, protocol.centre_cone_deg),
            trace_turns: once_round(protocol.trace_frames),
            model,
            needed: Step::ALL.map(|step| procedure.needs(step)),
            outline: (procedure.femur.strategy().outline)(&procedure.instruments),
        }
    }

    /// The model it simulates.
    #[must_use]
    pub fn model(&self) -> &Model {
        &self.model
    }

    /// Whether the procedure needs a step. Each source draws its own stream at each step, so that one left out moves no draw of
    /// another.
    pub(super) fn needs(&self, step: Step) -> bool {
        self.needed[step as usize]
    }

    /// Whether a step that is needed watches a tool.
    fn uses(&self, kind: ToolKind) -> bool {
        match kind {
            ToolKind::Probe | ToolKind::Pelvis => true,
            ToolKind::Inserter => self.needs(Step::Cup),
            ToolKind::Head => self.needs(Step::CentreNative) || self.needs(Step::CentreNew),
        }
    }

    fn tool(&self, kind: ToolKind) -> &Tool {
        match kind {
            ToolKind::Probe => &self.probe,
            ToolKind::Inserter => &self.inserter,
            ToolKind::Head => &self.head,
            ToolKind::Pelvis => &self.pelvis,
        }
    }

    /// Simulates one case into `memory.observed` and hands over its sealed truth. Where the protocol has a stillness
    /// limit, `gate` judges each hold of the probe as soon as it is observed, by what has been observed alone.
    pub fn observe(
        &self,
        key: &CaseKey,
        memory: &mut Memory,
        gate: &mut dyn FnMut(&Observations) -> bool,
    ) -> SealedTruth {
        let (model, noise) = (&self.model, &self.model.noise);
        let side = model.side;
        let Drawn { patient, change, scene } = self.draw(key);

        memory.observed.begin(model.camera.model.sightings(), model.camera.mount == Mount::Stand);
        for kind in model.tools_seen().filter(|&kind| self.uses(kind)) {
            let built = &mut memory.built[kind as usize];
            noise.tracker.build.build(key, kind.part(), &self.tool(kind).markers, built);
        }
        let seen = (&mut memory.observed, &mut memory.poses);
        let mut theatre = Theatre::new(self, key, &scene, &memory.built, seen, gate);

        // 1. The probe's tracker is seated and its tip pivoted.
        let tip_first = theatre.seat_probe(Step::TipPivot);
        theatre.pivot_tip();

        // 2. The landmarks are touched and the level is read.
        theatre.begin_step(2);
        if self.needs(Step::Level) {
            theatre.read_level();
        }
        theatre.touch_landmarks();

        // 3. The femoral feature before dislocation.
        theatre.begin_step(3);
        let baseline = noise.posture.baseline.turn(|source| source.case_stream(key)).on(side);
        let femur = Pose::<Femur, TruePelvis>::new(baseline.relabelled(), scene.native_centre);
        let feature_first = femur * scene.feature;
        if self.needs(Step::FemurBaseline) {
            theatre.locate_feature(Step::FemurBaseline, 0, feature_first);
        }

        // 4. The native centre.
        theatre.begin_step(4);
        if self.needs(Step::CentreNative) {
            theatre.turn_native_head();
        }

        // 5. The camera, or the pelvis tracker, is taken off and put back.
        theatre.put_back(noise.camera.remount.displacement(key));

        // 6. The cup, and 7. the new centre.
        theatre.begin_step(6);
        if self.needs(Step::Cup) {
            theatre.hold_inserter();
        }
        theatre.begin_step(7);
        if self.needs(Step::CentreNew) {
            theatre.turn_trial_head();
        }

        // 8. The femoral feature at each reduction; the probe's tracker is seated again.
        theatre.begin_step(8);
        let tip_again = theatre.seat_probe(Step::FemurReduction);
        let loosened = noise.femur.loosening.motion(key);
        let moved_feature = loosened.map_or(scene.feature, |motion| scene.feature * motion);
        let happened =
            Happened { knocked: theatre.is_knocked(), loosened: loosened.is_some(), slips: theatre.take_slips() };
        let mut reductions = std::mem::take(&mut memory.reductions);
        reductions.clear();
        for (take, reduction) in (0..).zip(&model.reductions) {
            theatre.reduce();
            let capture = CaptureKey::new(Step::FemurReduction, take, 0, 0);
            // The true shift of the femur, D, and from it g: from the old to the new head centre in the femur.
            let shift = self.shift(key, &change, take, reduction);
            let feature = self.needs(Step::FemurReduction).then(|| {
                let head_shift = (scene.renewed_centre - scene.native_centre) - shift;
                let turn =
                    reduction.posture() + noise.posture.reduction.turn(|source| source.capture_stream(key, capture));
                let turned: Rotation<Femur, TruePelvis> = (turn.on(side) * baseline).relabelled();
                // H1 + F1 (x0 - g): the femur's own origin is the centre of its native head.
                let femur = Pose::new(turned, scene.renewed_centre - turned * femoral(head_shift));
                femur * moved_feature
            });
            if let Some(feature) = feature {
                theatre.locate_feature(Step::FemurReduction, take, feature);
            }
            reductions.push(TrueReduction { shift, feature, slips: theatre.take_slips() });
        }
        let tips = [tip_first, tip_again];
        SealedTruth::seal(Truth { patient, change, scene, tips, baseline: feature_first, reductions, happened })
    }
}

/// What is drawn of a case before anything is observed.
struct Drawn {
    patient: Patient,
    change: Change,
    scene: Scene,
}

/// What the truth of the outputs is stated from.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The patient.
    pub patient: Patient,
    /// The change drawn for the hip.
    pub change: Change,
    /// Places and directions.
    pub scene: Scene,
    /// The shift of the femur at each reduction, in true bony axes.
    pub shifts: Vec<Displacement<TruePelvis>>,
}

impl Simulator {
    /// The truth of a case without its observations.
    #[must_use]
    pub fn outcome(&self, key: &CaseKey) -> Outcome {
        let Drawn { patient, change, scene } = self.draw(key);
        let reductions = (0..).zip(&self.model.reductions);
        let shifts = reductions.map(|(take, reduction)| self.shift(key, &change, take, reduction)).collect();
        Outcome { patient, change, scene, shifts }
    }

    fn draw(&self, key: &CaseKey) -> Drawn {
        let model = &self.model;
        let patient = model.anatomy.draw(key, model.replicates.anatomy);
        let change = model.implant.draw(key, model.replicates.implant);
        let mut scene = Scene::of(model, &patient, &change);
        scene.final_cup_axis = model.noise.cup.seating.turn(key).on(model.side) * scene.cup_axis;
        Drawn { patient, change, scene }
    }

    /// The true shift of the femur at a reduction.
    fn shift(&self, key: &CaseKey, change: &Change, take: u32, reduction: &Reduction) -> Displacement<TruePelvis> {
        let (capture, replicate) = (CaptureKey::new(Step::FemurReduction, take, 0, 0), self.model.replicates.implant);
        PatientVector {
            anterior: 0.0,
            superior: -(change.leg_length_mm + reduction.added_leg_length(key, capture, replicate)),
            lateral: change.offset_mm + reduction.added_offset(key, capture, replicate),
        }
        .on(self.model.side)
    }
}

/// A displacement in true bony axes, as one in the femur at neutral.
fn femoral(displacement: Displacement<TruePelvis>) -> Displacement<Femur> {
    Displacement::from_vector(*displacement.vector())
}

impl Reduction {
    fn added_leg_length(&self, key: &CaseKey, capture: CaptureKey, replicate: u64) -> f64 {
        const SOURCE: u64 = source_key("reduction.added_leg_length_mm");
        added(&self.added_leg_length_mm, SOURCE, key, capture, replicate)
    }

    fn added_offset(&self, key: &CaseKey, capture: CaptureKey, replicate: u64) -> f64 {
        const SOURCE: u64 = source_key("reduction.added_offset_mm");
        added(&self.added_offset_mm, SOURCE, key, capture, replicate)
    }

    fn posture(&self) -> PatientTurn {
        PatientTurn {
            flexion_deg: self.flexion_deg,
            adduction_deg: self.adduction_deg,
            internal_rotation_deg: self.internal_rotation_deg,
        }
    }
}

fn added(quantity: &Quantity, source: u64, key: &CaseKey, capture: CaptureKey, replicate: u64) -> f64 {
    if let Quantity::Constant(value) = quantity {
        return *value;
    }
    // Components are chosen once a case: truth is the same in its repeats.
    let &CaseKey { seed, device, case, .. } = key;
    let stream = StreamKey { seed, replicate, source, device, case, capture: capture.packed() };
    quantity.value(stream.open().next_score())
}
