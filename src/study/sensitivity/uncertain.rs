//! Magnitudes that are known within a range only: what the answer would be anywhere in the ranges.

use super::{Asking, errors};
use crate::analysis::{Errors, Judgement, judge, order};
use crate::experiment::Variant;
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

pub(super) fn ask(asking: &Asking, arm: usize, variants: &[Variant]) -> Result<UncertainStudy, RunError> {
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
    let moves = requirements
        .iter()
        .map(|points| (0..plan.uncertain.inputs.len()).map(|input| moves(&column(input), points)).collect())
        .collect();
    Ok(UncertainStudy { rows: asking.rows, requirements, moves })
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
    fn identity_ranks_and_their_correlation() {
        assert_eq!(ranks(&[3.0, 1.0, 2.0, 2.0]), [3.0, 0.0, 1.5, 1.5]);
        let rising = ranks(&[1.0, 8.0, 27.0]);
        assert!((correlation(&rising, &ranks(&[0.1, 0.2, 0.9])) - 1.0).abs() < 1e-15);
        assert!((correlation(&rising, &ranks(&[5.0, 4.0, 3.0])) + 1.0).abs() < 1e-15);
        assert_eq!(correlation(&rising, &[1.0; 3]), 0.0);
    }
}
