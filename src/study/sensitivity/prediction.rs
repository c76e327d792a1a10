//! What the errors would be if sources were larger or smaller, without another run: from the bias and the variance that each
//! source has alone. It holds as far as sources add up, and is held against the runs in which one source was scaled.

use super::one_at_a_time::{Change, OneAtATime};
use crate::analysis::{Summary, normal_size};
use crate::measurement::Output;

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
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// The source's place in the study.
    pub source: usize,
    /// What was done to it.
    pub change: Change,
    /// What was predicted.
    pub predicted: Predicted,
    /// What was found.
    pub found: Predicted,
}

impl Prediction {
    /// The predictions of a study for every output that was measured.
    #[must_use]
    pub fn of(study: &OneAtATime) -> Vec<Self> {
        let outputs = study.all.iter().enumerate();
        outputs.filter_map(|(i, all)| Self::of_output(study, i, figures(all)?)).collect()
    }

    fn of_output(study: &OneAtATime, i: usize, all: Predicted) -> Option<Self> {
        let mut rest = [all.bias, all.sd * all.sd];
        let mut alone = Vec::new();
        for source in &study.sources {
            let found = figures(&source.run(Change::Alone)[i].summary)?;
            let own = [found.bias, found.sd * found.sd];
            rest = [rest[0] - own[0], rest[1] - own[1]];
            alone.push(own);
        }
        let output = study.sources.first().map(|source| source.run(Change::Alone)[i].output)?;
        let normal = normal_size(all.bias, all.sd, WITHIN);
        let shape = if normal > 0.0 { all.p95 / normal } else { 1.0 };
        Some(Self { output, alone, rest, shape })
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
                all.push(Compared { source, change, predicted, found });
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
}
