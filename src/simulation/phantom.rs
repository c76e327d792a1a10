//! A virtual phantom: divots at known places before the camera, touched by the probe; no hip and no patient.

use super::TruePelvis;
use super::case::Simulator;
use super::eye::{Built, Eye};
use super::patient::PatientVector;
use super::source::CaptureKey;
use super::streams::CaseKey;
use super::theatre::slipped;
use super::tool::ToolKind;
use crate::geometry::{Direction, Displacement, Point, Pose, Rotation};
use crate::measurement::{Camera, Capture, Observations, Side, Step, Tracker};

/// How the probe is held in a divot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// Where the divot is, in the camera's axes.
    pub place: Point<Camera>,
    /// Turns of the pointer about the divot, about the camera's X and Y, degrees.
    pub tilt_deg: [f64; 2],
}

/// What was true of a hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueHold {
    /// Where the tip was, in the axes of the camera as it then sat.
    pub tip: Point<Camera>,
    /// From the tip to the tracker's origin, likewise.
    pub shaft: Direction<Camera>,
}

/// From the tip to the hand: across the ray and a little towards the camera, so that the markers are seen.
const SHAFT: [f64; 3] = [0.85, 0.45, -0.25];

/// The phantom's own axes are those of the camera as it first sat; noise and tools speak of them as of a patient's.
type Phantom = TruePelvis;

impl Simulator {
    /// The tip is pivoted in a place, then every hold is made once for each seat of the camera (the first is usually the identity).
    /// The holds stand in `observed` as takes of [`Step::FemurBaseline`], seat after seat; what was true is handed back in
    /// the same order.
    pub fn touch_phantom(
        &self,
        key: &CaseKey,
        pivot: Point<Camera>,
        holds: &[Hold],
        seats: &[Pose<Camera, Camera>],
        observed: &mut Observations,
    ) -> Vec<TrueHold> {
        let noise = &self.model.noise;
        observed.begin(self.model.camera.model.sightings(), false);
        let mut built = Built::default();
        let probe = &mut built[ToolKind::Probe as usize];
        noise.tracker.build.build(key, ToolKind::Probe.part(), &self.probe.markers, probe);
        let tip = noise.probe.attach.seat(key, Step::TipPivot) * self.probe.point;
        let mut view = View { simulator: self, key, eye: Eye::new(self, key, &built), observed };

        let capture = CaptureKey::new(Step::TipPivot, 0, 0, 0);
        let place = Point::from_vector(*pivot.vector());
        let (shaft, upright) = self.pointing(place, [0.0, 0.0]);
        let mut slips = noise.probe.slip.frames(key, capture);
        let poses = self.tip_swing.turns(shaft, Side::Right).map(|turn| {
            let slip = slips.as_mut().map_or(PatientVector::ZERO, |scores| noise.probe.slip.in_pivot(scores));
            Pose::placing(turn * upright, tip, place + slip.on(Side::Right))
        });
        view.see((Step::TipPivot, 0), capture, &unmoved(), poses);

        let mut truths = Vec::new();
        let frames = self.model.protocol.divot_frames;
        for (seat, repeat) in seats.iter().zip(0..) {
            let seat = unmoved_by(seat);
            for (number, hold) in (0..).zip(holds) {
                // The capture's number is its take; its repeat the seat.
                let capture = CaptureKey::new(Step::FemurBaseline, number, 0, repeat);
                let place: Point<Phantom> = Point::from_vector(*hold.place.vector());
                let (_, orientation) = self.pointing(place, hold.tilt_deg);
                let slip = noise.probe.slip.in_hold(key, capture, frames);
                let mut loose = noise.femur.groove.frames(key, capture);
                let poses = (0..frames).map(|frame| {
                    let play =
                        loose.as_mut().map_or(PatientVector::ZERO, |scores| noise.femur.groove.displacement(scores));
                    let moved = play.on(Side::Right) + slipped(slip, frame).on(Side::Right);
                    Pose::placing(orientation, tip, place + moved)
                });
                let take = truths.len();
                let take = u32::try_from(take).unwrap_or(u32::MAX);
                view.see((Step::FemurBaseline, take), capture, &seat, poses);
                let shaft = seat.rotation * (orientation * (Point::ORIGIN - tip));
                truths.push(TrueHold { tip: seat * place, shaft: shaft.direction().unwrap_or(Direction::X) });
            }
        }
        truths
    }

    /// The probe's tracker with the tip as drawn in a divot, held as every hold begins.
    pub(super) fn probe_at(&self, place: Point<Camera>) -> Pose<Tracker, Camera> {
        let place: Point<Phantom> = Point::from_vector(*place.vector());
        let (_, orientation) = self.pointing(place, [0.0, 0.0]);
        unmoved() * Pose::placing(orientation, self.probe.point, place)
    }

    /// The direction from the tip to the hand, and the orientation of the probe, at a place.
    fn pointing(
        &self,
        place: Point<Phantom>,
        [about_x, about_y]: [f64; 2],
    ) -> (Direction<Phantom>, Rotation<Tracker, Phantom>) {
        let [x, y, z] = SHAFT;
        let shaft = Displacement::new(x, y, z).direction().unwrap_or(Direction::X);
        let towards = (Point::ORIGIN - place).direction().unwrap_or(-Direction::Z);
        let tilt = Displacement::new(about_x.to_radians(), about_y.to_radians(), 0.0);
        let tilt = Rotation::<Phantom, Phantom>::from_rotation_vector(tilt);
        let shaft = tilt * shaft;
        (shaft, self.probe.held(shaft, towards))
    }
}

fn unmoved() -> Pose<Phantom, Camera> {
    Pose::new(Rotation::identity(), Point::ORIGIN)
}

fn unmoved_by(seat: &Pose<Camera, Camera>) -> Pose<Phantom, Camera> {
    Pose::new(seat.rotation.relabelled(), seat.origin)
}

/// What the camera sees of the probe.
struct View<'a> {
    simulator: &'a Simulator,
    key: &'a CaseKey,
    eye: Eye<'a>,
    observed: &'a mut Observations,
}

impl View<'_> {
    fn see(
        &mut self,
        (step, take): (Step, u32),
        capture: CaptureKey,
        camera: &Pose<Phantom, Camera>,
        poses: impl Iterator<Item = Pose<Tracker, Phantom>>,
    ) {
        let first = self.observed.captures.last().map_or(0, |capture| capture.frames.end);
        let poses: Vec<_> = poses.map(|pose| *camera * pose).collect();
        self.eye.see((self.key, capture), &self.simulator.probe, &poses, &mut self.observed.sightings);
        let frames = first..first + poses.len();
        self.observed.captures.push(Capture { step, take, divot: 0, frames, still: true });
    }
}
