//! Claims on two arms, and the precision of an estimate: how many trials they take.
//!
//! An estimate of a difference is taken as normal about the true difference, with the standard deviation that one pair of
//! trials contributes over the root of their number. The test itself is the one by which the claim is judged, with Student's
//! factor.

use crate::analysis::claim::Claim;
use crate::analysis::invert::{normal_below, normal_quantile, student_above};
use crate::analysis::order::{round_up, smallest_near};

/// The largest number of trials that is considered.
const MOST: u64 = 1_000_000_000;

/// A claim whose verdict is planned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlannedClaim {
    /// What is claimed.
    pub claim: Claim,
    /// Its margin, in the unit of the difference.
    pub margin: f64,
    /// Confidence of each one-sided test.
    pub confidence: f64,
    /// True difference that is assumed, the first arm minus the second.
    pub difference: f64,
    /// Standard deviation that one pair of trials contributes to the difference: its standard error from `n` trials, times
    /// the root of `n`.
    pub sd: f64,
}

impl PlannedClaim {
    /// Probability that the claim is shown by so many pairs of trials.
    #[must_use]
    pub fn probability(&self, trials: u64) -> f64 {
        if trials < 2 {
            return 0.0;
        }
        let n = trials as f64;
        let error = self.sd / n.sqrt();
        let reach = student_above(1.0 - self.confidence, n - 1.0) * error;
        let room = self.margin - reach;
        let below = |end: f64| if error > 0.0 { normal_below((end - self.difference) / error) } else { 1.0 };
        match self.claim {
            Claim::Equivalent => (below(room) - if error > 0.0 { below(-room) } else { 0.0 }).max(0.0),
            Claim::NotWorse => below(room),
            Claim::Better => below(-self.margin - reach),
        }
    }

    /// Whether the claim holds if the assumed difference is the true one.
    #[must_use]
    pub fn holds(&self) -> bool {
        match self.claim {
            Claim::Equivalent => self.difference.abs() < self.margin,
            Claim::NotWorse => self.difference < self.margin,
            Claim::Better => self.difference < -self.margin,
        }
    }

    /// The smallest number of pairs of trials that shows the claim with the probability; `None` where the claim does not
    /// hold, and beyond a billion.
    #[must_use]
    pub fn trials_needed(&self, probability: f64) -> Option<u64> {
        let reached = |trials: u64| self.probability(trials) >= probability;
        if !self.holds() || !reached(MOST) {
            return None;
        }
        let room = match self.claim {
            Claim::Better => -self.margin - self.difference,
            Claim::Equivalent | Claim::NotWorse => self.margin - self.difference.max(0.0),
        };
        let scores = 3.0 * self.sd / room;
        Some(smallest_near(round_up(scores * scores), (2, MOST), reached))
    }
}

/// How many trials an estimate takes to have the standard error, after `trials` gave it another: it falls with the root of
/// their number. `None` beyond a billion.
#[must_use]
pub fn trials_for_standard_error(trials: u64, standard_error: f64, target: f64) -> Option<u64> {
    let ratio = standard_error / target;
    let needed = trials as f64 * ratio * ratio;
    // Rounding alone asks for no further trial.
    (needed <= MOST as f64).then(|| round_up(needed * (1.0 - 1e-12)).max(2))
}

