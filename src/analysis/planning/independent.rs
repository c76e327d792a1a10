//! Independent trials: the probability of a pass, and how many trials give a stated one.
//!
//! With `c(n)` the most of `n` trials that may be outside, a run passes with the probability `F(c(n); n, p)`, `F` the binomial
//! distribution function and `p` the true proportion outside. `c` grows by one at certain numbers of trials. Between two of
//! them the probability falls, and each next maximum is higher than the one before but for the rounding to whole trials.
//! So only these numbers are tried, and near the answer only.

use crate::analysis::Rule;
use crate::analysis::binomial::cumulative;
use crate::analysis::invert::normal_quantile;
use crate::analysis::most_out;
use crate::analysis::order::{needed_one_sided, round_up, smallest_near};

/// The largest number of trials that is considered.
const MOST: u64 = 1_000_000_000;

/// Numbers of trials (of a nested design, of devices) that give a stated probability of a pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Needed {
    /// The smallest one. Some larger ones may give less, because `c(n)` is a whole number.
    pub least: u64,
    /// From here on every number does.
    pub all_from: u64,
}

/// The smallest number of trials that passes where none is outside; `None` beyond a billion.
#[must_use]
pub fn least_trials(rule: &Rule) -> Option<u64> {
    needed_one_sided(0, rule.proportion, rule.confidence)
}

/// Probability that so many trials pass, if truly the proportion `outside` of all cases is outside the acceptance limit.
#[must_use]
pub fn probability_of_pass(trials: u64, rule: &Rule, outside: f64) -> f64 {
    if outside.is_nan() {
        return 0.0;
    }
    most_out(trials, rule).map_or(0.0, |most| cumulative(most, trials, outside))
}

/// How many trials pass with a probability, if truly the proportion `outside` of all cases is outside the acceptance limit;
/// `None` beyond a billion, and where it is not below the allowed proportion.
#[must_use]
pub fn trials_needed(rule: &Rule, outside: f64, probability: f64) -> Option<Needed> {
    let allowed = 1.0 - rule.proportion;
    if !(outside < allowed && probability < 1.0) {
        return None;
    }
    let search = Search { rule, outside, probability };
    Some(Needed { least: search.least()?, all_from: search.all_from()? })
}

struct Search<'r> {
    rule: &'r Rule,
    outside: f64,
    probability: f64,
}

