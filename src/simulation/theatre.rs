//! The steps of a case: each holds, traces or turns a tool where it truly is, lets noise move it, and records
//! what the camera sees.

use super::TruePelvis;
use super::case::Simulator;
use super::eye::{Built, Eye};
use super::model::Mount;
use super::noise::{DriftPath, HoldSlip};
use super::normal;
use super::patient::PatientVector;
use super::scene::Scene;
use super::source::CaptureKey;
use super::streams::{CaseKey, Scores, StreamKey, source_key};
use super::tool::Tool;
use super::truth::Triad;
use crate::geometry::{Direction, Displacement, Point, Pose, Rotation};
use crate::measurement::{Camera, Capture, Feature, Observations, Outline, Side, Step, Tracker};

/// The case in progress: where the camera and the probe's tip are now, and what has been observed.
pub struct Theatre<'a> {
    simulator: &'a Simulator,
    key: &'a CaseKey,
    side: Side,
    scene: &'a Scene,
    /// The pelvis in the axes of what it carries, before that has crept.
    mount: Pose<TruePelvis, Camera>,
    /// The same now.
    carried: Pose<TruePelvis, Camera>,
    /// The pelvis in the camera's axes now.
    camera: Pose<TruePelvis, Camera>,
    drift: Option<DriftPath>,
    tip: Point<Tracker>,
    eye: Eye<'a>,
    observed: &'a mut Observations,
    /// Where the tracker of the tool was in the frames of the capture in progress.
    poses: &'a mut Vec<Pose<Tracker, Camera>>,
    gate: &'a mut dyn FnMut(&Observations) -> bool,
    frames: usize,
    slips: u32,
}

/// A capture in progress.
struct Recording<'a> {
    capture: Capture,
    key: CaptureKey,
    tool: &'a Tool,
}

impl<'a> Theatre<'a> {
    /// Before the first step.
    pub fn new(
        simulator: &'a Simulator,
        key: &'a CaseKey,
        scene: &'a Scene,
        built: &'a Built,
        (observed, poses): (&'a mut Observations, &'a mut Vec<Pose<Tracker, Camera>>),
        gate: &'a mut dyn FnMut(&Observations) -> bool,
    ) -> Self {
        let (camera, carried) = (scene.camera, scene.carried);
        let (tip, drift) = (simulator.probe.point, simulator.model.noise.camera.drift.path(key));
        let (mount, eye) = (carried, Eye::new(simulator, key, built));
        let side = scene.side;
        Self {
            simulator,
            key,
            side,
            scene,
            mount,
            carried,
            camera,
            drift,
            tip,
            eye,
            observed,
            poses,
            gate,
            frames: 0,
            slips: 0,
        }
    }

    /// Whether the mount is knocked in this case.
    pub fn is_knocked(&self) -> bool {
        self.drift.is_some_and(|drift| drift.is_knocked())
    }

    /// Holds since the last call in whose first try the probe's tip slipped. Later tries do not count: whether there are any
    /// depends on the first, so that their number is random.
    pub fn take_slips(&mut self) -> u32 {
        std::mem::take(&mut self.slips)
    }

    /// What the pelvis carries is taken off and put back, moved in its own axes.
    pub fn put_back(&mut self, moved: Pose<Camera, Camera>) {
        self.mount = moved * self.mount;
    }

    /// A step of the procedure, 2 to 9, begins: the mount has crept.
    pub fn begin_step(&mut self, step: u32) {
        self.carried = self.drift.map_or(self.mount, |drift| drift.at_step(step) * self.mount);
        if self.simulator.model.camera.mount == Mount::Pelvis {
            self.camera = self.carried;
        }
    }

    /// The tracker is seated on the probe before a step; where its tip then is.
    pub fn seat_probe(&mut self, before: Step) -> Point<Tracker> {
        let seat = self.simulator.model.noise.probe.attach.seat(self.key, before);
        self.tip = seat * self.simulator.probe.point;
        self.tip
    }

    pub fn pivot_tip(&mut self) {
        let simulator = self.simulator;
        let slip = &simulator.model.noise.probe.slip;
        let position = PatientVector::from(simulator.model.protocol.tip_pivot_position_mm);
        let place = self.scene.native_centre + position.on(self.side);
        let capture = CaptureKey::new(Step::TipPivot, 0, 0, 0);
        let recording = self.begin(&simulator.probe, (Step::TipPivot, 0, 0), capture);
        let mut slips = slip.frames(self.key, capture);
        let (hold, upright) = self.hold(&simulator.probe, place);
        for turn in simulator.tip_swing.turns(hold, self.side) {
            let slipped = slips.as_mut().map_or(PatientVector::ZERO, |scores| slip.in_pivot(scores));
            let pose = Pose::placing(turn * upright, self.tip, place + slipped.on(self.side));
            self.poses.push(self.camera * pose);
        }
        self.end(recording);
    }

