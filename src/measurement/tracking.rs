//! From what the camera gave to a pose of each frame.

use super::failure::Reason;
use super::frames::{Camera, Tracker};
use super::observation::{Capture, Observations, Sightings, Step};
use super::options::Cameras;
use super::procedure::Procedure;
use crate::geometry::{FitError, Layout, Pixel, Point, Pose};
use std::ops::Range;

/// Poses of the frames of a case, capture after capture; a frame without one is lost and leaves no gap.
#[derive(Debug, Default)]
pub struct Tracks {
    poses: Vec<Pose<Tracker, Camera>>,
    captures: Vec<Result<Range<usize>, Reason>>,
    frames: FrameCounts,
    /// Working memory of the fit to images.
    triangulated: Vec<Point<Camera>>,
}

/// How many frames the captures of each step had, and how many of them gave no pose.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FrameCounts {
    all: [u32; Step::ALL.len()],
    lost: [u32; Step::ALL.len()],
}

impl FrameCounts {
    /// Proportion of a step's frames that gave no pose; `None` for a step without frames.
    #[must_use]
    pub fn lost_share(&self, step: Step) -> Option<f64> {
        let (all, lost) = (self.all[step as usize], self.lost[step as usize]);
        (all > 0).then(|| f64::from(lost) / f64::from(all))
    }
}

impl Tracks {
    /// Brings every frame to a pose, once; returns the root mean square residual of the markers, mm.
    pub fn follow(&mut self, observed: &Observations, procedure: &Procedure) -> f64 {
        self.follow_some(observed, procedure, 0..observed.captures.len())
    }

    /// The same for some of the captures, which are then counted from 0.
    pub fn follow_some(&mut self, observed: &Observations, procedure: &Procedure, which: Range<usize>) -> f64 {
        self.poses.clear();
        self.captures.clear();
        self.frames = FrameCounts::default();
        match &observed.sightings {
            Sightings::Poses(poses) => {
                self.poses.extend_from_slice(poses);
                self.captures
                    .extend(observed.captures[which.clone()].iter().map(|capture| Ok(capture.frames.clone())));
                for capture in observed.captures[which].iter().filter(|capture| capture.step != Step::Level) {
                    self.count(capture, 0);
                }
                f64::NAN
            }
            Sightings::Markers(markers) => {
                self.fit_all((observed, which), procedure, markers, 1, |layout, frames, each| {
                    layout.fit_frames(frames, |fit| {
                        each(fit.map(|fit| (fit.pose, fit.residual_rms_mm)).map_err(Reason::from));
                    });
                })
            }
            Sightings::Images(images) => {
                let Some(cameras) = &procedure.instruments.cameras else {
                    self.captures.resize(which.len(), Err(Reason::NotRecorded));
                    return f64::NAN;
                };
                let mut triangulated = std::mem::take(&mut self.triangulated);
                let views = cameras.rig.cameras();
                let residual_mm =
                    self.fit_all((observed, which), procedure, images, views, |layout, frames, each| {
                        for frame in frames.chunks_exact(views * layout.len()) {
                            each(cameras.pose(layout, frame, &mut triangulated));
                        }
                    });
                self.triangulated = triangulated;
                residual_mm
            }
        }
    }

    /// Poses of a capture, by its index among the captures of the case.
    pub fn poses(&self, capture: usize) -> Result<&[Pose<Tracker, Camera>], Reason> {
        self.captures[capture].clone().map(|range| &self.poses[range])
    }

    /// The frames that were lost.
    pub fn frames(&self) -> FrameCounts {
        self.frames
    }

    /// Poses of all frames, each from `views` values for each marker of the tracker watched; `fit` hands on the pose and
    /// the residual of each frame of a capture.
    fn fit_all<T>(
        &mut self,
        (observed, which): (&Observations, Range<usize>),
        procedure: &Procedure,
        all: &[T],
        views: usize,
        mut fit: impl FnMut(&Layout<Tracker>, &[T], &mut dyn FnMut(Result<(Pose<Tracker, Camera>, f64), Reason>)),
    ) -> f64 {
        let (mut squares, mut frames) = (0.0, 0_u32);
        let layout = |capture: &Capture| procedure.instruments.layout(capture.step);
        let values = |capture: &Capture| match layout(capture) {
            Some(layout) if capture.step != Step::Level => capture.frames.len() * views * layout.len(),
            _ => 0,
        };
        let mut rest = &all[observed.captures[..which.start].iter().map(values).sum()..];
        for capture in &observed.captures[which] {
            if capture.step == Step::Level {
                self.captures.push(Ok(0..0));
                continue;
            }
            let Some(layout) = layout(capture) else {
                self.captures.push(Err(Reason::NotRecorded));
                continue;
            };
            let (mine, others) = rest.split_at(values(capture));
            rest = others;
            let first = self.poses.len();
            let mut reasons = [0_u32; Reason::ALL.len()];
            fit(layout, mine, &mut |frame| match frame {
                Ok((pose, residual_rms_mm)) => {
                    self.poses.push(pose);
                    squares += residual_rms_mm * residual_rms_mm;
                    frames += 1;
                }
                Err(reason) => reasons[reason as usize] += 1,
            });
            let lost: u32 = reasons.iter().sum();
            self.count(capture, lost);
            let tracked = (self.poses.len() - first) as f64;
            let enough = lost == 0 || tracked >= procedure.least_tracked_proportion * capture.frames.len() as f64;
            self.captures.push(if enough { Ok(first..self.poses.len()) } else { Err(most_frequent(&reasons)) });
        }
        (squares / f64::from(frames)).sqrt()
    }

    fn count(&mut self, capture: &Capture, lost: u32) {
        let step = capture.step as usize;
        self.frames.all[step] += u32::try_from(capture.frames.len()).unwrap_or(u32::MAX);
        self.frames.lost[step] += lost;
    }
}

/// The reason that comes most often, of equal ones the first.
fn most_frequent(counts: &[u32; Reason::ALL.len()]) -> Reason {
    let larger = |best: usize, next: usize| if counts[next] > counts[best] { next } else { best };
    Reason::ALL[(1..counts.len()).fold(0, larger)]
}

/// How much larger the sum of squares of the second pose must be, in units of the stated variance of a coordinate: then
/// the images are 20 times as likely in the first pose (2 ln 20).
const DISTINCT: f64 = 5.991_464_547_107_982;

impl Cameras {
    /// The pose of a tracker in one frame, and the residual at the distance of its markers, mm.
    ///
    /// # Errors
    /// [`Reason::AmbiguousPose`] if a second pose suits the images about as well: the observations cannot tell which is
    /// true.
    fn pose(
        &self,
        layout: &Layout<Tracker>,
        images: &[Option<Pixel>],
        triangulated: &mut Vec<Point<Camera>>,
    ) -> Result<(Pose<Tracker, Camera>, f64), Reason> {
        let fit = self.rig.fit(layout, images, triangulated).map_err(|error| match error {
            FitError::TooFewPoints => Reason::MarkersNotSeen,
            other => other.into(),
        })?;
        let variance_px2 = self.stated_noise_px * self.stated_noise_px;
        match fit.second {
            Some(second) if second.squares_px2 - fit.squares_px2 < DISTINCT * variance_px2 => {
                Err(Reason::AmbiguousPose)
            }
            _ => Ok((fit.pose, self.rig.mm_per_px(fit.pose * layout.centroid()) * fit.residual_rms_px())),
        }
    }
}
