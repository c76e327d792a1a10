//! Counts out of a number of trials: the binomial distribution and exact bounds for its proportion.
//!
//! Clopper CJ, Pearson ES. Biometrika 1934;26:404-413. A bound is the proportion at which the count, or one more
//! extreme, has just the probability that the confidence leaves; its coverage is never below the confidence.

use super::interval::Interval;
use super::invert::bisect;
use cdflib::Beta;
use cdflib::traits::ContinuousCdf;

/// Probability of at most `count` out of `trials` at a proportion.
#[must_use]
pub fn cumulative(count: u64, trials: u64, proportion: f64) -> f64 {
    both_tails(count, trials, proportion).0
}

/// Probability of more than `count` out of `trials` at a proportion; keeps its digits where it is small.
#[must_use]
pub fn complement(count: u64, trials: u64, proportion: f64) -> f64 {
    both_tails(count, trials, proportion).1
}

/// At most, and more than, `count`: the beta distribution with `count + 1` and `trials - count` (Clopper and
/// Pearson 1934; Johnson NL, Kemp AW, Kotz S. Univariate Discrete Distributions, 3.4).
fn both_tails(count: u64, trials: u64, proportion: f64) -> (f64, f64) {
    if count >= trials || !(proportion > 0.0) {
        return (1.0, 0.0);
    }
    match Beta::try_new((count + 1) as f64, (trials - count) as f64) {
        Ok(beta) if proportion < 1.0 => (beta.ccdf(proportion), beta.cdf(proportion)),
        _ => (0.0, 1.0),
    }
}

/// One-sided upper bound of the proportion behind `count` out of `trials`.
///
/// 1 if every trial counts, if there is none, or if the confidence is not below 1: then nothing bounds it.
#[must_use]
pub fn upper_bound(count: u64, trials: u64, confidence: f64) -> f64 {
    if count >= trials {
        return 1.0;
    }
    let tail = 1.0 - confidence;
    bisect(0.0, 1.0, |proportion| cumulative(count, trials, proportion) <= tail).1
}

/// One-sided lower bound of the proportion behind `count` out of `trials`.
///
/// 0 if no trial counts or if the confidence is not below 1: then nothing bounds it.
#[must_use]
pub fn lower_bound(count: u64, trials: u64, confidence: f64) -> f64 {
    if count == 0 || !(confidence < 1.0) {
        return 0.0;
    }
    if count >= trials {
        // All of them in is none of them out.
        return 1.0 - upper_bound(0, trials, confidence);
    }
    let tail = 1.0 - confidence;
    bisect(0.0, 1.0, |proportion| complement(count - 1, trials, proportion) >= tail).0
}

