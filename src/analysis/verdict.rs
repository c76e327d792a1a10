//! Whether a requirement is shown: that a proportion of the errors is within a limit, with a confidence.

use super::binomial::{cumulative, lower_bound, upper_bound};
use super::nested::{DEVICES_FOR_A_VERDICT, Effective, Nested, effective};
use super::order::{bounds_above, smallest, upper_rank};
use super::sample::Errors;

/// What is required.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// Largest error that is within, in the unit of the output.
    pub limit: f64,
    /// Which errors it limits.
    pub direction: Direction,
    /// Guard band: a pass must hold `limit - guard`, a fail is judged by the limit itself (JCGM 106:2012, 8.3.2, guarded
    /// acceptance).
    pub guard: f64,
    /// Proportion of the trials that must be within, such as 0.95.
    pub proportion: f64,
    /// Confidence with which that must be shown, such as 0.95.
    pub confidence: f64,
}

impl Rule {
    /// Limit of the absolute error, without a guard band.
    #[must_use]
    pub const fn absolute(limit: f64, proportion: f64, confidence: f64) -> Self {
        Self { limit, direction: Direction::Either, guard: 0.0, proportion, confidence }
    }

    /// The limit less the guard band: the acceptance limit.
    #[must_use]
    pub fn acceptance(&self) -> f64 {
        self.limit - self.guard
    }

    /// Whether an error is beyond the limit. What is no number is.
    #[must_use]
    pub fn beyond(&self, error: f64) -> bool {
        !(self.direction.size(error) <= self.limit)
    }

    /// Whether an error is beyond the acceptance limit.
    #[must_use]
    pub fn beyond_acceptance(&self, error: f64) -> bool {
        !(self.direction.size(error) <= self.acceptance())
    }
}

/// Which errors a limit limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Direction {
    /// Readings too high and too low alike: the absolute error.
    Either,
    /// Readings too high.
    Above,
    /// Readings too low.
    Below,
}

impl Direction {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Either, Self::Above, Self::Below];

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Either => "either",
            Self::Above => "above",
            Self::Below => "below",
        }
    }

    /// What is compared with the limit.
    #[must_use]
    pub fn size(self, error: f64) -> f64 {
        match self {
            Self::Either => error.abs(),
            Self::Above => error,
            Self::Below => -error,
        }
    }
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
    /// Number of trials out of the acceptance limit, failed ones included; the same without a guard band.
    pub out_of_acceptance: u64,
    /// The proportion out of the limit; `None` without trials.
    pub exceed: Option<f64>,
    /// One-sided lower confidence bound of that proportion.
    pub exceed_low: f64,
    /// One-sided upper confidence bound of the proportion out of the acceptance limit.
    pub exceed_high: f64,
    /// The same three with failed trials left out, as if they had not been tried; `None` if nothing was measured.
    pub measured_only: Option<[f64; 3]>,
    /// Upper confidence bound of the required quantile of the error, failed trials taken as infinitely far out; `None` if
    /// beyond the data, or of several limits together. A requirement passes where this is within the acceptance limit,
    /// and only there.
    pub bound: Option<f64>,
    /// The confidence that was asked of each bound.
    pub confidence: f64,
    /// In a nested design, what the trials are worth for the proportion out of the acceptance limit.
    pub effective: Option<Effective>,
    /// Why no verdict is given, whatever the counts say.
    pub withheld: Option<Withheld>,
}

/// Why there is no verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Withheld {
    /// Trials were added after a verdict had been seen, and the plan had not said so before.
    Extended,
    /// A nested design with too few devices.
    TooFewDevices,
}

impl Withheld {
    /// Why, in a sentence.
    #[must_use]
    pub fn sentence(self) -> String {
        match self {
            Self::Extended => {
                "Trials were added after a verdict had been seen, and the plan had not declared so many looks \
                 beforehand; whoever goes on until a verdict pleases will find one, so it stays not shown."
                    .to_owned()
            }
            Self::TooFewDevices => format!(
                "Cases on one device are not independent, and fewer than {DEVICES_FOR_A_VERDICT} devices allow no verdict."
            ),
        }
    }
}

impl Judgement {
    /// The same without a verdict.
    #[must_use]
    pub fn withheld(self, why: Withheld) -> Self {
        Self { verdict: Verdict::NotShown, withheld: Some(why), ..self }
    }
}

/// How many trials are out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Number of trials, failed ones included.
    pub n: u64,
    /// Number of trials without a reading.
    pub failed: u64,
    /// Trials with a reading that is out of the limit.
    pub beyond: u64,
    /// Trials with a reading that is out of the acceptance limit.
    pub beyond_acceptance: u64,
}