impl Search<'_> {
    /// The smallest number of trials of which `out` may be outside.
    fn first(&self, out: u64) -> Option<u64> {
        needed_one_sided(out, self.rule.proportion, self.rule.confidence)
    }

    /// Whether at most `out` of the trials are outside with the probability.
    fn reached(&self, out: u64, trials: u64) -> bool {
        cumulative(out, trials, self.outside) >= self.probability
    }

    /// About where the probability is reached, with normal distributions in place of the binomial ones.
    fn near(&self) -> u64 {
        let (allowed, outside) = (1.0 - self.rule.proportion, self.outside.max(0.0));
        let sd = |proportion: f64| (proportion * (1.0 - proportion)).sqrt();
        let score = normal_quantile(self.rule.confidence);
        let root = (score * sd(allowed) + normal_quantile(self.probability) * sd(outside)) / (allowed - outside);
        let out = root * root * allowed - score * root.abs() * sd(allowed);
        round_up(out.clamp(0.0, MOST as f64))
    }

    fn least(&self) -> Option<u64> {
        let holds = |out: u64| self.first(out).is_none_or(|trials| self.reached(out, trials));
        let mut out = smallest_near(self.near(), (0, MOST), holds);
        let mut least = self.first(out)?;
        // One trial fewer than the smallest number is more than the fraction that rounding added: where even that does not
        // reach the probability, no smaller `out` does.
        while out > 0 {
            out -= 1;
            let trials = self.first(out)?;
            if self.reached(out, trials) {
                least = trials;
            } else if !self.reached(out, trials - 1) {
                break;
            }
        }
        Some(least)
    }

    fn all_from(&self) -> Option<u64> {
        let holds = |out: u64| self.first(out + 1).is_none_or(|next| self.reached(out, next - 1));
        let mut out = smallest_near(self.near(), (0, MOST), holds);
        let mut from = out;
        // Likewise upwards: where one trial more than the last of this `out` still reaches it, all that follow do.
        loop {
            let next = self.first(out + 1)?;
            if !self.reached(out, next - 1) {
                from = out + 1;
            }
            if self.reached(out, next) {
                return self.first(from);
            }
            out += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    fn rule(proportion: f64, confidence: f64) -> Rule {
        Rule::absolute(1.0, proportion, confidence)
    }

    /// Smallest numbers of trials and those from which all suffice, at 95 % confidence; check values computed independently
    /// from the two inequalities.
    #[test]
    fn outside_numbers_of_trials() {
        let table = [
            (
                0.90,
                [(0.5, [(179, 203), (239, 263)]), (0.9, [(5354, 5520), (7387, 7552)]), (0.2, [(61, 61), (76, 89)])],
            ),
            (
                0.95,
                [
                    (0.5, [(361, 434), (506, 554)]),
                    (0.9, [(11266, 11618), (15539, 15910)]),
                    (0.2, [(124, 124), (153, 181)]),
                ],
            ),
            (
                0.99,
                [
                    (0.5, [(1941, 2185), (2546, 2784)]),
                    (0.9, [(58480, 60342), (80774, 82627)]),
                    (0.2, [(628, 773), (773, 913)]),
                ],
            ),
        ];
        for (proportion, of_allowed) in table {
            for (share, numbers) in of_allowed {
                for (probability, (least, all_from)) in [0.8, 0.9].into_iter().zip(numbers) {
                    let found = trials_needed(&rule(proportion, 0.95), share * (1.0 - proportion), probability);
                    assert_eq!(found, Some(Needed { least, all_from }), "{proportion} {share} {probability}");
                }
            }
        }
        let found = probability_of_pass(361, &rule(0.95, 0.95), 0.025);
        assert!((found - 0.803_031_415_7).abs() < 5e-11, "{found}");
    }

    /// Every number of trials, tried one after the other, with binomial terms summed one by one.
    #[test]
    fn outside_numbers_by_trying_all() {
        const TRIED: usize = 1500;
        // Probability of at most `k` of `n`, by the recurrence of the terms.
        let at_most = |k: usize, n: usize, p: f64| {
            let mut term = libm::pow(1.0 - p, n as f64);
            let mut sum = term;
            for i in 0..k {
                term *= (n - i) as f64 / (i + 1) as f64 * p / (1.0 - p);
                sum += term;
            }
            sum
        };
        for (proportion, confidence) in [(0.95, 0.95), (0.9, 0.9), (0.8, 0.99), (0.5, 0.8), (0.95, 0.6), (0.7, 0.3)] {
            let allowed = 1.0 - proportion;
            let (mut most, mut c) = (Vec::new(), None::<usize>);
            for n in 0..=TRIED {
                while c.map_or(0, |c| c + 1) < n && at_most(c.map_or(0, |c| c + 1), n, allowed) <= 1.0 - confidence {
                    c = Some(c.map_or(0, |c| c + 1));
                }
                most.push(c);
            }
            for share in [0.0, 0.05, 0.2, 0.35, 0.5, 0.6, 0.7] {
                let chance =
                    |(n, most): (usize, &Option<usize>)| most.map_or(0.0, |most| at_most(most, n, share * allowed));
                let chances: Vec<f64> = most.iter().enumerate().map(chance).collect();
                let reaches = |n: usize, probability: f64| chances[n] >= probability;
                for probability in [0.3, 0.5, 0.8, 0.9, 0.99] {
                    let least = (1..=TRIED).find(|&n| reaches(n, probability));
                    let last_short = (0..=TRIED).rev().find(|&n| !reaches(n, probability));
                    let found = trials_needed(&rule(proportion, confidence), share * allowed, probability).unwrap();
                    assert!(least.is_some() || found.least > TRIED as u64);
                    if let Some(least) = least {
                        assert_eq!(found.least, least as u64, "{proportion} {confidence} {share} {probability}");
                    }
                    // A number below the last ones tried was not cut off by the end of the trying.
                    if found.all_from < TRIED as u64 * 3 / 4 {
                        assert_eq!(
                            found.all_from,
                            last_short.unwrap_or(0) as u64 + 1,
                            "{proportion} {confidence} {share}"
                        );
                    }
                }
            }
        }
    }

    /// Runs of the planned number pass as often as stated.
    #[test]
    fn coverage_of_the_stated_probability() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(29);
        let rule = rule(0.95, 0.95);
        for outside in [0.01, 0.025, 0.04] {
            let trials = trials_needed(&rule, outside, 0.8).unwrap().least;
            let (most, stated) = (most_out(trials, &rule).unwrap(), probability_of_pass(trials, &rule, outside));
            let repeats = 2000;
            let passed = (0..repeats)
                .filter(|_| (0..trials).filter(|_| random.random::<f64>() < outside).count() as u64 <= most);
            let share = passed.count() as f64 / f64::from(repeats);
            let standard_error = (stated * (1.0 - stated) / f64::from(repeats)).sqrt();
            assert!((share - stated).abs() < 3.5 * standard_error && stated >= 0.8, "{outside}: {share} of {stated}");
        }
    }

    #[test]
    fn identity_what_no_number_shows() {
        let rule = rule(0.95, 0.95);
        for outside in [0.05, 0.2, 1.0, f64::NAN] {
            assert_eq!(trials_needed(&rule, outside, 0.8), None);
        }
        assert_eq!(trials_needed(&rule, 0.01, 1.0), None);
        assert_eq!((least_trials(&rule), least_trials(&Rule { proportion: 1.0, ..rule })), (Some(59), None));
        let all = trials_needed(&rule, 0.0, 0.9).unwrap();
        assert_eq!((all.least, all.all_from), (59, 59));
        assert_eq!((probability_of_pass(58, &rule, 0.0), probability_of_pass(59, &rule, 0.0)), (0.0, 1.0));
        assert_eq!(probability_of_pass(1000, &rule, f64::NAN), 0.0);
    }
}
