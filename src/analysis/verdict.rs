//! Whether a requirement is shown: that a proportion of the errors is within a limit, with a confidence.

use super::binomial::{cumulative, lower_bound, upper_bound};
use super::order::{bounds_above, needed_one_sided, round_up, smallest, upper_rank};
use super::sample::Errors;

/// What is required.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// Largest absolute error that is within, in the unit of the output.
    pub limit: f64,
    /// Proportion of the trials that must be within, such as 0.95.
    pub proportion: f64,
    /// Confidence with which that must be shown, such as 0.95.
    pub confidence: f64,
}

/// What the errors say of a requirement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// It is met, with the confidence.
    Pass,
    /// It is not met, with the confidence.
    Fail,
    /// The trials show neither.
    NotShown,
}

impl Verdict {
    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::NotShown => "not shown",
        }
    }
}

/// A verdict and what it rests on. A failed trial counts as out of the limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// Number of trials, failed ones included.
    pub n: u64,
    /// Number of trials without a reading.
    pub failed: u64,
    /// Number of trials out of the limit, failed ones included.
    pub out: u64,
    /// Their proportion; `None` without trials.
    pub exceed: Option<f64>,
    /// One-sided lower confidence bound of that proportion.
    pub exceed_low: f64,
    /// One-sided upper confidence bound of that proportion.
    pub exceed_high: f64,
    /// Upper confidence bound of the required quantile of the absolute error, failed trials taken as infinitely far
    /// out; `None` if beyond the data. A requirement passes where this is within the limit, and only there.
    pub bound: Option<f64>,
}

/// Judges errors by a rule: pass if the upper bound of the proportion out of the limit is at most what the rule
/// leaves, fail if the lower bound is above it, else not shown.
#[must_use]
pub fn judge(errors: &Errors, rule: &Rule) -> Judgement {
    let (n, failed) = (errors.attempted(), errors.failed());
    let beyond = errors.values().iter().filter(|value| !(value.abs() <= rule.limit)).count() as u64;
    let out = failed + beyond;
    Judgement {
        verdict: verdict(n, out, rule),
        n,
        failed,
        out,
        exceed: (n > 0).then(|| out as f64 / n as f64),
        exceed_low: lower_bound(out, n, rule.confidence),
        exceed_high: upper_bound(out, n, rule.confidence),
        bound: upper_rank(n, rule.proportion, rule.confidence).and_then(|rank| absolute_at_rank(errors, rank)),
    }
}

fn verdict(n: u64, out: u64, rule: &Rule) -> Verdict {
    match (passes(n, out, rule), fails(n, out, rule)) {
        (true, false) => Verdict::Pass,
        (false, true) => Verdict::Fail,
        _ => Verdict::NotShown, // both at once is possible only below a confidence of one half
    }
}

/// Whether `out` of `n` trials out of the limit show the requirement.
///
/// The same as `upper_bound(out, n, confidence) <= 1 - proportion`, and as the rank of the quantile's bound being
/// among the trials within, in the one inequality that defines both: so many within are improbable enough if no more
/// than the proportion were.
#[must_use]
pub fn passes(n: u64, out: u64, rule: &Rule) -> bool {
    out < n && bounds_above(n - out, n, rule.proportion, rule.confidence)
}

/// Likewise `lower_bound(out, n, confidence) > 1 - proportion`.
fn fails(n: u64, out: u64, rule: &Rule) -> bool {
    0 < out && out <= n && cumulative(n - out, n, rule.proportion) < 1.0 - rule.confidence
}

/// The absolute error of a rank; `None` beyond those that were measured.
fn absolute_at_rank(errors: &Errors, rank: u64) -> Option<f64> {
    let index = usize::try_from(rank.checked_sub(1)?).ok()?;
    let mut absolute = errors.absolute();
    (index < absolute.len()).then(|| *absolute.select_nth_unstable_by(index, f64::total_cmp).1)
}

