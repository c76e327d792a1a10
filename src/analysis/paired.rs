//! Two arms that measured the same trials: how far apart their errors are, in pairs.
//!
//! Both arms see one truth and share the draws of what they have in common, so a trial that is hard for one is mostly hard
//! for the other, and what they share leaves the difference. The standard error of an estimate follows from its influence
//! function, by how much each trial moves it; that of a difference of two estimates from the difference of both influences
//! in the same trial (Huber PJ, Ronchetti EM. Robust Statistics, 2nd ed. 2009, 1.3 to 1.5). Where devices measure several
//! cases, influences are summed over each device first, because only devices are independent.

use super::binomial::cumulative;
use super::interval::Interval;
use super::invert::{normal_above, student_above, student_tail};
use super::moments::moments;
use super::order;
use super::verdict::Rule;
use rayon::slice::ParallelSliceMut;

/// What is compared of two arms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Measure {
    /// Mean error.
    Bias,
    /// Standard deviation of the errors.
    Sd,
    /// Root mean square of the errors.
    Rms,
    /// What 95 of 100 absolute errors do not exceed.
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
            Self::Rms => "root mean square",
            Self::P95Abs => "95\u{a0}% of errors within",
            Self::Conformance => "within the limit",
            Self::FailureRate => "failed",
            Self::WinRate => "nearer to the truth",
        }
    }

    /// Whether it is a proportion of trials, and not a magnitude in the unit of the output.
    #[must_use]
    pub const fn is_proportion(self) -> bool {
        matches!(self, Self::Conformance | Self::FailureRate | Self::WinRate)
    }
}

/// A measure of two arms and how far apart they are: the first minus the second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// Of the first arm.
    pub value_a: f64,
    /// Of the second.
    pub value_b: f64,
    /// The first minus the second.
    pub difference: f64,
    /// Standard error of the difference; `None` of fewer than two units.
    pub standard_error: Option<f64>,
    /// What the standard error would be if each arm had seen trials of its own; `None` likewise, and of a rate of wins.
    pub unpaired_standard_error: Option<f64>,
    /// Interval of the difference.
    pub interval: Option<Interval>,
    /// Probability of a difference as large or larger if there were none in truth, two-sided.
    pub p: Option<f64>,
    /// Number of trials that it rests on.
    pub n: u64,
    /// Degrees of freedom behind the standard error: independent units less one.
    pub degrees_of_freedom: f64,
}

impl Difference {
    /// How many times smaller pairing made the standard error; `None` where there is none to save.
    #[must_use]
    pub fn saved(&self) -> Option<f64> {
        let ratio = self.unpaired_standard_error? / self.standard_error?;
        ratio.is_finite().then_some(ratio)
    }

    /// The same with the arms the other way about.
    #[must_use]
    pub fn turned(self) -> Self {
        let interval = self.interval.map(|ends| Interval { low: -ends.high, high: -ends.low, ..ends });
        let (value_a, value_b, difference) = (self.value_b, self.value_a, -self.difference);
        Self { value_a, value_b, difference, interval, ..self }
    }

    /// The interval of the difference at another confidence, by Student's t.
    #[must_use]
    pub fn interval_at(&self, confidence: f64) -> Option<Interval> {
        let reach = reach(0.5 * (1.0 - confidence), self.degrees_of_freedom, self.standard_error?);
        Some(Interval { low: self.difference - reach, high: self.difference + reach, confidence })
    }
}

/// Errors of two arms in the same trials, NaN where there is no reading.
#[derive(Clone, Debug)]
pub struct Paired<'a> {
    a: &'a [f64],
    b: &'a [f64],
    /// Trials of each device in turn; `None` where every trial is a device of its own.
    devices: Option<&'a [usize]>,
    confidence: f64,
}

impl<'a> Paired<'a> {
    /// Both arms in the order of the trials; where devices measured several, the number of trials of each in turn.
    #[must_use]
    pub fn new(a: &'a [f64], b: &'a [f64], devices: Option<&'a [usize]>, confidence: f64) -> Self {
        debug_assert_eq!(a.len(), b.len());
        Self { a, b, devices, confidence }
    }

    fn both(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.a.iter().zip(self.b).map(|(&a, &b)| (a, b)).filter(|(a, b)| a.is_finite() && b.is_finite())
    }

