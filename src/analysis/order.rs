//! Quantiles from order statistics, with confidence bounds that hold for any distribution.
//!
//! A quantile here is the smallest value that at least the proportion `p` of the values do not exceed: the inverse
//! of the empirical distribution function (type 1 of Hyndman RJ, Fan Y. Am Stat 1996;50:361-365). Its bounds are
//! order statistics (David HA, Nagaraja HN. Order Statistics, 7.1; ISO 16269-6). Ranks count from 1.

use super::binomial::{complement, cumulative};
use super::invert::normal_quantile;

/// The largest number of values that is considered.
const MOST: u64 = 1_000_000_000;

/// Rank of the quantile among `count` values; `None` without values or for `p` outside `[0, 1]`.
#[must_use]
pub fn quantile_rank(count: u64, p: f64) -> Option<u64> {
    if count == 0 || !(0.0..=1.0).contains(&p) {
        return None;
    }
    // The product may be rounded across a whole number (100 * 0.07 is above 7): compare as proportions.
    let reaches = |rank: u64| rank as f64 / count as f64 >= p;
    let near = round_up(count as f64 * p);
    let rank = [near.saturating_sub(1), near, near + 1].into_iter().find(|&rank| reaches(rank))?;
    Some(rank.clamp(1, count))
}

/// A quantile of values in ascending order.
#[must_use]
pub fn quantile(sorted: &[f64], p: f64) -> Option<f64> {
    at_rank(sorted, quantile_rank(sorted.len() as u64, p)?)
}

/// The value of a rank among values in ascending order; `None` beyond them.
#[must_use]
pub fn at_rank(sorted: &[f64], rank: u64) -> Option<f64> {
    sorted.get(usize::try_from(rank.checked_sub(1)?).ok()?).copied()
}

/// Whether the value of a rank among `count` is, with the confidence, not below the quantile.
///
/// It falls short of the quantile if at least `rank` values do, and their number is at most binomial in `p`. This one
/// inequality stands behind every bound and verdict that speaks of proportions, so they cannot disagree.
#[must_use]
pub fn bounds_above(rank: u64, count: u64, p: f64, confidence: f64) -> bool {
    let possible = (1..=count).contains(&rank) && p < 1.0 && confidence < 1.0;
    possible && complement(rank - 1, count, p) <= 1.0 - confidence
}

/// The smallest rank whose value is, with the confidence, not below the quantile; `None` if even the largest of
/// `count` values may be.
#[must_use]
pub fn upper_rank(count: u64, p: f64, confidence: f64) -> Option<u64> {
    let shown = |rank| bounds_above(rank, count, p, confidence);
    shown(count).then(|| smallest(1, count, shown))
}

/// The largest rank whose value is, with the confidence, not above the quantile; `None` if even the smallest of
/// `count` values may be.
#[must_use]
pub fn lower_rank(count: u64, p: f64, confidence: f64) -> Option<u64> {
    let not_shown = |rank: u64| !(cumulative(rank - 1, count, p) <= 1.0 - confidence);
    if count == 0 || !(p > 0.0) || not_shown(1) {
        return None;
    }
    Some(smallest(1, count + 1, |rank| rank > count || not_shown(rank)) - 1)
}

/// One-sided upper confidence bound of a quantile of values in ascending order; `None` beyond them.
#[must_use]
pub fn upper_bound(sorted: &[f64], p: f64, confidence: f64) -> Option<f64> {
    at_rank(sorted, upper_rank(sorted.len() as u64, p, confidence)?)
}

/// Two-sided confidence bounds of a quantile of values in ascending order, each at half of what the confidence
/// leaves; an end beyond the values is `None`.
#[must_use]
pub fn interval(sorted: &[f64], p: f64, confidence: f64) -> (Option<f64>, Option<f64>) {
    let (count, each) = (sorted.len() as u64, 0.5 * (1.0 + confidence));
    let value = |rank: Option<u64>| rank.and_then(|rank| at_rank(sorted, rank));
    (value(lower_rank(count, p, each)), value(upper_rank(count, p, each)))
}

/// The number of values of which the largest but `beyond` is, with the confidence, not below the quantile: one-sided
/// tolerance limit in the sense of ISO 16269-6. `None` beyond a billion.
#[must_use]
pub fn needed_one_sided(beyond: u64, p: f64, confidence: f64) -> Option<u64> {
    let shown = |count: u64| bounds_above(count.saturating_sub(beyond), count, p, confidence);
    shown(MOST).then(|| smallest_near(near_needed(beyond, p, confidence), (beyond, MOST), shown))
}

