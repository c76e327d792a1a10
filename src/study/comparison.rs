//! Arms held against each other, trial by trial: every pair of arms at every point of the sweeps.

use super::looks::Look;
use super::residuals::{ResidualCorrelation, residuals};
use crate::analysis::claim::{ClaimVerdict, judge_claim};
use crate::analysis::holm::holm;
use crate::analysis::limits_of_agreement::{
    DEVICES_FOR_AN_INTERVAL, FACTOR, LimitsOfAgreement, limits_of_agreement, limits_of_agreement_of_devices,
};
use crate::analysis::paired::{Difference, Measure, Paired};
use crate::analysis::ranks::{BlockSums, rank_proportions};
use crate::analysis::{CONFIDENCE, Interval, confidence_of_a_look};
use crate::experiment::{Comparison, Plan, Requirement, Variant};
use crate::measurement::Output;
use crate::record::{Column, PartError, Parts, Rows, Schema};
use std::ops::Range;

/// What the trials say of the arms of a plan beside each other. Empty for one arm.
#[derive(Clone, Debug, Default)]
pub struct Arms<'p> {
    /// Every measure of every output of every pair of arms: by point, output, measure, then pair.
    pub pairs: Vec<PairedMeasure<'p>>,
    /// Every claim of the plan at every point, in the order of the plan.
    pub claims: Vec<JudgedClaim<'p>>,
    /// Every arm of every output at every point.
    pub ranks: Vec<Ranked<'p>>,
    /// Readings of every pair of arms held against each other.
    pub agreements: Vec<Agreement<'p>>,
    /// How the residuals of the fits go with the size of the errors.
    pub residuals: Vec<ResidualCorrelation<'p>>,
}

/// Two arms at one point: the one that comes first in the file, and the other.
pub type Pair<'p> = [&'p Variant; 2];

/// One measure of two arms.
#[derive(Clone, Debug)]
pub struct PairedMeasure<'p> {
    /// Both arms.
    pub arms: Pair<'p>,
    /// The output.
    pub output: Output,
    /// What is compared.
    pub measure: Measure,
    /// Whose limit it is, of a conformance.
    pub requirement: Option<&'p Requirement>,
    /// The first arm minus the second.
    pub found: Difference,
    /// Its probability, corrected over all pairs of arms with this output, measure, requirement and point (Holm).
    pub p_holm: Option<f64>,
}

/// A claim, judged at one point.
#[derive(Clone, Debug)]
pub struct JudgedClaim<'p> {
    /// The claim.
    pub claim: &'p Comparison,
    /// The arm that it is about, and the one that it is held against.
    pub arms: Pair<'p>,
    /// The first minus the second; `None` where no trial was read by both.
    pub found: Option<Difference>,
    /// The interval that the verdict rests on.
    pub interval: Option<Interval>,
    /// The verdict.
    pub verdict: ClaimVerdict,
    /// Whether there is no verdict because trials were added after one was seen.
    pub withheld: bool,
}

/// How often an arm has which rank.
#[derive(Clone, Debug)]
pub struct Ranked<'p> {
    /// The arm.
    pub arm: &'p Variant,
    /// The output.
    pub output: Output,
    /// For each rank, the smallest root mean square first, the proportion of resamples.
    pub proportions: Vec<f64>,
}

/// How two arms' readings agree.
#[derive(Clone, Debug)]
pub struct Agreement<'p> {
    /// Both arms.
    pub arms: Pair<'p>,
    /// The output.
    pub output: Output,
    /// The first reading minus the second, over the trials that both read; `None` for fewer than two.
    pub limits: Option<LimitsOfAgreement>,
}

/// Compares the arms of a run from its parts; two columns are held at once.
///
/// # Errors
/// If a part cannot be read.
pub(super) fn compare<'p>(plan: &'p Plan, parts: &Parts, look: &Look) -> Result<Arms<'p>, PartError> {
    let points = plan.points.len().max(1);
    let mut found = Arms::default();
    if plan.variants.len() <= points {
        return Ok(found);
    }
    for point in 0..points {
        // Arms come in the order of the file, points within an arm.
        let arms: Vec<(u32, &Variant)> = (0..).zip(&plan.variants).skip(point).step_by(points).collect();
        let devices = match plan.design {
            Some(_) => Some(trials_of_devices(&parts.column(arms[0].0, "device", Rows::LastReduction)?)),
            None => None,
        };
        let devices = devices.as_deref();
        for output in plan.asked().outputs() {
            let errors = |index: u32| -> Result<Vec<f64>, PartError> {
                Ok(with_gaps(&parts.column(index, &Schema::error_column(output), Rows::LastReduction)?))
            };
            let (mut sums, first_pair) = (Vec::new(), found.pairs.len());
            for (place, &(index_a, a)) in arms.iter().enumerate() {
                let errors_a = errors(index_a)?;
                sums.push(BlockSums::of(&errors_a, devices));
                for &(index_b, b) in &arms[place + 1..] {
                    let errors_b = errors(index_b)?;
                    let paired = Paired::new(&errors_a, &errors_b, devices, CONFIDENCE);
                    found.pairs.extend(measures(plan, [a, b], output, &paired));
                    found.claims.extend(claims(plan, [a, b], output, &paired, look));
                }
            }
            correct(&mut found.pairs, first_pair..);
            let ranks = rank_proportions(&sums);
            let ranked = arms.iter().zip(ranks);
            found.ranks.extend(ranked.map(|(&(_, arm), proportions)| Ranked { arm, output, proportions }));
            for (place, &(index_a, a)) in arms.iter().enumerate() {
                for &(index_b, b) in &arms[place + 1..] {
                    let limits = agreement(parts, [index_a, index_b], output, devices)?;
                    found.agreements.push(Agreement { arms: [a, b], output, limits });
                }
            }
        }
    }
    let place = |claim: &Comparison| plan.comparisons.iter().position(|other| other.id == claim.id);
    found.residuals = residuals(plan, parts)?;
    found.claims.sort_by_key(|judged| place(judged.claim));
    Ok(found)
}