    pub fn read_level(&mut self) {
        let noise = &self.simulator.model.noise.level;
        let level = Triad::level(self.scene.up);
        let table = noise.table.turn(self.key, self.side);
        let axes = noise.sensor.axes(self.key, self.side);
        for repeat in 0..self.simulator.model.protocol.level_captures {
            let capture = CaptureKey::new(Step::Level, 0, 0, repeat);
            let sensor = noise.sensor.turn(self.key, self.side, capture);
            let up = axes
                * level.turned_up(table.about_y_deg + sensor.about_y_deg, table.about_z_deg + sensor.about_z_deg);
            let index = self.observed.ups.len();
            self.observed.ups.push(self.carried.rotation * up);
            let capture = Capture { step: Step::Level, take: 0, divot: 0, frames: index..index + 1, still: true };
            self.observed.captures.push(capture);
        }
    }

    pub fn touch_landmarks(&mut self) {
        let noise = &self.simulator.model.noise.landmark;
        let scene = self.scene;
        let (asis_mm, pubis_mm) = noise.tissue.thickness_mm(self.key);
        let skin = |thickness_mm| PatientVector { anterior: thickness_mm, ..PatientVector::ZERO };
        let (left_item, right_item) = if self.side == Side::Right { (1, 0) } else { (0, 1) };
        for (step, landmark, item, palpation, tissue_mm) in [
            (Step::AsisLeft, scene.asis_left, left_item, &noise.palpation.asis, asis_mm),
            (Step::AsisRight, scene.asis_right, right_item, &noise.palpation.asis, asis_mm),
            (Step::Pubis, scene.pubis, 0, &noise.palpation.pubis, pubis_mm),
        ] {
            if step == Step::Pubis && !self.simulator.needs(step) {
                continue;
            }
            for repeat in 0..self.simulator.model.protocol.landmark_captures {
                self.until_still(CaptureKey::new(step, 0, item, repeat), |theatre, capture| {
                    let missed = palpation.error(theatre.key, item, capture);
                    let place = landmark + skin(tissue_mm).on(theatre.side) + missed.on(theatre.side);
                    theatre.hold_on_skin(step, capture, place);
                });
            }
        }
    }

    /// The probe held on a landmark: the hand trembles, and the tip may slip.
    fn hold_on_skin(&mut self, step: Step, capture: CaptureKey, place: Point<TruePelvis>) {
        let simulator = self.simulator;
        let (protocol, noise) = (&simulator.model.protocol, &simulator.model.noise.probe);
        let recording = self.begin(&simulator.probe, (step, 0, 0), capture);
        let slip = noise.slip.in_hold(self.key, capture, protocol.landmark_frames);
        self.slips += u32::from(slip.is_some() && capture.is_first_try());
        let mut tremor = noise.tremor.path(self.key, capture, protocol.frame_rate_hz);
        let grip = self.grip(&simulator.probe, self.tip, place);
        for frame in 0..protocol.landmark_frames {
            let shaken = tremor.as_mut().map_or(PatientVector::ZERO, |path| noise.tremor.next_displacement(path));
            let tip = place + shaken.on(self.side) + slipped(slip, frame).on(self.side);
            self.poses.push(grip.at(self.camera * tip));
        }
        self.end(recording);
    }

    /// The hip is reduced.
    pub fn reduce(&mut self) {
        self.observed.reductions += 1;
    }

    /// The femoral feature touched or traced where it is now.
    pub fn locate_feature(&mut self, step: Step, take: u32, feature: Pose<Feature, TruePelvis>) {
        match &self.simulator.outline {
            Outline::Places(places) => {
                for (divot, &place) in (0..).zip(places) {
                    self.hold_in_divot(step, take, divot, feature * place);
                }
            }
            &Outline::Groove(semi_axes_mm) => self.trace(step, take, feature, semi_axes_mm),
        }
    }

    fn hold_in_divot(&mut self, step: Step, take: u32, divot: u32, place: Point<TruePelvis>) {
        for repeat in 0..self.simulator.model.protocol.divot_captures {
            self.until_still(CaptureKey::new(step, take, divot, repeat), |theatre, capture| {
                theatre.hold_in_divot_once(step, (take, divot), capture, place);
            });
        }
    }

    fn hold_in_divot_once(
        &mut self,
        step: Step,
        (take, divot): (u32, u32),
        capture: CaptureKey,
        place: Point<TruePelvis>,
    ) {
        let simulator = self.simulator;
        let (noise, count) = (&simulator.model.noise, simulator.model.protocol.divot_frames);
        let recording = self.begin(&simulator.probe, (step, take, divot), capture);
        let slip = noise.probe.slip.in_hold(self.key, capture, count);
        self.slips += u32::from(slip.is_some() && capture.is_first_try());
        let mut clearance = simulator.model.noise.femur.groove.frames(self.key, capture);
        let grip = self.grip(&simulator.probe, self.tip, place);
        for frame in 0..count {
            let loose = self.loose(&mut clearance);
            let tip = place + loose.on(self.side) + slipped(slip, frame).on(self.side);
            self.poses.push(grip.at(self.camera * tip));
        }
        self.end(recording);
    }

