//! What is compared of two arms.

/// What is compared of two arms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Measure {
    /// Mean error.
    Bias,
    /// Standard deviation of the errors.
    Sd,
    /// Root mean square of the errors.
    Rms,
    /// 95th percentile of the absolute error.
    P95Abs,
    /// Proportion of all trials within the limit of a requirement; a failed trial is out.
    Conformance,
    /// Proportion of all trials without a reading.
    FailureRate,
    /// Proportion of the trials in which the arm's error is the smaller one of the two.
    WinRate,
}

impl Measure {
    /// Those in the unit of the output.
    pub const MAGNITUDES: [Self; 4] = [Self::Bias, Self::Sd, Self::Rms, Self::P95Abs];

    /// Its id in files.
    #[must_use]
    pub const fn id(self) -> &'static str {
        match self {
            Self::Bias => "bias",
            Self::Sd => "sd",
            Self::Rms => "rms",
            Self::P95Abs => "p95_abs",
            Self::Conformance => "conformance",
            Self::FailureRate => "failure_rate",
            Self::WinRate => "win_rate",
        }
    }

    /// Its name in text.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Bias => "bias",
            Self::Sd => "standard deviation",
            Self::Rms => "RMS error",
            Self::P95Abs => "95th percentile of |error|",
            Self::Conformance => "proportion within the limit",
            Self::FailureRate => "proportion failed",
            Self::WinRate => "proportion with the smaller error",
        }
    }

    /// Whether it is a proportion of trials, and not a magnitude in the unit of the output.
    #[must_use]
    pub const fn is_proportion(self) -> bool {
        matches!(self, Self::Conformance | Self::FailureRate | Self::WinRate)
    }
}
