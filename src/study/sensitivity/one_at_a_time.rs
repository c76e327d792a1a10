//! One source at a time: it alone, all but it, half and twice of it, each against the same cases with everything as it is.

use super::super::assess::judge_joint;
use super::{Asking, CONFIDENCE, errors};
use crate::analysis::bootstrap::{dot, percentile, weights};
use crate::analysis::{Errors, Estimate, Summary, Verdict, judge, order, summarise};
use crate::experiment::{Plan, Variant};
use crate::measurement::{OUTPUTS, Output};
use crate::record::Parts;
use crate::study::derive::{in_use, scaled};
use crate::study::recorded_events::RecordedEvents;
use crate::trial::{Cells, RunError, run_cells};
use rayon::prelude::*;

/// Resamples behind the interval of a difference.
pub const RESAMPLES: u64 = 400;

/// Errors of every output, row by row.
type CaseColumns = [Vec<f64>; OUTPUTS.len()];

/// What is done to a source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// All other sources are off.
    Alone,
    /// It is off: scale 0.
    Without,
    /// Half its scale.
    Half,
    /// Twice its scale.
    Double,
}

/// Every change.
pub const CHANGES: [Change; 4] = [Change::Alone, Change::Without, Change::Half, Change::Double];

impl Change {
    /// The word for it in tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Alone => "alone",
            Self::Without => "without",
            Self::Half => "half",
            Self::Double => "double",
        }
    }

    /// The factor on a source: on the changed one, or on another.
    pub(super) fn factor(self, changed: bool) -> f64 {
        match (self, changed) {
            (Self::Alone, true) | (Self::Without | Self::Half | Self::Double, false) => 1.0,
            (Self::Alone, false) | (Self::Without, true) => 0.0,
            (Self::Half, true) => 0.5,
            (Self::Double, true) => 2.0,
        }
    }
}

/// Every source of a variant, one at a time.
#[derive(Clone, Debug)]
pub struct OneAtATime {
    /// Cases of each run.
    pub rows: u64,
    /// Everything as it is: one summary for each output.
    pub all: Vec<Summary>,
    /// Everything as it is: the verdict on each requirement of the plan, those that join others last.
    pub verdicts: Vec<Verdict>,
    /// One for each source in use, in the order of the catalogue.
    pub sources: Vec<SourceRuns>,
}

/// One source: for each change, what each output is then.
#[derive(Clone, Debug)]
pub struct SourceRuns {
    /// Its id.
    pub source: &'static str,
    /// In the order of [`CHANGES`].
    pub runs: [Vec<Changed>; CHANGES.len()],
    /// For each change, the verdict on each requirement of the plan, those that join others last.
    verdicts: [Vec<Verdict>; CHANGES.len()],
}

impl SourceRuns {
    /// What each output is after a change.
    #[must_use]
    pub fn run(&self, change: Change) -> &[Changed] {
        &self.runs[change as usize]
    }

    /// The verdicts after a change.
    #[must_use]
    pub fn verdicts(&self, change: Change) -> &[Verdict] {
        &self.verdicts[change as usize]
    }
}

/// An output after a change.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Changed {
    /// The output.
    pub output: Output,
    /// Its errors.
    pub summary: Summary,
    /// Bias less that with everything as it is, in pairs of the same cases.
    pub bias_difference: Estimate,
    /// The same for the standard deviation.
    pub sd_difference: Estimate,
    /// The same for the 95 % quantile of the absolute error.
    pub p95_difference: Estimate,
}

pub(super) fn ask(asking: &Asking, arm: usize, variant: &Variant) -> Result<OneAtATime, RunError> {
    let sources = in_use(variant);
    let mut variants = vec![variant.clone()];
    for source in &sources {
        variants.extend(CHANGES.map(|change| scaled(variant, |id| change.factor(id == *source))));
    }
    let study = format!("one-at-a-time{}", arm + 1);
    let cells = Cells { study: &study, variants: &variants, rows: asking.rows };
    let parts = Parts::list(&run_cells(asking.plan, &cells, asking.folder, asking.threads, asking.progress)?)?;
    let all = errors(&parts, 0)?;
    let seed = asking.resampling_seed();
    let summary = |column: &[f64], output: Output, events: &RecordedEvents| {
        let rare = events.of(output, column.iter().map(|error| error.is_finite()));
        summarise(&Errors::new(column.to_vec(), 0), &rare)
    };
    // Rows of a study are independent cases.
    let events_of = |cell: u32, variant| RecordedEvents::read(variant, None, &parts, cell);
    let mut found = Vec::new();
    let mut cell = 1;
    for source in sources {
        let mut runs = [const { Vec::new() }; CHANGES.len()];
        let mut verdicts = [const { Vec::new() }; CHANGES.len()];
        for (run, verdicts) in runs.iter_mut().zip(&mut verdicts) {
            let changed = errors(&parts, cell)?;
            let events = events_of(cell, &variants[cell as usize])?;
            cell += 1;
            *verdicts = judged(asking.plan, &changed);
            *run = OUTPUTS
                .into_par_iter()
                .enumerate()
                .map(|(i, output)| {
                    let [bias_difference, sd_difference, p95_difference] = differences(&all[i], &changed[i], seed);
                    let summary = summary(&changed[i], output, &events);
                    Changed { output, summary, bias_difference, sd_difference, p95_difference }
                })
                .collect();
        }
        found.push(SourceRuns { source, runs, verdicts });
    }
    let verdicts = judged(asking.plan, &all);
    let events = events_of(0, &variants[0])?;
    let all = all.iter().zip(OUTPUTS).map(|(column, output)| summary(column, output, &events)).collect();
    Ok(OneAtATime { rows: asking.rows, all, verdicts, sources: found })
}