/// About the same number: `chi^2 (1 + p) / (4 (1 - p)) + beyond / 2` with the chi-squared quantile of `2 (beyond + 1)`
/// degrees of freedom (Scheffe H, Tukey JW. Ann Math Stat 1944;15:217; from memory), itself by the cube root of Wilson and
/// Hilferty. It only says where the search begins.
fn near_needed(beyond: u64, p: f64, confidence: f64) -> u64 {
    let freedom = 2.0 * (beyond + 1) as f64;
    let spread = 2.0 / (9.0 * freedom);
    let root = (1.0 - spread + normal_quantile(confidence) * spread.sqrt()).max(0.0);
    round_up((root * root * root * freedom * (1.0 + p) / (4.0 * (1.0 - p)) + 0.5 * beyond as f64).min(MOST as f64))
}

/// The number of values between whose smallest and largest at least the proportion lies, with the confidence
/// (Wilks SS. Ann Math Stat 1941;12:91-96). `None` beyond a billion.
#[must_use]
pub fn needed_two_sided(proportion: f64, confidence: f64) -> Option<u64> {
    // The part beyond both ends together is distributed as that beyond the second largest.
    needed_one_sided(1, proportion, confidence)
}

/// The smallest number in `low..=high` for which `holds`, which stays true from there on and is true of `high`.
pub(super) fn smallest(mut low: u64, mut high: u64, holds: impl Fn(u64) -> bool) -> u64 {
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    high
}

/// The same, found in few steps from a guess near it.
pub(super) fn smallest_near(guess: u64, (low, high): (u64, u64), holds: impl Fn(u64) -> bool) -> u64 {
    let guess = guess.clamp(low, high);
    let (mut from, mut to, mut step) = (guess, guess, 1_u64);
    if to == high || holds(guess) {
        while from > low {
            from = from.saturating_sub(step).max(low);
            if !holds(from) {
                from += 1;
                break;
            }
            (to, step) = (from, 2 * step);
        }
    } else {
        loop {
            from = to + 1;
            to = to.saturating_add(step).min(high);
            if to == high || holds(to) {
                break;
            }
            step *= 2;
        }
    }
    smallest(from, to, holds)
}

/// The next whole number at or above a count that is not negative.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // counts: never negative, far below 2^53
pub(super) fn round_up(count: f64) -> u64 {
    count.ceil() as u64
}

