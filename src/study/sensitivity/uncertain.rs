//! Magnitudes that are known within a range only: what the answer would be anywhere in the ranges.

use super::super::assess::judge_joint;
use super::{Asking, errors};
use crate::analysis::{Errors, Judgement, Rule, confidence_of_a_look, judge, order};
use crate::experiment::{JointRequirement, MOST_COMBINED, Plan, Variant};
use crate::measurement::OUTPUTS;
use crate::record::Parts;
use crate::trial::{Cells, RunError, run_cells};

/// The outer loop of one arm.
#[derive(Clone, Debug)]
pub struct UncertainStudy {
    /// Cases at each point.
    pub rows: u64,
    /// For each requirement what each point gives, in the order of the points.
    pub requirements: Vec<Vec<UncertainPoint>>,
    /// For each requirement and each uncertain input: what it moves.
    pub moves: Vec<Vec<Moves>>,
    /// Each requirement at the worst end of the ranges, those that join others last.
    pub worst: Vec<WorstEnd>,
}

/// A requirement judged with every uncertain magnitude at an end of its range.
#[derive(Clone, Debug, PartialEq)]
pub struct WorstEnd {
    /// The values of the magnitudes.
    pub values: Vec<f64>,
    /// The judgement of as many independent cases as the run has trials.
    pub judgement: Judgement,
}

/// One point judged by one requirement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UncertainPoint {
    /// The quantile of the absolute error at the requirement's proportion; `None` if too many cases failed.
    pub quantile: Option<f64>,
    /// The judgement of the point's cases.
    pub judgement: Judgement,
}

/// What the uncertainty of an input does to a requirement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moves {
    /// Spearman's rank correlation of the input with the quantile over the points.
    pub rank_correlation: f64,
    /// Mean quantile over the lower and over the upper half of its range.
    pub halves: [f64; 2],
    /// Proportion of the points that pass in each half.
    pub passing: [f64; 2],
}

pub(super) fn ask(
    asking: &Asking,
    arm: usize,
    variants: &[Variant],
    at_ends: &[Variant],
) -> Result<UncertainStudy, RunError> {
    let plan = asking.plan;
    let study = format!("uncertain{}", arm + 1);
    let cells = Cells { study: &study, variants, rows: asking.rows };
    let parts = Parts::list(&run_cells(plan, &cells, asking.folder, asking.threads, asking.progress)?)?;
    let mut requirements = vec![Vec::new(); plan.requirements.len()];
    for (cell, _) in (0..).zip(variants) {
        let columns = errors(&parts, cell)?;
        for (asked, points) in plan.requirements.iter().zip(&mut requirements) {
            let place = OUTPUTS.iter().position(|output| *output == asked.output).unwrap_or(0);
            let of_output = Errors::new(columns[place].clone(), 0);
            let mut absolute: Vec<f64> = columns[place]
                .iter()
                .map(|error| if error.is_finite() { error.abs() } else { f64::INFINITY })
                .collect();
            absolute.sort_unstable_by(f64::total_cmp);
            let quantile = order::quantile(&absolute, asked.proportion).filter(|value| value.is_finite());
            points.push(UncertainPoint { quantile, judgement: judge(&of_output, &asked.rule()) });
        }
    }
    let column = |input: usize| -> Vec<f64> { plan.uncertain.points.iter().map(|point| point[input]).collect() };
    let moves: Vec<Vec<Moves>> = requirements
        .iter()
        .map(|points| (0..plan.uncertain.inputs.len()).map(|input| moves(&column(input), points)).collect())
        .collect();
    let worst = worst_ends(asking, arm, at_ends, &moves)?;
    Ok(UncertainStudy { rows: asking.rows, requirements, moves, worst })
}

/// The ends of the ranges at which a requirement may be worst: those towards which each magnitude raises the quantile, or, of
/// many ranges, all lower and all upper ends.
fn candidates(ends: usize, moves: &[Moves]) -> Vec<usize> {
    if moves.len() > MOST_COMBINED {
        return (0..ends).collect();
    }
    let upper = |(i, moves): (usize, &Moves)| usize::from(moves.rank_correlation >= 0.0) << i;
    vec![moves.iter().enumerate().map(upper).sum()]
}

