//! Two arms that measured the same trials: how far apart their errors are, in pairs.
//!
//! Both arms see one truth and share the draws of what they have in common, so a trial that is hard for one is mostly hard
//! for the other, and what they share leaves the difference. The standard error of an estimate follows from its influence
//! function, by how much each trial moves it; that of a difference of two estimates from the difference of both influences
//! in the same trial (Huber PJ, Ronchetti EM. Robust Statistics, 2nd ed. 2009, 1.3 to 1.5). Where devices measure several
//! cases, influences are summed over each device first, because only devices are independent.
//!
//! Percentiles of arms that hardly differ: few trials carry the difference, so its degrees of freedom follow from the
//! kurtosis of the influences, and where even these are too few a sign test takes over (`mid_p.rs`).

mod difference;
mod influence;
mod measure;
mod proportion;

pub use difference::{Contrast, Difference, Method};
pub use measure::Measure;

use super::mid_p::PairedQuantiles;
use difference::Basis;
use influence::Influence;

/// The proportion of the percentile that is compared.
const P95: f64 = 0.95;
/// Least and largest coverage of its 95 % interval in the simulations of `tests/data/p95_difference_coverage.csv`.
pub const P95_COVERAGE: [f64; 2] = [0.9265, 1.0];
/// A standard error of a difference of percentiles counts from so many degrees of freedom on.
const LEAST_DEGREES_OF_FREEDOM: f64 = 5.0;
/// It counts from so many units (trials, or devices) on that differ between the arms.
const LEAST_UNITS_THAT_DIFFER: usize = 30;

/// Errors of two arms in the same trials, NaN where there is no reading.
#[derive(Clone, Debug)]
pub struct Paired<'a> {
    a: &'a [f64],
    b: &'a [f64],
    /// Trials of each device in turn; `None` where every trial is a device of its own.
    devices: Option<&'a [usize]>,
    confidence: f64,
}

/// Standard errors and what a unit adds to them.
struct Spread {
    paired: Option<f64>,
    unpaired: Option<f64>,
    /// Number of independent units.
    units: f64,
    /// Kurtosis of the difference of the influences about 0; NaN without spread.
    kurtosis: f64,
}

impl<'a> Paired<'a> {
    /// Both arms in the order of the trials; where devices measured several, the number of trials of each in turn.
    #[must_use]
    pub fn new(a: &'a [f64], b: &'a [f64], devices: Option<&'a [usize]>, confidence: f64) -> Self {
        debug_assert_eq!(a.len(), b.len());
        Self { a, b, devices, confidence }
    }

    /// A measure in the unit of the output, on the trials that both arms read; `None` without any, or of a proportion.
    #[must_use]
    pub fn magnitude(&self, measure: Measure) -> Option<Difference> {
        Some(self.contrast(measure)?.difference(self.confidence))
    }

    /// The same before a level is chosen.
    #[must_use]
    pub fn contrast(&self, measure: Measure) -> Option<Contrast> {
        let read = |(a, b): &(f64, f64)| a.is_finite() && b.is_finite();
        let (a, b): (Vec<f64>, Vec<f64>) = self.a.iter().copied().zip(self.b.iter().copied()).filter(read).unzip();
        let n = a.len() as u64;
        let same = |(a, b): (&f64, &f64)| if measure == Measure::P95Abs { a.abs() == b.abs() } else { a == b };
        let identical = n > 1 && a.iter().zip(&b).all(same);
        let [of_a, of_b] = [Influence::of(measure, a)?, Influence::of(measure, b)?];
        let basis = if identical { Basis::Identical } else { self.basis(measure, n, &of_a, &of_b) };
        Some(Contrast { values: [of_a.value, of_b.value], n, basis })
    }

    fn basis(&self, measure: Measure, n: u64, a: &Influence, b: &Influence) -> Basis {
        let spread = self.spread(n, |error_a, error_b| {
            (error_a.is_finite() && error_b.is_finite()).then(|| [a.at(error_a), b.at(error_b)])
        });
        let Some(standard_error) = spread.paired else { return Basis::TooFew };
        let mut degrees_of_freedom = spread.units - 1.0;
        if measure == Measure::P95Abs {
            // No number without spread, which is no sound basis either.
            let of_kurtosis = 2.0 * spread.units / (spread.kurtosis - 1.0);
            let sound = of_kurtosis >= LEAST_DEGREES_OF_FREEDOM;
            degrees_of_freedom = degrees_of_freedom.min(of_kurtosis);
            if !sound || self.units_that_differ() < LEAST_UNITS_THAT_DIFFER {
                return Basis::SignTest(PairedQuantiles::new(self.one_trial_of_each_unit(), P95));
            }
        }
        Basis::Student { standard_error, unpaired: spread.unpaired, degrees_of_freedom }
    }

    /// Each independent unit's trials: a trial by itself, or all of a device.
    fn units(&self) -> impl Iterator<Item = std::ops::Range<usize>> + '_ {
        let (mut first, mut unit) = (0, 0);
        std::iter::from_fn(move || {
            let length = match self.devices {
                Some(devices) => *devices.get(unit)?,
                None => usize::from(first < self.a.len()),
            };
            let trials = first..first + length;
            (first, unit) = (trials.end, unit + 1);
            (self.devices.is_some() || length > 0).then_some(trials)
        })
    }

    /// Sizes of the errors in trials of a unit that both arms read.
    fn sizes(&self, trials: std::ops::Range<usize>) -> impl Iterator<Item = [f64; 2]> + '_ {
        let pairs = trials.map(|trial| [self.a[trial].abs(), self.b[trial].abs()]);
        pairs.filter(|pair| pair.iter().all(|size| size.is_finite()))
    }

    fn units_that_differ(&self) -> usize {
        self.units().filter(|trials| self.sizes(trials.clone()).any(|[a, b]| a != b)).count()
    }

    /// Trials of one device are not independent, so a sign test takes the first of each that both arms read.
    fn one_trial_of_each_unit(&self) -> Vec<[f64; 2]> {
        self.units().filter_map(|trials| self.sizes(trials).next()).collect()
    }

    /// Standard errors from the influences of each trial on both arms; `None` where a trial has no part in it.
    fn spread(&self, n: u64, influence: impl Fn(f64, f64) -> Option<[f64; 2]>) -> Spread {
        let [mut squares, mut fourths, mut apart, mut units] = [0.0; 4];
        for trials in self.units() {
            let (mut sum, mut any) = ([0.0; 2], false);
            for trial in trials {
                let Some([of_a, of_b]) = influence(self.a[trial], self.b[trial]) else { continue };
                (sum, any) = ([sum[0] + of_a, sum[1] + of_b], true);
            }
            if any {
                units += 1.0;
                let square: f64 = (sum[0] - sum[1]) * (sum[0] - sum[1]);
                squares += square;
                fourths += square * square;
                apart += sum[0] * sum[0] + sum[1] * sum[1];
            }
        }
        let error = |squares: f64| (units > 1.0).then(|| (squares * units / (units - 1.0)).sqrt() / n as f64);
        let kurtosis = units * fourths / (squares * squares);
        Spread { paired: error(squares), unpaired: error(apart), units, kurtosis }
    }
}

#[cfg(test)]
mod coverage;
#[cfg(test)]
mod family;
#[cfg(test)]
mod tests;