/// A column with NaN where a value is missing.
fn with_gaps(column: &Column) -> Vec<f64> {
    column.iter().map(|value| value.unwrap_or(f64::NAN)).collect()
}

/// Number of trials of each device in turn.
fn trials_of_devices(devices: &Column) -> Vec<usize> {
    let devices: Vec<Option<f64>> = devices.iter().collect();
    devices.chunk_by(|one, other| one == other).map(<[_]>::len).collect()
}

fn measures<'p>(plan: &'p Plan, arms: Pair<'p>, output: Output, paired: &Paired) -> Vec<PairedMeasure<'p>> {
    let row = |measure, requirement, found: Option<Difference>| {
        Some(PairedMeasure { arms, output, measure, requirement, found: found?, p_holm: None })
    };
    let magnitudes = Measure::MAGNITUDES.map(|measure| row(measure, None, paired.magnitude(measure)));
    let limits = plan.requirements.iter().filter(|requirement| requirement.output == output);
    let conformances = limits.map(|limit| row(Measure::Conformance, Some(limit), paired.conformance(&limit.rule())));
    let rates =
        [row(Measure::FailureRate, None, paired.failure_rate()), row(Measure::WinRate, None, paired.win_rate())];
    magnitudes.into_iter().chain(conformances).chain(rates).flatten().collect()
}

/// Corrects the probabilities of one output at one point: the family of a test is all pairs of arms with the same measure
/// (and requirement). Puts measures first and pairs last.
fn correct(pairs: &mut [PairedMeasure], of_output: std::ops::RangeFrom<usize>) {
    let rows = &mut pairs[of_output];
    let family = |row: &PairedMeasure| (row.measure, row.requirement.map(|requirement| requirement.id.clone()));
    rows.sort_by_key(family);
    for family in rows.chunk_by_mut(|one, other| family(one) == family(other)) {
        let tested: Vec<usize> = (0..family.len()).filter(|&row| family[row].found.p.is_some()).collect();
        let probabilities: Vec<f64> = tested.iter().filter_map(|&row| family[row].found.p).collect();
        for (row, adjusted) in tested.into_iter().zip(holm(&probabilities)) {
            family[row].p_holm = Some(adjusted);
        }
    }
}

fn claims<'p>(
    plan: &'p Plan,
    [a, b]: Pair<'p>,
    output: Output,
    paired: &Paired,
    look: &Look,
) -> Vec<JudgedClaim<'p>> {
    let mut judged = Vec::new();
    for claim in plan.comparisons.iter().filter(|claim| claim.output == output) {
        let turned = match (&claim.arm, &claim.against) {
            (arm, against) if *arm == a.arm && *against == b.arm => false,
            (arm, against) if *arm == b.arm && *against == a.arm => true,
            _ => continue,
        };
        let found = paired.magnitude(claim.measure);
        let found = if turned { found.map(Difference::turned) } else { found };
        let confidence = confidence_of_a_look(claim.confidence, look.declared);
        let (verdict, interval) = found.as_ref().map_or((ClaimVerdict::NotShown, None), |found| {
            judge_claim(found, claim.claim, claim.margin, confidence)
        });
        let withheld = look.undeclared;
        let verdict = if withheld { ClaimVerdict::NotShown } else { verdict };
        let arms = if turned { [b, a] } else { [a, b] };
        judged.push(JudgedClaim { claim, arms, found, interval, verdict, withheld });
    }
    judged
}

/// Limits of agreement of two arms' readings, part by part, so that only their differences are held. In a nested design they
/// rest on devices, and have no interval where these are few.
fn agreement(
    parts: &Parts,
    arms: [u32; 2],
    output: Output,
    devices: Option<&[usize]>,
) -> Result<Option<LimitsOfAgreement>, PartError> {
    let name = format!("{}_read_{}", output.id(), output.unit().suffix());
    let mut differences = with_gaps(&parts.column(arms[0], &name, Rows::LastReduction)?);
    let mut done = 0;
    parts.each_part(arms[1], &[name], Rows::LastReduction, |columns| {
        for column in columns {
            let range: Range<usize> = done..done + column.len();
            done = range.end;
            for (difference, read) in differences[range].iter_mut().zip(column.iter()) {
                *difference -= read.unwrap_or(f64::NAN);
            }
        }
    })?;
    let Some(devices) = devices else {
        differences.retain(|difference| difference.is_finite());
        return Ok(limits_of_agreement(&differences, FACTOR, CONFIDENCE));
    };
    let limits = limits_of_agreement_of_devices(&differences, devices, FACTOR, CONFIDENCE);
    let few = devices.len() < DEVICES_FOR_AN_INTERVAL;
    Ok(limits.map(|limits| if few { limits.without_intervals() } else { limits }))
}
