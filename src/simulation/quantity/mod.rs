//! A quantity that is drawn: a constant, or a distribution as a monotone function of one standard normal score.
//!
//! Because every distribution is a function of the *same* score, scaling, truncating or changing its shape
//! never redraws anything: arms that differ only there stay paired.

mod covariance;
mod empirical;
mod mixture;
mod student;
mod table;
mod tail;
#[cfg(test)]
mod tests;
mod written;

use super::normal;
use crate::geometry::Lanes;
use empirical::Empirical;
use mixture::Mixture;
use std::sync::Arc;
use student::StudentT;
use tail::Tail;
pub use written::DISTRIBUTIONS;

/// What one score becomes. Parameters are in the unit of the key that carries the quantity.
#[derive(Clone, Debug, PartialEq)]
pub enum Quantity {
    /// Always this value.
    Constant(f64),
    /// A distribution, perhaps cut off at two bounds.
    Drawn(Shape, Option<Truncation>),
    /// Always these values, one for each component (or item) of what is drawn. Studies make it to move one component
    /// alone; no file can.
    Fixed([f64; 3]),
}

/// The distributions, each with the parameters it is written with. What is costly to draw is worked out once and
/// shared.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// `mean + sd z`.
    Normal {
        /// Mean, 0 unless given.
        mean: f64,
        /// Standard deviation, not negative.
        sd: f64,
    },
    /// Uniform between two bounds.
    Rectangular {
        /// Lower bound.
        low: f64,
        /// Upper bound.
        high: f64,
    },
    /// Density rising from `low` to `mode` and falling to `high`.
    Triangular {
        /// Lower bound.
        low: f64,
        /// Where the density is largest.
        mode: f64,
        /// Upper bound.
        high: f64,
    },
    /// `median exp(log_sd z)`.
    Lognormal {
        /// Median, positive.
        median: f64,
        /// Standard deviation of the natural logarithm.
        log_sd: f64,
    },
    /// Student's t, scaled and shifted.
    StudentT(Arc<StudentT>),
    /// One distribution and, with a probability, another.
    Mixture(Arc<Mixture>),
    /// Values that were measured.
    Empirical(Arc<Empirical>),
}

/// Bounds of a truncated distribution, with the probabilities of its untruncated parent at them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truncation {
    low: f64,
    high: f64,
    below: Tail,
    above: Tail,
}

impl Quantity {
    /// Zero, always.
    pub const ZERO: Self = Self::Constant(0.0);

    /// A centred normal distribution.
    #[must_use]
    pub const fn normal(sd: f64) -> Self {
        Self::Drawn(Shape::Normal { mean: 0.0, sd }, None)
    }

    /// The value at a standard normal score.
    #[inline]
    #[must_use]
    pub fn value(&self, score: f64) -> f64 {
        match self {
            // By far the most draws of a case are these, marker by marker and frame by frame.
            Self::Drawn(Shape::Normal { mean, sd }, None) => mean + sd * score,
            Self::Constant(value) => *value,
            Self::Drawn(shape, cut) => shape.cut_value(cut.as_ref(), score),
            Self::Fixed(values) => values[0],
        }
    }

    /// The value of one component (or item) at a standard normal score.
    #[inline]
    #[must_use]
    pub fn component(&self, which: usize, score: f64) -> f64 {
        match self {
            Self::Fixed(values) => values.get(which).copied().unwrap_or(0.0),
            drawn => drawn.value(score),
        }
    }

    /// The values at scores side by side.
    #[inline]
    #[must_use]
    pub fn values(&self, scores: Lanes) -> Lanes {
        match self {
            Self::Drawn(Shape::Normal { mean, sd }, None) => *mean + *sd * scores,
            _ => Lanes::new(scores.to_array().map(|score| self.value(score))),
        }
    }

    /// The value half of all draws stay below.
    #[must_use]
    pub fn median(&self) -> f64 {
        self.value(0.0)
    }

