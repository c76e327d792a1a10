//! What a reading says about the truth behind it.

use super::coverage::{CoverageInterval, shortest, symmetric};

/// Least number of trials that are looked at for one reading.
const LEAST: usize = 200;
/// Part of all trials that are looked at.
const PART: usize = 20;

/// Where the truth lies behind a reading, from trials that read nearly the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Around {
    /// The reading.
    pub reading: f64,
    /// Mean of the truth.
    pub mean: f64,
    /// As much of the truth below as above.
    pub symmetric: CoverageInterval,
    /// The shortest that holds as much.
    pub shortest: CoverageInterval,
    /// Number of trials looked at.
    pub count: u64,
    /// The largest difference of their readings from this one.
    pub within: f64,
}

/// Intervals that hold a proportion of the truths behind a reading. Pairs are reading and error of one trial each.
///
/// The nearest twentieth of the trials is taken, at least 200; each gives what its reading missed, so the width of the
/// neighbourhood does not widen the interval. The truth is thus that of the simulated population. `None` for fewer
/// trials, or if the nearest do not surround the reading.
#[must_use]
pub fn around(pairs: &[[f64; 2]], reading: f64, proportion: f64) -> Option<Around> {
    let count = LEAST.max(pairs.len() / PART);
    if pairs.len() < count || !reading.is_finite() {
        return None;
    }
    let mut near: Vec<[f64; 2]> = pairs.iter().map(|&[read, error]| [read - reading, error]).collect();
    near.select_nth_unstable_by(count - 1, |one, other| one[0].abs().total_cmp(&other[0].abs()));
    near.truncate(count);
    let surrounded = near.iter().any(|near| near[0] <= 0.0) && near.iter().any(|near| near[0] >= 0.0);
    let within = near.iter().map(|near| near[0].abs()).fold(0.0, f64::max);
    let mut truths: Vec<f64> = near.iter().map(|near| reading - near[1]).collect();
    truths.sort_unstable_by(f64::total_cmp);
    let mean = truths.iter().sum::<f64>() / count as f64;
    let (symmetric, shortest) = symmetric(&truths, proportion).zip(shortest(&truths, proportion))?;
    surrounded.then_some(Around { reading, mean, symmetric, shortest, count: count as u64, within })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    /// Truth normal with mean 40 and sd 5, error normal with sd 2 and bias 1: given a reading r, the truth is normal with
    /// mean `40 + 25/29 (r - 1 - 40)` and sd `10/sqrt(29)` (Bayes), so 95 % are within 1.96 of these.
    #[test]
    fn outside_normal_truth_and_error() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(71);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let pairs: Vec<[f64; 2]> = (0..200_000)
            .map(|_| {
                let (truth, error) = (40.0 + 5.0 * normal(), 1.0 + 2.0 * normal());
                [truth + error, error]
            })
            .collect();
        for reading in [36.0, 41.0, 45.0] {
            let found = around(&pairs, reading, 0.95).unwrap();
            let (mean, sd) = (40.0 + 25.0 / 29.0 * (reading - 41.0), 10.0 / 29.0_f64.sqrt());
            let standard_error = sd / (found.count as f64).sqrt();
            assert!((found.mean - mean).abs() < 4.0 * standard_error, "{reading}: {} {mean}", found.mean);
            // The standard error of a 2.5 % quantile of a normal sample is 2.67 times that of its mean.
            for (got, expected) in [(found.symmetric.low, mean - 1.96 * sd), (found.symmetric.high, mean + 1.96 * sd)]
            {
                assert!((got - expected).abs() < 4.0 * 2.67 * standard_error, "{reading}: {got} {expected}");
            }
            assert!(found.shortest.length() <= found.symmetric.length());
        }
        assert_eq!(around(&pairs, 500.0, 0.95), None);
        assert_eq!(around(&pairs[..199], 40.0, 0.95), None);
        let same = around(&[[1.0, 0.5]; 300], 1.0, 0.95).unwrap();
        assert_eq!((same.symmetric.low, same.symmetric.length(), same.within), (0.5, 0.0, 0.0));
    }
}
