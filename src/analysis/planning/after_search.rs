//! What must be seen in a search so that a run that is made afterwards passes with a stated probability.

use crate::analysis::binomial::cumulative;
use crate::analysis::invert::bisect;
use crate::analysis::order::smallest;
use crate::analysis::{Rule, most_out};
use cdflib::Beta;
use cdflib::traits::ContinuousCdf;

/// Points at which the distribution of the unknown proportion is looked at.
const POINTS: u32 = 64;

/// Probability that a run of `trials` passes, after `out` of `searched` other trials were out of the limit.
///
/// The unknown proportion is given the distribution that the search leaves of it (beta with `out` + 1/2 and `searched` -
/// `out` + 1/2: Jeffreys' prior; Brown LD, Cai TT, `DasGupta` A. Stat Sci 2001;16:101-133), so that the search's own
/// sampling error counts.
#[must_use]
pub fn chance_to_pass(trials: u64, rule: &Rule, out: u64, searched: u64) -> f64 {
    let Some(most) = most_out(trials, rule) else { return 0.0 };
    let Ok(beta) = Beta::try_new(out as f64 + 0.5, (searched - out.min(searched)) as f64 + 0.5) else { return 0.0 };
    let chance = |point: u32| {
        let probability = (f64::from(point) + 0.5) / f64::from(POINTS);
        let proportion = bisect(0.0, 1.0, |proportion| beta.cdf(proportion) >= probability).1;
        cumulative(most, trials, proportion)
    };
    (0..POINTS).map(chance).sum::<f64>() / f64::from(POINTS)
}

/// The most of `searched` trials that may be out of the limit so that a run of `trials` passes with the probability;
/// `None` if not even none suffices.
#[must_use]
pub fn most_out_in_search(trials: u64, rule: &Rule, searched: u64, probability: f64) -> Option<u64> {
    let passes = |out: u64| chance_to_pass(trials, rule, out, searched) >= probability;
    passes(0).then(|| smallest(1, searched, |out| !passes(out)) - 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    const RULE: Rule = Rule::absolute(1.0, 0.95, 0.95);

    /// Search and run drawn again and again from proportions around the answer: among searches that saw just so many
    /// out, the run passes as often as stated.
    #[test]
    fn coverage_of_the_stated_probability() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(53);
        let (trials, searched) = (2000_u64, 2000_u64);
        let most = most_out(trials, &RULE).unwrap();
        let answer = most_out_in_search(trials, &RULE, searched, 0.9).unwrap();
        let count = |random: &mut Xoshiro256PlusPlus, n: u64, p: f64| {
            (0..n).filter(|_| random.random::<f64>() < p).count() as u64
        };
        let (mut seen, mut passed) = (0_u32, 0_u32);
        while seen < 300 {
            // The prior is flat here to a good approximation: the proportion is known to a few parts in a thousand.
            let proportion = 0.015 + 0.045 * random.random::<f64>();
            if count(&mut random, searched, proportion) == answer {
                seen += 1;
                passed += u32::from(count(&mut random, trials, proportion) <= most);
            }
        }
        let share = f64::from(passed) / f64::from(seen);
        assert!((share - 0.9).abs() < 3.0 * (0.09 / f64::from(seen)).sqrt() + 0.005, "{share}");
    }
}
