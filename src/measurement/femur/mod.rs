//! Femoral features: what on the femur is touched or traced, and what its pose tells. Each stands in a file of its own;
//! the fits have no trade meaning and stand in `geometry`.

mod circle;
mod divot;
mod ellipse;
mod gap;
mod three_divots;
mod turn;

pub use turn::restored_turn;

use super::failure::Reason;
use super::frames::{Camera, Feature};
use super::options::Instruments;
use crate::geometry::{Direction, Point, Pose, TracedPoints};
use gap::Turn;

/// The feature on the femur whose move gives leg length and offset.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FemurFeature {
    /// One point.
    Divot,
    /// A round groove, traced.
    Circle,
    /// An elliptic groove of known size, traced.
    Ellipse,
    /// Three points of known drawing.
    ThreeDivots,
}

/// What a feature is, how it is taken, and how its pose is found.
#[derive(Debug)]
pub struct FemurStrategy {
    /// The word for it in files.
    pub word: &'static str,
    /// What it is.
    pub meaning: &'static str,
    /// Which turn of the femur it shows.
    pub turn: &'static str,
    /// That turn as a formula, in the letters of [`restored_turn`].
    pub formula: &'static str,
    /// How its pose is found.
    pub estimator: &'static str,
    /// Key of the drawing that its estimator needs.
    pub drawing: Option<&'static str>,
    /// How it is taken.
    pub taking: Taking,
    /// Where the probe goes on it, as drawn.
    pub outline: fn(&Instruments) -> Outline,
    /// Its pose from what [`Self::taking`] says: the mean point of each place, or every tip of the trace.
    pub locate: fn(&[Point<Camera>], &Instruments, &mut TraceMemory) -> Located,
    /// What of a pose it shows.
    pub shown: fn(Pose<Feature, Camera>) -> FeaturePose,
}

/// How the probe takes a feature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taking {
    /// The tip is held in each of so many places.
    Held(u32),
    /// The tip is led once round a groove.
    Traced,
}

impl Taking {
    /// Places that are told from each other; a trace counts as one.
    #[must_use]
    pub fn places(self) -> u32 {
        match self {
            Self::Held(places) => places,
            Self::Traced => 1,
        }
    }
}

/// Where the probe goes on a feature, in the feature's axes.
#[derive(Clone, Debug, PartialEq)]
pub enum Outline {
    /// Into these places.
    Places(Vec<Point<Feature>>),
    /// Round the ellipse about the origin with these semi-axes along Y and Z, mm.
    Groove([f64; 2]),
}

/// What the feature tells of the femur.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FeaturePose {
    /// A place only.
    Place(Point<Camera>),
    /// A place and an axis; spin about the axis stays unseen.
    Axial(Point<Camera>, Direction<Camera>),
    /// A pose up to the half turns that leave an ellipse as it is.
    Elliptic(Pose<Feature, Camera>),
    /// A full pose.
    Full(Pose<Feature, Camera>),
}

impl FeaturePose {
    /// Its origin, mm.
    #[must_use]
    pub fn place(&self) -> Point<Camera> {
        match *self {
            Self::Place(place) | Self::Axial(place, _) => place,
            Self::Elliptic(pose) | Self::Full(pose) => pose.origin,
        }
    }
}

/// A feature pose with what its estimator tells of its own fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trace {
    /// The pose.
    pub pose: FeaturePose,
    /// Root mean square residual of the fit, mm; 0 for a single point.
    pub residual_rms_mm: f64,
    /// Largest gap of a trace, degrees; 0 for touched points.
    pub largest_gap_deg: f64,
}

/// A feature found, or why it was not.
pub type Located = Result<Trace, Reason>;

/// Working memory of the trace estimators.
#[derive(Debug, Default)]
pub struct TraceMemory {
    traced: TracedPoints<Camera>,
    turns: Vec<Turn>,
}

impl FemurFeature {
    /// Every feature.
    pub const ALL: [Self; 4] = [Self::Divot, Self::Circle, Self::Ellipse, Self::ThreeDivots];

    /// What it is and does: here a new feature is registered.
    #[must_use]
    pub const fn strategy(self) -> &'static FemurStrategy {
        match self {
            Self::Divot => &divot::STRATEGY,
            Self::Circle => &circle::STRATEGY,
            Self::Ellipse => &ellipse::STRATEGY,
            Self::ThreeDivots => &three_divots::STRATEGY,
        }
    }

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        self.strategy().word
    }
}