impl Counts {
    /// Takes one more trial.
    pub fn add(&mut self, failed: bool, beyond: bool, beyond_acceptance: bool) {
        self.n += 1;
        self.failed += u64::from(failed);
        self.beyond += u64::from(!failed && beyond);
        self.beyond_acceptance += u64::from(!failed && beyond_acceptance);
    }
}

/// Judges errors by a rule: pass if the upper bound of the proportion out of the acceptance limit is at most what the rule
/// leaves, fail if the lower bound of the proportion out of the limit is above it, else not shown.
#[must_use]
pub fn judge(errors: &Errors, rule: &Rule) -> Judgement {
    let beyond = |is: &dyn Fn(f64) -> bool| errors.values().iter().filter(|&&error| is(error)).count() as u64;
    let counts = Counts {
        n: errors.attempted(),
        failed: errors.failed(),
        beyond: beyond(&|error| rule.beyond(error)),
        beyond_acceptance: beyond(&|error| rule.beyond_acceptance(error)),
    };
    let rank = upper_rank(counts.n, rule.proportion, rule.confidence);
    Judgement { bound: rank.and_then(|rank| size_at_rank(errors, rule, rank)), ..judge_counts(&counts, rule) }
}

/// Judges counts alone, such as those of several limits in the same case; there is no bound of the error then.
#[must_use]
pub fn judge_counts(counts: &Counts, rule: &Rule) -> Judgement {
    let &Counts { n, failed, beyond, beyond_acceptance } = counts;
    let (out, out_of_acceptance) = (failed + beyond, failed + beyond_acceptance);
    let measured = n - failed;
    let share = |out: u64, n: u64| (n > 0).then(|| out as f64 / n as f64);
    let bounds =
        |low: u64, high: u64, n: u64| (lower_bound(low, n, rule.confidence), upper_bound(high, n, rule.confidence));
    let (exceed_low, exceed_high) = bounds(out, out_of_acceptance, n);
    let measured_only = share(beyond, measured).map(|exceed| {
        let (low, high) = bounds(beyond, beyond_acceptance, measured);
        [exceed, low, high]
    });
    let verdict = match (passes(n, out_of_acceptance, rule), fails(n, out, rule)) {
        (true, false) => Verdict::Pass,
        (false, true) => Verdict::Fail,
        _ => Verdict::NotShown, // both at once is possible only below a confidence of one half
    };
    Judgement {
        verdict,
        n,
        failed,
        out,
        out_of_acceptance,
        exceed: share(out, n),
        exceed_low,
        exceed_high,
        measured_only,
        bound: None,
        confidence: rule.confidence,
        effective: None,
        withheld: None,
    }
}

/// Judges errors of a nested design: the same bounds, approximate, on the number of independent trials that the devices are
/// worth; without enough devices there is no verdict.
#[must_use]
pub fn judge_nested(nested: &Nested, rule: &Rule) -> Judgement {
    let of_devices: Vec<Counts> = nested
        .devices()
        .iter()
        .map(|device| {
            let mut counts = Counts { n: device.failed, failed: device.failed, ..Counts::default() };
            for &error in &device.values {
                counts.add(false, rule.beyond(error), rule.beyond_acceptance(error));
            }
            counts
        })
        .collect();
    let judged = judge_devices(&of_devices, rule);
    let bound = judged.effective.and_then(|effective| {
        let (_, worth) = effective.cautious();
        let rank = upper_rank(worth, rule.proportion, rule.confidence)?;
        // The same proportion of all trials.
        size_at_rank(&nested.errors(), rule, (rank * judged.n).div_ceil(worth))
    });
    Judgement { bound, ..judged }
}

