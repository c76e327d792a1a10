//! A pilot: a few cases of a plan's own model, drawn with another seed, for what cannot be planned without a standard
//! deviation. None of its cases belongs to a run, and none of its results is a verdict.

use crate::analysis::CONFIDENCE;
use crate::analysis::paired::Paired;
use crate::analysis::planning::PlannedClaim;
use crate::experiment::{Comparison, Plan, Variant};
use crate::trial::{Progress, RunError, errors_in_memory};

/// Cases of each arm.
pub const PILOT_CASES: usize = 200;

/// What is added to the seed of a plan.
const OTHER_SEED: u64 = 0x7069_6c6f_7420_7365;

/// A claim with what the pilot found of it.
#[derive(Clone, Debug)]
pub struct PilotedClaim<'p> {
    /// The claim.
    pub claim: &'p Comparison,
    /// The claim with the pilot's standard deviation and difference; `None` where too few cases were read by both arms.
    pub planned: Option<PlannedClaim>,
}

/// Runs the pilot at the first point of the sweeps. Nothing of a nested design, whose devices a pilot of single cases does
/// not show.
///
/// # Errors
/// If no threads can be started.
pub fn pilot(plan: &Plan, threads: usize) -> Result<Vec<PilotedClaim<'_>>, RunError> {
    if plan.design.is_some() || plan.comparisons.is_empty() {
        return Ok(Vec::new());
    }
    let of_arm = |name: &str| plan.variants.iter().find(|variant| variant.arm == name);
    let mut arms: Vec<&Variant> = Vec::new();
    for name in plan.comparisons.iter().flat_map(|claim| [&claim.arm, &claim.against]) {
        arms.extend(of_arm(name).filter(|arm| arms.iter().all(|known| known.arm != arm.arm)));
    }
    let variants: Vec<Variant> = arms.into_iter().cloned().collect();
    let errors = errors_in_memory(&variants, plan.seed.wrapping_add(OTHER_SEED), PILOT_CASES, threads, &Silent)?;
    let column = |name: &str, place: usize| -> Vec<f64> {
        let arm = variants.iter().zip(&errors).find(|(variant, _)| variant.arm == name);
        arm.map_or_else(Vec::new, |(_, cases)| cases.iter().map(|case| case[place]).collect())
    };
    let piloted = plan.comparisons.iter().map(|claim| {
        let [a, b] = [&claim.arm, &claim.against].map(|name| column(name, claim.output.place()));
        let found = Paired::new(&a, &b, None, CONFIDENCE).magnitude(claim.measure);
        let planned = found.and_then(|found| {
            Some(PlannedClaim {
                claim: claim.claim,
                margin: claim.margin,
                confidence: crate::analysis::confidence_of_a_look(claim.confidence, plan.looks),
                difference: found.difference,
                sd: found.standard_error? * (found.n as f64).sqrt(),
            })
        });
        PilotedClaim { claim, planned }
    });
    Ok(piloted.collect())
}

/// Nothing is told, and nothing stops it.
struct Silent;

impl Progress for Silent {
    fn begin(&self, _: u64) {}
    fn advance(&self, _: u64) {}
    fn interrupted(&self) -> bool {
        false
    }
}
