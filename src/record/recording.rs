//! Recorded cases: what a camera saw of each step, one row a frame, as a bench or a simulated trial writes it.

use crate::geometry::{Direction, Point, Pose};
use crate::measurement::{Camera, FemurFeature, Step, Tracker};
use std::fmt;

mod read;
mod write;

pub use read::{CaseFault, Fault, read_recordings};
pub use write::{FrameRow, Seen, write_recordings};

/// Columns of a recording of poses; one of marker positions has `marker` in place of the quaternion.
pub const POSE_COLUMNS: [&str; 15] = [
    "case", "step", "take", "divot", "frame", "qw", "qx", "qy", "qz", "x_mm", "y_mm", "z_mm", "up_x", "up_y", "up_z",
];

/// Columns of a recording of marker positions; markers are counted from 1 (or
/// all from 0), in the order of the tracker's drawing.
pub const MARKER_COLUMNS: [&str; 12] =
    ["case", "step", "take", "divot", "frame", "marker", "x_mm", "y_mm", "z_mm", "up_x", "up_y", "up_z"];

/// A step as a recording names it: at the femur the feature belongs to the name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct RecordedStep {
    /// The step of the procedure.
    pub step: Step,
    /// The feature touched or traced; `None` for steps that are not at the femur.
    pub femur: Option<FemurFeature>,
}

impl RecordedStep {
    /// The step of a procedure that uses this feature.
    #[must_use]
    pub fn of(step: Step, femur: FemurFeature) -> Self {
        let at_femur = matches!(step, Step::FemurBaseline | Step::FemurReduction);
        Self { step, femur: at_femur.then_some(femur) }
    }

    /// Places that it tells from each other by number.
    #[must_use]
    pub fn places(self) -> u32 {
        self.femur.map_or(1, |femur| femur.strategy().taking.places())
    }

    /// Every step that a recording may hold.
    pub fn all() -> impl Iterator<Item = Self> {
        Step::ALL.into_iter().flat_map(|step| {
            let at_femur = matches!(step, Step::FemurBaseline | Step::FemurReduction);
            let features = if at_femur { &FemurFeature::ALL[..] } else { &[FemurFeature::Divot][..] };
            features.iter().map(move |&femur| Self::of(step, femur))
        })
    }

    /// The step of this name.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::all().find(|step| step.is_called(word))
    }

    /// Whether this is its name, without writing the name out.
    fn is_called(self, word: &str) -> bool {
        word.strip_prefix(self.step.word()).is_some_and(|rest| match self.femur {
            None => rest.is_empty(),
            Some(femur) => rest.strip_prefix('-') == Some(femur.word()),
        })
    }
}

impl fmt::Display for RecordedStep {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self.femur {
            None => write!(f, "{}", self.step),
            Some(femur) => write!(f, "{}-{}", self.step, femur.word()),
        }
    }
}

/// A recorded case: everything that its rows hold, in the order of the file.
#[derive(Clone, Debug)]
pub struct RecordedCase {
    /// Its name.
    pub name: String,
    /// Its first row in the file.
    pub row: u64,
    /// What was captured.
    pub captures: Vec<RecordedCapture>,
    /// What is wrong with its rows, the first few of them; a case with any is not measured.
    pub faults: Vec<CaseFault>,
    /// How many rows are wrong.
    pub fault_count: u64,
}

/// The frames of one step, take and divot.
#[derive(Clone, Debug)]
pub struct RecordedCapture {
    /// The step.
    pub step: RecordedStep,
    /// Its take, as the file counts them.
    pub take: u64,
    /// Which of the three divots, from 0; 0 for anything else.
    pub divot: u32,
    /// Its first row in the file.
    pub row: u64,
    /// What was seen, ascending by frame.
    pub frames: RecordedFrames,
}

/// What the frames of a capture hold.
#[derive(Clone, Debug)]
pub enum RecordedFrames {
    /// The tracker's pose in each frame.
    Poses(Vec<Pose<Tracker, Camera>>),
    /// Marker positions of each frame: the markers seen, ascending, by their place in the drawing (from 0).
    Markers(Vec<Vec<(usize, Point<Camera>)>>),
    /// Up, as the level read it.
    Ups(Vec<Direction<Camera>>),
}

/// All cases of a file.
#[derive(Clone, Debug)]
pub struct Recordings {
    /// Name of the file.
    pub file: String,
    /// What its rows are called: line of a CSV file, row of a Parquet file.
    pub row_word: &'static str,
    /// Its cases, in the order of their first rows.
    pub cases: Vec<RecordedCase>,
    /// Number of its rows.
    pub rows: u64,
    /// Columns that are not known and were not read.
    pub unknown_columns: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_every_step_is_found_by_its_name() {
        let words: Vec<_> = RecordedStep::all().map(|step| step.to_string()).collect();
        assert_eq!(words.len(), 16);
        assert!(words.contains(&"femur-reduction-three-divots".to_owned()) && words.contains(&"cup".to_owned()));
        for (step, word) in RecordedStep::all().zip(&words) {
            assert_eq!(RecordedStep::from_word(word), Some(step));
        }
        for word in ["", "femur-baseline", "femur-baseline-", "cup-divot", "asis", "Cup"] {
            assert_eq!(RecordedStep::from_word(word), None, "{word}");
        }
    }
}