/// Two-sided interval of the proportion behind `count` out of `trials`: both one-sided bounds, each at half of what
/// the confidence leaves.
#[must_use]
pub fn interval(count: u64, trials: u64, confidence: f64) -> Interval {
    let each = 0.5 * (1.0 + confidence);
    Interval { low: lower_bound(count, trials, each), high: upper_bound(count, trials, each), confidence }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    /// Newcombe RG. Stat Med 1998;17:857-872, Table I; the data file names the source.
    #[test]
    fn table_newcombe() {
        let table = include_str!("../../tests/data/newcombe_1998_proportion_ci.csv");
        let mut rows = 0;
        for line in table.lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit())) {
            let cells: Vec<&str> = line.split(',').collect();
            let got = interval(cells[0].parse().unwrap(), cells[1].parse().unwrap(), 0.95);
            let expected: [f64; 2] = [cells[2].parse().unwrap(), cells[3].parse().unwrap()];
            assert!(
                (got.low - expected[0]).abs() <= 5.001e-5 && (got.high - expected[1]).abs() <= 5.001e-5,
                "{line}"
            );
            rows += 1;
        }
        assert_eq!(rows, 4);
    }

    /// None out: the bound has a closed form, `1 - (1 - confidence)^(1/n)`. For 59 trials 0.0495 one-sided, 0.0606
    /// two-sided.
    #[test]
    fn table_none_out() {
        assert!((upper_bound(0, 59, 0.95) - 0.0495).abs() < 5e-5);
        assert!((interval(0, 59, 0.95).high - 0.0606).abs() < 5e-5);
        for trials in [1, 2, 59, 10_000, 1_000_000_000] {
            let expected = -libm::expm1(libm::log(0.05) / trials as f64);
            assert!((upper_bound(0, trials, 0.95) / expected - 1.0).abs() < 3e-12, "{trials}");
            assert!((lower_bound(trials, trials, 0.95) - (1.0 - expected)).abs() < 3e-12, "{trials}");
        }
    }

    /// The probability of exactly each count, by multiplication alone.
    fn probabilities(trials: u64, proportion: f64) -> Vec<f64> {
        let mut row = vec![1.0];
        for _ in 0..trials {
            let mut next = vec![0.0; row.len() + 1];
            for (count, probability) in row.iter().enumerate() {
                next[count] += probability * (1.0 - proportion);
                next[count + 1] += probability * proportion;
            }
            row = next;
        }
        row
    }

    #[test]
    fn outside_sums_by_brute_force() {
        for trials in [1, 2, 5, 17, 60] {
            for proportion in [1e-6, 0.05, 0.3, 0.5, 0.95, 0.999] {
                let exact = probabilities(trials, proportion);
                for count in 0..=trials {
                    let (below, above) = exact.split_at(usize::try_from(count).unwrap() + 1);
                    for (got, terms) in [
                        (cumulative(count, trials, proportion), below),
                        (complement(count, trials, proportion), above),
                    ] {
                        let sum: f64 = terms.iter().sum();
                        assert!(
                            (got - sum).abs() <= 1e-12 * sum + f64::MIN_POSITIVE,
                            "{count} of {trials} at {proportion}: {got} {sum}"
                        );
                    }
                }
            }
        }
    }

    /// What defines a bound: just outside it the count is too improbable, just inside it is not.
    #[test]
    fn identity_defining_inequality() {
        let counts = [
            (0, 10),
            (3, 10),
            (9, 10),
            (5, 473),
            (50_000, 1_000_000),
            (7, 1_000_000_000),
            (49_000_000, 1_000_000_000),
        ];
        for (count, trials) in counts {
            for confidence in [0.6, 0.95, 0.999] {
                let tail = 1.0 - confidence;
                let upper = upper_bound(count, trials, confidence);
                assert!(cumulative(count, trials, upper * (1.0 + 1e-11)) <= tail);
                assert!(cumulative(count, trials, upper * (1.0 - 1e-11)) >= tail);
                let lower = lower_bound(count, trials, confidence);
                if count > 0 {
                    assert!(complement(count - 1, trials, lower * (1.0 - 1e-11)) <= tail);
                    assert!(complement(count - 1, trials, lower * (1.0 + 1e-11)) >= tail);
                }
                assert!(lower <= count as f64 / trials as f64 && count as f64 / trials as f64 <= upper);
            }
        }
    }

    #[test]
    fn coverage_is_not_below_the_confidence() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(19);
        let repeats = 4000;
        for (trials, proportion) in [(59, 0.05), (200, 0.05), (40, 0.5), (500, 0.01)] {
            let mut covered = [0_u32; 3];
            for _ in 0..repeats {
                let count = (0..trials).filter(|_| random.random::<f64>() < proportion).count() as u64;
                let hits = [
                    proportion <= upper_bound(count, trials, 0.95),
                    proportion >= lower_bound(count, trials, 0.95),
                    interval(count, trials, 0.95).contains(proportion),
                ];
                covered.iter_mut().zip(hits).for_each(|(covered, hit)| *covered += u32::from(hit));
            }
            let standard_error = (0.95_f64 * 0.05 / f64::from(repeats)).sqrt();
            for covered in covered {
                let share = f64::from(covered) / f64::from(repeats);
                assert!(share >= 0.95 - 3.0 * standard_error, "{trials} at {proportion}: {share}");
            }
        }
    }

    #[test]
    fn identity_what_bounds_nothing() {
        assert_eq!(interval(0, 0, 0.95), Interval { low: 0.0, high: 1.0, confidence: 0.95 });
        for confidence in [1.0, 2.0, f64::NAN] {
            assert_eq!((lower_bound(3, 10, confidence), upper_bound(3, 10, confidence)), (0.0, 1.0));
        }
        assert_eq!(cumulative(3, 10, f64::NAN) + complement(3, 10, 2.0), 2.0);
    }
}