    /// Probability of the less probable part of a mixture, the smallest where its parts are mixtures themselves; `None` where
    /// nothing is mixed.
    #[must_use]
    pub fn rarer_part(&self) -> Option<f64> {
        let Self::Drawn(Shape::Mixture(mixture), _) = self else { return None };
        let within = [&mixture.main, &mixture.event].map(|part| part.rarer_part().unwrap_or(1.0));
        let parts = [(1.0 - mixture.probability) * within[0], mixture.probability * within[1]];
        parts.into_iter().filter(|&part| part > 0.0).reduce(f64::min).filter(|&part| part < 1.0)
    }

    /// Mean and standard deviation: exact for constants, normals (cut off or not), and what has no bound of its own; the others
    /// integrated over the score.
    #[must_use]
    pub fn mean_and_sd(&self) -> (f64, f64) {
        match self {
            Self::Constant(value) => (*value, 0.0),
            Self::Fixed(values) => (values[0], 0.0),
            Self::Drawn(Shape::Normal { mean, sd }, None) => (*mean, *sd),
            Self::Drawn(Shape::Normal { mean, sd }, Some(cut)) if cut.mass() > Truncation::ENOUGH_MASS => {
                cut.mean_and_sd_of_normal(*mean, *sd)
            }
            Self::Drawn(Shape::StudentT(student), None) => student.mean_and_sd(),
            Self::Drawn(Shape::Mixture(mixture), None) => mixture.mean_and_sd(),
            Self::Drawn(Shape::Empirical(values), None) => values.mean_and_sd(),
            Self::Drawn(..) => {
                // Midpoint rule in probability: every shape here is bounded or has light tails, and the
                // figure is for display and warnings only.
                let strips = 20_000_u32;
                let values =
                    (0..strips).map(|i| self.value(normal::quantile((f64::from(i) + 0.5) / f64::from(strips))));
                let (sum, squares) = values.fold((0.0, 0.0), |(s, q), v| (s + v, q + v * v));
                let mean = sum / f64::from(strips);
                (mean, (squares / f64::from(strips) - mean * mean).max(0.0).sqrt())
            }
        }
    }

    /// The range that all but about 2 in 10^9 draws stay within: the bounds where there are bounds.
    #[must_use]
    pub fn practical_range(&self) -> (f64, f64) {
        (self.value(-6.0), self.value(6.0))
    }

    /// Whether every draw is the same.
    #[must_use]
    pub fn is_constant(&self) -> bool {
        let (low, high) = self.practical_range();
        low == high
    }

    /// Probability up to a value and beyond it.
    fn tails(&self, value: f64) -> Tail {
        match self {
            Self::Drawn(shape, cut) if !self.is_constant() => match cut {
                None => shape.tails(value),
                Some(cut) => cut.tails(shape, value),
            },
            _ if value < self.median() => Tail::NONE,
            _ => Tail::ALL,
        }
    }
}

impl Shape {
    fn cut_value(&self, cut: Option<&Truncation>, score: f64) -> f64 {
        match cut {
            None => self.value(score),
            Some(cut) => self.value(cut.score(score)).clamp(cut.low, cut.high),
        }
    }

    fn value(&self, score: f64) -> f64 {
        match self {
            &Self::Normal { mean, sd } => mean + sd * score,
            &Self::Rectangular { low, high } => {
                // From the nearer end, so that both tails keep their digits.
                if score < 0.0 {
                    low + (high - low) * normal::cumulative(score)
                } else {
                    high - (high - low) * normal::complement(score)
                }
            }
            &Self::Triangular { low, mode, high } => {
                let (below, above) = (normal::cumulative(score), normal::complement(score));
                let width = high - low;
                if width <= 0.0 {
                    mode
                } else if below * width < mode - low {
                    low + (below * width * (mode - low)).sqrt()
                } else {
                    high - (above * width * (high - mode)).sqrt()
                }
            }
            &Self::Lognormal { median, log_sd } => median * libm::exp(log_sd * score),
            Self::StudentT(student) => student.value(score),
            Self::Mixture(mixture) => mixture.value(score),
            Self::Empirical(values) => values.value(score),
        }
    }