    fn trace(&mut self, step: Step, take: u32, feature: Pose<Feature, TruePelvis>, semi_axes_mm: [f64; 2]) {
        for repeat in 0..self.simulator.model.protocol.trace_captures {
            self.trace_once(step, take, CaptureKey::new(step, take, 0, repeat), feature, semi_axes_mm);
        }
    }

    /// Once round a groove from a random start at uneven speed.
    fn trace_once(
        &mut self,
        step: Step,
        take: u32,
        capture: CaptureKey,
        feature: Pose<Feature, TruePelvis>,
        [major_mm, minor_mm]: [f64; 2],
    ) {
        const SOURCE: u64 = source_key("protocol.trace");
        let simulator = self.simulator;
        let protocol = &simulator.model.protocol;
        let recording = self.begin(&simulator.probe, (step, take, 0), capture);
        let replicate = simulator.model.replicates.protocol;
        let &CaseKey { seed, device, case, repeat } = self.key;
        let number = capture.in_repeat(repeat).packed();
        let key = StreamKey { seed, replicate, source: SOURCE, device, case, capture: number };
        let mut scores = key.open();
        let mut uniform_turn = || std::f64::consts::TAU * normal::cumulative(scores.next_score());
        let (start, phase) = (uniform_turn(), uniform_turn());
        let mut clearance = simulator.model.noise.femur.groove.frames(self.key, capture);
        let motion = simulator.model.noise.femur.motion.over_trace(self.key, capture).on(self.side);
        let intervals = protocol.trace_frames.saturating_sub(1).max(1) as f64;
        let grip = self.grip(&simulator.probe, self.tip, feature.origin);
        let (start_sine, start_cosine) = libm::sincos(start);
        let (phase_sine, phase_cosine) = libm::sincos(phase);
        for (frame, &(turn_cosine, turn_sine)) in simulator.trace_turns.iter().enumerate() {
            // The angle is start + turn + unevenness sin(turn + phase); only the uneven part needs a sine of its own.
            let uneven = protocol.trace_unevenness * (turn_sine * phase_cosine + turn_cosine * phase_sine);
            let even_cosine = start_cosine * turn_cosine - start_sine * turn_sine;
            let even_sine = start_sine * turn_cosine + start_cosine * turn_sine;
            let (uneven_sine, uneven_cosine) = libm::sincos(uneven);
            let cosine = even_cosine * uneven_cosine - even_sine * uneven_sine;
            let sine = even_sine * uneven_cosine + even_cosine * uneven_sine;
            let groove = feature * Point::new(0.0, major_mm * cosine, minor_mm * sine);
            let moved = (frame as f64 / intervals) * motion;
            let tip = groove + moved + self.loose(&mut clearance).on(self.side);
            self.poses.push(grip.at(self.camera * tip));
        }
        self.end(recording);
    }

    pub fn turn_native_head(&mut self) {
        let native = &self.simulator.model.noise.centre.native;
        let capture = CaptureKey::new(Step::CentreNative, 0, 0, 0);
        let kept = native.of_case(self.key);
        let mut wander = native.frames(self.key, capture);
        self.turn_head(Step::CentreNative, capture, self.scene.native_centre, || {
            wander.as_mut().map_or(PatientVector::ZERO, |scores| native.displacement(&kept, scores))
        });
    }

    pub fn turn_trial_head(&mut self) {
        let liner = &self.simulator.model.noise.centre.liner;
        let capture = CaptureKey::new(Step::CentreNew, 0, 0, 0);
        let mut rattle = liner.frames(self.key, capture);
        self.turn_head(Step::CentreNew, capture, self.scene.renewed_centre, || {
            rattle.as_mut().map_or(PatientVector::ZERO, |scores| liner.displacement(scores))
        });
    }

    /// A tracked head turned in its socket about a centre that each frame displaces.
    fn turn_head(
        &mut self,
        step: Step,
        capture: CaptureKey,
        centre: Point<TruePelvis>,
        mut displaced: impl FnMut() -> PatientVector,
    ) {
        let simulator = self.simulator;
        let recording = self.begin(&simulator.head, (step, 0, 0), capture);
        let (hold, upright) = self.hold(&simulator.head, centre);
        for turn in simulator.centre_swing.turns(hold, self.side) {
            let place = centre + displaced().on(self.side);
            let pose = Pose::placing(turn * upright, simulator.head.point, place);
            self.poses.push(self.camera * pose);
        }
        self.end(recording);
    }

