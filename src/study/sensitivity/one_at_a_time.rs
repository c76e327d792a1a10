//! One source at a time: it alone, all but it, half and twice of it, each against the same cases with everything as it is. A
//! rare event of a source is changed by itself.

use super::super::assess::judge_joint;
use super::differences::{BaseErrors, BaseLimited, CaseColumns, Limited, LimitedDifference};
use super::{Asking, errors};
use crate::analysis::{Errors, Estimate, Summary, Verdict, judge, summarise};
use crate::experiment::{Plan, Variant};
use crate::measurement::{OUTPUTS, Output};
use crate::record::Parts;
use crate::study::derive::{SourcePart, parts_in_use, scaled_parts};
use crate::study::recorded_events::RecordedEvents;
use crate::trial::{Cells, RunError, run_cells};
use rayon::prelude::*;

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
    /// Everything as it is: what each requirement limits, in the same order.
    pub limited: Vec<Limited>,
    /// One for each source in use, in the order of the catalogue, each followed by its rare event.
    pub sources: Vec<SourceRuns>,
}

impl OneAtATime {
    /// Places of the sources by what removing them does: to what a requirement limits (its place among those of the plan), or
    /// to the 95 % quantile of the absolute error of an output where there is none. The source whose absence lowers it most
    /// comes first.
    #[must_use]
    pub fn by_removal(&self, requirement: Option<usize>, output: Output) -> Vec<usize> {
        let change = |place: &usize| {
            let source = &self.sources[*place];
            match requirement.and_then(|which| source.limited(Change::Without).get(which)) {
                Some(change) => change.ranked().value,
                None => source.run(Change::Without)[output.place()].p95_difference.value,
            }
        };
        let mut places: Vec<usize> = (0..self.sources.len()).collect();
        places.sort_by(|a, b| change(a).total_cmp(&change(b)));
        places
    }
}

/// One source, or its rare event: for each change, what each output is then.
#[derive(Clone, Debug)]
pub struct SourceRuns {
    /// What is changed.
    pub part: SourcePart,
    /// Its name in tables.
    pub name: String,
    /// In the order of [`CHANGES`].
    pub runs: [Vec<Changed>; CHANGES.len()],
    /// For each change, the verdict on each requirement of the plan, those that join others last.
    verdicts: [Vec<Verdict>; CHANGES.len()],
    /// For each change, the differences of what each requirement limits, in the same order.
    limited: [Vec<LimitedDifference>; CHANGES.len()],
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

    /// What a change does to what each requirement limits, those that join others last.
    #[must_use]
    pub fn limited(&self, change: Change) -> &[LimitedDifference] {
        &self.limited[change as usize]
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
    let parts_in_use = parts_in_use(variant);
    let mut variants = vec![variant.clone()];
    for part in &parts_in_use {
        variants.extend(CHANGES.map(|change| scaled_parts(variant, |other| change.factor(other == *part))));
    }
    let study = format!("one-at-a-time{}", arm + 1);
    let cells = Cells { study: &study, variants: &variants, rows: asking.rows };
    let parts = Parts::list(&run_cells(asking.plan, &cells, asking.folder, asking.threads, asking.progress)?)?;
    let all = errors(&parts, 0)?;
    let base: Vec<BaseErrors> = all.iter().map(|column| BaseErrors::new(column, &asking.draws)).collect();
    let limited = BaseLimited::new(asking.plan, &all, &asking.draws);
    let summary = |column: &[f64], output: Output, events: &RecordedEvents| {
        let rare = events.of(output, column.iter().map(|error| error.is_finite()));
        summarise(&Errors::new(column.to_vec(), 0), &rare)
    };
    // Rows of a study are independent cases.
    let events_of = |cell: u32, variant| RecordedEvents::read(variant, None, &parts, cell);
    let mut sources = Vec::new();
    let mut cell = 1;
    for part in parts_in_use {
        let mut source = SourceRuns {
            part,
            name: part.to_string(),
            runs: [const { Vec::new() }; CHANGES.len()],
            verdicts: [const { Vec::new() }; CHANGES.len()],
            limited: [const { Vec::new() }; CHANGES.len()],
        };
        for change in CHANGES {
            let changed = errors(&parts, cell)?;
            let events = events_of(cell, &variants[cell as usize])?;
            cell += 1;
            source.verdicts[change as usize] = judged(asking.plan, &changed);
            source.limited[change as usize] = limited.differences(&changed);
            source.runs[change as usize] = OUTPUTS
                .into_par_iter()
                .enumerate()
                .map(|(i, output)| {
                    let [bias_difference, sd_difference, p95_difference] = base[i].differences(&changed[i]);
                    let summary = summary(&changed[i], output, &events);
                    Changed { output, summary, bias_difference, sd_difference, p95_difference }
                })
                .collect();
        }
        sources.push(source);
    }
    let verdicts = judged(asking.plan, &all);
    let limited = limited.all();
    let events = events_of(0, &variants[0])?;
    let all = all.iter().zip(OUTPUTS).map(|(column, output)| summary(column, output, &events)).collect();
    Ok(OneAtATime { rows: asking.rows, all, verdicts, limited, sources })
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
