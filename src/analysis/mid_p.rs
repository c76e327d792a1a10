//! Two quantiles of paired samples compared by a sign test, and an interval of their difference by inverting it.
//!
//! Used where hardly any trial differs and a standard error says nothing. For a difference `delta`, let `theta` be the
//! quantile of all values of `a - delta` and `b` together. If the quantiles differ by `delta`, a trial with only `a - delta`
//! within `theta` is as likely as one with only `b` within, so their numbers are a fair coin's (`McNemar` Q. Psychometrika
//! 1947;12:153-157). Half the probability of the observed number counts (mid-p: Lancaster HO. J Am Stat Assoc 1961;56:223-234,
//! from memory). Coverage is in `tests/data/p95_difference_coverage.csv`.

use super::binomial::{complement, cumulative};
use super::interval::Interval;
use super::order::{at_rank, quantile_rank};

/// Steps at which a bisection stops: the width is then 1e-15 of the range of the values.
const HALVINGS: u32 = 50;

/// Paired sizes of errors, and their order.
#[derive(Clone, Debug, PartialEq)]
pub struct PairedQuantiles {
    pairs: Vec<[f64; 2]>,
    sorted: [Vec<f64>; 2],
    proportion: f64,
}

/// An interval and whether each end, low and high, is excluded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OpenInterval {
    /// Its ends and level.
    pub interval: Interval,
    /// Whether the low and the high end are excluded; only an end at 0 can be.
    pub open: [bool; 2],
}

/// Probability of at most, and of at least, the observed number of heads of a fair coin, each with half the probability of exactly that number.
fn tails(heads: u64, throws: u64) -> [f64; 2] {
    if throws == 0 {
        return [0.5; 2];
    }
    let below = |count: u64| cumulative(count, throws, 0.5);
    let above = |count: u64| complement(count, throws, 0.5);
    let fewer = if heads == 0 { 0.0 } else { below(heads - 1) };
    let at_least = if heads == 0 { 1.0 } else { above(heads - 1) };
    [0.5 * (fewer + below(heads)), 0.5 * (at_least + above(heads))]
}

impl PairedQuantiles {
    /// Of the same trials: sizes, finite and not negative; at least one.
    #[must_use]
    pub fn new(pairs: Vec<[f64; 2]>, proportion: f64) -> Self {
        let sorted = [0, 1].map(|which| {
            let mut values: Vec<f64> = pairs.iter().map(|pair| pair[which]).collect();
            values.sort_unstable_by(f64::total_cmp);
            values
        });
        Self { pairs, sorted, proportion }
    }

    /// The same with the arms exchanged.
    #[must_use]
    pub fn exchanged(self) -> Self {
        let [a, b] = self.sorted;
        let pairs = self.pairs.into_iter().map(|[a, b]| [b, a]).collect();
        Self { pairs, sorted: [b, a], proportion: self.proportion }
    }

    /// How small a two-sided probability can become: that of all values beyond the common quantile in one arm.
    #[must_use]
    pub fn least_probability(&self) -> f64 {
        let all = 2 * self.pairs.len() as u64;
        let beyond = all - quantile_rank(all, self.proportion).unwrap_or(all);
        libm::exp2(-(beyond as f64))
    }

    /// Trials with only `a - delta` within the common quantile, and with only `b`.
    fn split(&self, delta: f64) -> [u64; 2] {
        let theta = self.common_quantile(delta);
        let mut only = [0, 0];
        for [a, b] in &self.pairs {
            let (a, b) = (a - delta <= theta, *b <= theta);
            only[0] += u64::from(a && !b);
            only[1] += u64::from(b && !a);
        }
        only
    }

    /// The quantile of both samples together, the first moved by `-delta`.
    fn common_quantile(&self, delta: f64) -> f64 {
        let [a, b] = &self.sorted;
        let Some(rank) = quantile_rank(2 * a.len() as u64, self.proportion) else { return f64::NAN };
        let rank = usize::try_from(rank).unwrap_or(usize::MAX);
        // How many of the first are among the `rank` smallest: the fewest that leave no smaller one behind.
        let (mut fewest, mut most) = (rank.saturating_sub(b.len()), rank.min(a.len()));
        while fewest < most {
            let taken = usize::midpoint(fewest, most);
            if a[taken] - delta < b[rank - taken - 1] {
                fewest = taken + 1;
            } else {
                most = taken;
            }
        }
        let last = |values: &[f64], taken: usize| at_rank(values, taken as u64).unwrap_or(f64::NEG_INFINITY);
        (last(a, fewest) - delta).max(last(b, rank - fewest))
    }

