//! A camera that gives poses: what it makes of a tracker's true pose.

use super::model::Model;
use super::noise::LensField;
use super::pose_noise::{MarkerNoise, PoseFactor, PoseResponse};
use super::streams::Scores;
use super::tool::ToolKind;
use crate::geometry::{LANES, Lanes, Layout, Point, Pose, PoseLanes, Rotation};
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
    layout: Option<Layout<Tracker>>,
    response: PoseResponse,
}

/// Frames that follow each other share the noise of the middle one: those side by side, and more as long as the camera, from the
/// tracker, moves by no more than twice this part of its distance over them. Of the default procedure it changes no standard
/// deviation by more than 0.1 %, of the camera's noise alone by no more than 0.6 %, against every frame's own.
const SAME_VIEW: f64 = 0.04;

/// Where the camera is, from a tracker.
fn camera_from(pose: &Pose<Tracker, Camera>) -> Point<Tracker> {
    pose.inverse().origin
}

/// How many of the first frames share their noise: some side by side, and others as long as the last of them is near the first.
fn sharing_a_view(poses: &[Pose<Tracker, Camera>]) -> usize {
    let mut some = poses.chunks(LANES);
    let Some(first) = some.next() else { return 0 };
    let camera = camera_from(&first[0]);
    let most = 2.0 * SAME_VIEW * (camera - Point::ORIGIN).length();
    let is_near = |last: &Pose<Tracker, Camera>| (camera_from(last) - camera).vector().norm_squared() <= most * most;
    let others = some.take_while(|some| some.last().is_some_and(is_near));
    first.len() + others.map(<[_]>::len).sum::<usize>()
}

impl PoseCamera {
    /// Of a model's tools and marker noise.
    #[must_use]
    pub fn new(model: &Model) -> Self {
        Self {
            tools: ToolKind::ALL.map(|kind| {
                let (markers_mm, _) = model.tools.markers(kind);
                let markers: Vec<Point<Tracker>> = markers_mm.iter().map(|&[x, y, z]| Point::new(x, y, z)).collect();
                let (layout, response) = (Layout::new(&markers).ok(), PoseResponse::of(&markers));
                WatchedTool { layout, response }
            }),
            noise: MarkerNoise::of(&model.noise.tracker.jitter),
            stated: model.stated_pose_factor(),
        }
    }

    /// How the tracker as drawn lies best in the one that was built.
    #[must_use]
    pub fn bent(&self, kind: ToolKind, built: &[Point<Tracker>]) -> Pose<Tracker, Tracker> {
        let layout = self.tools[kind as usize].layout.as_ref();
        let fit = layout.and_then(|layout| layout.fit(built).ok());
        fit.map_or(Pose::new(Rotation::identity(), Point::ORIGIN), |fit| fit.pose)
    }

    /// Adds the poses that the camera gives for a tracker in `poses`, in which the tracker as drawn lies `bent`; `jitter` is its
    /// noise, where that is on.
    pub fn see(
        &self,
        kind: ToolKind,
        (mut poses, bent): (&[Pose<Tracker, Camera>], &Pose<Tracker, Tracker>),
        lens: Option<&LensField>,
        mut jitter: Option<Scores>,
        seen: &mut Vec<Pose<Tracker, Camera>>,
    ) {
        if lens.is_none() && jitter.is_none() {
            seen.extend(poses.iter().map(|&pose| pose * *bent));
            return;
        }
        let response = &self.tools[kind as usize].response;
        while !poses.is_empty() {
            // The noise of several views costs little more than that of one.
            let runs: [_; LANES] = std::array::from_fn(|_| {
                let (run, others) = poses.split_at(sharing_a_view(poses));
                poses = others;
                run
            });
            let factors = match (&jitter, self.stated) {
                (None, _) => [None; LANES],
                (Some(_), Some(stated)) => [Some(stated); LANES],
                (Some(_), None) => {
                    let middle =
                        |run: &[Pose<Tracker, Camera>]| camera_from(run.get(run.len() / 2).unwrap_or(&runs[0][0]));
                    response.factors(runs.map(middle), self.noise).map(Some)
                }
            };
            for (run, factor) in runs.iter().zip(&factors) {
                for some in run.chunks(LANES) {
                    let placed = PoseLanes::of(some);
                    let by_noise = match (factor, &mut jitter) {
                        (Some(factor), Some(scores)) => factor.motions(six_each(scores, some.len())),
                        _ => response.still(),
                    };
                    let by_lens = lens.map_or(response.still(), |lens| {
                        response.in_place(&placed, |markers| lens.displacement(markers))
                    });
                    let given = placed * (*bent * by_noise.with(by_lens).poses());
                    seen.extend(given.poses(some.len()));
                }
            }
        }
    }
}

/// Six scores for each of so many frames.
#[inline]
fn six_each(scores: &mut Scores, frames: usize) -> [Lanes; 6] {
    let mut drawn = [0.0; 6 * LANES];
    scores.fill(&mut drawn[..6 * frames]);
    [0, 1, 2, 3, 4, 5].map(|i| Lanes::new(std::array::from_fn(|frame| drawn[6 * frame + i])))
}
