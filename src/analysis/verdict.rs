//! Whether a requirement is shown: that a proportion of the errors is within a limit, with a confidence.

use super::binomial::{cumulative, lower_bound, upper_bound};
use super::device_bound::{DeviceCount, DeviceCounts};
use super::nested::Nested;
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
    /// In a nested design, the devices that the bounds rest on.
    pub devices: Option<Devices>,
    /// Why no verdict is given, whatever the counts say.
    pub withheld: Option<Withheld>,
}

/// Devices of a nested design.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Devices {
    /// Number of devices.
    pub count: u64,
    /// Number of independent trials with the same standard error of the proportion out of the acceptance limit; `None` where
    /// no trial or every trial is out. A description: no bound is made from it.
    pub n_effective: Option<f64>,
}

/// Why there is no verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Withheld {
    /// Verdicts had been seen before, and the plan had not declared so many looks.
    UndeclaredLook,
    /// A nested design that cannot pass, whatever the counts.
    TooFewDevices {
        /// Number of devices.
        devices: u64,
        /// The fewest with which it can pass; `None` if a billion are not enough.
        needed: Option<u64>,
    },
}

impl Withheld {
    /// Why, in a sentence.
    #[must_use]
    pub fn sentence(self) -> String {
        match self {
            Self::UndeclaredLook => {
                "Verdicts had been seen before, and the plan had not declared so many looks beforehand. Repeating an \
                 assessment until it passes would bias the verdict, so none is given."
                    .to_owned()
            }
            Self::TooFewDevices { devices, needed } => {
                let needed = needed.map_or_else(
                    || "no number of devices is enough".to_owned(),
                    |needed| format!("at least {needed} devices are needed"),
                );
                format!(
                    "This design cannot pass: {needed} even if no trial is out of the limit, and it has {devices}. More cases \
                     on each device do not replace devices."
                )
            }
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
        devices: None,
        withheld: None,
    }
}

/// Judges errors of a nested design by the same rule, with bounds that rest on whole devices ([`super::device_bound`]).
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
    Judgement { bound: quantile_bound(nested, rule), ..judge_devices(&of_devices, rule) }
}

/// The smallest size of an error beyond which so few trials lie that the requirement passes.
fn quantile_bound(nested: &Nested, rule: &Rule) -> Option<f64> {
    let sizes = |values: &[f64]| -> Vec<f64> { values.iter().map(|&error| rule.direction.size(error)).collect() };
    let of_devices: Vec<(Vec<f64>, u64)> =
        nested.devices().iter().map(|device| (sizes(&device.values), device.failed)).collect();
    let mut all: Vec<f64> = of_devices.iter().flat_map(|device| &device.0).copied().collect();
    all.sort_unstable_by(f64::total_cmp);
    let last = all.len().checked_sub(1)?;
    let passes_with = |limit: f64| {
        let beyond = |(sizes, failed): &(Vec<f64>, u64)| DeviceCount {
            outside: failed + sizes.iter().filter(|&&size| size > limit).count() as u64,
            trials: failed + sizes.len() as u64,
        };
        of_devices.iter().map(beyond).collect::<DeviceCounts>().passes(rule.proportion, rule.confidence)
    };
    let at = |index: u64| usize::try_from(index).ok().and_then(|index| all.get(index)).copied();
    passes_with(all[last]).then(|| smallest(0, last as u64, |index| at(index).is_some_and(passes_with))).and_then(at)
}

/// Judges counts of whole devices. A design that cannot pass gives no verdict but "fail".
#[must_use]
pub fn judge_devices(devices: &[Counts], rule: &Rule) -> Judgement {
    let &Rule { proportion, confidence, .. } = rule;
    let sum = |of: fn(&Counts) -> u64| devices.iter().map(of).sum::<u64>();
    let all = Counts {
        n: sum(|counts| counts.n),
        failed: sum(|counts| counts.failed),
        beyond: sum(|counts| counts.beyond),
        beyond_acceptance: sum(|counts| counts.beyond_acceptance),
    };
    let of = |outside: fn(&Counts) -> u64, trials: fn(&Counts) -> u64| -> DeviceCounts {
        devices.iter().map(|counts| DeviceCount { outside: outside(counts), trials: trials(counts) }).collect()
    };
    let out = of(|counts| counts.failed + counts.beyond, |counts| counts.n);
    let accepted = of(|counts| counts.failed + counts.beyond_acceptance, |counts| counts.n);
    let simple = judge_counts(&all, rule);
    let measured_only = simple.measured_only.map(|[exceed, ..]| {
        let low = of(|counts| counts.beyond, |counts| counts.n - counts.failed);
        let high = of(|counts| counts.beyond_acceptance, |counts| counts.n - counts.failed);
        [exceed, low.lower_bound(confidence), high.upper_bound(confidence)]
    });
    let verdict = match (accepted.passes(proportion, confidence), out.fails(proportion, confidence)) {
        (true, false) => Verdict::Pass,
        (false, true) => Verdict::Fail,
        _ => Verdict::NotShown,
    };
    let judged = Judgement {
        verdict,
        exceed_low: out.lower_bound(confidence),
        exceed_high: accepted.upper_bound(confidence),
        measured_only,
        devices: Some(Devices { count: accepted.devices(), n_effective: accepted.effective_number() }),
        ..simple
    };
    let needed = accepted.fewest_devices(proportion, confidence);
    if verdict == Verdict::NotShown && needed.is_none_or(|needed| needed > accepted.devices()) {
        judged.withheld(Withheld::TooFewDevices { devices: accepted.devices(), needed })
    } else {
        judged
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
mod tests;
