//! Resampling: how far an estimate would move if the rows behind it had been others.
//!
//! Efron B, Tibshirani RJ. An Introduction to the Bootstrap, 1993, chapters 6 and 13. Whole rows are resampled, each as
//! often as it was drawn, so that what belongs together stays together. Draws come from a stream of their own, which
//! depends on the seed and the number of the resample alone: what is estimated side by side moves side by side.

use super::interval::{Estimate, Interval};
use super::order;
use crate::mixing::mixed;
use rand::rngs::Xoshiro256PlusPlus;
use rand::{Rng, SeedableRng};
use rayon::prelude::*;
use std::borrow::Cow;
use std::sync::OnceLock;

/// Weights that are kept, at most: 128 MiB of them.
const MOST_KEPT: usize = 1 << 24;

/// How often each of `rows` rows is drawn in a resample.
#[must_use]
pub fn weights(rows: usize, seed: u64, resample: u64) -> Vec<f64> {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(mixed(&[seed, resample]));
    let mut weights = vec![0.0; rows];
    for _ in 0..rows {
        // The upper half of a 128-bit product is a row, uniform to 1 part in 2^64 / rows (Lemire D. ACM Trans Model
        // Comput Simul 2019;29:3).
        let row = (u128::from(random.next_u64()) * rows as u128) >> 64;
        weights[usize::try_from(row).unwrap_or(0)] += 1.0;
    }
    weights
}

/// The resamples of one number of rows, each drawn once for all that is estimated from them, as far as there is room.
#[derive(Clone, Debug)]
pub struct Resamples {
    rows: usize,
    seed: u64,
    kept: Vec<OnceLock<Vec<f64>>>,
}

impl Resamples {
    /// Resamples of `rows` rows, of which at most `count` are used.
    #[must_use]
    pub fn new(rows: usize, seed: u64, count: u64) -> Self {
        let count = usize::try_from(count).unwrap_or(usize::MAX);
        let kept = if rows.saturating_mul(count) <= MOST_KEPT { count } else { 0 };
        Self { rows, seed, kept: (0..kept).map(|_| OnceLock::new()).collect() }
    }

    /// The weights of a resample.
    #[must_use]
    pub fn weights(&self, resample: u64) -> Cow<'_, [f64]> {
        let drawn = || weights(self.rows, self.seed, resample);
        let kept = usize::try_from(resample).ok().and_then(|place| self.kept.get(place));
        kept.map_or_else(|| Cow::Owned(drawn()), |kept| Cow::Borrowed(kept.get_or_init(drawn).as_slice()))
    }

    /// The same resamples of another number of rows: these where the number is the same.
    #[must_use]
    pub fn of_rows(&self, rows: usize) -> Cow<'_, Self> {
        if rows == self.rows { Cow::Borrowed(self) } else { Cow::Owned(Self::new(rows, self.seed, 0)) }
    }

    /// A statistic in each of the first `count` resamples, in their order.
    pub fn map<T: Send>(&self, count: u64, statistic: impl Fn(&[f64]) -> T + Sync) -> Vec<T> {
        (0..count).into_par_iter().map(|resample| statistic(&self.weights(resample))).collect()
    }
}

/// A statistic of several numbers in each of `resamples` resamples, in their order.
pub fn resampled<const N: usize>(
    rows: usize,
    seed: u64,
    resamples: u64,
    statistic: impl Fn(&[f64]) -> [f64; N] + Sync,
) -> Vec<[f64; N]> {
    (0..resamples).into_par_iter().map(|resample| statistic(&weights(rows, seed, resample))).collect()
}

/// An estimate with its percentile interval and the standard deviation of the resampled values as standard error;
/// without an interval where a resample gave no number.
#[must_use]
pub fn percentile(value: f64, mut resampled: Vec<f64>, confidence: f64, count: u64) -> Estimate {
    if resampled.is_empty() || resampled.iter().any(|value| !value.is_finite()) {
        return Estimate { value, interval: None, standard_error: None, count };
    }
    resampled.sort_unstable_by(f64::total_cmp);
    let n = resampled.len() as f64;
    let mean = resampled.iter().sum::<f64>() / n;
    let squares: f64 = resampled.iter().map(|value| (value - mean) * (value - mean)).sum();
    let tail = 0.5 * (1.0 - confidence);
    let ends = order::quantile(&resampled, tail).zip(order::quantile(&resampled, 1.0 - tail));
    let interval = ends.map(|(low, high)| Interval { low, high, confidence });
    Estimate { value, interval, standard_error: Some((squares / (n - 1.0).max(1.0)).sqrt()), count }
}

