//! A camera that gives poses: what it makes of a tracker's true pose.

use super::model::Model;
use super::noise::LensField;
use super::pose_noise::{MarkerNoise, PoseFactor, PoseResponse, SmallMotion};
use super::streams::Scores;
use super::tool::ToolKind;
use crate::geometry::{LANES, Layout, Point, PointLanes, Pose, Rotation};
use crate::measurement::{Camera, Tracker};

/// Poses of all tools, disturbed as the rigid fit of their disturbed markers would be.
#[derive(Clone, Debug)]
pub struct PoseCamera {
    tools: [WatchedTool; ToolKind::ALL.len()],
    noise: MarkerNoise,
    /// Where the covariance of a pose is stated, its factor; scaled as `tracker.jitter` is.
    stated: Option<PoseFactor>,
}

/// A tracker as drawn.
#[derive(Clone, Debug)]
struct WatchedTool {
    markers: Vec<Point<Tracker>>,
    layout: Option<Layout<Tracker>>,
    response: PoseResponse,
}

/// What stays the same while a tool is held still: its noise and what the lens does to it.
#[derive(Clone, Copy, Debug, Default)]
pub struct HeldStill {
    factor: Option<PoseFactor>,
    lens: Option<SmallMotion>,
}

impl PoseCamera {
    /// Of a model's tools and marker noise.
    #[must_use]
    pub fn new(model: &Model) -> Self {
        let jitter = &model.noise.tracker.jitter;
        let (scale, tools) = (jitter.switch.scale, &model.tools);
        let sd_mm = |quantity: &super::Quantity| scale * quantity.mean_and_sd().1;
        let noise =
            MarkerNoise { across_mm: sd_mm(&jitter.model.across_mm), along_mm: sd_mm(&jitter.model.along_mm) };
        let stated = model.camera.stated_covariance().map(|covariance| covariance * (scale * scale));
        Self {
            tools: ToolKind::ALL.map(|kind| {
                let markers = match kind {
                    ToolKind::Probe => &tools.probe_markers_mm,
                    ToolKind::Inserter => &tools.inserter_markers_mm,
                    ToolKind::Head => &tools.head_markers_mm,
                };
                let markers: Vec<Point<Tracker>> = markers.iter().map(|&[x, y, z]| Point::new(x, y, z)).collect();
                let (layout, response) = (Layout::new(&markers).ok(), PoseResponse::of(&markers));
                WatchedTool { markers, layout, response }
            }),
            noise,
            stated: stated.and_then(|covariance| PoseFactor::of_covariance(&covariance)),
        }
    }

    /// How the tracker as drawn lies best in the one that was built.
    #[must_use]
    pub fn bent(&self, kind: ToolKind, built: &[Point<Tracker>]) -> Pose<Tracker, Tracker> {
        let layout = self.tools[kind as usize].layout.as_ref();
        let fit = layout.and_then(|layout| layout.fit(built).ok());
        fit.map_or(Pose::new(Rotation::identity(), Point::ORIGIN), |fit| fit.pose)
    }

    /// The pose that the camera gives for a tracker in `pose`; `jitter` is its noise, where that is on. `held` keeps
    /// what a still tool need not compute again; it is to be empty for every frame of a moving one.
    #[must_use]
    pub fn seen(
        &self,
        kind: ToolKind,
        pose: Pose<Tracker, Camera>,
        lens: Option<&LensField>,
        jitter: Option<&mut Scores>,
        held: &mut HeldStill,
    ) -> Pose<Tracker, Camera> {
        let WatchedTool { markers, response, .. } = &self.tools[kind as usize];
        let mut seen = pose;
        if let Some(lens) = lens {
            let motion = held.lens.get_or_insert_with(|| lens_motion(response, &pose, markers, lens));
            seen = seen * motion.pose();
        }
        if let Some(scores) = jitter {
            let factor =
                held.factor.get_or_insert_with(|| self.stated.unwrap_or_else(|| response.factor(&pose, self.noise)));
            let mut drawn = [0.0; 6];
            scores.fill(&mut drawn);
            seen = seen * factor.motion(drawn).pose();
        }
        seen
    }
}

/// How the pose answers what the lens does to the markers.
fn lens_motion(
    response: &PoseResponse,
    pose: &Pose<Tracker, Camera>,
    markers: &[Point<Tracker>],
    lens: &LensField,
) -> SmallMotion {
    let to_tracker = pose.rotation.inverse();
    response.to(markers.chunks(LANES).flat_map(|markers| {
        let places = *pose * PointLanes::of(markers);
        let (before, after) = (places.points(), lens.seen(places).points());
        let count = markers.len();
        (0..count).map(move |i| to_tracker * (after[i] - before[i]))
    }))
}
