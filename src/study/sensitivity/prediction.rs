//! What the errors would be if sources were larger or smaller, without another run: from the bias and the variance that each
//! source has alone. It holds as far as sources add up, and is held against the runs in which one source was scaled.

use super::one_at_a_time::{Change, OneAtATime};
use crate::analysis::{Direction, Summary, normal_size};
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::simulation::normal;

/// The proportion of the errors within the predicted quantile.
const WITHIN: f64 = 0.95;

/// Changes against which a prediction is held.
pub const CHECKED: [Change; 3] = [Change::Without, Change::Half, Change::Double];

/// A prediction for one output of one variant.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// The output.
    pub output: Output,
    /// Bias and variance with each source alone, in the order of the study's sources.
    pub alone: Vec<[f64; 2]>,
    /// Bias and variance that no source has alone: of the patients, and of what sources do together.
    pub rest: [f64; 2],
    /// The 95 % quantile found with everything as it is, over that of normal errors of the same bias and variance.
    pub shape: f64,
    /// The quantile of each requirement that limits this output alone.
    pub required: Vec<Required>,
}

/// The quantile that a requirement limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Required {
    /// Place of the requirement in the plan.
    pub requirement: usize,
    /// Proportion that must be within the limit.
    pub proportion: f64,
    /// Which errors it limits.
    pub direction: Direction,
    /// The limit less a guard band.
    pub acceptance: f64,
    /// The quantile found with everything as it is, over that of normal errors of the same bias and variance.
    pub shape: f64,
}

impl Required {
    /// The quantile predicted from a bias and a standard deviation, in the unit of the output.
    #[must_use]
    pub fn at(&self, predicted: &Predicted) -> f64 {
        self.shape * normal_quantile(self.direction, predicted, self.proportion)
    }
}

/// The quantile of normal errors with this bias and standard deviation.
fn normal_quantile(direction: Direction, of: &Predicted, proportion: f64) -> f64 {
    match direction {
        Direction::Either => normal_size(of.bias, of.sd, proportion),
        Direction::Above => of.bias + of.sd * normal::quantile(proportion),
        Direction::Below => of.sd * normal::quantile(proportion) - of.bias,
    }
}

/// What is predicted, in the unit of the output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Predicted {
    /// Mean error.
    pub bias: f64,
    /// Standard deviation.
    pub sd: f64,
    /// 95 % quantile of the absolute error.
    pub p95: f64,
}

/// A prediction beside what the run with one changed source found.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// The source's place in the study.
    pub source: usize,
    /// What was done to it.
    pub change: Change,
    /// What was predicted.
    pub predicted: Predicted,
    /// What was found.
    pub found: Predicted,
    /// For each required quantile, in the unit of the output: predicted and found.
    pub required: Vec<[f64; 2]>,
}

impl Prediction {
    /// The predictions of a study for every output that was measured.
    #[must_use]
    pub fn of(plan: &Plan, study: &OneAtATime) -> Vec<Self> {
        let outputs = study.all.iter().enumerate();
        outputs.filter_map(|(i, all)| Self::of_output(plan, study, i, figures(all)?)).collect()
    }

    fn of_output(plan: &Plan, study: &OneAtATime, i: usize, all: Predicted) -> Option<Self> {
        let mut rest = [all.bias, all.sd * all.sd];
        let mut alone = Vec::new();
        for source in &study.sources {
            let found = figures(&source.run(Change::Alone)[i].summary)?;
            let own = [found.bias, found.sd * found.sd];
            rest = [rest[0] - own[0], rest[1] - own[1]];
            alone.push(own);
        }
        let output = study.sources.first().map(|source| source.run(Change::Alone)[i].output)?;
        let over = |found: f64, normal: f64| if normal > 0.0 { found / normal } else { 1.0 };
        let shape = over(all.p95, normal_size(all.bias, all.sd, WITHIN));
        let requirements = plan.requirements.iter().zip(&study.limited).enumerate();
        let required =
            requirements.filter(|(_, (asked, limited))| asked.output == output && limited.quantile.is_finite());
        let required = required.map(|(requirement, (asked, limited))| {
            let (proportion, direction, acceptance) = (asked.proportion, asked.direction, asked.rule().acceptance());
            let shape = over(limited.quantile * acceptance, normal_quantile(direction, &all, proportion));
            Required { requirement, proportion, direction, acceptance, shape }
        });
        Some(Self { output, alone, rest, shape, required: required.collect() })
    }

