//! What the camera makes of a tracker, frame by frame.

use super::case::Simulator;
use super::noise::LensField;
use super::source::CaptureKey;
use super::streams::{CaseKey, Scores};
use super::tool::{Tool, ToolKind};
use crate::geometry::{LANES, Point, PointLanes, Pose, Rotation};
use crate::measurement::{Camera, Sightings, Tracker};

/// Trackers as they were built, by tool; empty for one that the camera does not see.
pub type Built = [Vec<Point<Tracker>>; ToolKind::ALL.len()];

/// The camera of one device with the trackers of that device before it.
pub struct Eye<'a> {
    simulator: &'a Simulator,
    built: &'a Built,
    lens: Option<LensField>,
    /// How each tool's tracker as drawn lies in the one that was built, for a camera that gives poses.
    bent: [Pose<Tracker, Tracker>; ToolKind::ALL.len()],
}

impl<'a> Eye<'a> {
    /// The camera of a case's device.
    pub fn new(simulator: &'a Simulator, key: &CaseKey, built: &'a Built) -> Self {
        let is_bent = !simulator.model.noise.tracker.build.is_off();
        let bent = ToolKind::ALL.map(|kind| match &simulator.pose_camera {
            Some(camera) if is_bent && !built[kind as usize].is_empty() => camera.bent(kind, &built[kind as usize]),
            _ => Pose::new(Rotation::identity(), Point::ORIGIN),
        });
        Self { simulator, built, lens: simulator.model.noise.tracker.lens.field(key), bent }
    }

    /// The frames of a capture, in each of which the tracker of its tool is in one of `poses`.
    pub fn see(
        &self,
        (key, capture): (&CaseKey, CaptureKey),
        tool: &Tool,
        poses: &[Pose<Tracker, Camera>],
        sightings: &mut Sightings,
    ) {
        self.see_with(self.simulator.model.noise.tracker.jitter.frames(key, capture), tool, poses, sightings);
    }

    /// The same of the tracker on the pelvis beside it, whose jitter has a stream of its own.
    pub fn see_pelvis(
        &self,
        (key, capture): (&CaseKey, CaptureKey),
        poses: &[Pose<Tracker, Camera>],
        sightings: &mut Sightings,
    ) {
        let jitter = &self.simulator.model.noise.tracker.jitter;
        let scores = jitter.part_frames(key, ToolKind::Pelvis.part(), capture);
        self.see_with(scores, &self.simulator.pelvis, poses, sightings);
    }

    fn see_with(
        &self,
        mut scores: Option<Scores>,
        tool: &Tool,
        poses: &[Pose<Tracker, Camera>],
        sightings: &mut Sightings,
    ) {
        let jitter = &self.simulator.model.noise.tracker.jitter;
        let (markers, lens) = (&self.built[tool.kind as usize], self.lens.as_ref());
        match sightings {
            Sightings::Markers(seen) => {
                for &pose in poses {
                    for some in markers.chunks(LANES) {
                        let mut places = pose * PointLanes::of(some);
                        if let Some(lens) = lens {
                            places = lens.seen(places);
                        }
                        if let Some(scores) = &mut scores {
                            places = jitter.disturbed(places, some.len(), scores);
                        }
                        seen.extend(places.points(some.len()));
                    }
                }
            }
            Sightings::Images(seen) => {
                let Some(imaging) = &self.simulator.model.imaging else { return };
                for pose in poses {
                    imaging.see(markers, &tool.normals, pose, lens, (jitter, &mut scores), seen);
                }
            }
            Sightings::Poses(seen) => {
                let Some(camera) = &self.simulator.pose_camera else { return };
                camera.see(tool.kind, (poses, &self.bent[tool.kind as usize]), lens, scores, seen);
            }
        }
    }
}