/// Judges counts of whole devices.
#[must_use]
pub fn judge_devices(devices: &[Counts], rule: &Rule) -> Judgement {
    let sum = |of: &dyn Fn(&Counts) -> u64| devices.iter().map(of).sum::<u64>();
    let all = Counts {
        n: sum(&|counts| counts.n),
        failed: sum(&|counts| counts.failed),
        beyond: sum(&|counts| counts.beyond),
        beyond_acceptance: sum(&|counts| counts.beyond_acceptance),
    };
    let worth = |failed: bool, beyond: &dyn Fn(&Counts) -> u64| {
        effective(devices.iter().map(|counts| {
            if failed {
                (counts.failed + beyond(counts), counts.n)
            } else {
                (beyond(counts), counts.n - counts.failed)
            }
        }))
    };
    let bounds = |failed: bool| {
        let high = worth(failed, &|counts| counts.beyond_acceptance);
        let low = worth(failed, &|counts| counts.beyond);
        (low.lenient(), high.cautious(), high)
    };
    let ((low_out, low_n), (high_out, high_n), effective) = bounds(true);
    let lower = |(out, n): (u64, u64)| lower_bound(out, n, rule.confidence);
    let upper = |(out, n): (u64, u64)| upper_bound(out, n, rule.confidence);
    let simple = judge_counts(&all, rule);
    let measured_only = simple.measured_only.map(|[exceed, ..]| {
        let (low, high, _) = bounds(false);
        [exceed, lower(low), upper(high)]
    });
    let verdict = match (passes(high_n, high_out, rule), fails(low_n, low_out, rule)) {
        (true, false) => Verdict::Pass,
        (false, true) => Verdict::Fail,
        _ => Verdict::NotShown,
    };
    let judged = Judgement {
        verdict,
        exceed_low: lower((low_out, low_n)),
        exceed_high: upper((high_out, high_n)),
        measured_only,
        effective: Some(effective),
        ..simple
    };
    if effective.devices < DEVICES_FOR_A_VERDICT { judged.withheld(Withheld::TooFewDevices) } else { judged }
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

/// The most trials of `n` that may be out while the requirement is shown; `None` if it is not shown even with none out.
#[must_use]
pub fn most_out(n: u64, rule: &Rule) -> Option<u64> {
    // From some number on it is no more shown, and never with all out.
    passes(n, 0, rule).then(|| smallest(1, n, |out| !passes(n, out, rule)) - 1)
}

/// Likewise `lower_bound(out, n, confidence) > 1 - proportion`.
fn fails(n: u64, out: u64, rule: &Rule) -> bool {
    0 < out && out <= n && cumulative(n - out, n, rule.proportion) < 1.0 - rule.confidence
}

/// The size of the error of a rank; `None` beyond those that were measured.
fn size_at_rank(errors: &Errors, rule: &Rule, rank: u64) -> Option<f64> {
    let index = usize::try_from(rank.checked_sub(1)?).ok()?;
    let mut sizes: Vec<f64> = errors.values().iter().map(|&error| rule.direction.size(error)).collect();
    (index < sizes.len()).then(|| *sizes.select_nth_unstable_by(index, f64::total_cmp).1)
}

/// The confidence of each of so many looks at growing trials, so that all together keep the one asked for (Bonferroni).
#[must_use]
pub fn confidence_of_a_look(confidence: f64, looks: u32) -> f64 {
    if looks <= 1 { confidence } else { 1.0 - (1.0 - confidence) / f64::from(looks) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    const RULE: Rule = Rule::absolute(3.0, 0.95, 0.95);

    /// Of 59 none, of 93 one, of 124 two, of 153 three and of 181 four (Wilks 1941, widely tabulated).
    #[test]
    fn table_most_out() {
        for (n, most) in [(58, None), (59, Some(0)), (92, Some(0)), (93, Some(1)), (124, Some(2)), (181, Some(4))] {
            assert_eq!(most_out(n, &RULE), most, "{n}");
        }
        assert_eq!(most_out(0, &RULE), None);
    }

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
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(1), failure_persistence: None, ..ProptestConfig::default() })]

        /// The two ways to say it agree: the bound of the quantile is within the limit where, and only where, the
        /// bound of the proportion is.
        #[test]
        fn identity_pass_is_bound_within_limit(
            values in prop::collection::vec(-8_i32..=8, 0..300), // whole, so that many are at the limit
            failed in 0_u64..6,
            limit in 0_u32..9,
            proportion in prop::sample::select(vec![0.6, 0.8, 0.9, 0.95, 0.99]),
            // With one half for both, a tie in exact numbers is decided by rounding.
            confidence in prop::sample::select(vec![0.5, 0.8, 0.9, 0.95, 0.99]),
        ) {
            let rule = Rule::absolute(f64::from(limit), proportion, confidence);
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

    /// One limit on one side is the limit of errors of one sign; a guard band is passed inside and failed outside.
    #[test]
    fn identity_direction_and_guard_band() {
        let errors = |sign: f64| Errors::new((0..400).map(|i| sign * f64::from(i) / 100.0).collect(), 0);
        let rule = |direction, guard| Rule { direction, guard, proportion: 0.6, ..RULE };
        // Of 400 errors from 0 to 3.99, 99 are beyond 3; beyond 2.5 are 149 and beyond 2 are 199.
        let judged = |sign, direction, guard| judge(&errors(sign), &rule(direction, guard));
        for (sign, direction, out) in [
            (1.0, Direction::Either, 99),
            (-1.0, Direction::Either, 99),
            (1.0, Direction::Above, 99),
            (-1.0, Direction::Above, 0),
            (1.0, Direction::Below, 0),
            (-1.0, Direction::Below, 99),
        ] {
            let found = judged(sign, direction, 0.0);
            assert_eq!((found.verdict, found.out), (Verdict::Pass, out), "{sign} {direction:?}");
        }
        let guarded = judged(1.0, Direction::Either, 1.0);
        assert_eq!((guarded.out, guarded.out_of_acceptance, guarded.verdict), (99, 199, Verdict::NotShown));
        assert_eq!(judged(1.0, Direction::Either, 0.1).verdict, Verdict::Pass);
        let bound = judged(1.0, Direction::Either, 0.1).bound.unwrap();
        assert!(bound <= 2.9 && guarded.bound.unwrap() > 2.0, "{bound}");
        let beyond = judge(&errors(2.0), &rule(Direction::Either, 1.0));
        assert_eq!(beyond.verdict, Verdict::Fail);
    }

    /// Failures count as out; beside them stand the bounds of what was measured alone.
    #[test]
    fn identity_failures_as_out_and_as_absent() {
        let judged = judge(&Errors::new(vec![0.5; 90], 10), &RULE);
        assert_eq!((judged.out, judged.exceed), (10, Some(0.1)));
        let [exceed, low, high] = judged.measured_only.unwrap();
        assert_eq!((exceed, low), (0.0, 0.0));
        assert!((high - upper_bound(0, 90, 0.95)).abs() < 1e-15 && judged.exceed_high > 0.1);
        assert_eq!(judge(&Errors::new(Vec::new(), 10), &RULE).measured_only, None);
    }

    /// Three looks at growing trials, each at 1 - 0.05/3: at most 73 of 1,000 repeats pass at any of them.
    #[test]
    fn coverage_wrong_passes_with_three_looks() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(5);
        let rule = Rule::absolute(0.95, 0.95, confidence_of_a_look(0.95, 3));
        let mut wrong = 0;
        for _ in 0..1000 {
            let all: Vec<f64> = (0..3000).map(|_| random.random_range(-1.0..1.0)).collect();
            let looks = [1000, 2000, 3000].map(|n| judge(&Errors::new(all[..n].to_vec(), 0), &rule).verdict);
            wrong += u32::from(looks.contains(&Verdict::Pass));
        }
        assert!((5..=73).contains(&wrong), "{wrong} of 1,000");
        assert_eq!(confidence_of_a_look(0.95, 1), 0.95);
    }

    fn devices(random: &mut Xoshiro256PlusPlus, count: u64, share: f64) -> Nested {
        let mut normal = || -> f64 { rand_distr::Distribution::sample(&rand_distr::StandardNormal, random) };
        let mut trials = Vec::new();
        for device in 0..count {
            let of_device = share.sqrt() * normal();
            let of_case = |case| (device, case, Some(of_device + (1.0 - share).sqrt() * normal()));
            trials.extend((0..20).map(of_case));
        }
        Nested::new(trials)
    }

    #[test]
    fn identity_nested_verdicts_need_devices() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(6);
        for (count, verdict) in [(299, Verdict::NotShown), (300, Verdict::Pass)] {
            let judged = judge_nested(&devices(&mut random, count, 0.3), &RULE);
            assert_eq!(judged.verdict, verdict);
            assert_eq!(judged.withheld.is_some(), verdict == Verdict::NotShown);
            assert!(judged.bound.is_some_and(|bound| bound < 3.0));
        }
        let far = Rule { limit: 0.1, ..RULE };
        assert_eq!(judge_nested(&devices(&mut random, 300, 0.3), &far).verdict, Verdict::Fail);
    }

    /// The same limit on wrong passes where cases share devices.
    #[test]
    fn coverage_wrong_passes_of_nested_verdicts() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(7);
        let rule = Rule { limit: 1.959_963_984_540_054, ..RULE };
        for share in [0.1, 0.5] {
            let passed =
                (0..1000).filter(|_| judge_nested(&devices(&mut random, 300, share), &rule).verdict == Verdict::Pass);
            let wrong = passed.count();
            assert!((5..=73).contains(&wrong), "{share}: {wrong} of 1,000");
        }
    }
}
