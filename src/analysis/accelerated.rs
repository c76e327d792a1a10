//! Intervals by drawing whole units again.

use super::interval::Interval;
use super::invert::{normal_below, normal_quantile};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt, SeedableRng};

/// Number of times that units are drawn again.
pub const RESAMPLES: usize = 2000;
/// Seed of the bootstrap's own stream; the same for every estimate, and part of no run.
const SEED: u64 = 0x626f_6f74_7374_7261; // "bootstra"

/// What resampling says of an estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bootstrap {
    /// Interval, bias-corrected and accelerated.
    pub interval: Interval,
    /// Standard deviation of the estimates resampled.
    pub standard_error: f64,
}

/// The bias-corrected and accelerated interval (`BCa`; Efron B. J Am Stat Assoc 1987;82:171-185) of a statistic of units.
///
/// `influence` holds how each unit moves the statistic, up to one common factor: its skewness is the acceleration. The
/// statistic gets how often each unit was drawn. `None` without units, or if a resampled estimate is no number.
pub fn resampled(
    observed: f64,
    influence: &[f64],
    confidence: f64,
    mut statistic: impl FnMut(&[u32]) -> f64,
) -> Option<Bootstrap> {
    let units = influence.len();
    if units == 0 {
        return None;
    }
    let mut random = Xoshiro256PlusPlus::seed_from_u64(SEED);
    let mut weights = vec![0_u32; units];
    let mut estimates: Vec<f64> = (0..RESAMPLES)
        .map(|_| {
            weights.fill(0);
            (0..units).for_each(|_| weights[random.random_range(0..units)] += 1);
            statistic(&weights)
        })
        .collect();
    if estimates.iter().any(|estimate| !estimate.is_finite()) {
        return None;
    }
    estimates.sort_unstable_by(f64::total_cmp);
    let of_estimates = super::moments::moments(&estimates)?;
    // Ties with the observed value count by half.
    let below = estimates.partition_point(|&estimate| estimate < observed);
    let not_above = estimates.partition_point(|&estimate| estimate <= observed);
    let share = 0.5 * (below + not_above) as f64 / RESAMPLES as f64;
    let least = 0.5 / RESAMPLES as f64;
    let shift = normal_quantile(share.clamp(least, 1.0 - least));
    let acceleration = acceleration(influence);
    let end = |tail: f64| {
        let score = shift + normal_quantile(tail);
        let moved = normal_below(shift + score / (1.0 - acceleration * score));
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a rank
        let rank = (moved * RESAMPLES as f64) as usize;
        estimates[rank.min(RESAMPLES - 1)]
    };
    let tail = 0.5 * (1.0 - confidence);
    let interval = Interval { low: end(tail).min(observed), high: end(1.0 - tail).max(observed), confidence };
    Some(Bootstrap { interval, standard_error: of_estimates.sd()? })
}

/// A sixth of the skewness of the influences.
fn acceleration(influence: &[f64]) -> f64 {
    let squares: f64 = influence.iter().map(|value| value * value).sum();
    let cubes: f64 = influence.iter().map(|value| value * value * value).sum();
    // Far out, the correction would turn the interval over.
    if squares > 0.0 { (cubes / (6.0 * squares * squares.sqrt())).clamp(-0.25, 0.25) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of a mean of many symmetric values the interval is the normal one.
    #[test]
    fn outside_the_mean_of_many_values() {
        let values: Vec<f64> = (0..200).map(|i| f64::from(i) - 99.5).collect();
        let mean = |weights: &[u32]| {
            values.iter().zip(weights).map(|(value, &weight)| value * f64::from(weight)).sum::<f64>() / 200.0
        };
        let found = resampled(0.0, &values, 0.95, mean).unwrap();
        let standard_error = (values.iter().map(|value| value * value).sum::<f64>() / 200.0 / 200.0).sqrt();
        // The standard deviation of 2,000 estimates is known to 1.6 %, a 2.5 % quantile to 0.06 of them.
        assert!((found.standard_error / standard_error - 1.0).abs() < 0.05);
        assert!((found.interval.low + 1.96 * standard_error).abs() < 0.2 * standard_error);
        assert!((found.interval.high - 1.96 * standard_error).abs() < 0.2 * standard_error);
    }

    #[test]
    fn identity_no_spread_and_no_units() {
        let found = resampled(2.0, &[0.0; 5], 0.95, |_| 2.0).unwrap();
        assert_eq!((found.interval.low, found.interval.high, found.standard_error), (2.0, 2.0, 0.0));
        assert_eq!(resampled(2.0, &[], 0.95, |_| 2.0), None);
        assert_eq!(resampled(2.0, &[1.0], 0.95, |_| f64::NAN), None);
    }

    /// For sample means of skewed values the accelerated interval reaches farther to the side of the long tail.
    #[test]
    fn identity_acceleration_follows_the_skewness() {
        let values: Vec<f64> = (1..=60).map(|i| libm::exp(f64::from(i) / 15.0)).collect();
        let centre = values.iter().sum::<f64>() / 60.0;
        let influence: Vec<f64> = values.iter().map(|value| value - centre).collect();
        let mean = |weights: &[u32]| {
            values.iter().zip(weights).map(|(value, &weight)| value * f64::from(weight)).sum::<f64>() / 60.0
        };
        let found = resampled(centre, &influence, 0.95, mean).unwrap().interval;
        assert!(found.high - centre > centre - found.low);
    }
}