    /// Probability up to a value and beyond it.
    fn tails(&self, value: f64) -> Tail {
        let score = match self {
            Self::StudentT(student) => return student.tails(value),
            Self::Mixture(mixture) => return mixture.tails(value),
            Self::Empirical(values) => return values.tails(value),
            // The score at which the value is drawn, infinite outside the range.
            &Self::Normal { mean, sd } => (value - mean) / sd,
            &Self::Rectangular { low, high } => Self::centred_quantile(value - low, high - value, high - low),
            &Self::Triangular { low, mode, high } => {
                let width = high - low;
                if value <= low {
                    f64::NEG_INFINITY
                } else if value >= high {
                    f64::INFINITY
                } else if value <= mode {
                    normal::quantile((value - low) * (value - low) / (width * (mode - low)))
                } else {
                    -normal::quantile((high - value) * (high - value) / (width * (high - mode)))
                }
            }
            &Self::Lognormal { median, log_sd } => {
                if value <= 0.0 {
                    f64::NEG_INFINITY
                } else {
                    libm::log(value / median) / log_sd
                }
            }
        };
        Tail::at(score)
    }

    /// Probability below a value and from it on: it differs from [`Shape::tails`] where a value has a probability of
    /// its own.
    fn tails_before(&self, value: f64) -> Tail {
        match self {
            Self::Mixture(_) | Self::Empirical(_) => self.tails(value.next_down()),
            _ => self.tails(value),
        }
    }

    fn centred_quantile(below: f64, above: f64, width: f64) -> f64 {
        if below < above {
            normal::quantile((below / width).max(0.0))
        } else {
            -normal::quantile((above / width).max(0.0))
        }
    }
}

impl Truncation {
    /// Bounds for a shape, or what is wrong with them.
    fn of(shape: &Shape, [low, high]: [f64; 2]) -> Result<Self, String> {
        if low >= high {
            return Err(format!("found truncated = [{low}, {high}], expected the lower bound first"));
        }
        let (below, above) = (shape.tails_before(low), shape.tails(high));
        let cut = Self { low, high, below, above };
        // NaN where the shape has no spread at all.
        if cut.mass().is_nan() || cut.mass() <= 0.0 {
            return Err(format!("found truncated = [{low}, {high}], expected bounds that the distribution reaches"));
        }
        Ok(cut)
    }

    /// Probability up to a value and beyond it.
    fn tails(&self, shape: &Shape, value: f64) -> Tail {
        if value < self.low {
            return Tail::NONE;
        }
        if value >= self.high {
            return Tail::ALL;
        }
        let (parent, mass) = (shape.tails(value), self.mass());
        Tail { lower: (parent.lower - self.below.lower) / mass, upper: (parent.upper - self.above.upper) / mass }
    }

    /// What the parent has between the bounds, from the tail in which it keeps its digits.
    fn mass(&self) -> f64 {
        (self.above.lower - self.below.lower).max(self.below.upper - self.above.upper)
    }

    /// With less than this between the bounds, the moments in closed form are differences that lose their digits.
    const ENOUGH_MASS: f64 = 0.1;

    /// Mean and standard deviation of a normal parent between the bounds (Johnson NL, Kotz S, Balakrishnan N. Continuous
    /// Univariate Distributions 1, 2nd ed. 1994, 13.10.1; from memory, and tested against the integral).
    fn mean_and_sd_of_normal(&self, mean: f64, sd: f64) -> (f64, f64) {
        let mass = self.mass();
        // The density at a bound, and it times the bound's score: both 0 at infinity.
        let at = |bound: f64| {
            let score = (bound - mean) / sd;
            let density = normal::density(score);
            (density, if density > 0.0 { score * density } else { 0.0 })
        };
        let ((low, low_moment), (high, high_moment)) = (at(self.low), at(self.high));
        let shift = (low - high) / mass;
        let variance = 1.0 + (low_moment - high_moment) / mass - shift * shift;
        (mean + sd * shift, sd * variance.max(0.0).sqrt())
    }

    /// The parent's score for a score of the truncated distribution.
    fn score(&self, score: f64) -> f64 {
        let lower = self.below.lower + normal::cumulative(score) * (self.above.lower - self.below.lower);
        if lower <= 0.5 {
            return normal::quantile(lower);
        }
        let upper = self.above.upper + normal::complement(score) * (self.below.upper - self.above.upper);
        -normal::quantile(upper)
    }
}
