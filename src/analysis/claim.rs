//! Equivalence, non-inferiority and superiority by a margin stated beforehand.
//!
//! "No difference was found" is no evidence that there is none: a run of few trials finds none either. So the claim carries
//! the burden of proof: it is shown where tests reject that it is false. For equivalence these are both one-sided tests at
//! alpha (Schuirmann DJ. J Pharmacokinet Biopharm 1987;15:657-680). The opposite of a claim is shown where the two-sided
//! interval at 1 - alpha lies beyond the margin.

use super::paired::Contrast;

/// What is claimed of two arms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Claim {
    /// The first differs from the second by less than the margin, either way.
    Equivalent,
    /// The first is larger than the second by less than the margin; smaller it may be.
    NotWorse,
    /// The first is smaller than the second by more than the margin.
    Better,
}

impl Claim {
    /// All.
    pub const ALL: [Self; 3] = [Self::Equivalent, Self::NotWorse, Self::Better];

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Equivalent => "equivalent",
            Self::NotWorse => "not-worse",
            Self::Better => "better",
        }
    }

    /// Tests of a claim with a margin, in the unit of the difference. `None` where no test is possible at this two-sided
    /// confidence.
    #[must_use]
    pub fn test(self, found: &Contrast, margin: f64, confidence: f64) -> Option<ClaimTest> {
        let [less_than_margin, more_than_margin] = found.one_sided(margin, confidence)?;
        let [less_than_minus, more_than_minus] = found.one_sided(-margin, confidence)?;
        let (shown, refuted) = match self {
            Self::Equivalent => (less_than_margin.max(more_than_minus), more_than_margin.min(less_than_minus)),
            Self::NotWorse => (less_than_margin, more_than_margin),
            Self::Better => (less_than_minus, more_than_minus),
        };
        Some(ClaimTest { shown, refuted: (2.0 * refuted).min(1.0) })
    }
}

/// Probabilities of data as these.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClaimTest {
    /// If the claim were false.
    pub shown: f64,
    /// If the claim were true, two-sided.
    pub refuted: f64,
}

/// What the trials say of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ClaimVerdict {
    /// The claim is shown.
    Shown(Claim),
    /// The opposite is shown: the difference is beyond the margin.
    Refuted(Claim),
    /// The trials show neither.
    NotShown,
    /// The claim is not primary: no verdict.
    Exploratory,
}

impl ClaimVerdict {
    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Shown(Claim::Equivalent) => "equivalent",
            Self::Shown(Claim::NotWorse) => "not worse",
            Self::Shown(Claim::Better) => "better",
            Self::Refuted(Claim::Equivalent) => "different",
            Self::Refuted(Claim::NotWorse) => "worse",
            Self::Refuted(Claim::Better) => "not better",
            Self::NotShown => "not shown",
            Self::Exploratory => "exploratory",
        }
    }
}

/// The level of a family of primary claims.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Chance of any wrong claim that is taken, over the whole family.
    pub alpha: f64,
    /// Number of tests in the family: primary claims times points.
    pub tests: usize,
}

impl Level {
    /// The confidence of each interval, with which all of the family hold at once.
    #[must_use]
    pub fn confidence(self) -> f64 {
        1.0 - self.each()
    }

    fn each(self) -> f64 {
        self.alpha / self.tests.max(1) as f64
    }