/// The sum of products, in eight running sums: the same on every machine, and fast.
#[must_use]
pub fn dot(one: &[f64], other: &[f64]) -> f64 {
    const LANES: usize = 8;
    let mut sums = [0.0; LANES];
    let (ones, others) = (one.chunks_exact(LANES), other.chunks_exact(LANES));
    let rest: f64 = ones.remainder().iter().zip(others.remainder()).map(|(a, b)| a * b).sum();
    for (ones, others) in ones.zip(others) {
        for lane in 0..LANES {
            sums[lane] += ones[lane] * others[lane];
        }
    }
    sums.iter().sum::<f64>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn identity_weights_are_a_resample() {
        let drawn = weights(1000, 3, 5);
        assert_eq!(drawn.iter().sum::<f64>(), 1000.0);
        assert_eq!(drawn, weights(1000, 3, 5));
        assert_ne!(drawn, weights(1000, 3, 6));
        assert_ne!(drawn, weights(1000, 4, 5));
        // Each row is missed with a probability of 1/e.
        let missed = drawn.iter().filter(|&&weight| weight == 0.0).count() as f64;
        assert!((missed - 1000.0 / std::f64::consts::E).abs() < 3.5 * 10.0, "{missed}");
    }

    /// Kept or drawn anew, in whatever order, the weights of a resample are the same.
    #[test]
    fn identity_kept_weights_are_those_drawn() {
        let (kept, not) = (Resamples::new(50, 3, 4), Resamples::new(50, 3, 0));
        for resample in [2, 0, 2, 9] {
            assert_eq!(kept.weights(resample), not.weights(resample));
            assert_eq!(kept.weights(resample).as_ref(), weights(50, 3, resample));
        }
        assert_eq!(kept.of_rows(50).weights(1), kept.weights(1));
        assert_eq!(kept.of_rows(20).weights(1).as_ref(), weights(20, 3, 1));
        assert_eq!(kept.map(3, <[f64]>::to_vec), [0, 1, 2].map(|resample| weights(50, 3, resample)));
    }

    /// Seeds and resamples that follow each other open unrelated streams: no resample of one seed is that of another, and the
    /// counts of a row are uncorrelated between them, within 4 standard errors of 1/sqrt(rows), of 120 pairs.
    #[test]
    fn identity_neighbouring_seeds_share_no_resample() {
        let rows = 10_000;
        let drawn: Vec<Vec<f64>> =
            (0..4_u64).flat_map(|seed| (0..4).map(move |resample| weights(rows, seed, resample))).collect();
        for (i, one) in drawn.iter().enumerate() {
            for other in &drawn[..i] {
                // The counts have mean 1 and variance 1 - 1/rows.
                let correlation = dot(one, other) / rows as f64 - 1.0;
                assert!(correlation.abs() < 4.0 / (rows as f64).sqrt(), "{correlation}");
            }
        }
    }

    #[test]
    fn identity_dot_is_the_sum_of_products() {
        for count in [0, 1, 7, 8, 9, 100] {
            let values: Vec<f64> = (0..count).map(f64::from).collect();
            let expected: f64 = values.iter().map(|value| value * value).sum();
            assert_eq!(dot(&values, &values), expected);
        }
    }

    /// The standard error of a mean of 400 standard normal values is 1/20.
    #[test]
    fn outside_standard_error_of_a_mean() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(41);
        let values: Vec<f64> = (0..400).map(|_| StandardNormal.sample(&mut random)).collect();
        let means = resampled(400, 9, 2000, |weights| [dot(weights, &values) / 400.0]);
        let found = percentile(0.0, means.into_iter().map(|[mean]| mean).collect(), 0.95, 400);
        // That of a sample is off by its own sampling error, 1/sqrt(2 400), and by that of 2000 resamples.
        let allowed = 3.5 * (1.0 / 800.0 + 1.0 / 4000.0_f64).sqrt();
        assert!((20.0 * found.standard_error.unwrap() - 1.0).abs() < allowed, "{found:?}");
        let interval = found.interval.unwrap();
        assert!(((interval.high - interval.low) * 20.0 / 3.92 - 1.0).abs() < 1.5 * allowed, "{found:?}");
    }
}