    /// One-sided probabilities at a difference: of data as these if the first less the second were at least `delta`, and if it
    /// were at most `delta`.
    #[must_use]
    pub fn one_sided(&self, delta: f64) -> [f64; 2] {
        let [only_a, only_b] = self.split(delta);
        let [few, many] = tails(only_a, only_a + only_b);
        [many, few]
    }

    /// Two-sided probability at a difference.
    #[must_use]
    pub fn two_sided(&self, delta: f64) -> f64 {
        let [less, more] = self.one_sided(delta);
        (2.0 * less.min(more)).min(1.0)
    }

    /// The differences that the test does not reject; `None` where it could reject none.
    #[must_use]
    pub fn interval(&self, confidence: f64) -> Option<OpenInterval> {
        let alpha = 1.0 - confidence;
        if self.least_probability() > alpha {
            return None;
        }
        let accepted = |delta: f64| self.two_sided(delta) > alpha;
        let largest =
            self.sorted.iter().filter_map(|values| values.last()).fold(0.0, |most: f64, last| most.max(*last));
        let far = 2.0 * largest + f64::MIN_POSITIVE;
        // Trials that are equal in both arms jump together at 0, so 0 is looked at from both sides.
        let beside = far * libm::exp2(-f64::from(HALVINGS));
        let middle = if accepted(0.0) { 0.0 } else { self.balance(far) };
        let end = |sign: f64| -> (f64, bool) {
            // From an accepted difference to one that is not: where the last accepted one is.
            let between = |inside: f64, outside: f64| {
                let (mut inside, mut outside) = (inside, outside);
                for _ in 0..HALVINGS {
                    let half = 0.5 * (inside + outside);
                    *(if accepted(half) { &mut inside } else { &mut outside }) = half;
                }
                (0.5 * (inside + outside), false)
            };
            match sign * middle {
                _ if !accepted(middle) => (middle, false),
                from if from < 0.0 && accepted(-sign * beside) => (0.0, true),
                from if from < 0.0 => between(middle, -sign * beside),
                from if from == 0.0 && !accepted(sign * beside) => (0.0, false),
                _ => between(middle, sign * far),
            }
        };
        let ((low, low_open), (high, high_open)) = (end(-1.0), end(1.0));
        Some(OpenInterval { interval: Interval { low, high, confidence }, open: [low_open, high_open] })
    }