/// Estimates of a sample whose precision is planned, with the standard error that one normal error of mean 0 and standard
/// deviation 1 gives them: it falls with the root of the number of trials.
///
/// Bias 1; standard deviation and root mean square `1 / sqrt(2)` (Ahn S, Fessler JA. Standard errors of mean, variance, and
/// standard deviation estimators. 2003; from memory); the 95th percentile of the absolute error `sqrt(0.95 0.05)` over the
/// density of the absolute error there (David HA, Nagaraja HN. Order Statistics, 10.2; from memory).
#[must_use]
pub fn normal_standard_errors() -> [(&'static str, f64); 4] {
    let score = normal_quantile(0.975);
    let density = 2.0 * libm::exp(-0.5 * score * score) / (2.0 * std::f64::consts::PI).sqrt();
    [
        ("bias", 1.0),
        ("standard deviation", std::f64::consts::FRAC_1_SQRT_2),
        ("root mean square", std::f64::consts::FRAC_1_SQRT_2),
        ("95th percentile", (0.95_f64 * 0.05).sqrt() / density),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::paired::{Measure, Paired};
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    fn planned(claim: Claim, difference: f64) -> PlannedClaim {
        PlannedClaim { claim, margin: 0.25, confidence: 0.95, difference, sd: 1.0 }
    }

    /// Normal theory without Student's factor: `n = ((z(confidence) + z(probability)) sd / (margin - difference))^2`, for
    /// equivalence without a difference with `z((1 + probability)/2)`; scores 1.644854, 1.281552 and 0.841621 (standard normal
    /// table). Student's factor adds about `z^2 / 2` (Guenther WC. Am Stat 1981;35:243-244; from memory).
    #[test]
    fn table_trials_by_normal_theory() {
        for (claim, difference, probability, scores) in [
            (Claim::NotWorse, 0.0, 0.8, 1.644_854 + 0.841_621),
            (Claim::NotWorse, 0.0, 0.9, 1.644_854 + 1.281_552),
            (Claim::NotWorse, 0.1, 0.9, 1.644_854 + 1.281_552),
            (Claim::NotWorse, -0.1, 0.8, 1.644_854 + 0.841_621),
            (Claim::Equivalent, 0.0, 0.8, 1.644_854 + 1.281_552),
            (Claim::Equivalent, 0.0, 0.9, 2.0 * 1.644_854),
            (Claim::Better, -0.5, 0.9, 1.644_854 + 1.281_552),
        ] {
            let room = if claim == Claim::Better { -0.25 - difference } else { 0.25 - difference };
            let expected = libm::pow(scores / room, 2.0) + 0.5 * 1.644_854 * 1.644_854;
            let found = planned(claim, difference).trials_needed(probability).unwrap() as f64;
            assert!((found - expected).abs() <= 1.5, "{claim:?} {difference} {probability}: {found} {expected}");
        }
    }

    #[test]
    fn identity_the_smallest_number() {
        for difference in [-0.2, 0.0, 0.2] {
            let planned = planned(Claim::Equivalent, difference);
            let found = planned.trials_needed(0.8).unwrap();
            assert!(planned.probability(found) >= 0.8 && planned.probability(found - 1) < 0.8);
            let other = PlannedClaim { difference: -difference, ..planned };
            assert_eq!(other.trials_needed(0.8), Some(found), "a difference either way");
        }
        assert_eq!(planned(Claim::Equivalent, 0.25).trials_needed(0.8), None);
        assert_eq!(planned(Claim::NotWorse, 0.3).trials_needed(0.8), None);
        assert_eq!(planned(Claim::Better, -0.25).trials_needed(0.8), None);
        let same = PlannedClaim { sd: 0.0, ..planned(Claim::Equivalent, 0.0) };
        assert_eq!((same.trials_needed(0.9), same.probability(1)), (Some(2), 0.0));
    }

    /// Claims on simulated arms are shown as often as planned.
    #[test]
    fn coverage_of_the_stated_probability() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(61);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        for (claim, difference) in [(Claim::Equivalent, 0.05), (Claim::NotWorse, 0.1), (Claim::Better, -0.4)] {
            let planned = planned(claim, difference);
            let trials = planned.trials_needed(0.8).unwrap();
            let repeats = 1500;
            let shown = (0..repeats).filter(|_| {
                let (a, b): (Vec<f64>, Vec<f64>) = (0..trials)
                    .map(|_| {
                        let common = 2.0 * normal();
                        (common + difference + 0.6 * normal(), common + 0.8 * normal())
                    })
                    .unzip();
                let found = Paired::new(&a, &b, None, 0.95).contrast(Measure::Bias).unwrap();
                let tested = claim.test(&found, planned.margin, planned.confidence).unwrap();
                tested.shown <= 1.0 - planned.confidence
            });
            let share = shown.count() as f64 / f64::from(repeats);
            let stated = planned.probability(trials);
            let standard_error = (stated * (1.0 - stated) / f64::from(repeats)).sqrt();
            assert!((share - stated).abs() < 3.5 * standard_error, "{claim:?}: {share} of {stated}");
        }
    }

    /// Standard deviations of the four estimates over repeated samples of normal errors.
    #[test]
    fn outside_standard_errors_of_normal_samples() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(67);
        let (repeats, trials) = (2000_usize, 400_usize);
        let mut found = [const { Vec::new() }; 4];
        for _ in 0..repeats {
            let errors: Vec<f64> = (0..trials).map(|_| StandardNormal.sample(&mut random)).collect();
            let n = trials as f64;
            let mean = errors.iter().sum::<f64>() / n;
            let squares = errors.iter().map(|error| error * error).sum::<f64>();
            let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
            sizes.sort_by(f64::total_cmp);
            let variance = (squares - n * mean * mean) / (n - 1.0);
            let estimates = [mean, variance.sqrt(), (squares / n).sqrt(), sizes[379]];
            found.iter_mut().zip(estimates).for_each(|(all, one)| all.push(one));
        }
        for ((name, expected), all) in normal_standard_errors().into_iter().zip(found) {
            let mean = all.iter().sum::<f64>() / repeats as f64;
            let variance = all.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / (repeats - 1) as f64;
            let ratio = (variance * trials as f64).sqrt() / expected;
            // The standard error of a standard deviation is 1 / sqrt(2 repeats) of it; 400 trials are not quite the limit.
            let allowed = 3.5 / (2.0 * repeats as f64).sqrt() + 4.0 / trials as f64;
            assert!((ratio - 1.0).abs() < allowed, "{name}: {ratio}");
        }
    }

    /// The standard error of a mean: four times the trials for half of it.
    #[test]
    fn identity_trials_for_a_standard_error() {
        assert_eq!(trials_for_standard_error(100, 0.2, 0.1), Some(400));
        assert_eq!(trials_for_standard_error(1000, 0.01, 0.01), Some(1000));
        assert_eq!(trials_for_standard_error(1000, 0.0, 0.01), Some(2));
        assert_eq!(trials_for_standard_error(1_000_000, 10.0, 1e-6), None);
        assert_eq!(trials_for_standard_error(1000, f64::NAN, 0.01), None);
    }
}
