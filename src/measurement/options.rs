//! What the measurement is told beforehand: side, plane, feature, definition, and the tools as drawn.

use super::frames::{Camera, Feature, Tracker};
use crate::geometry::{Direction, Layout, Point, Rig, SemiAxes};

/// The operated side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Side {
    /// Right hip.
    Right,
    /// Left hip.
    Left,
}

impl Side {
    /// `s`: +1 for a right hip, -1 for a left hip, so that lateral is `s * Z`.
    #[must_use]
    pub const fn sign(self) -> f64 {
        match self {
            Self::Right => 1.0,
            Self::Left => -1.0,
        }
    }

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
        }
    }
}

/// Definition of cup inclination and anteversion (Murray DW. J Bone Joint Surg Br 1993;75-B:228-232).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AngleDefinition {
    /// As on an antero-posterior radiograph.
    Radiographic,
    /// As the surgeon sees it.
    Operative,
    /// As in the anatomy room.
    Anatomic,
}

impl AngleDefinition {
    /// Every definition.
    pub const ALL: [Self; 3] = [Self::Radiographic, Self::Operative, Self::Anatomic];

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Radiographic => "radiographic",
            Self::Operative => "operative",
            Self::Anatomic => "anatomic",
        }
    }
}

/// Marker layouts of the trackers, as drawn, mm.
#[derive(Clone, Debug, PartialEq)]
pub struct Trackers {
    /// On the probe.
    pub probe: Layout<Tracker>,
    /// On the cup inserter.
    pub inserter: Layout<Tracker>,
    /// On the native head, and on the trial head in the new liner.
    pub head: Layout<Tracker>,
    /// On the pelvis, where the camera is on a stand.
    pub pelvis: Layout<Tracker>,
}

/// Cameras as calibrated.
#[derive(Clone, Debug, PartialEq)]
pub struct Cameras {
    /// One camera or two, in the axes of the first.
    pub rig: Rig<Camera>,
    /// Standard deviation of a marker's image that the maker states, each coordinate, px. It decides when two poses cannot
    /// be told apart; 0: never.
    pub stated_noise_px: f64,
}

/// The tools as the measurement knows them: drawings, not the ones that noise has bent.
#[derive(Clone, Debug, PartialEq)]
pub struct Instruments {
    /// Marker layouts; `None` where poses are recorded instead of markers.
    pub trackers: Option<Trackers>,
    /// Cameras; `None` where no images are recorded.
    pub cameras: Option<Cameras>,
    /// Probe tip as drawn, for cases without a tip pivot; `None` where the tip must be pivoted.
    pub probe_tip: Option<Point<Tracker>>,
    /// Cup axis in the inserter tracker's axes, out of the opening.
    pub cup_axis: Direction<Tracker>,
    /// Radius of the round groove, mm; its fit finds the radius by itself.
    pub circle_radius_mm: f64,
    /// Semi-axes of the elliptic groove, mm.
    pub ellipse: SemiAxes,
    /// The three divots as drawn, mm.
    pub three_divots: Layout<Feature>,
}