    /// A measure in the unit of the output, on the trials that both arms read; `None` without any, or of a proportion.
    #[must_use]
    pub fn magnitude(&self, measure: Measure) -> Option<Difference> {
        let (a, b): (Vec<f64>, Vec<f64>) = self.both().unzip();
        let n = a.len() as u64;
        let [a, b] = [Influence::of(measure, a)?, Influence::of(measure, b)?];
        let spread = self.spread(n, |error_a, error_b| {
            (error_a.is_finite() && error_b.is_finite()).then(|| [a.at(error_a), b.at(error_b)])
        });
        let (value_a, value_b) = (a.value, b.value);
        let found =
            Difference { unpaired_standard_error: spread.unpaired, ..spread.difference([value_a, value_b], n) };
        Some(Difference {
            interval: found.interval_at(self.confidence),
            p: found.standard_error.map(|error| two_sided(found.difference, error, found.degrees_of_freedom)),
            ..found
        })
    }

    /// The proportion of all trials within the limit of a rule; a failed trial is out.
    #[must_use]
    pub fn conformance(&self, rule: &Rule) -> Option<Difference> {
        self.proportion(|a, b| Some([!rule.beyond(a), !rule.beyond(b)]))
    }

    /// The proportion of all trials without a reading.
    #[must_use]
    pub fn failure_rate(&self) -> Option<Difference> {
        self.proportion(|a, b| Some([!a.is_finite(), !b.is_finite()]))
    }

    /// The proportion of trials in which each arm is the one nearer to the truth, among those that both read; a tie is won by
    /// neither.
    #[must_use]
    pub fn win_rate(&self) -> Option<Difference> {
        let wins = |a: f64, b: f64| (a.is_finite() && b.is_finite()).then(|| [a.abs() < b.abs(), b.abs() < a.abs()]);
        Some(Difference { unpaired_standard_error: None, ..self.proportion(wins)? })
    }

    /// Two proportions of the same trials, those for which `holds` says something. Of independent trials the interval adds
    /// half a trial to each of the four outcomes (Agresti A, Min Y. Stat Med 2005;24:729-740) and the probability is that of
    /// the exact sign test on trials in which the arms differ (`McNemar` Q. Psychometrika 1947;12:153-157).
    fn proportion(&self, holds: impl Fn(f64, f64) -> Option<[bool; 2]>) -> Option<Difference> {
        let [mut n, mut in_a, mut in_b, mut only_a, mut only_b] = [0_u64; 5];
        for [a, b] in self.a.iter().zip(self.b).filter_map(|(&a, &b)| holds(a, b)) {
            n += 1;
            in_a += u64::from(a);
            in_b += u64::from(b);
            only_a += u64::from(a && !b);
            only_b += u64::from(b && !a);
        }
        if n == 0 {
            return None;
        }
        let values = [in_a, in_b].map(|count| count as f64 / n as f64);
        let spread = self.spread(n, |a, b| {
            holds(a, b).map(|[a, b]| [f64::from(u8::from(a)) - values[0], f64::from(u8::from(b)) - values[1]])
        });
        let found = Difference { unpaired_standard_error: spread.unpaired, ..spread.difference(values, n) };
        let (interval, p) = if self.devices.is_some() {
            let p = found.standard_error.map(|error| two_sided(found.difference, error, found.degrees_of_freedom));
            (found.interval_at(self.confidence), p)
        } else {
            (Some(agresti_min(only_a, only_b, n, self.confidence)), Some(sign_test(only_a, only_b)))
        };
        Some(Difference { interval, p, ..found })
    }

    /// Standard errors from the influences of each trial on both arms; `None` where a trial has no part in it.
    fn spread(&self, n: u64, influence: impl Fn(f64, f64) -> Option<[f64; 2]>) -> Spread {
        let [mut paired, mut apart, mut units] = [0.0, 0.0, 0.0];
        let mut unit = |trials: std::ops::Range<usize>| {
            let (mut sum, mut any) = ([0.0; 2], false);
            for trial in trials {
                let Some([of_a, of_b]) = influence(self.a[trial], self.b[trial]) else { continue };
                (sum, any) = ([sum[0] + of_a, sum[1] + of_b], true);
            }
            if any {
                units += 1.0;
                paired += (sum[0] - sum[1]) * (sum[0] - sum[1]);
                apart += sum[0] * sum[0] + sum[1] * sum[1];
            }
        };
        match self.devices {
            None => (0..self.a.len()).for_each(|trial| unit(trial..trial + 1)),
            Some(devices) => {
                let mut first = 0;
                for &count in devices {
                    unit(first..first + count);
                    first += count;
                }
            }
        }
        let freedom: f64 = units - 1.0;
        let error = |squares: f64| (freedom > 0.0).then(|| (squares * units / freedom).sqrt() / n as f64);
        Spread { paired: error(paired), unpaired: error(apart), degrees_of_freedom: freedom }
    }
}

struct Spread {
    paired: Option<f64>,
    unpaired: Option<f64>,
    degrees_of_freedom: f64,
}