    /// The inserter held in the final cup; its tracker sits askew, its axis is off its drawing.
    pub fn hold_inserter(&mut self) {
        let simulator = self.simulator;
        let (noise, tool) = (&simulator.model.noise.cup, &simulator.inserter);
        let (key, scene) = (self.key, self.scene);
        let capture = CaptureKey::new(Step::Cup, 0, 0, 0);
        let recording = self.begin(tool, (Step::Cup, 0, 0), capture);
        let attached = noise.attach.turns_deg(|source| source.capture_stream(key, capture));
        let runout = noise.runout.turns_deg(|source| source.device_stream(key));
        let place = scene.renewed_centre + simulator.model.tools.inserter_length_mm * scene.cup_axis;
        let straight = tool.held(scene.cup_axis, scene.towards_camera(place));
        let transverse = tool.transverse.map(|axis| straight * axis);
        let turn = (attached[0] + runout[0]).to_radians() * transverse[0]
            + (attached[1] + runout[1]).to_radians() * transverse[1];
        let askew = Rotation::<TruePelvis, TruePelvis>::from_rotation_vector(turn) * straight;
        let pose = self.camera * Pose::new(askew, place);
        self.poses.resize(simulator.model.protocol.cup_frames, pose);
        self.end(recording);
    }

    /// The direction a tool is held in at a place, and its orientation there.
    fn hold(&self, tool: &Tool, place: Point<TruePelvis>) -> (Direction<TruePelvis>, Rotation<Tracker, TruePelvis>) {
        let hold = self.simulator.hold;
        (hold, tool.held(hold, self.scene.towards_camera(place)))
    }

    /// A tool held still in its orientation, with `point` about a place.
    fn grip(&self, tool: &Tool, point: Point<Tracker>, place: Point<TruePelvis>) -> Grip {
        let (_, orientation) = self.hold(tool, place);
        let rotation = self.camera.rotation * orientation;
        Grip { rotation, from_tracker: rotation * (point - Point::ORIGIN) }
    }

    /// Displacement of the tip in groove or divot in the next frame.
    fn loose(&self, clearance: &mut Option<Scores>) -> PatientVector {
        let groove = &self.simulator.model.noise.femur.groove;
        clearance.as_mut().map_or(PatientVector::ZERO, |scores| groove.displacement(scores))
    }

    /// Takes a hold, and takes it again while the gate finds it restless and tries are left. Each try draws anew.
    fn until_still(&mut self, capture: CaptureKey, mut hold: impl FnMut(&mut Self, CaptureKey)) {
        let protocol = &self.simulator.model.protocol;
        let (frames, seen) = (self.frames, self.observed.seen());
        if protocol.stillness_limit_mm.is_none() {
            return hold(self, capture);
        }
        for attempt in 0..protocol.stillness_tries {
            if attempt > 0 {
                self.observed.take_again(seen);
                self.frames = frames;
            }
            hold(self, capture.again(attempt));
            if (self.gate)(self.observed) {
                return;
            }
        }
        if let Some(last) = self.observed.captures.last_mut() {
            last.still = false;
        }
    }

    fn begin(&mut self, tool: &'a Tool, (step, take, divot): (Step, u32, u32), key: CaptureKey) -> Recording<'a> {
        self.poses.clear();
        let capture = Capture { step, take, divot, frames: self.frames..self.frames, still: true };
        Recording { capture, key, tool }
    }

    /// The camera sees the tool in the frames of a capture, and the tracker on the pelvis where there is one.
    fn end(&mut self, Recording { mut capture, key, tool }: Recording) {
        let key = (self.key, key);
        self.eye.see(key, tool, self.poses, &mut self.observed.sightings);
        if let Some(sightings) = &mut self.observed.pelvis {
            let place = self.camera * self.carried.inverse();
            self.poses.fill(Pose::new(place.rotation.relabelled(), place.origin));
            self.eye.see_pelvis(key, self.poses, sightings);
        }
        capture.frames.end += self.poses.len();
        self.frames = capture.frames.end;
        self.observed.captures.push(capture);
    }
}

/// An orientation in which a tool is held, in camera axes.
struct Grip {
    rotation: Rotation<Tracker, Camera>,
    /// From the tracker's origin to the point that is held in place.
    from_tracker: Displacement<Camera>,
}

impl Grip {
    /// The pose of the tracker that puts the point at a place.
    fn at(&self, place: Point<Camera>) -> Pose<Tracker, Camera> {
        Pose::new(self.rotation, place - self.from_tracker)
    }
}

/// How far the tip has slipped by a frame.
pub(super) fn slipped(slip: Option<HoldSlip>, frame: usize) -> PatientVector {
    slip.filter(|slip| frame >= slip.from_frame).map_or(PatientVector::ZERO, |slip| slip.displacement)
}
