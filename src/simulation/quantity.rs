//! A quantity that is drawn: a constant, or a distribution as a monotone function of one standard normal score.
//!
//! Because every distribution is a function of the *same* score, scaling, truncating or changing its shape
//! never redraws anything: arms that differ only there stay paired.

use super::normal;
use crate::geometry::Four;
use serde::de::{self, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer, ser::SerializeMap};
use std::fmt;

/// What one score becomes. Parameters are in the unit of the key that carries the quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quantity {
    /// Always this value.
    Constant(f64),
    /// A distribution, perhaps cut off at two bounds.
    Drawn(Shape, Option<Truncation>),
}

/// The distributions, each with the parameters it is written with.
#[derive(Clone, Copy, Debug, PartialEq)]
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
}

/// Bounds of a truncated distribution, with the probabilities of its untruncated parent at them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truncation {
    low: f64,
    high: f64,
    below: Tail,
    above: Tail,
}

/// A probability and its complement, each accurate where it is small.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Tail {
    lower: f64,
    upper: f64,
}

impl Tail {
    fn at(score: f64) -> Self {
        Self { lower: normal::cumulative(score), upper: normal::complement(score) }
    }
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
        }
    }

    /// The values at four scores.
    #[inline]
    #[must_use]
    pub fn values(&self, scores: Four) -> Four {
        match self {
            Self::Drawn(Shape::Normal { mean, sd }, None) => *mean + *sd * scores,
            _ => Four::new(scores.to_array().map(|score| self.value(score))),
        }
    }

    /// The value half of all draws stay below.
    #[must_use]
    pub fn median(&self) -> f64 {
        self.value(0.0)
    }

    /// Mean and standard deviation, integrated over the score (for constants and normals they are exact).
    #[must_use]
    pub fn mean_and_sd(&self) -> (f64, f64) {
        match *self {
            Self::Constant(value) => (value, 0.0),
            Self::Drawn(Shape::Normal { mean, sd }, None) => (mean, sd),
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
}

impl Shape {
    fn cut_value(&self, cut: Option<&Truncation>, score: f64) -> f64 {
        match cut {
            None => self.value(score),
            Some(cut) => self.value(cut.score(score)).clamp(cut.low, cut.high),
        }
    }

    fn value(&self, score: f64) -> f64 {
        match *self {
            Self::Normal { mean, sd } => mean + sd * score,
            Self::Rectangular { low, high } => {
                // From the nearer end, so that both tails keep their digits.
                if score < 0.0 {
                    low + (high - low) * normal::cumulative(score)
                } else {
                    high - (high - low) * normal::complement(score)
                }
            }
            Self::Triangular { low, mode, high } => {
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
            Self::Lognormal { median, log_sd } => median * libm::exp(log_sd * score),
        }
    }

    /// The score at which `value` is drawn: the inverse of [`Shape::value`], infinite outside the range.
    fn score(&self, value: f64) -> f64 {
        match *self {
            Self::Normal { mean, sd } => (value - mean) / sd,
            Self::Rectangular { low, high } => Self::centred_quantile(value - low, high - value, high - low),
            Self::Triangular { low, mode, high } => {
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
            Self::Lognormal { median, log_sd } => {
                if value <= 0.0 {
                    f64::NEG_INFINITY
                } else {
                    libm::log(value / median) / log_sd
                }
            }
        }
    }

    fn centred_quantile(below: f64, above: f64, width: f64) -> f64 {
        if below < above {
            normal::quantile((below / width).max(0.0))
        } else {
            -normal::quantile((above / width).max(0.0))
        }
    }

    /// What is wrong with the parameters, if anything.
    fn fault(&self) -> Option<String> {
        match *self {
            Self::Normal { sd, .. } if sd < 0.0 => {
                Some(format!("found sd = {sd}, expected a standard deviation of 0 or more"))
            }
            Self::Rectangular { low, high } if low > high => {
                Some(format!("found low = {low} above high = {high}, expected low <= high"))
            }
            Self::Triangular { low, mode, high } if !(low <= mode && mode <= high) => {
                Some(format!("found low = {low}, mode = {mode}, high = {high}, expected low <= mode <= high"))
            }
            Self::Lognormal { median, .. } if median <= 0.0 => {
                Some(format!("found median = {median}, expected a positive median"))
            }
            Self::Lognormal { log_sd, .. } if log_sd < 0.0 => {
                Some(format!("found log_sd = {log_sd}, expected a log_sd of 0 or more"))
            }
            _ => None,
        }
    }
}

impl Truncation {
    /// Bounds for a shape, or what is wrong with them.
    fn of(shape: &Shape, [low, high]: [f64; 2]) -> Result<Self, String> {
        if low >= high {
            return Err(format!("found truncated = [{low}, {high}], expected the lower bound first"));
        }
        let (below, above) = (Tail::at(shape.score(low)), Tail::at(shape.score(high)));
        let mass = (above.lower - below.lower).max(below.upper - above.upper);
        // NaN where the shape has no spread at all.
        if mass.is_nan() || mass <= 0.0 {
            return Err(format!("found truncated = [{low}, {high}], expected bounds that the distribution reaches"));
        }
        Ok(Self { low, high, below, above })
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

/// The parameters of each distribution as they are written: one struct each, so that a wrong key is found.
mod written {
    use super::{Deserialize, Serialize};

    #[derive(Deserialize, Serialize)]
    #[serde(deny_unknown_fields)]
    pub struct Normal {
        #[serde(default)]
        pub mean: f64,
        pub sd: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub truncated: Option<[f64; 2]>,
    }

    #[derive(Deserialize, Serialize)]
    #[serde(deny_unknown_fields)]
    pub struct Rectangular {
        pub low: f64,
        pub high: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub truncated: Option<[f64; 2]>,
    }

    #[derive(Deserialize, Serialize)]
    #[serde(deny_unknown_fields)]
    pub struct Triangular {
        pub low: f64,
        pub mode: f64,
        pub high: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub truncated: Option<[f64; 2]>,
    }

    #[derive(Deserialize, Serialize)]
    #[serde(deny_unknown_fields)]
    pub struct Lognormal {
        pub median: f64,
        pub log_sd: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub truncated: Option<[f64; 2]>,
    }
}

/// Names of the distributions as they are written in a quantity.
pub const DISTRIBUTIONS: [&str; 4] = ["normal", "rectangular", "triangular", "lognormal"];

/// A shape and its optional bounds, checked.
fn drawn(shape: Shape, truncated: Option<[f64; 2]>) -> Result<Quantity, String> {
    if let Some(fault) = shape.fault() {
        return Err(fault);
    }
    let cut = truncated.map(|bounds| Truncation::of(&shape, bounds)).transpose()?;
    Ok(Quantity::Drawn(shape, cut))
}

impl<'de> Deserialize<'de> for Quantity {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Written;

        impl<'de> Visitor<'de> for Written {
            type Value = Quantity;

            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                write!(f, "a number, or a table with exactly one of {}", DISTRIBUTIONS.join(", "))
            }

            fn visit_i64<E: de::Error>(self, value: i64) -> Result<Quantity, E> {
                self.visit_f64(value as f64)
            }

            fn visit_f64<E: de::Error>(self, value: f64) -> Result<Quantity, E> {
                if value.is_finite() {
                    Ok(Quantity::Constant(value))
                } else {
                    Err(E::custom(format!("found {value}, expected a finite number")))
                }
            }

            fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<Quantity, M::Error> {
                let kind: String = map
                    .next_key()?
                    .ok_or_else(|| de::Error::custom(format!("found an empty table, expected {Expected}")))?;
                let quantity = match kind.as_str() {
                    "normal" => {
                        let w: written::Normal = map.next_value()?;
                        drawn(Shape::Normal { mean: w.mean, sd: w.sd }, w.truncated)
                    }
                    "rectangular" => {
                        let w: written::Rectangular = map.next_value()?;
                        drawn(Shape::Rectangular { low: w.low, high: w.high }, w.truncated)
                    }
                    "triangular" => {
                        let w: written::Triangular = map.next_value()?;
                        drawn(Shape::Triangular { low: w.low, mode: w.mode, high: w.high }, w.truncated)
                    }
                    "lognormal" => {
                        let w: written::Lognormal = map.next_value()?;
                        drawn(Shape::Lognormal { median: w.median, log_sd: w.log_sd }, w.truncated)
                    }
                    other => return Err(de::Error::unknown_field(other, &DISTRIBUTIONS)),
                }
                .map_err(de::Error::custom)?;
                match map.next_key::<String>()? {
                    None => Ok(quantity),
                    Some(second) => Err(de::Error::custom(format!(
                        "found a second key `{second}` beside `{kind}`, expected exactly one distribution"
                    ))),
                }
            }
        }

        struct Expected;
        impl fmt::Display for Expected {
            fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
                Written.expecting(f)
            }
        }

        deserializer.deserialize_any(Written)
    }
}

impl Serialize for Quantity {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let (shape, truncated) = match self {
            Self::Constant(value) => return serializer.serialize_f64(*value),
            Self::Drawn(shape, cut) => (shape, cut.map(|cut| [cut.low, cut.high])),
        };
        let mut map = serializer.serialize_map(Some(1))?;
        match *shape {
            Shape::Normal { mean, sd } => {
                map.serialize_entry("normal", &written::Normal { mean, sd, truncated })?;
            }
            Shape::Rectangular { low, high } => {
                map.serialize_entry("rectangular", &written::Rectangular { low, high, truncated })?;
            }
            Shape::Triangular { low, mode, high } => {
                map.serialize_entry("triangular", &written::Triangular { low, mode, high, truncated })?;
            }
            Shape::Lognormal { median, log_sd } => {
                map.serialize_entry("lognormal", &written::Lognormal { median, log_sd, truncated })?;
            }
        }
        map.end()
    }
}