    /// The verdict on a claim from its adjusted probability, and from that of its opposite.
    #[must_use]
    pub fn verdict(self, claim: Claim, adjusted: f64, refuted: f64) -> ClaimVerdict {
        if adjusted <= self.alpha {
            ClaimVerdict::Shown(claim)
        } else if refuted <= self.each() {
            ClaimVerdict::Refuted(claim)
        } else {
            ClaimVerdict::NotShown
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::paired::{Measure, Paired};
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    const ALONE: Level = Level { alpha: 0.05, tests: 1 };

    /// Differences of 20,000 trials that alternate about a mean: its standard error is 0.1, its degrees of freedom are so
    /// many that Student's t is normal to four digits.
    fn verdict(mean: f64, claim: Claim, margin: f64) -> ClaimVerdict {
        let n = 20_000;
        let half = 0.1 * f64::sqrt(f64::from(n) - 1.0);
        let a: Vec<f64> = (0..n).map(|i| mean + if i % 2 == 0 { half } else { -half }).collect();
        let b = vec![0.0; a.len()];
        let found = Paired::new(&a, &b, None, 0.95).contrast(Measure::Bias).unwrap();
        let tested = claim.test(&found, margin, 0.95).unwrap();
        ALONE.verdict(claim, tested.shown, tested.refuted)
    }

    /// One-sided 95 % factor 1.645, two-sided 1.960, with a standard error of 0.1 and a margin of 0.5.
    #[test]
    fn table_where_the_verdict_turns() {
        use Claim::{Better, Equivalent, NotWorse};
        use ClaimVerdict::{NotShown, Refuted, Shown};
        for (difference, equivalent, not_worse, better) in [
            (0.0, Shown(Equivalent), Shown(NotWorse), Refuted(Better)),
            (0.335, Shown(Equivalent), Shown(NotWorse), Refuted(Better)),
            (0.336, NotShown, NotShown, Refuted(Better)),
            (0.695, NotShown, NotShown, Refuted(Better)),
            (0.697, Refuted(Equivalent), Refuted(NotWorse), Refuted(Better)),
            (-0.303, Shown(Equivalent), Shown(NotWorse), Refuted(Better)),
            (-0.305, Shown(Equivalent), Shown(NotWorse), NotShown),
            (-0.336, NotShown, Shown(NotWorse), NotShown),
            (-0.664, NotShown, Shown(NotWorse), NotShown),
            (-0.665, NotShown, Shown(NotWorse), Shown(Better)),
            (-2.0, Refuted(Equivalent), Shown(NotWorse), Shown(Better)),
        ] {
            assert_eq!(verdict(difference, Equivalent, 0.5), equivalent, "{difference}");
            assert_eq!(verdict(difference, NotWorse, 0.5), not_worse, "{difference}");
            assert_eq!(verdict(difference, Better, 0.5), better, "{difference}");
        }
        assert_eq!(verdict(-0.165, Better, 0.0), Shown(Better));
        assert_eq!(verdict(-0.164, Better, 0.0), NotShown);
    }

    /// The level of one among five: shown by the adjusted probability, refuted at a fifth of alpha.
    #[test]
    fn table_the_level_of_a_family() {
        let five = Level { alpha: 0.05, tests: 5 };
        assert!((five.confidence() - 0.99).abs() < 1e-15);
        let verdict = |adjusted, refuted| five.verdict(Claim::Better, adjusted, refuted).word();
        assert_eq!(
            [verdict(0.05, 1.0), verdict(0.051, 0.0099), verdict(0.051, 0.011)],
            ["better", "not better", "not shown"]
        );
    }

    /// Trials that are the same in both arms say nothing of how far apart the arms may be.
    #[test]
    fn identity_no_claim_from_identical_trials() {
        let errors: Vec<f64> = (0..50).map(|i| f64::from(i * i % 17)).collect();
        for measure in Measure::MAGNITUDES {
            let found = Paired::new(&errors, &errors, None, 0.95).contrast(measure).unwrap();
            assert_eq!(Claim::Equivalent.test(&found, 1.0, 0.95), None, "{measure:?}");
        }
    }

    /// Where the true difference is the margin itself, equivalence is claimed wrongly in at most 5 of 100 runs.
    #[test]
    fn coverage_a_wrong_claim_is_rare() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(53);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let repeats = 4000;
        let wrong = (0..repeats).filter(|_| {
            let (a, b): (Vec<f64>, Vec<f64>) = (0..200).map(|_| (0.3 + normal(), normal())).unzip();
            let found = Paired::new(&a, &b, None, 0.95).contrast(Measure::Bias).unwrap();
            Claim::Equivalent.test(&found, 0.3, 0.95).is_some_and(|tested| tested.shown <= 0.05)
        });
        let share = wrong.count() as f64 / f64::from(repeats);
        let standard_error = (0.05_f64 * 0.95 / f64::from(repeats)).sqrt();
        assert!((share - 0.05).abs() < 3.5 * standard_error, "{share}");
    }
}
