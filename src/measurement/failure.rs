//! Why a reading is missing: a named outcome, kept, counted and shown.

use super::observation::Step;
use crate::geometry::FitError;
use std::fmt;

/// A step that gave no answer, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, thiserror::Error)]
#[error("{step}: {reason}")]
pub struct Failure {
    /// Where in the procedure.
    pub step: Step,
    /// Why.
    pub reason: Reason,
}

/// The reasons an estimator cannot answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Reason {
    /// Nothing was recorded of this step.
    NotRecorded,
    /// Fewer frames, markers or points than the estimator needs.
    TooFewPoints,
    /// The observations leave a direction undetermined.
    RankLoss,
    /// An iteration did not settle.
    NoConvergence,
    /// More than 120 degrees of the groove were not traced.
    TraceIncomplete,
    /// Too few markers were seen in the frames.
    MarkersNotSeen,
    /// A second pose of the tracker suits the images about as well as the best one.
    AmbiguousPose,
    /// A hold was never still enough for the stillness gate, however often it was tried.
    NotStill,
    /// The circle's axes at baseline and at the reduction are perpendicular: the sign is undetermined.
    PerpendicularAxes,
}

impl Reason {
    /// Every reason, in the order in which reports list them.
    pub const ALL: [Self; 9] = [
        Self::NotRecorded,
        Self::TooFewPoints,
        Self::RankLoss,
        Self::NoConvergence,
        Self::TraceIncomplete,
        Self::MarkersNotSeen,
        Self::AmbiguousPose,
        Self::NotStill,
        Self::PerpendicularAxes,
    ];

    /// Its name in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::NotRecorded => "not recorded",
            Self::TooFewPoints => "too few points",
            Self::RankLoss => "rank loss",
            Self::NoConvergence => "no convergence",
            Self::TraceIncomplete => "trace incomplete",
            Self::MarkersNotSeen => "markers not seen",
            Self::AmbiguousPose => "ambiguous pose",
            Self::NotStill => "not still",
            Self::PerpendicularAxes => "perpendicular axes",
        }
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl From<FitError> for Reason {
    fn from(error: FitError) -> Self {
        match error {
            FitError::TooFewPoints => Self::TooFewPoints,
            FitError::RankLoss => Self::RankLoss,
            FitError::NoConvergence => Self::NoConvergence,
        }
    }
}

/// Says at which step a reason arose.
pub trait AtStep<T> {
    /// The same result with the step named.
    ///
    /// # Errors
    /// Those of `self`.
    fn at(self, step: Step) -> Result<T, Failure>;
}

impl<T, E: Into<Reason>> AtStep<T> for Result<T, E> {
    fn at(self, step: Step) -> Result<T, Failure> {
        self.map_err(|reason| Failure { step, reason: reason.into() })
    }
}

impl<T> AtStep<T> for Option<T> {
    fn at(self, step: Step) -> Result<T, Failure> {
        self.ok_or(Failure { step, reason: Reason::RankLoss })
    }
}
