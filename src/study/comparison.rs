//! Arms compared trial by trial: every pair of arms with the same estimand at every point of the sweeps.

use super::claims::{self, JudgedClaim};
use super::looks::Look;
use super::residuals::{ResidualCorrelation, residuals};
use crate::analysis::CONFIDENCE;
use crate::analysis::claim::Level;
use crate::analysis::limits_of_agreement::{
    DEVICES_FOR_AN_INTERVAL, FACTOR, LimitsOfAgreement, limits_of_agreement, limits_of_agreement_of_devices,
};
use crate::analysis::paired::{Difference, Measure, Paired};
use crate::analysis::ranks::{BlockSums, rank_proportions};
use crate::experiment::{Plan, Requirement, Variant};
use crate::measurement::Output;
use crate::record::{Column, PartError, Parts, Rows, Schema};
use std::ops::Range;

/// What the trials say of the arms of a plan beside each other. Empty for one arm.
#[derive(Clone, Debug, Default)]
pub struct Arms<'p> {
    /// Every measure of every output of every pair of arms with the same estimand: by point, output, measure, then pair.
    pub pairs: Vec<PairedMeasure<'p>>,
    /// Pairs of arms with different estimands, by point and output.
    pub apart: Vec<Apart<'p>>,
    /// Every claim of the plan at every point, in the order of the plan.
    pub claims: Vec<JudgedClaim<'p>>,
    /// The level of the primary claims, if there are any.
    pub level: Option<Level>,
    /// Every output at every point: each arm that shares its estimand with another.
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
}

/// Two arms whose errors of an output are errors of different quantities: shown, not compared.
#[derive(Clone, Copy, Debug)]
pub struct Apart<'p> {
    /// Both arms.
    pub arms: Pair<'p>,
    /// The output.
    pub output: Output,
}

/// How often an arm has which rank.
#[derive(Clone, Debug)]
pub struct Ranked<'p> {
    /// The arm.
    pub arm: &'p Variant,
    /// The output.
    pub output: Output,
    /// Which group of arms with one estimand it is ranked in, from 0.
    pub group: usize,
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
    let mut found = Arms { level: claims::level(plan, look), ..Arms::default() };
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
                    if a.estimand(output) != b.estimand(output) {
                        found.apart.push(Apart { arms: [a, b], output });
                        continue;
                    }
                    let errors_b = errors(index_b)?;
                    let paired = Paired::new(&errors_a, &errors_b, devices, CONFIDENCE);
                    found.pairs.extend(measures(plan, [a, b], output, &paired));
                    found.claims.extend(claims::tested(plan, [a, b], output, &paired, found.level));
                }
            }
            found.pairs[first_pair..].sort_by_key(|row| (row.measure, row.requirement.map(|limit| limit.id.clone())));
            found.ranks.extend(ranks(&arms, output, &sums));
            for (place, &(index_a, a)) in arms.iter().enumerate() {
                for &(index_b, b) in &arms[place + 1..] {
                    let limits = agreement(parts, [index_a, index_b], output, devices)?;
                    found.agreements.push(Agreement { arms: [a, b], output, limits });
                }
            }
        }
    }
    found.residuals = residuals(plan, parts)?;
    found.claims.sort_by_key(|judged| plan.comparisons.iter().position(|claim| std::ptr::eq(claim, judged.claim)));
    claims::judge(plan, &mut found.claims, found.level, look);
    Ok(found)
}

/// Ranks of the arms within each group of one estimand; an arm alone has none.
fn ranks<'p>(arms: &[(u32, &'p Variant)], output: Output, sums: &[BlockSums]) -> Vec<Ranked<'p>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (place, (_, arm)) in arms.iter().enumerate() {
        let of = |group: &&mut Vec<usize>| arms[group[0]].1.estimand(output) == arm.estimand(output);
        match groups.iter_mut().find(of) {
            Some(group) => group.push(place),
            None => groups.push(vec![place]),
        }
    }
    let mut ranked = Vec::new();
    for (group, places) in groups.iter().filter(|places| places.len() > 1).enumerate() {
        let own: Vec<BlockSums> = places.iter().map(|&place| sums[place].clone()).collect();
        let proportions = rank_proportions(&own);
        ranked.extend(places.iter().zip(proportions).map(|(&place, proportions)| {
            let (_, arm) = arms[place];
            Ranked { arm, output, group, proportions }
        }));
    }
    ranked
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
        Some(PairedMeasure { arms, output, measure, requirement, found: found? })
    };
    let magnitudes = Measure::MAGNITUDES.map(|measure| row(measure, None, paired.magnitude(measure)));
    let limits = plan.requirements.iter().filter(|requirement| requirement.output == output);
    let conformances = limits.map(|limit| row(Measure::Conformance, Some(limit), paired.conformance(&limit.rule())));
    let rates =
        [row(Measure::FailureRate, None, paired.failure_rate()), row(Measure::WinRate, None, paired.win_rate())];
    magnitudes.into_iter().chain(conformances).chain(rates).flatten().collect()
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
