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
    /// The tracker on the pelvis in the frames of the capture at hand.
    pelvis: Vec<Frame>,
    /// Working memory of the fit to images.
    triangulated: Vec<Point<Camera>>,
}

/// The pose of a tracker in one frame and the residual of its markers, mm; or why there is none.
type Frame = Result<(Pose<Tracker, Camera>, f64), Reason>;

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
                match &observed.pelvis {
                    Some(Sightings::Poses(pelvis)) => {
                        let seen = pelvis.iter().zip(poses);
                        self.poses.extend(seen.map(|(pelvis, tool)| seen_from(pelvis, tool)));
                    }
                    _ => self.poses.extend_from_slice(poses),
                }
                self.captures
                    .extend(observed.captures[which.clone()].iter().map(|capture| Ok(capture.frames.clone())));
                for capture in observed.captures[which].iter().filter(|capture| capture.step != Step::Level) {
                    self.count(capture, 0);
                }
                f64::NAN
            }
            Sightings::Markers(markers) => {
                let pelvis = match &observed.pelvis {
                    Some(Sightings::Markers(pelvis)) => Some(pelvis.as_slice()),
                    _ => None,
                };
                self.fit_all((observed, which), procedure, (markers, pelvis), 1, |layout, frames, each| {
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
                let pelvis = match &observed.pelvis {
                    Some(Sightings::Images(pelvis)) => Some(pelvis.as_slice()),
                    _ => None,
                };
                let seen = (images.as_slice(), pelvis);
                let residual_mm = self.fit_all((observed, which), procedure, seen, views, |layout, frames, each| {
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

    /// Poses of all frames, each from `views` values for each marker of the tracker watched, and of the one on the pelvis
    /// where there is one; `fit` hands on the pose and the residual of each frame of a capture.
    fn fit_all<T>(
        &mut self,
        (observed, which): (&Observations, Range<usize>),
        procedure: &Procedure,
        (all, pelvis): (&[T], Option<&[T]>),
        views: usize,
        mut fit: impl FnMut(&Layout<Tracker>, &[T], &mut dyn FnMut(Frame)),
    ) -> f64 {
        let (mut squares, mut frames) = (0.0, 0_u32);
        let layout = |capture: &Capture| procedure.instruments.layout(capture.step);
        let values = |capture: &Capture| match layout(capture) {
            Some(layout) if capture.step != Step::Level => capture.frames.len() * views * layout.len(),
            _ => 0,
        };
        let mut rest = &all[observed.captures[..which.start].iter().map(values).sum()..];
        let reference = procedure.instruments.trackers.as_ref().map(|trackers| &trackers.pelvis).zip(pelvis);
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
            self.pelvis.clear();
            if let Some((layout, seen)) = reference {
                let count = views * layout.len();
                let frames = &seen[count * capture.frames.start..count * capture.frames.end];
                fit(layout, frames, &mut |frame| self.pelvis.push(frame));
            }
            let mut pelvis = self.pelvis.iter();
            fit(layout, mine, &mut |frame| match seen_beside(pelvis.next(), frame) {
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

/// A tool as the tracker on the pelvis sees it, from where the camera sees both: the pelvis takes the camera's place.
fn seen_from(pelvis: &Pose<Tracker, Camera>, tool: &Pose<Tracker, Camera>) -> Pose<Tracker, Camera> {
    let seen = pelvis.inverse() * *tool;
    Pose::new(seen.rotation.relabelled(), Point::from_vector(*seen.origin.vector()))
}

/// The same for a frame, with its residuals together, where there is a tracker on the pelvis; a frame that shows only
/// one of the two is lost.
fn seen_beside(pelvis: Option<&Frame>, tool: Frame) -> Frame {
    let Some(pelvis) = pelvis else { return tool };
    let ((pelvis, beside_mm), (tool, residual_mm)) = ((*pelvis)?, tool?);
    let mean_square = 0.5 * (beside_mm * beside_mm + residual_mm * residual_mm);
    Ok((seen_from(&pelvis, &tool), mean_square.sqrt()))
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