impl Spread {
    fn difference(&self, [value_a, value_b]: [f64; 2], n: u64) -> Difference {
        Difference {
            value_a,
            value_b,
            difference: value_a - value_b,
            standard_error: self.paired,
            unpaired_standard_error: None,
            interval: None,
            p: None,
            n,
            degrees_of_freedom: self.degrees_of_freedom,
        }
    }
}

/// An estimate and how much an error moves it: `n` times the change that one more such trial makes, to first order.
struct Influence {
    value: f64,
    kind: Kind,
}

enum Kind {
    Mean,
    Sd { mean: f64 },
    Rms,
    Quantile { proportion: f64, density: f64 },
}

impl Influence {
    /// `None` without values, or where one value says nothing.
    fn of(measure: Measure, mut errors: Vec<f64>) -> Option<Self> {
        match measure {
            Measure::Bias => Some(Self { value: moments(&errors)?.mean, kind: Kind::Mean }),
            Measure::Sd => {
                let moments = moments(&errors)?;
                Some(Self { value: moments.sd()?, kind: Kind::Sd { mean: moments.mean } })
            }
            Measure::Rms => {
                let value = super::moments::rms(&errors, 0.95)?.value;
                Some(Self { value, kind: Kind::Rms })
            }
            Measure::P95Abs => {
                for error in &mut errors {
                    *error = error.abs();
                }
                errors.par_sort_unstable_by(f64::total_cmp);
                let value = order::quantile(&errors, 0.95)?;
                Some(Self { value, kind: Kind::Quantile { proportion: 0.95, density: density(&errors, 0.95) } })
            }
            Measure::Conformance | Measure::FailureRate | Measure::WinRate => None,
        }
    }

    fn at(&self, error: f64) -> f64 {
        let value = self.value;
        // Without spread, or at a value that many errors share, nothing moves to first order.
        match self.kind {
            Kind::Mean => error - value,
            Kind::Sd { .. } | Kind::Rms if value == 0.0 => 0.0,
            Kind::Sd { mean } => ((error - mean) * (error - mean) - value * value) / (2.0 * value),
            Kind::Rms => (error * error - value * value) / (2.0 * value),
            Kind::Quantile { proportion, density } => {
                (proportion - f64::from(u8::from(error.abs() <= value))) / density
            }
        }
    }
}

/// Density of ascending values at a quantile: the slope of the empirical distribution function over a stretch of
/// proportions, as wide as Hall P, Sheather SJ (J R Stat Soc B 1988;50:381-391) find best for a standard error; formula
/// from memory, a bootstrap in the tests stands beside it. Infinite where all values of the stretch are equal.
fn density(sorted: &[f64], proportion: f64) -> f64 {
    let score = normal_above(1.0 - proportion);
    let height = libm::exp(-0.5 * score * score) / (2.0 * std::f64::consts::PI).sqrt();
    let level = normal_above(0.025);
    let shape = 1.5 * height * height / (2.0 * score * score + 1.0);
    let reach = libm::cbrt(level * level) * libm::cbrt(shape / sorted.len() as f64);
    let reach = reach.min(0.9 * (1.0 - proportion)).min(0.9 * proportion);
    let ends = order::quantile(sorted, proportion - reach).zip(order::quantile(sorted, proportion + reach));
    ends.map_or(f64::INFINITY, |(low, high)| 2.0 * reach / (high - low))
}

fn reach(tail: f64, degrees_of_freedom: f64, standard_error: f64) -> f64 {
    // Without spread there is no reach, however large the factor.
    if standard_error == 0.0 { 0.0 } else { student_above(tail, degrees_of_freedom) * standard_error }
}

/// Two-sided probability of Student's t.
fn two_sided(difference: f64, standard_error: f64, degrees_of_freedom: f64) -> f64 {
    if difference == 0.0 {
        return 1.0;
    }
    (2.0 * student_tail(difference.abs() / standard_error, degrees_of_freedom)).min(1.0)
}

/// Interval of the difference of two proportions from the trials in which only one of them counts.
fn agresti_min(only_a: u64, only_b: u64, n: u64, confidence: f64) -> Interval {
    let (a, b, n) = (only_a as f64 + 0.5, only_b as f64 + 0.5, n as f64 + 2.0);
    let middle = (a - b) / n;
    let reach = normal_above(0.5 * (1.0 - confidence)) * ((a + b) / n - middle * middle).max(0.0).sqrt() / n.sqrt();
    Interval { low: (middle - reach).max(-1.0), high: (middle + reach).min(1.0), confidence }
}

/// Probability of so uneven a split of the trials in which only one counts, two-sided.
fn sign_test(only_a: u64, only_b: u64) -> f64 {
    let (fewer, all) = (only_a.min(only_b), only_a + only_b);
    if all == 0 { 1.0 } else { (2.0 * cumulative(fewer, all, 0.5)).min(1.0) }
}

#[cfg(test)]
mod tests;