    /// What it predicts with each source times a factor; what no source has alone stays.
    #[must_use]
    pub fn at(&self, scale: impl Fn(usize) -> f64) -> Predicted {
        let [mut bias, mut variance] = self.rest;
        for (i, [of_bias, of_variance]) in self.alone.iter().enumerate() {
            let scale = scale(i);
            bias += scale * of_bias;
            variance += scale * scale * of_variance;
        }
        let sd = variance.max(0.0).sqrt();
        Predicted { bias, sd, p95: self.shape * normal_size(bias, sd, WITHIN) }
    }

    /// The prediction beside every run of the study in which one source was changed.
    #[must_use]
    pub fn compared(&self, study: &OneAtATime) -> Vec<Compared> {
        let mut all = Vec::new();
        for (source, runs) in study.sources.iter().enumerate() {
            for change in CHECKED {
                let run = runs.run(change).iter().find(|run| run.output == self.output);
                let Some(found) = run.and_then(|run| figures(&run.summary)) else { continue };
                let predicted = self.at(|i| if i == source { change.factor(true) } else { 1.0 });
                let required = self.required.iter().map(|required| {
                    let which = required.requirement;
                    let found = study.limited[which].quantile + runs.limited(change)[which].quantile.value;
                    [required.at(&predicted), found * required.acceptance]
                });
                all.push(Compared { source, change, predicted, found, required: required.collect() });
            }
        }
        all
    }
}

/// Bias, standard deviation and quantile of a run; `None` if nothing was measured.
fn figures(summary: &Summary) -> Option<Predicted> {
    Some(Predicted { bias: summary.bias?.value, sd: summary.sd?.value, p95: summary.p95_abs?.value })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_variances_and_biases_add() {
        let prediction = Prediction {
            output: Output::Inclination,
            alone: vec![[0.5, 4.0], [0.0, 9.0]],
            rest: [0.1, 1.0],
            shape: 1.0,
            required: Vec::new(),
        };
        let all = prediction.at(|_| 1.0);
        assert!((all.bias - 0.6).abs() < 1e-12 && (all.sd - libm::sqrt(14.0)).abs() < 1e-12);
        let doubled = prediction.at(|i| if i == 0 { 2.0 } else { 1.0 });
        assert!((doubled.bias - 1.1).abs() < 1e-12 && (doubled.sd - libm::sqrt(26.0)).abs() < 1e-12);
        let off = prediction.at(|_| 0.0);
        assert_eq!((off.bias, off.sd), (0.1, 1.0));
        // What is left may be below zero where sources together do less than alone: nothing is predicted below it.
        let less = Prediction { rest: [0.0, -3.0], ..prediction };
        assert_eq!(less.at(|_| 0.0).sd, 0.0);
    }
    /// Normal errors: the quantile of a limit on one side has 95 of 100 below 1.644854 standard deviations from the bias, one
    /// on both sides is that of the absolute error; twice the shape is twice the quantile.
    #[test]
    fn table_required_quantiles() {
        let of = |direction| Required { requirement: 0, proportion: 0.95, direction, acceptance: 1.0, shape: 2.0 };
        let errors = Predicted { bias: 0.5, sd: 2.0, p95: f64::NAN };
        assert!((of(Direction::Above).at(&errors) - 2.0 * (0.5 + 2.0 * 1.644_854)).abs() < 1e-5);
        assert!((of(Direction::Below).at(&errors) - 2.0 * (2.0 * 1.644_854 - 0.5)).abs() < 1e-5);
        let centred = Predicted { bias: 0.0, ..errors };
        assert!((of(Direction::Either).at(&centred) - 2.0 * 2.0 * 1.959_964).abs() < 1e-5);
    }
}