    /// The difference at which the two numbers of the split change places; of the two sides the one that the test rejects
    /// less. The first number less the second never falls as the difference grows.
    fn balance(&self, far: f64) -> f64 {
        let (mut low, mut high) = (-far, far);
        for _ in 0..HALVINGS {
            let half = 0.5 * (low + high);
            let [only_a, only_b] = self.split(half);
            if only_a == only_b {
                return half;
            }
            *(if only_a < only_b { &mut low } else { &mut high }) = half;
        }
        if self.two_sided(low) > self.two_sided(high) { low } else { high }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    /// 0 of 5, by halves: `(1/2)^5 / 2` below, the rest above. Two-sided 1/32, as `1/2^5`.
    #[test]
    fn table_tails_of_a_fair_coin() {
        assert_eq!(tails(0, 5), [1.0 / 64.0, 63.0 / 64.0]);
        let found = tails(2, 4);
        assert!((found[0] - 0.5).abs() < 1e-15 && (found[1] - 0.5).abs() < 1e-15);
        assert_eq!(tails(0, 0), [0.5, 0.5]);
    }

    /// Sizes of errors in a few trials: some equal in both arms, the others smaller or larger, or all larger.
    fn sample(random: &mut Xoshiro256PlusPlus, equal: f64, all_larger: bool) -> Vec<[f64; 2]> {
        let [least, added] = if all_larger { [1.0, 1.0] } else { [0.7, 0.4] };
        let pair = |_| {
            let a: f64 = random.random();
            let same = random.random::<f64>() < equal;
            [a, if same { a } else { a * least + added * random.random::<f64>() }]
        };
        (0..36).map(pair).collect()
    }

    /// By the words of the definition: all values sorted, each trial looked at.
    fn split_by_hand(pairs: &[[f64; 2]], p: f64, delta: f64) -> [u64; 2] {
        let mut all: Vec<f64> = pairs.iter().flat_map(|[a, b]| [a - delta, *b]).collect();
        all.sort_unstable_by(f64::total_cmp);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a small rank
        let rank = (all.len() as f64 * p - 1e-9).ceil() as usize;
        let theta = all[rank - 1];
        let count =
            |holds: &dyn Fn(f64, f64) -> bool| pairs.iter().filter(|[a, b]| holds(a - delta, *b)).count() as u64;
        [count(&|a, b| a <= theta && theta < b), count(&|a, b| b <= theta && theta < a)]
    }

    /// Every difference at which anything can change, with what lies between, tried one after the other: the ends are where
    /// the test stops to accept.
    #[test]
    fn outside_ends_by_trying_all_differences() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(3);
        for run in 0..40 {
            let p = 0.6;
            let all_larger = run % 2 == 1;
            let pairs = sample(&mut random, if all_larger { 0.75 } else { f64::from(run % 5) * 0.2 }, all_larger);
            let by_definition = |delta: f64| {
                let [x, y] = split_by_hand(&pairs, p, delta);
                let [few, many] = tails(x, x + y);
                (2.0 * few.min(many)).min(1.0) > 0.05
            };
            let mut jumps: Vec<f64> = pairs.iter().flat_map(|[a, _]| pairs.iter().map(move |[_, b]| a - b)).collect();
            jumps.push(0.0);
            jumps.sort_unstable_by(f64::total_cmp);
            let found = PairedQuantiles::new(pairs.clone(), p);
            for pair in jumps.windows(2) {
                let between = 0.5 * (pair[0] + pair[1]);
                assert_eq!(found.split(between), split_by_hand(&pairs, p, between));
            }
            assert_eq!(found.split(0.0), split_by_hand(&pairs, p, 0.0));
            let stretches = || jumps.windows(2).filter(|pair| by_definition(0.5 * (pair[0] + pair[1])));
            let low = stretches().map(|pair| pair[0]).fold(f64::INFINITY, f64::min);
            let high = stretches().map(|pair| pair[1]).fold(f64::NEG_INFINITY, f64::max);
            let OpenInterval { interval, open: ends } = found.interval(0.95).unwrap();
            let touches_0 = by_definition(0.0);
            for (got, expected, excluded) in [(interval.low, low, ends[0]), (interval.high, high, ends[1])] {
                // An end may also be 0 by itself, where the test accepts 0 and nothing beyond it.
                let alone = touches_0 && got == 0.0;
                assert!((got - expected).abs() < 1e-12 || alone, "{run}: {got} {expected}");
                assert_eq!(excluded, got == 0.0 && !touches_0, "{run}: {got}");
            }
        }
    }

    /// i = 1 to 200, a = |sin i (1 + (i mod 7)/7)|, b = |a + 1.2 cos i| in every eighth trial, else a:
    /// check value computed independently.
    #[test]
    fn table_most_trials_equal() {
        let pair = |i: u32| {
            let inner = libm::sin(f64::from(i)) * (1.0 + f64::from(i % 7) / 7.0);
            let a = inner.abs();
            [a, if i.is_multiple_of(8) { (a + 1.2 * libm::cos(f64::from(i))).abs() } else { a }]
        };
        let found = PairedQuantiles::new((1..=200).map(pair).collect(), 0.95);
        let OpenInterval { interval, open } = found.interval(0.95).unwrap();
        assert!((interval.low + 0.160_780_352).abs() < 1e-9, "{interval:?}");
        assert_eq!((interval.high, open), (0.0, [false, true]));
        assert!((found.two_sided(0.0) - 0.031_25).abs() < 1e-15);
    }

    /// Of 49 trials 98 - 94 = 4 values lie beyond the common 95 % quantile: 2^-4 is above 0.05. Of 50 it is 2^-5.
    #[test]
    fn table_how_few_are_too_few() {
        let of =
            |count: u32| PairedQuantiles::new((0..count).map(|i| [f64::from(i), f64::from(i) + 0.5]).collect(), 0.95);
        assert_eq!(of(49).interval(0.95), None);
        assert!(of(50).interval(0.95).is_some());
    }

    /// All values moved by the same: only that difference is accepted.
    #[test]
    fn identity_a_constant_difference() {
        let pairs = (0..100).map(|i| [f64::from(i) + 3.0, f64::from(i) + 1.0]).collect();
        let found = PairedQuantiles::new(pairs, 0.95).interval(0.95).unwrap().interval;
        assert!(found.low <= 2.0 + 1e-9 && found.high >= 2.0 - 1e-9, "{found:?}");
    }
}
