//! A quantile as a weighted mean of order statistics, and how far each value moves it.
//!
//! Harrell FE, Davis CE. Biometrika 1982;69:635-640 (from memory): the weights are those of the beta distribution with
//! `(n+1) p` and `(n+1) (1-p)`. Unlike a single order statistic it moves smoothly with the values, so the difference of two
//! estimates from nearly equal samples has a usable standard error.

use super::order::smallest;
use cdflib::Beta;
use cdflib::traits::{Continuous, ContinuousCdf};

/// Weight that may be left out at either end: 1e-18 of the whole is below the rounding of a sum.
const NEGLIGIBLE: f64 = 1e-18;

/// The estimate of a quantile and its influence function.
#[derive(Clone, Debug, PartialEq)]
pub struct HarrellDavis {
    value: f64,
    /// The values whose weights matter, ascending.
    window: Vec<f64>,
    /// For each place of the window, the sum of `g_k` from there on, where `g_k` is the density at `k/n` times the step from
    /// the k-th value to the next; one more place, 0, for all values beyond.
    tails: Vec<f64>,
    /// The sum of `g_k k/n`: what brings the mean influence to 0.
    mean: f64,
}

impl HarrellDavis {
    /// The quantile at a proportion between 0 and 1 of ascending values; `None` without values.
    ///
    /// Takes time in the order of the square root of the number of values.
    #[must_use]
    pub fn of(sorted: &[f64], proportion: f64) -> Option<Self> {
        let n = sorted.len() as f64;
        let beta = Beta::try_new((n + 1.0) * proportion, (n + 1.0) * (1.0 - proportion)).ok()?;
        let at = |rank: u64| rank as f64 / n;
        let count = sorted.len() as u64;
        if count == 0 {
            return None;
        }
        // Ranks from `first` to `last`, counted from 1, hold all but a negligible part of the weight.
        let first = smallest(1, count, |rank| rank == count || beta.cdf(at(rank)) > NEGLIGIBLE);
        let last = smallest(first, count, |rank| rank == count || beta.ccdf(at(rank)) <= NEGLIGIBLE);
        let place = |rank: u64| usize::try_from(rank).unwrap_or(usize::MAX);
        let window = sorted[place(first) - 1..place(last)].to_vec();
        let (mut value, mut whole, mut below) = (0.0, 0.0, 0.0);
        for (rank, x) in (first..).zip(&window) {
            let up_to = if rank == count { 1.0 } else { beta.cdf(at(rank)) };
            value += (up_to - below) * x;
            whole += up_to - below;
            below = up_to;
        }
        let mut tails = vec![0.0; window.len() + 1];
        let mut mean = 0.0;
        for step in (1..window.len()).rev() {
            let share = at(first + step as u64 - 1);
            let weight = beta.pdf(share) * (window[step] - window[step - 1]);
            // The step from place `step - 1` to the next counts for every value up to that place.
            tails[step - 1] = tails[step] + weight;
            mean += share * weight;
        }
        Some(Self { value: value / whole, window, tails, mean })
    }

