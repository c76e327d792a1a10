//! What is recorded during a case: captures of frames, in camera coordinates.

use super::frames::{Camera, Tracker};
use crate::geometry::{Direction, Pixel, Point, Pose};
use std::fmt;
use std::ops::Range;

/// The steps of the procedure at which something is recorded, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Step {
    /// The probe pivoted about its tip.
    TipPivot,
    /// The level reading.
    Level,
    /// Left anterior superior iliac spine touched.
    AsisLeft,
    /// Right anterior superior iliac spine touched.
    AsisRight,
    /// Midpoint of the pubis touched.
    Pubis,
    /// Femoral feature touched or traced before the hip is dislocated.
    FemurBaseline,
    /// The native head turned in its socket.
    CentreNative,
    /// The inserter held in the final cup.
    Cup,
    /// The trial head turned in the new liner.
    CentreNew,
    /// Femoral feature touched or traced at a reduction.
    FemurReduction,
}

impl Step {
    /// Every step, in order.
    pub const ALL: [Self; 10] = [
        Self::TipPivot,
        Self::Level,
        Self::AsisLeft,
        Self::AsisRight,
        Self::Pubis,
        Self::FemurBaseline,
        Self::CentreNative,
        Self::Cup,
        Self::CentreNew,
        Self::FemurReduction,
    ];

    /// Those at which the camera watches a tracker, in order: all but the level reading.
    pub const TRACKED: [Self; 9] = [
        Self::TipPivot,
        Self::AsisLeft,
        Self::AsisRight,
        Self::Pubis,
        Self::FemurBaseline,
        Self::CentreNative,
        Self::Cup,
        Self::CentreNew,
        Self::FemurReduction,
    ];

    /// Its name in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::TipPivot => "tip-pivot",
            Self::Level => "level",
            Self::AsisLeft => "asis-left",
            Self::AsisRight => "asis-right",
            Self::Pubis => "pubis",
            Self::FemurBaseline => "femur-baseline",
            Self::CentreNative => "centre-native",
            Self::Cup => "cup",
            Self::CentreNew => "centre-new",
            Self::FemurReduction => "femur-reduction",
        }
    }
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Successive frames of one thing held, traced or turned once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Capture {
    /// The step it belongs to.
    pub step: Step,
    /// The reduction it belongs to, from 0; 0 for steps before the reductions.
    pub take: u32,
    /// Which of the three divots, from 0; 0 for anything else.
    pub divot: u32,
    /// Its frames among all frames of the case (its readings, for [`Step::Level`]).
    pub frames: Range<usize>,
    /// Whether it may be used: not where the stillness gate has given it up. A recording has no gate.
    pub still: bool,
}

/// Frames as the camera gives them.
#[derive(Clone, Debug, PartialEq)]
pub enum Sightings {
    /// Marker positions, frame after frame in the order of the tracker's layout, mm.
    Markers(Vec<Point<Camera>>),
    /// Tracker poses, one a frame.
    Poses(Vec<Pose<Tracker, Camera>>),
    /// Images of markers, frame after frame: in a frame camera after camera, in each the order of the tracker's layout;
    /// `None` for a marker that this camera did not see.
    Images(Vec<Option<Pixel>>),
}

impl Sightings {
    /// How many there are: markers, poses or images, not frames.
    #[must_use]
    pub fn len(&self) -> usize {
        match self {
            Self::Markers(markers) => markers.len(),
            Self::Poses(poses) => poses.len(),
            Self::Images(images) => images.len(),
        }
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Forgets them all; keeps the memory where `empty` is of the same kind.
    fn begin(&mut self, empty: Self) {
        match (self, empty) {
            (Self::Markers(markers), Self::Markers(_)) => markers.clear(),
            (Self::Poses(poses), Self::Poses(_)) => poses.clear(),
            (Self::Images(images), Self::Images(_)) => images.clear(),
            (sightings, empty) => *sightings = empty,
        }
    }

    /// Keeps the first ones only.
    pub fn truncate(&mut self, kept: usize) {
        match self {
            Self::Markers(markers) => markers.truncate(kept),
            Self::Poses(poses) => poses.truncate(kept),
            Self::Images(images) => images.truncate(kept),
        }
    }
}

/// Everything recorded during one case.
#[derive(Clone, Debug, PartialEq)]
pub struct Observations {
    /// Captures in the order of the procedure; repeats of one thing follow each other.
    pub captures: Vec<Capture>,
    /// Frames of all captures but the level readings.
    pub sightings: Sightings,
    /// The tracker on the pelvis in the same frames, seen in the same way; `None` where the pelvis carries the camera.
    pub pelvis: Option<Sightings>,
    /// Up directions read from the level.
    pub ups: Vec<Direction<Camera>>,
    /// Reductions of the hip, whether or not the femoral feature was located after them.
    pub reductions: u32,
    /// Captures that were taken again because they were not still.
    pub retries: u32,
}

impl Observations {
    /// An empty case whose frames will be marker positions.
    #[must_use]
    pub fn of_markers() -> Self {
        Self::of(Sightings::Markers(Vec::new()))
    }

    /// An empty case whose frames will be poses.
    #[must_use]
    pub fn of_poses() -> Self {
        Self::of(Sightings::Poses(Vec::new()))
    }

    fn of(sightings: Sightings) -> Self {
        Self { captures: Vec::new(), sightings, pelvis: None, ups: Vec::new(), reductions: 0, retries: 0 }
    }

    /// Forgets the case, for one whose frames are of the same kind as `empty`, with a tracker on the pelvis or not; keeps
    /// the memory where that is the kind they had.
    pub fn begin(&mut self, empty: Sightings, pelvis_tracker: bool) {
        self.captures.clear();
        self.ups.clear();
        self.reductions = 0;
        self.retries = 0;
        if pelvis_tracker {
            self.pelvis.get_or_insert_with(|| empty.clone()).begin(empty.clone());
        } else {
            self.pelvis = None;
        }
        self.sightings.begin(empty);
    }

    /// How many sightings there are: of tools, and of the pelvis.
    #[must_use]
    pub fn seen(&self) -> (usize, usize) {
        (self.sightings.len(), self.pelvis.as_ref().map_or(0, Sightings::len))
    }

    /// Forgets the last capture, which is taken again; `seen` is what there was before it.
    pub fn take_again(&mut self, (tools, pelvis): (usize, usize)) {
        self.captures.pop();
        self.sightings.truncate(tools);
        if let Some(sightings) = &mut self.pelvis {
            sightings.truncate(pelvis);
        }
        self.retries += 1;
    }
}
