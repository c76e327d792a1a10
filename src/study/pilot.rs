//! A pilot: a few cases of a plan's own model, drawn with another seed, for what cannot be planned without a standard
//! deviation. None of its cases belongs to a run, and none of its results is a verdict.

use super::claims::test_confidence;
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
                confidence: test_confidence(plan, claim),
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

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "seed = 1\ntrials = 100\nlooks = 2\n\
                        [protocol]\ntip_pivot_frames = 6\nlandmark_frames = 2\ntrace_frames = 12\ncentre_frames = 6\n\
                        cup_frames = 2\n[noise]\noff = [\"probe.slip\"]\n[measure]\nmeasurand_plane = \"level\"\n\
                        [[arm]]\nname = \"pubis\"\n[[arm]]\nname = \"level\"\nset = { \"measure.plane\" = \"level\" }\n\
                        [[comparison]]\nid = \"C\"\ntext = \"t\"\narm = \"level\"\nagainst = \"pubis\"\noutput = \"inclination\"\n\
                        measure = \"bias\"\nclaim = \"equivalent\"\nmargin_deg = 0.3\nconfidence = 0.95\n";

    /// The standard deviation of a pair against that of many more cases with the plan's own seed, in plain sums.
    #[test]
    fn outside_standard_deviation_of_a_pair() {
        let plan = Plan::parse("pilot.toml", TEXT).unwrap();
        let found = pilot(&plan, 1).unwrap();
        let planned = found[0].planned.unwrap();
        assert_eq!((planned.margin, planned.confidence), (0.3, 0.975), "the confidence of one of two looks");
        let errors = errors_in_memory(&plan.variants, plan.seed, 1000, 1, &Silent).unwrap();
        let place = plan.comparisons[0].output.place();
        let differences: Vec<f64> =
            errors[0].iter().zip(&errors[1]).map(|(pubis, level)| level[place] - pubis[place]).collect();
        let n = differences.len() as f64;
        let mean = differences.iter().sum::<f64>() / n;
        let sd = (differences.iter().map(|d| (d - mean) * (d - mean)).sum::<f64>() / (n - 1.0)).sqrt();
        // Standard errors: of the mean sd/sqrt(cases), of the standard deviation sd/sqrt(2 cases) for normal differences.
        let cases = PILOT_CASES as f64;
        assert!((planned.sd / sd - 1.0).abs() < 4.0 / (2.0 * cases).sqrt(), "{} against {sd}", planned.sd);
        assert!((planned.difference - mean).abs() < 4.0 * sd / cases.sqrt(), "{} against {mean}", planned.difference);
    }

    #[test]
    fn identity_the_pilot_is_no_part_of_the_run() {
        let plan = Plan::parse("pilot.toml", TEXT).unwrap();
        let of = |threads| pilot(&plan, threads).unwrap()[0].planned.unwrap();
        assert_eq!(of(1), of(2));
        let own = errors_in_memory(&plan.variants, plan.seed, PILOT_CASES, 1, &Silent).unwrap();
        let place = plan.comparisons[0].output.place();
        let sum: f64 = own[1].iter().zip(&own[0]).map(|(level, pubis)| level[place] - pubis[place]).sum();
        assert!((sum / PILOT_CASES as f64 - of(1).difference).abs() > 1e-6, "other draws");
        let nested = TEXT.replace("trials = 100\n", "") + "[design]\ndevices = 30\ncases = 4\nrepeats = 1\n";
        assert!(pilot(&Plan::parse("pilot.toml", &nested).unwrap(), 1).unwrap().is_empty());
    }
}
