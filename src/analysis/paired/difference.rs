//! How far apart two arms are in one measure: the estimate with its interval, and tests at any difference.

use crate::analysis::interval::Interval;
use crate::analysis::invert::{student_above, student_tail};
use crate::analysis::mid_p::{OpenInterval, PairedQuantiles};

/// How an interval and a probability were found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Method {
    /// Student's t on a standard error from influence functions.
    Student,
    /// The mid-p sign test of two quantiles and its inversion.
    SignTest,
    /// Counts of the trials in which only one arm has what is counted.
    Counts,
    /// None: every trial has the same size of error in both arms, so nothing says how far apart they may be.
    Identical,
    /// None: too few trials.
    TooFew,
}

impl Method {
    /// Its id in files.
    #[must_use]
    pub const fn id(self) -> &'static str {
        match self {
            Self::Student => "student",
            Self::SignTest => "sign-test",
            Self::Counts => "counts",
            Self::Identical => "identical",
            Self::TooFew => "too-few",
        }
    }
}

/// A measure of two arms and how far apart they are: the first minus the second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// Of the first arm; of a 95th percentile the Harrell-Davis estimate.
    pub value_a: f64,
    /// Of the second, likewise.
    pub value_b: f64,
    /// The first minus the second.
    pub difference: f64,
    /// Standard error of the difference; `None` of fewer than two units, or by a sign test.
    pub standard_error: Option<f64>,
    /// What the standard error would be if each arm had seen trials of its own; `None` likewise, and of a rate of wins.
    pub unpaired_standard_error: Option<f64>,
    /// Interval of the difference.
    pub interval: Option<Interval>,
    /// Whether the low and the high end of the interval are excluded from it.
    pub open: [bool; 2],
    /// Probability of a difference as large or larger if there were none in truth, two-sided.
    pub p: Option<f64>,
    /// Number of trials that it rests on.
    pub n: u64,
    /// Degrees of freedom of Student's t.
    pub degrees_of_freedom: f64,
    /// How interval and probability were found.
    pub method: Method,
}

impl Difference {
    /// How many times smaller pairing made the standard error; `None` where there is none to save.
    #[must_use]
    pub fn saved(&self) -> Option<f64> {
        let ratio = self.unpaired_standard_error? / self.standard_error?;
        ratio.is_finite().then_some(ratio)
    }
}

/// A measure in the unit of the output, compared in pairs of trials: gives intervals and tests at any level.
#[derive(Clone, Debug, PartialEq)]
pub struct Contrast {
    pub(super) values: [f64; 2],
    pub(super) n: u64,
    pub(super) basis: Basis,
}

/// What intervals and tests of a contrast rest on.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Basis {
    Student { standard_error: f64, unpaired: Option<f64>, degrees_of_freedom: f64 },
    SignTest(PairedQuantiles),
    Identical,
    TooFew,
}

impl Contrast {
    /// The same with the arms exchanged.
    #[must_use]
    pub fn exchanged(self) -> Self {
        let [a, b] = self.values;
        let basis = match self.basis {
            Basis::SignTest(quantiles) => Basis::SignTest(quantiles.exchanged()),
            same => same,
        };
        Self { values: [b, a], basis, ..self }
    }

    /// The difference with its interval at a confidence.
    #[must_use]
    pub fn difference(&self, confidence: f64) -> Difference {
        let [value_a, value_b] = self.values;
        let none = Difference {
            value_a,
            value_b,
            difference: value_a - value_b,
            standard_error: None,
            unpaired_standard_error: None,
            interval: None,
            open: [false; 2],
            p: None,
            n: self.n,
            degrees_of_freedom: 0.0,
            method: Method::TooFew,
        };
        match &self.basis {
            Basis::TooFew => none,
            Basis::Identical => Difference { difference: 0.0, method: Method::Identical, ..none },
            &Basis::Student { standard_error, unpaired, degrees_of_freedom } => {
                let found = Difference {
                    standard_error: Some(standard_error),
                    unpaired_standard_error: unpaired,
                    degrees_of_freedom,
                    method: Method::Student,
                    ..none
                };
                found.by_student(confidence)
            }
            Basis::SignTest(quantiles) => match quantiles.interval(confidence) {
                None => none,
                Some(OpenInterval { interval, open }) => Difference {
                    interval: Some(interval),
                    open,
                    p: Some(quantiles.two_sided(0.0)),
                    method: Method::SignTest,
                    ..none
                },
            },
        }
    }

    /// One-sided probabilities of data as these: if the difference were at least `delta`, and if it were at most `delta`. The
    /// first is small where the difference is seen to be less, the second where it is seen to be more. `None` where no test is
    /// possible at this two-sided confidence.
    #[must_use]
    pub fn one_sided(&self, delta: f64, confidence: f64) -> Option<[f64; 2]> {
        match &self.basis {
            Basis::Identical | Basis::TooFew => None,
            Basis::SignTest(quantiles) => {
                (quantiles.least_probability() <= 1.0 - confidence).then(|| quantiles.one_sided(delta))
            }
            &Basis::Student { standard_error, degrees_of_freedom, .. } => {
                let beyond = self.values[0] - self.values[1] - delta;
                if beyond == 0.0 {
                    return Some([0.5; 2]);
                }
                let tail = student_tail(beyond.abs() / standard_error, degrees_of_freedom);
                Some(if beyond < 0.0 { [tail, 1.0 - tail] } else { [1.0 - tail, tail] })
            }
        }
    }
}

impl Difference {
    /// With interval and two-sided probability by Student's t.
    pub(super) fn by_student(self, confidence: f64) -> Self {
        let Some(error) = self.standard_error else { return self };
        // Without spread there is no reach, however large the factor.
        let reach = match error {
            0.0 => 0.0,
            _ => student_above(0.5 * (1.0 - confidence), self.degrees_of_freedom) * error,
        };
        let interval = Interval { low: self.difference - reach, high: self.difference + reach, confidence };
        let p = match self.difference {
            0.0 => 1.0,
            apart => (2.0 * student_tail(apart.abs() / error, self.degrees_of_freedom)).min(1.0),
        };
        Self { interval: Some(interval), p: Some(p), ..self }
    }
}
