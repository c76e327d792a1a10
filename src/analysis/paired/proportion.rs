//! Proportions of the same trials in two arms.

use super::{Difference, Method, Paired};
use crate::analysis::binomial::cumulative;
use crate::analysis::interval::Interval;
use crate::analysis::invert::normal_above;
use crate::analysis::verdict::Rule;

impl Paired<'_> {
    /// The proportion of all trials within the limit of a rule; a failed trial is out.
    #[must_use]
    pub fn conformance(&self, rule: &Rule) -> Option<Difference> {
        self.proportion(|a, b| Some([!rule.beyond(a), !rule.beyond(b)]))
    }

    /// The proportion of all trials without a reading.
    #[must_use]
    pub fn failure_rate(&self) -> Option<Difference> {
        self.proportion(|a, b| Some([!a.is_finite(), !b.is_finite()]))
    }

    /// The proportion of trials in which each arm is the one nearer to the truth, among those that both read; a tie is won by
    /// neither.
    #[must_use]
    pub fn win_rate(&self) -> Option<Difference> {
        let wins = |a: f64, b: f64| (a.is_finite() && b.is_finite()).then(|| [a.abs() < b.abs(), b.abs() < a.abs()]);
        Some(Difference { unpaired_standard_error: None, ..self.proportion(wins)? })
    }

    /// Two proportions of the same trials, those for which `holds` says something. Of independent trials the interval adds
    /// half a trial to each of the four outcomes (Agresti A, Min Y. Stat Med 2005;24:729-740) and the probability is that of
    /// the exact sign test on trials in which the arms differ (`McNemar` Q. Psychometrika 1947;12:153-157).
    fn proportion(&self, holds: impl Fn(f64, f64) -> Option<[bool; 2]>) -> Option<Difference> {
        let [mut n, mut in_a, mut in_b, mut only_a, mut only_b] = [0_u64; 5];
        for [a, b] in self.a.iter().zip(self.b).filter_map(|(&a, &b)| holds(a, b)) {
            n += 1;
            in_a += u64::from(a);
            in_b += u64::from(b);
            only_a += u64::from(a && !b);
            only_b += u64::from(b && !a);
        }
        if n == 0 {
            return None;
        }
        let [value_a, value_b] = [in_a, in_b].map(|count| count as f64 / n as f64);
        let spread = self.spread(n, |a, b| {
            holds(a, b).map(|[a, b]| [f64::from(u8::from(a)) - value_a, f64::from(u8::from(b)) - value_b])
        });
        let found = Difference {
            value_a,
            value_b,
            difference: value_a - value_b,
            standard_error: spread.paired,
            unpaired_standard_error: spread.unpaired,
            interval: None,
            open: [false; 2],
            p: None,
            n,
            degrees_of_freedom: spread.units - 1.0,
            method: Method::Student,
        };
        Some(if self.devices.is_some() {
            found.by_student(self.confidence)
        } else {
            let interval = Some(agresti_min(only_a, only_b, n, self.confidence));
            Difference { interval, p: Some(sign_test(only_a, only_b)), method: Method::Counts, ..found }
        })
    }
}

/// Interval of the difference of two proportions from the trials in which only one of them counts.
pub(super) fn agresti_min(only_a: u64, only_b: u64, n: u64, confidence: f64) -> Interval {
    let (a, b, n) = (only_a as f64 + 0.5, only_b as f64 + 0.5, n as f64 + 2.0);
    let middle = (a - b) / n;
    let reach = normal_above(0.5 * (1.0 - confidence)) * ((a + b) / n - middle * middle).max(0.0).sqrt() / n.sqrt();
    Interval { low: (middle - reach).max(-1.0), high: (middle + reach).min(1.0), confidence }
}

/// Probability of so uneven a split of the trials in which only one counts, two-sided.
pub(super) fn sign_test(only_a: u64, only_b: u64) -> f64 {
    let (fewer, all) = (only_a.min(only_b), only_a + only_b);
    if all == 0 { 1.0 } else { (2.0 * cumulative(fewer, all, 0.5)).min(1.0) }
}