    /// The estimate.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Influence of one of the values: `n` times what one more such value changes, to first order.
    #[must_use]
    pub fn influence(&self, value: f64) -> f64 {
        // Between equal values there is no step, so any of their places gives the same.
        let place = self.window.partition_point(|other| *other < value);
        self.mean - self.tails[place]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{Beta as OtherBeta, ContinuousCDF};

    fn sizes(count: u32) -> Vec<f64> {
        let size = |i: u32| (libm::sin(f64::from(i)) * (1.0 + f64::from(i % 7) / 7.0)).abs();
        (1..=count).map(size).collect()
    }

    fn sorted(mut values: Vec<f64>) -> Vec<f64> {
        values.sort_unstable_by(f64::total_cmp);
        values
    }

    /// All weights, from another library's beta distribution.
    fn by_all_weights(sorted: &[f64], p: f64) -> f64 {
        let n = sorted.len() as f64;
        let beta = OtherBeta::new((n + 1.0) * p, (n + 1.0) * (1.0 - p)).unwrap();
        let cdf = |rank: usize| beta.cdf(rank as f64 / n);
        sorted.iter().enumerate().map(|(place, x)| (cdf(place + 1) - cdf(place)) * x).sum()
    }

    /// The median of three values has the weights of Beta(2, 2), whose distribution function is `3 x^2 - 2 x^3`: 7/27, 13/27
    /// and 7/27.
    #[test]
    fn table_median_of_three() {
        let found = HarrellDavis::of(&[1.0, 2.0, 10.0], 0.5).unwrap();
        assert!((found.value() - (7.0 + 26.0 + 70.0) / 27.0).abs() < 1e-14);
        // Density 6 x (1 - x) is 4/3 at both steps, which are 1 and 8 long: the influence of the last is 4/3 (1/3 + 8 2/3).
        assert!((found.influence(10.0) - 4.0 / 3.0 * (17.0 / 3.0)).abs() < 1e-13);
        assert!((found.influence(1.0) - 4.0 / 3.0 * (17.0 / 3.0 - 9.0)).abs() < 1e-13);
    }

    #[test]
    fn outside_weights_of_another_library() {
        for count in [1, 2, 30, 100, 2000] {
            let values = sorted(sizes(count));
            for p in [0.5, 0.95, 0.99] {
                let (found, expected) = (HarrellDavis::of(&values, p).unwrap().value(), by_all_weights(&values, p));
                assert!((found - expected).abs() < 1e-9 * expected, "{count} {p}: {found} {expected}");
            }
        }
        assert_eq!(HarrellDavis::of(&[], 0.95), None);
    }

    /// The weights add up to 1 (the quantile of equal values is that value), the influences to 0.
    #[test]
    fn identity_weights_and_influences() {
        for count in [1, 5, 100, 100_000] {
            let equal = HarrellDavis::of(&vec![3.0; count], 0.95).unwrap();
            assert!((equal.value() - 3.0).abs() < 1e-14);
            assert_eq!(equal.influence(3.0), 0.0);
        }
        let values = sorted(sizes(5000));
        let found = HarrellDavis::of(&values, 0.95).unwrap();
        let sum: f64 = values.iter().map(|value| found.influence(*value)).sum();
        let largest = values.iter().map(|value| found.influence(*value).abs()).fold(0.0, f64::max);
        assert!(sum.abs() < 1e-9 * largest * 5000.0, "{sum} {largest}");
        assert!(found.window.len() < 400, "{}", found.window.len());
    }

    /// What adding the weight `1/n` of a value changes, against the change of the functional when the empirical distribution is
    /// mixed with a point: `T((1 - e) F + e x)`, numerically.
    #[test]
    fn outside_influence_by_mixing_in_a_value() {
        let values = sorted(sizes(200));
        let found = HarrellDavis::of(&values, 0.95).unwrap();
        let n = values.len() as f64;
        let beta = OtherBeta::new((n + 1.0) * 0.95, (n + 1.0) * 0.05).unwrap();
        let mixed = |extra: f64, share: f64| -> f64 {
            let mut below = 0.0;
            let mut value = 0.0;
            for x in &values {
                let up_to = below + (1.0 - share) / n + if *x == extra { share } else { 0.0 };
                value += (beta.cdf(f64::min(up_to, 1.0)) - beta.cdf(below)) * x;
                below = up_to;
            }
            value
        };
        for place in [0, 150, 185, 190, 195, 199] {
            let (share, x) = (1e-6, values[place]);
            let slope = (mixed(x, share) - mixed(x, 0.0)) / share;
            let influence = found.influence(x);
            // Second order in the share, and the density's own change over 1e-6.
            assert!((slope - influence).abs() < 1e-3 * (1.0 + influence.abs()), "{place}: {slope} {influence}");
        }
    }
}