/// The smallest number of trials at which a run with the expected proportion out of the limit, rounded down to
/// whole trials, shows the requirement; `None` if none up to a billion does, or if nothing is expected (NaN).
#[must_use]
pub fn trials_needed(rule: &Rule, expected_out: f64) -> Option<u64> {
    let needed = |out: u64| needed_one_sided(out, rule.proportion, rule.confidence);
    if expected_out <= 0.0 {
        return needed(0);
    }
    // With `out` trials out there are from `from(out)` to `from(out + 1) - 1` trials; enough of them if that many are
    // needed at most.
    let fits = |out: u64| needed(out).filter(|&needed| needed < first_with(out + 1, expected_out));
    let number = |out: u64| fits(out).map(|needed| needed.max(first_with(out, expected_out)));
    if expected_out.is_nan() {
        return None;
    }
    if let Some(number) = number(0) {
        return Some(number);
    }
    // What is spare of the trials shrinks at first with each further one out, then grows without end if the
    // expected proportion is below what the rule leaves.
    let mut high = 1;
    while fits(high).is_none() {
        needed(high)?; // beyond a billion
        high *= 2;
    }
    // Whole numbers make the way up uneven by less than one trial on either side: look back as far as that reaches.
    let mut out = smallest(high / 2 + 1, high, |out| fits(out).is_some());
    let mut best = out;
    while out > 0 {
        out -= 1;
        match (fits(out), needed(out)) {
            (Some(_), _) => best = out,
            (None, Some(needed)) if needed > first_with(out + 1, expected_out) + 2 => break,
            _ => {}
        }
    }
    number(best)
}