/// The absolute values of sorted values, sorted: those below 0 from their end, merged with the others.
#[must_use]
pub fn sizes(sorted: &[f64]) -> Vec<f64> {
    let (below, above) = sorted.split_at(sorted.partition_point(|&value| value < 0.0));
    let (mut below, mut above) = (below.iter().rev().peekable(), above.iter().peekable());
    let mut sizes = Vec::with_capacity(sorted.len());
    while let Some(value) = match (below.peek(), above.peek()) {
        (Some(&&down), Some(&&up)) if -down < up => below.next(),
        (_, Some(_)) => above.next(),
        _ => below.next(),
    } {
        sizes.push(value.abs());
    }
    sizes
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    /// Distribution-free sample sizes as widely tabulated after Wilks 1941; each is checked against its defining
    /// inequality below.
    #[test]
    fn table_needed_numbers() {
        for (p, confidence, expected) in [
            (0.95, 0.95, &[59, 93, 124, 153, 181][..]),
            (0.99, 0.95, &[299, 473, 628]),
            (0.95, 0.99, &[90]),
            (0.90, 0.95, &[29]),
        ] {
            for (beyond, &count) in expected.iter().enumerate() {
                assert_eq!(needed_one_sided(beyond as u64, p, confidence), Some(count));
            }
        }
        for (p, confidence, count) in [(0.95, 0.95, 93), (0.99, 0.95, 473), (0.90, 0.95, 46), (0.95, 0.99, 130)] {
            assert_eq!(needed_two_sided(p, confidence), Some(count));
        }
        assert_eq!(needed_one_sided(0, 1.0, 0.95), None);
        assert_eq!(needed_one_sided(0, 0.95, 1.0), None);
    }

    /// `1 - p^n` and `1 - n p^(n-1) + (n-1) p^n` reach the confidence at the number and not one before.
    #[test]
    fn identity_needed_numbers_by_their_inequality() {
        for p in [0.5, 0.8, 0.95, 0.999] {
            for confidence in [0.5, 0.9, 0.95, 0.999] {
                let power = |n: u64| libm::pow(p, n as f64);
                let largest = |n: u64| 1.0 - power(n);
                let both = |n: u64| 1.0 - n as f64 * power(n - 1) + (n - 1) as f64 * power(n);
                let one = needed_one_sided(0, p, confidence).unwrap();
                assert!(largest(one) >= confidence - 1e-12 && (one == 1 || largest(one - 1) < confidence));
                let two = needed_two_sided(p, confidence).unwrap();
                assert!(both(two) >= confidence - 1e-12 && both(two - 1) < confidence);
            }
        }
    }

    /// Wherever a search begins, it ends at the same place.
    #[test]
    fn identity_the_guess_moves_nothing() {
        for answer in [0_u64, 1, 2, 17, 63, 64, 100] {
            for guess in [0, 1, 16, 17, 18, 50, 64, 99, 100, 1000] {
                assert_eq!(smallest_near(guess, (0, 100), |n| n >= answer), answer, "{answer} from {guess}");
            }
        }
    }

    #[test]
    fn identity_quantile_is_the_smallest_value_reached() {
        let sorted: Vec<f64> = (1..=100).map(f64::from).collect();
        for percent in 1..=100 {
            let p = f64::from(percent) / 100.0;
            assert_eq!(quantile(&sorted, p), Some(f64::from(percent)));
            assert_eq!(quantile(&sorted, p - 1e-9), Some(f64::from(percent)));
        }
        assert_eq!(quantile(&sorted, 0.0), Some(1.0));
        assert_eq!(quantile(&[7.0], 0.95), Some(7.0));
        assert_eq!((quantile(&[], 0.5), quantile(&sorted, 1.5), quantile(&sorted, f64::NAN)), (None, None, None));
    }

    /// Every rank, tried one after the other.
    #[test]
    fn outside_ranks_by_trying_all() {
        for count in [1_u64, 2, 13, 58, 59, 60, 200] {
            for p in [0.05, 0.5, 0.9, 0.95, 0.99] {
                for confidence in [0.6, 0.95, 0.99] {
                    let short = |rank: u64| cumulative(rank - 1, count, p);
                    let upper = (1..=count).find(|&rank| short(rank) >= confidence);
                    assert_eq!(upper_rank(count, p, confidence), upper, "{count} {p} {confidence}");
                    let lower = (1..=count).rev().find(|&rank| short(rank) <= 1.0 - confidence);
                    assert_eq!(lower_rank(count, p, confidence), lower, "{count} {p} {confidence}");
                }
            }
        }
        assert_eq!(upper_rank(0, 0.5, 0.9), None);
        assert_eq!(lower_rank(0, 0.5, 0.9), None);
        assert_eq!(upper_rank(1_000_000, 1.0, 0.5), None);
    }

    #[test]
    fn coverage_of_the_bounds_of_a_quantile() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(23);
        let repeats = 2000;
        for (count, p) in [(100, 0.95), (500, 0.95), (200, 0.5)] {
            let (mut one_sided, mut two_sided) = (0, 0);
            for _ in 0..repeats {
                let mut values: Vec<f64> = (0..count).map(|_| random.random()).collect();
                values.sort_unstable_by(f64::total_cmp);
                one_sided += i32::from(upper_bound(&values, p, 0.95).is_none_or(|bound| p <= bound));
                let (low, high) = interval(&values, p, 0.95);
                two_sided += i32::from(low.is_none_or(|low| low <= p) && high.is_none_or(|high| p <= high));
            }
            let lowest = 0.95 - 3.0 * (0.95_f64 * 0.05 / f64::from(repeats)).sqrt();
            for covered in [one_sided, two_sided] {
                assert!(f64::from(covered) / f64::from(repeats) >= lowest, "{count} {p}: {covered}");
            }
        }
    }

    #[test]
    fn identity_sizes_of_sorted_values_are_sorted_sizes() {
        for mut values in [
            vec![],
            vec![-1.0],
            vec![2.0, -0.0, 0.0, -2.0, 0.5, -3.0, 1e-300, -1e-300, 2.0, 7.5],
            vec![-1.0, -4.0, -2.5],
            vec![3.0, 1.0, 2.0],
        ] {
            let mut expected: Vec<f64> = values.iter().map(|value: &f64| value.abs()).collect();
            expected.sort_by(f64::total_cmp);
            values.sort_by(f64::total_cmp);
            assert_eq!(sizes(&values), expected);
        }
    }
}
