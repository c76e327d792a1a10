//! How many trials show a requirement.

use super::order::{needed_one_sided, round_up, smallest};
use super::verdict::Rule;

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
    use crate::analysis::passes;

    fn rule(proportion: f64, confidence: f64) -> Rule {
        Rule::absolute(1.0, proportion, confidence)
    }

    /// Every number of trials, tried one after the other.
    #[test]
    fn outside_needed_trials_by_trying_all() {
        for (proportion, confidence) in [(0.95, 0.95), (0.99, 0.95), (0.9, 0.9), (0.5, 0.8), (0.95, 0.6)] {
            let rule = rule(proportion, confidence);
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
        assert_eq!(trials_needed(&rule(0.95, 0.95), 0.05), None);
        assert_eq!(trials_needed(&rule(0.95, 0.95), 0.2), None);
        assert_eq!(trials_needed(&rule(0.95, 0.95), f64::NAN), None);
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // small whole numbers
    fn out_near(n: u64, guess: f64, expected_out: f64) -> u64 {
        let guess = guess as u64;
        let fits = |&out: &u64| out as f64 / n as f64 <= expected_out;
        [guess + 1, guess, guess.saturating_sub(1)].into_iter().find(fits).unwrap_or(0)
    }
}
