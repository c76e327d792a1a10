//! Claims on two arms: the primary ones judged together at one level, the others exploratory.

use super::comparison::Pair;
use super::looks::Look;
use crate::analysis::claim::{ClaimTest, ClaimVerdict, Level};
use crate::analysis::confidence_of_a_look;
use crate::analysis::multiplicity::Multiplicity;
use crate::analysis::paired::{Contrast, Difference, Paired};
use crate::experiment::{Comparison, Plan};
use crate::measurement::Output;

/// A claim at one point.
#[derive(Clone, Debug)]
pub struct JudgedClaim<'p> {
    /// The claim.
    pub claim: &'p Comparison,
    /// The arm that it is about, and the one that it is held against.
    pub arms: Pair<'p>,
    /// The first minus the second; `None` where no trial was read by both. Its interval is that of the family for a primary
    /// claim, else at the confidence of the claim.
    pub found: Option<Difference>,
    /// The tests of the claim; `None` where none is possible.
    pub test: Option<ClaimTest>,
    /// Probability of the test, adjusted over all primary claims; of a primary claim that could be tested.
    pub adjusted: Option<f64>,
    /// The verdict.
    pub verdict: ClaimVerdict,
    /// Whether there is no verdict because trials were added after one was seen.
    pub withheld: bool,
}

/// The confidence of the one-sided tests by which a claim is planned: a primary one as the first step of Holm's correction.
#[must_use]
pub fn test_confidence(plan: &Plan, claim: &Comparison) -> f64 {
    let primary = plan.comparisons.iter().filter(|claim| claim.primary).count() * plan.points.len().max(1);
    let tests = if claim.primary && plan.multiplicity == Multiplicity::Holm { primary } else { 1 };
    confidence_of_a_look(claim.confidence, plan.looks.saturating_mul(u32::try_from(tests).unwrap_or(u32::MAX)))
}

/// The level of the primary claims of a plan, each of which is tested at every point; `None` without any.
pub(super) fn level(plan: &Plan, look: &Look) -> Option<Level> {
    let primary = plan.comparisons.iter().filter(|claim| claim.primary);
    let confidence = primary.clone().map(|claim| claim.confidence).next()?;
    let alpha = 1.0 - confidence_of_a_look(confidence, look.declared);
    Some(Level { alpha, tests: primary.count() * plan.points.len().max(1) })
}

/// The claims on one pair of arms and one output, tested by themselves and without a verdict as yet.
pub(super) fn tested<'p>(
    plan: &'p Plan,
    [a, b]: Pair<'p>,
    output: Output,
    paired: &Paired,
    level: Option<Level>,
) -> Vec<JudgedClaim<'p>> {
    let of_pair = |claim: &&Comparison| {
        let names = [claim.arm.as_str(), claim.against.as_str()];
        claim.output == output && (names == [&a.arm, &b.arm] || names == [&b.arm, &a.arm])
    };
    let test = |claim: &'p Comparison| {
        let exchanged = claim.arm == b.arm;
        let confidence = level.filter(|_| claim.primary).map_or(claim.confidence, Level::confidence);
        let contrast = paired.contrast(claim.measure);
        let contrast = if exchanged { contrast.map(Contrast::exchanged) } else { contrast };
        JudgedClaim {
            claim,
            arms: if exchanged { [b, a] } else { [a, b] },
            found: contrast.as_ref().map(|contrast| contrast.difference(confidence)),
            test: contrast.and_then(|contrast| claim.claim.test(&contrast, claim.margin, confidence)),
            adjusted: None,
            verdict: ClaimVerdict::Exploratory,
            withheld: false,
        }
    };
    plan.comparisons.iter().filter(of_pair).map(test).collect()
}

/// Judges the primary claims, which are in the order of the plan.
pub(super) fn judge(plan: &Plan, claims: &mut [JudgedClaim], level: Option<Level>, look: &Look) {
    let Some(level) = level else { return };
    let mut primary: Vec<&mut JudgedClaim> = claims.iter_mut().filter(|judged| judged.claim.primary).collect();
    // What cannot be tested keeps its place in the family.
    let probabilities: Vec<f64> = primary.iter().map(|judged| judged.test.map_or(1.0, |test| test.shown)).collect();
    let adjusted = plan.multiplicity.adjusted(&probabilities);
    for (judged, adjusted) in primary.iter_mut().zip(adjusted) {
        judged.adjusted = judged.test.map(|_| adjusted);
        judged.withheld = look.undeclared;
        judged.verdict = match judged.test {
            Some(test) if !look.undeclared => level.verdict(judged.claim.claim, adjusted, test.refuted),
            _ => ClaimVerdict::NotShown,
        };
    }
}
