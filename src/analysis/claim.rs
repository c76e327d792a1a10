//! Equivalence and non-inferiority: whether two arms differ by less than a margin stated beforehand.
//!
//! "No difference was found" is no evidence that there is none: a run of few trials finds none either. A claim is shown where
//! an interval of the difference lies inside the margin, so it is the claim that carries the burden of proof. For
//! equivalence both one-sided tests at alpha are the interval at 1 - 2 alpha (Schuirmann DJ. J Pharmacokinet Biopharm
//! 1987;15:657-680).

use super::interval::Interval;
use super::paired::Difference;

/// What is claimed of two arms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Claim {
    /// The first differs from the second by less than the margin, either way.
    Equivalent,
    /// The first is larger than the second by less than the margin; smaller it may be.
    NotWorse,
}

impl Claim {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Equivalent, Self::NotWorse];

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Equivalent => "equivalent",
            Self::NotWorse => "not-worse",
        }
    }
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
}

impl ClaimVerdict {
    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Shown(Claim::Equivalent) => "equivalent",
            Self::Shown(Claim::NotWorse) => "not worse",
            Self::Refuted(Claim::Equivalent) => "different",
            Self::Refuted(Claim::NotWorse) => "worse",
            Self::NotShown => "not shown",
        }
    }
}

/// Judges a claim with a margin, in the unit of the difference, and the confidence of each one-sided test. Also gives the
/// interval it rests on; `None` where too few trials are there for one.
#[must_use]
pub fn judge_claim(
    found: &Difference,
    claim: Claim,
    margin: f64,
    confidence: f64,
) -> (ClaimVerdict, Option<Interval>) {
    let Some(interval) = found.interval_at(2.0 * confidence - 1.0) else { return (ClaimVerdict::NotShown, None) };
    let Interval { low, high, .. } = interval;
    let (inside, outside) = match claim {
        Claim::Equivalent => (-margin <= low && high <= margin, high < -margin || margin < low),
        Claim::NotWorse => (high <= margin, margin < low),
    };
    let verdict = match (inside, outside) {
        (true, _) => ClaimVerdict::Shown(claim),
        (_, true) => ClaimVerdict::Refuted(claim),
        _ => ClaimVerdict::NotShown,
    };
    (verdict, Some(interval))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::paired::{Measure, Paired};
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    fn found(difference: f64, standard_error: f64) -> Difference {
        Difference {
            value_a: difference,
            value_b: 0.0,
            difference,
            standard_error: Some(standard_error),
            unpaired_standard_error: None,
            interval: None,
            p: None,
            n: 10_001,
            degrees_of_freedom: 10_000.0,
        }
    }

    /// With 10,000 degrees of freedom the one-sided 95 % factor is 1.645.
    #[test]
    fn table_where_the_verdict_turns() {
        use Claim::{Equivalent, NotWorse};
        use ClaimVerdict::{NotShown, Refuted, Shown};
        let verdict = |difference, claim| judge_claim(&found(difference, 0.1), claim, 0.5, 0.95).0;
        for (difference, equivalent, not_worse) in [
            (0.0, Shown(Equivalent), Shown(NotWorse)),
            (0.335, Shown(Equivalent), Shown(NotWorse)),
            (0.336, NotShown, NotShown),
            (0.664, NotShown, NotShown),
            (0.665, Refuted(Equivalent), Refuted(NotWorse)),
            (-0.336, NotShown, Shown(NotWorse)),
            (-2.0, Refuted(Equivalent), Shown(NotWorse)),
        ] {
            assert_eq!(verdict(difference, Equivalent), equivalent, "{difference}");
            assert_eq!(verdict(difference, NotWorse), not_worse, "{difference}");
        }
        let without = Difference { standard_error: None, ..found(0.0, 0.0) };
        assert_eq!(judge_claim(&without, Equivalent, 0.5, 0.95), (NotShown, None));
    }

    #[test]
    fn identity_an_arm_is_equivalent_to_itself() {
        let errors: Vec<f64> = (0..50).map(|i| f64::from(i * i % 17)).collect();
        for measure in Measure::MAGNITUDES {
            let found = Paired::new(&errors, &errors, None, 0.95).magnitude(measure).unwrap();
            let (verdict, interval) = judge_claim(&found, Claim::Equivalent, 1e-9, 0.95);
            assert_eq!(verdict.word(), "equivalent");
            assert_eq!(interval.map(|ends| (ends.low, ends.high)), Some((0.0, 0.0)));
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
            let found = Paired::new(&a, &b, None, 0.95).magnitude(Measure::Bias).unwrap();
            judge_claim(&found, Claim::Equivalent, 0.3, 0.95).0 == ClaimVerdict::Shown(Claim::Equivalent)
        });
        let share = wrong.count() as f64 / f64::from(repeats);
        let standard_error = (0.05_f64 * 0.95 / f64::from(repeats)).sqrt();
        assert!((share - 0.05).abs() < 3.5 * standard_error, "{share}");
    }
}
