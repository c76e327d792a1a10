//! A probability and its complement.

use crate::simulation::normal;

/// Probability up to a value and beyond it, each accurate where it is small.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tail {
    pub lower: f64,
    pub upper: f64,
}

impl Tail {
    pub const NONE: Self = Self { lower: 0.0, upper: 1.0 };
    pub const ALL: Self = Self { lower: 1.0, upper: 0.0 };

    /// That of a standard normal score.
    pub fn at(score: f64) -> Self {
        Self { lower: normal::cumulative(score), upper: normal::complement(score) }
    }

    /// That of two distributions, the second with probability `second`.
    pub fn mixed(self, other: Self, second: f64) -> Self {
        let first = 1.0 - second;
        Self { lower: first * self.lower + second * other.lower, upper: first * self.upper + second * other.upper }
    }

    /// By how much the probability up to a value exceeds that of a score, as a logarithm: it rises with the value, and
    /// is below 0 until the quantile is reached.
    pub fn excess(self, score: f64) -> f64 {
        // Compared where the numbers are small, so that both ends keep their digits.
        if score < 0.0 {
            libm::log(self.lower / normal::cumulative(score))
        } else {
            libm::log(normal::complement(score) / self.upper)
        }
    }
}
