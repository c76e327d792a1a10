//! What correlations between components add to the linear budget: the mixed terms of the law of propagation.
//!
//! JCGM 100:2008, 5.2.2: the variance of an output has, for each pair of correlated inputs, twice the product of their
//! coefficients and their covariance.

use super::linear::{LinearInput, MULTIPLES};
use crate::experiment::Variant;
use crate::measurement::OUTPUTS;
use crate::simulation::noise::{Component, JointScores};

/// Two sources of which components are correlated; the same twice where two components of one source are.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrelatedPair {
    /// Their ids.
    pub sources: [&'static str; 2],
    /// What their correlation adds to the variance of each output.
    pub variances: [AddedVariance; OUTPUTS.len()],
}

/// What a correlation adds to the variance of an output, in its unit squared; below 0 where it cancels.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AddedVariance {
    /// With the coefficients of the budget.
    pub value: f64,
    /// The least it adds with each coefficient replaced by the change of the output over one standard uncertainty to either side.
    pub low: f64,
    /// The most it adds.
    pub high: f64,
}

/// Every pair of sources in use of which components are correlated, from the coefficients of the budget.
pub(super) fn correlated(variant: &Variant, inputs: &[LinearInput]) -> Vec<CorrelatedPair> {
    let joint = JointScores::of(&variant.model.noise.correlation);
    let mut found: Vec<CorrelatedPair> = Vec::new();
    for (pair, correlation) in joint.pairs() {
        let line = |component: &Component| {
            inputs.iter().find(|line| line.input.as_ref().is_some_and(|input| input.draws(component)))
        };
        // A source that is off has no lines.
        let (Some(one), Some(other)) = (line(&pair[0]), line(&pair[1])) else { continue };
        let Some(covariance) = covariance(variant, [one, other], pair, correlation) else { continue };
        let sources = [pair[0].source.id, pair[1].source.id];
        let index = found.iter().position(|known| known.sources == sources).unwrap_or_else(|| {
            found.push(CorrelatedPair { sources, variances: [AddedVariance::default(); OUTPUTS.len()] });
            found.len() - 1
        });
        for (output, sum) in found[index].variances.iter_mut().enumerate() {
            let (a, b) = (Slopes::of(one, output), Slopes::of(other, output));
            let products = [a.low * b.low, a.low * b.high, a.high * b.low, a.high * b.high];
            let ends = products.map(|product| 2.0 * product * covariance);
            sum.value += 2.0 * a.value * b.value * covariance;
            sum.low += ends.into_iter().fold(f64::INFINITY, f64::min);
            sum.high += ends.into_iter().fold(f64::NEG_INFINITY, f64::max);
        }
    }
    found
}

/// A coefficient, and the least and the largest change of the output over the change of the input: over a small step, and over
/// one standard uncertainty to either side.
struct Slopes {
    value: f64,
    low: f64,
    high: f64,
}

impl Slopes {
    fn of(line: &LinearInput, output: usize) -> Self {
        let value = line.slopes.map_or(f64::NAN, |slopes| slopes[output]);
        let uncertainty = line.standard_uncertainty.unwrap_or(0.0);
        let quotients = MULTIPLES.iter().zip(&line.effects).filter(|(multiple, _)| multiple.abs() == 1.0);
        let quotients = quotients.map(|(multiple, effect)| effect[output] / (multiple * uncertainty));
        let (low, high) = quotients
            .filter(|quotient| quotient.is_finite())
            .fold((value, value), |(low, high), quotient| (low.min(quotient), high.max(quotient)));
        Self { value, low, high }
    }
}

/// Covariance of two inputs as they act in a case, in the product of their units: of a landmark the mean over its captures.
fn covariance(variant: &Variant, lines: [&LinearInput; 2], pair: [Component; 2], correlation: f64) -> Option<f64> {
    let [one, other] = [lines[0].input.as_ref()?, lines[1].input.as_ref()?];
    let scale = one.scale * other.scale;
    let of_scores = |correlation: f64| scale * one.quantity.covariance(&other.quantity, correlation);
    let shares = pair.map(|component| variant.model.noise.case_share(component.source.id));
    let [Some(a), Some(b)] = shares else { return Some(of_scores(correlation)) };
    // What a case keeps is correlated in every two captures, the rest in captures of one number.
    let (kept, fresh) = ((a * b).sqrt(), ((1.0 - a) * (1.0 - b)).sqrt());
    let captures = f64::from(variant.model.protocol.landmark_captures);
    Some((of_scores(correlation * (kept + fresh)) + (captures - 1.0) * of_scores(correlation * kept)) / captures)
}