/// Runs the ends at which any requirement may be worst and judges each requirement at its own; one that joins others at those of
/// all its limits, of which the worst counts.
fn worst_ends(
    asking: &Asking,
    arm: usize,
    at_ends: &[Variant],
    moves: &[Vec<Moves>],
) -> Result<Vec<WorstEnd>, RunError> {
    let plan = asking.plan;
    let of_single: Vec<Vec<usize>> = moves.iter().map(|moves| candidates(at_ends.len(), moves)).collect();
    let of_joint = plan.joint_requirements.iter().map(|joint| {
        let limits = joint.members.iter().filter_map(|&member| of_single.get(member));
        limits.flatten().copied().collect()
    });
    let wanted: Vec<Vec<usize>> = of_single.iter().cloned().chain(of_joint).collect();
    let mut run: Vec<usize> = wanted.iter().flatten().copied().collect();
    run.sort_unstable();
    run.dedup();
    let variants: Vec<Variant> = run.iter().filter_map(|&end| at_ends.get(end).cloned()).collect();
    let cells = Cells { study: &format!("ends{}", arm + 1), variants: &variants, rows: plan.trials };
    let parts = Parts::list(&run_cells(plan, &cells, asking.folder, asking.threads, asking.progress)?)?;
    let mut worst: Vec<Option<WorstEnd>> = vec![None; wanted.len()];
    for (cell, &end) in (0..).zip(&run) {
        let Some(values) = plan.uncertain.ends.get(end) else { continue };
        let columns = errors(&parts, cell)?;
        for (which, worst) in worst.iter_mut().enumerate().filter(|(which, _)| wanted[*which].contains(&end)) {
            let Some(judgement) = judged(plan, which, &columns) else { continue };
            let more = |worst: &WorstEnd| judgement.out_of_acceptance > worst.judgement.out_of_acceptance;
            if worst.as_ref().is_none_or(more) {
                *worst = Some(WorstEnd { values: values.clone(), judgement });
            }
        }
    }
    Ok(worst.into_iter().flatten().collect())
}

/// A requirement, those that join others last, judged with the confidence of one look.
fn judged(plan: &Plan, which: usize, columns: &[Vec<f64>; OUTPUTS.len()]) -> Option<Judgement> {
    if let Some(asked) = plan.requirements.get(which) {
        let rule = asked.rule();
        let rule = Rule { confidence: confidence_of_a_look(rule.confidence, plan.looks), ..rule };
        return Some(judge(&Errors::new(columns[asked.output.place()].clone(), 0), &rule));
    }
    let joint = plan.joint_requirements.get(which - plan.requirements.len())?;
    let confidence = confidence_of_a_look(joint.confidence, plan.looks);
    let joint = JointRequirement { confidence, ..joint.clone() };
    Some(judge_joint(plan, &joint, |output| columns[output].iter().copied()))
}

fn moves(values: &[f64], points: &[UncertainPoint]) -> Moves {
    let quantiles: Vec<f64> = points.iter().map(|point| point.quantile.unwrap_or(f64::INFINITY)).collect();
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = order::quantile(&sorted, 0.5).unwrap_or(f64::NAN);
    let half = |upper: bool| {
        let own: Vec<&UncertainPoint> = values
            .iter()
            .zip(points)
            .filter(|(value, _)| (**value > middle) == upper)
            .map(|(_, point)| point)
            .collect();
        let count = own.len() as f64;
        let mean = own.iter().map(|point| point.quantile.unwrap_or(f64::NAN)).sum::<f64>() / count;
        let passing = own.iter().filter(|point| point.judgement.verdict == crate::analysis::Verdict::Pass).count();
        (mean, passing as f64 / count)
    };
    let (lower, upper) = (half(false), half(true));
    Moves {
        rank_correlation: correlation(&ranks(values), &ranks(&quantiles)),
        halves: [lower.0, upper.0],
        passing: [lower.1, upper.1],
    }
}

/// Rank of each value, from 0; equal values share the mean of their ranks.
fn ranks(values: &[f64]) -> Vec<f64> {
    let rank = |value: &f64| {
        let below = values.iter().filter(|other| other.total_cmp(value).is_lt()).count() as f64;
        let equal = values.iter().filter(|other| other.total_cmp(value).is_eq()).count() as f64;
        below + 0.5 * (equal - 1.0)
    };
    values.iter().map(rank).collect()
}

/// Correlation of two columns; 0 where one does not vary.
fn correlation(one: &[f64], other: &[f64]) -> f64 {
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64;
    let (a, b) = (mean(one), mean(other));
    let product: f64 = one.iter().zip(other).map(|(x, y)| (x - a) * (y - b)).sum();
    let square = |values: &[f64], mean: f64| values.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>();
    let scale = (square(one, a) * square(other, b)).sqrt();
    if scale > 0.0 { product / scale } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_ends_follow_the_signs() {
        let moves = |rank_correlation| Moves { rank_correlation, halves: [0.0; 2], passing: [0.0; 2] };
        assert_eq!(candidates(8, &[0.9, -0.4, 0.0].map(moves)), [0b101]);
        assert_eq!(candidates(2, &[-1.0; 6].map(moves)), [0, 1]);
    }

    #[test]
    fn identity_ranks_and_their_correlation() {
        assert_eq!(ranks(&[3.0, 1.0, 2.0, 2.0]), [3.0, 0.0, 1.5, 1.5]);
        let rising = ranks(&[1.0, 8.0, 27.0]);
        assert!((correlation(&rising, &ranks(&[0.1, 0.2, 0.9])) - 1.0).abs() < 1e-15);
        assert!((correlation(&rising, &ranks(&[5.0, 4.0, 3.0])) + 1.0).abs() < 1e-15);
        assert_eq!(correlation(&rising, &[1.0; 3]), 0.0);
    }
}