/// The smallest number of trials of which the expected proportion, rounded down, is `out`.
fn first_with(out: u64, expected_out: f64) -> u64 {
    let near = round_up(out as f64 / expected_out);
    let reaches = |n: &u64| out as f64 / *n as f64 <= expected_out;
    [near.saturating_sub(1), near].into_iter().filter(|&n| n > 0).find(reaches).unwrap_or(near + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    const RULE: Rule = Rule { limit: 3.0, proportion: 0.95, confidence: 0.95 };

    /// None out of 59 is the least that shows 95 of 100 with 95 % confidence (ISO 16269-6; Wilks 1941).
    #[test]
    fn table_fifty_nine() {
        let within = |count: usize| judge(&Errors::new(vec![1.0; count], 0), &RULE);
        assert_eq!(within(58).verdict, Verdict::NotShown);
        assert_eq!(within(58).bound, None);
        let shown = within(59);
        assert_eq!((shown.verdict, shown.bound, shown.exceed), (Verdict::Pass, Some(1.0), Some(0.0)));
        assert!((shown.exceed_high - 0.0495).abs() < 5e-5);
    }

    #[test]
    fn identity_the_limit_is_within_and_failures_are_out() {
        let at_limit = judge(&Errors::new(vec![-3.0; 100], 0), &RULE);
        assert_eq!((at_limit.verdict, at_limit.out), (Verdict::Pass, 0));
        // Of 100 trials two may be out at most (0 of 59, 1 of 93, 2 of 124).
        for (failed, verdict) in [(0, Verdict::Pass), (1, Verdict::Pass), (2, Verdict::NotShown), (20, Verdict::Fail)]
        {
            let judged = judge(&Errors::new(vec![0.5; 100 - failed], failed as u64), &RULE);
            assert_eq!((judged.n, judged.out, judged.verdict), (100, failed as u64, verdict), "{failed} failed");
        }
        let none = judge(&Errors::new(Vec::new(), 0), &RULE);
        assert_eq!((none.verdict, none.exceed, none.bound), (Verdict::NotShown, None, None));
        assert_eq!((none.exceed_low, none.exceed_high), (0.0, 1.0));
        let all_failed = judge(&Errors::new(Vec::new(), 1000), &RULE);
        assert_eq!((all_failed.verdict, all_failed.exceed_high, all_failed.bound), (Verdict::Fail, 1.0, None));
    }

    /// All in a hundred cannot be shown from a sample, but can be refuted.
    #[test]
    fn identity_everything_within_is_never_shown() {
        let rule = Rule { proportion: 1.0, ..RULE };
        assert_eq!(judge(&Errors::new(vec![0.0; 10_000], 0), &rule).verdict, Verdict::NotShown);
        assert_eq!(judge(&Errors::new(vec![0.0; 10_000], 1), &rule).verdict, Verdict::Fail);
        assert_eq!(trials_needed(&rule, 0.0), None);
    }

    proptest! {
        /// The two ways to say it agree: the bound of the quantile is within the limit where, and only where, the
        /// bound of the proportion is.
        #[test]
        fn identity_pass_is_bound_within_limit(
            values in prop::collection::vec(-8_i32..=8, 0..300), // whole, so that many are at the limit
            failed in 0_u64..6,
            limit in 0_u32..9,
            proportion in prop::sample::select(vec![0.5, 0.8, 0.9, 0.95, 0.99]),
            confidence in prop::sample::select(vec![0.5, 0.8, 0.9, 0.95, 0.99]),
        ) {
            let rule = Rule { limit: f64::from(limit), proportion, confidence };
            let judged = judge(&Errors::new(values.into_iter().map(f64::from).collect(), failed), &rule);
            let passed = judged.verdict == Verdict::Pass;
            // At a confidence of one half, pass and fail may meet; then neither is shown.
            let both = passes(judged.n, judged.out, &rule) && !passed;
            prop_assert!(!both || confidence <= 0.5);
            prop_assert_eq!(passed || both, judged.bound.is_some_and(|bound| bound <= rule.limit));
            prop_assert_eq!(passed || both, judged.exceed_high <= 1.0 - proportion + 1e-11);
            if judged.verdict == Verdict::Fail {
                prop_assert!(judged.exceed_low > 1.0 - proportion - 1e-11);
            }
        }
    }

    /// With the true proportion just what the rule leaves, a pass is wrong; at 95 % confidence at most 50 of 1,000 are
    /// expected, and 73 is 3.3 standard errors above. The same of wrong verdicts "fail".
    #[test]
    fn coverage_wrong_verdicts_at_the_limit() {
        let rule = Rule { limit: 0.95, ..RULE };
        for (seed, n) in [(1, 59), (2, 200), (3, 1000), (4, 3000)] {
            let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
            let mut counts = [0, 0];
            for _ in 0..1000 {
                // Uniform errors: the true quantile of the absolute error is the limit.
                let errors = Errors::new((0..n).map(|_| random.random_range(-1.0..1.0)).collect(), 0);
                match judge(&errors, &rule).verdict {
                    Verdict::Pass => counts[0] += 1,
                    Verdict::Fail => counts[1] += 1,
                    Verdict::NotShown => {}
                }
            }
            assert!(counts.iter().all(|&count| count <= 73), "{n}: {counts:?}");
            assert!(n < 1000 || counts[0] >= 15, "{n}: a rule that never passes is no evidence: {counts:?}");
        }
    }

    /// Every number of trials, tried one after the other.
    #[test]
    fn outside_needed_trials_by_trying_all() {
        for (proportion, confidence) in [(0.95, 0.95), (0.99, 0.95), (0.9, 0.9), (0.5, 0.8), (0.95, 0.6)] {
            let rule = Rule { limit: 1.0, proportion, confidence };
            for percent in 0..=88 {
                let expected_out = f64::from(percent) / 100.0 * (1.0 - proportion);
                let out = |n: u64| (0..=n).rev().find(|&out| out == 0 || out as f64 / n as f64 <= expected_out);
                let tried = (1..40_000).find(|&n| {
                    let guess = (n as f64 * expected_out).floor();
                    // Only numbers near the guess can be right.
                    let near = out_near(n, guess, expected_out);
                    debug_assert!(n > 300 || Some(near) == out(n));
                    passes(n, near, &rule)
                });
                assert!(tried.is_some());
                assert_eq!(trials_needed(&rule, expected_out), tried, "{proportion} {confidence} {expected_out}");
            }
        }
        assert_eq!(trials_needed(&RULE, 0.05), None);
        assert_eq!(trials_needed(&RULE, 0.2), None);
        assert_eq!(trials_needed(&RULE, f64::NAN), None);
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small whole numbers
    fn out_near(n: u64, guess: f64, expected_out: f64) -> u64 {
        let guess = guess as u64;
        let fits = |&out: &u64| out as f64 / n as f64 <= expected_out;
        [guess + 1, guess, guess.saturating_sub(1)].into_iter().find(fits).unwrap_or(0)
    }
}