/// The verdict on each requirement of a plan, those that join others last, from the errors of every output.
fn judged(plan: &Plan, errors: &CaseColumns) -> Vec<Verdict> {
    let single = plan.requirements.iter().map(|asked| {
        let errors = Errors::new(errors[asked.output.place()].clone(), 0);
        judge(&errors, &asked.rule()).verdict
    });
    let joint = plan.joint_requirements.iter();
    let joint = joint.map(|joint| judge_joint(plan, joint, |output| errors[output].iter().copied()).verdict);
    single.chain(joint).collect()
}

/// Differences of mean, standard deviation and 95 % quantile of the absolute value, changed less base, over the rows that
/// have both; whole rows are resampled.
fn differences(base: &[f64], changed: &[f64], seed: u64) -> [Estimate; 3] {
    let both: Vec<(f64, f64)> = base
        .iter()
        .copied()
        .zip(changed.iter().copied())
        .filter(|(base, changed)| base.is_finite() && changed.is_finite())
        .collect();
    let columns = [both.iter().map(|pair| pair.0).collect(), both.iter().map(|pair| pair.1).collect()];
    let [base, changed] = columns.map(Figures::of);
    let difference = |weights: &[f64]| {
        let (one, other) = (base.at(weights), changed.at(weights));
        std::array::from_fn::<f64, 3, _>(|i| other[i] - one[i])
    };
    let rows = both.len();
    let found = difference(&vec![1.0; rows]);
    let resampled: Vec<[f64; 3]> =
        (0..RESAMPLES).map(|resample| difference(&weights(rows, seed, resample))).collect();
    std::array::from_fn(|i| {
        percentile(found[i], resampled.iter().map(|values| values[i]).collect(), CONFIDENCE, rows as u64)
    })
}

/// A column ready to be weighed.
struct Figures {
    values: Vec<f64>,
    squares: Vec<f64>,
    /// Rows by falling absolute value.
    falling: Vec<usize>,
}

impl Figures {
    fn of(values: Vec<f64>) -> Self {
        let mut falling: Vec<usize> = (0..values.len()).collect();
        falling.sort_by(|&a, &b| values[b].abs().total_cmp(&values[a].abs()));
        Self { squares: values.iter().map(|value| value * value).collect(), falling, values }
    }

    /// Mean, standard deviation and 95 % quantile of the absolute value of the weighed rows.
    fn at(&self, weights: &[f64]) -> [f64; 3] {
        let count = weights.len() as u64;
        let Some(rank) = order::quantile_rank(count, 0.95) else { return [f64::NAN; 3] };
        let n = count as f64;
        let mean = dot(weights, &self.values) / n;
        let variance = (dot(weights, &self.squares) / n - mean * mean).max(0.0) * n / (n - 1.0).max(1.0);
        let beyond = (count - rank) as f64;
        let mut passed = 0.0;
        let quantile = self.falling.iter().find(|&&row| {
            passed += weights[row];
            passed > beyond
        });
        [mean, variance.sqrt(), quantile.map_or(f64::NAN, |&row| self.values[row].abs())]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_weighed_figures_are_those_of_the_rows() {
        let values: Vec<f64> = (0..200).map(|i| f64::from(i * 37 % 199) - 80.0).collect();
        let drawn = weights(values.len(), 3, 1);
        let mut repeated = Vec::new();
        for (value, weight) in values.iter().zip(&drawn) {
            let mut left = *weight;
            while left > 0.0 {
                repeated.push(*value);
                left -= 1.0;
            }
        }
        let [mean, sd, p95] = Figures::of(values).at(&drawn);
        let expected = summarise(&Errors::new(repeated, 0), &crate::analysis::rare_events::RareEvents::default());
        assert!((mean - expected.bias.unwrap().value).abs() < 1e-12);
        assert!((sd - expected.sd.unwrap().value).abs() < 1e-10);
        assert_eq!(Some(p95), expected.p95_abs.map(|p95| p95.value));
    }

    #[test]
    fn identity_no_change_no_difference() {
        let column: Vec<f64> = (0..500).map(|i| f64::from(i * i % 83)).collect();
        for difference in differences(&column, &column, 1) {
            assert_eq!((difference.value, difference.standard_error), (0.0, Some(0.0)));
        }
    }
}
