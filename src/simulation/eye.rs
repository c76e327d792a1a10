//! What the camera makes of a tracker, frame by frame.

use super::case::Simulator;
use super::noise::LensField;
use super::pose_camera::View;
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

/// One tracker watched through a capture.
pub struct Watched {
    jitter: Option<Scores>,
    /// The last view that a camera had that gives poses.
    view: Option<View>,
}

impl<'a> Eye<'a> {
    /// The camera of a case's device.
    pub fn new(simulator: &'a Simulator, key: &CaseKey, built: &'a Built) -> Self {
        let bent = ToolKind::ALL.map(|kind| match &simulator.pose_camera {
            Some(camera) if !built[kind as usize].is_empty() => camera.bent(kind, &built[kind as usize]),
            _ => Pose::new(Rotation::identity(), Point::ORIGIN),
        });
        Self { simulator, built, lens: simulator.model.noise.tracker.lens.field(key), bent }
    }

    /// Begins to watch the tool of a capture.
    pub fn watch(&self, key: &CaseKey, capture: CaptureKey) -> Watched {
        Watched { jitter: self.simulator.model.noise.tracker.jitter.frames(key, capture), view: None }
    }

    /// Begins to watch the tracker on the pelvis beside it, whose jitter has a stream of its own.
    pub fn watch_pelvis(&self, key: &CaseKey, capture: CaptureKey) -> Watched {
        let jitter = &self.simulator.model.noise.tracker.jitter;
        Watched { jitter: jitter.part_frames(key, ToolKind::Pelvis.part(), capture), view: None }
    }

    /// One frame of a tool whose tracker is in `pose`.
    pub fn see(&self, tool: &Tool, pose: Pose<Tracker, Camera>, watched: &mut Watched, sightings: &mut Sightings) {
        let jitter = &self.simulator.model.noise.tracker.jitter;
        let markers = &self.built[tool.kind as usize];
        match sightings {
            Sightings::Markers(seen) => {
                for some in markers.chunks(LANES) {
                    let mut places = pose * PointLanes::of(some);
                    if let Some(lens) = &self.lens {
                        places = lens.seen(places);
                    }
                    if let Some(scores) = &mut watched.jitter {
                        places = jitter.disturbed(places, some.len(), scores);
                    }
                    let places = places.points();
                    match some.len() {
                        // The number of nearly all trackers: copied without a call.
                        LANES => seen.extend_from_slice(&places),
                        count => seen.extend_from_slice(&places[..count]),
                    }
                }
            }
            Sightings::Images(seen) => {
                if let Some(imaging) = &self.simulator.model.imaging {
                    let noise = (jitter, &mut watched.jitter);
                    imaging.see(markers, &tool.normals, &pose, self.lens.as_ref(), noise, seen);
                }
            }
            Sightings::Poses(seen) => {
                let Some(camera) = &self.simulator.pose_camera else { return };
                let (placed, jitter) = ((pose, &self.bent[tool.kind as usize]), watched.jitter.as_mut());
                seen.push(camera.seen(tool.kind, placed, self.lens.as_ref(), jitter, &mut watched.view));
            }
        }
    }
}
