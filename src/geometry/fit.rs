//! Why a fit can have no answer.

/// The reasons a least-squares fit refuses to answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// Fewer observations than the unknowns need.
    #[error("too few points")]
    TooFewPoints,
    /// The observations leave a direction undetermined (in a line, in one place, no turn between poses).
    #[error("rank loss")]
    RankLoss,
    /// The iteration did not settle.
    #[error("no convergence")]
    NoConvergence,
}
