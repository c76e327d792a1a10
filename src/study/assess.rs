//! The errors of every output of every variant summed up, and every requirement judged.

use crate::analysis::{Errors, Judgement, Rule, Summary, Verdict, judge, summarise};
use crate::experiment::{Plan, Requirement, Variant};
use crate::measurement::{OUTPUTS, Output};
use crate::record::{Column, PartError, Parts, Rows};
use std::collections::BTreeMap;
use std::path::Path;

/// What the trials of a run say.
#[derive(Clone, Debug)]
pub struct Assessment<'p> {
    /// Every output of every variant, in the order of the plan.
    pub outputs: Vec<OutputAssessment<'p>>,
    /// Every requirement for every variant, in the order of the plan.
    pub requirements: Vec<RequirementAssessment<'p>>,
    /// Trials that failed, by reason, of each variant in the order of the plan.
    pub failures: Vec<BTreeMap<String, u64>>,
    /// Holds taken again, of each variant in the order of the plan; nothing where there is no stillness gate.
    pub retries: Vec<Option<Retries>>,
}

/// How often the stillness gate had holds taken again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Retries {
    /// Trials looked at.
    pub trials: u64,
    /// Trials with at least one hold taken again.
    pub trials_with: u64,
    /// Holds taken again in all trials.
    pub holds: u64,
}

/// The errors of one output of one variant.
#[derive(Clone, Debug)]
pub struct OutputAssessment<'p> {
    /// The variant.
    pub variant: &'p Variant,
    /// The output.
    pub output: Output,
    /// Its errors, summed up.
    pub summary: Summary,
}

/// One requirement judged by one variant.
#[derive(Clone, Debug)]
pub struct RequirementAssessment<'p> {
    /// The requirement.
    pub requirement: &'p Requirement,
    /// The variant.
    pub variant: &'p Variant,
    /// The judgement.
    pub judgement: Judgement,
}

/// Assesses a run from its parts, one column at a time. Each trial counts once, by its last reduction.
///
/// # Errors
/// If a part cannot be read.
pub fn assess<'p>(plan: &'p Plan, parts_folder: &Path) -> Result<Assessment<'p>, PartError> {
    let parts = Parts::list(parts_folder)?;
    let (mut outputs, mut requirements, mut failures) = (Vec::new(), Vec::new(), Vec::new());
    let mut retries = Vec::new();
    for (index, variant) in (0..).zip(&plan.variants) {
        for output in OUTPUTS {
            let column = format!("{}_error_{}", output.id(), output.unit().suffix());
            let errors = Errors::from(parts.column(index, &column, Rows::LastReduction)?);
            outputs.push(OutputAssessment { variant, output, summary: summarise(&errors) });
            for requirement in plan.requirements.iter().filter(|requirement| requirement.output == output) {
                let judgement = judge(&errors, &requirement.rule());
                requirements.push(RequirementAssessment { requirement, variant, judgement });
            }
        }
        retries.push(match variant.model.protocol.stillness_limit_mm {
            Some(_) => Some(Retries::of(&parts.column(index, "retries", Rows::LastReduction)?)),
            None => None,
        });
        failures.push(parts.failures(index, Rows::LastReduction)?);
    }
    // By requirement first, in the order of the file.
    let place = |asked: &Requirement| plan.requirements.iter().position(|requirement| requirement.id == asked.id);
    requirements.sort_by_key(|assessed| place(assessed.requirement));
    Ok(Assessment { outputs, requirements, failures, retries })
}

impl Retries {
    fn of(column: &Column) -> Self {
        column.iter().fold(Self::default(), |sum, retries| {
            let holds = retries.unwrap_or(0.0);
            // Whole numbers of at most a few hundred.
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let count = holds as u64;
            Self {
                trials: sum.trials + 1,
                trials_with: sum.trials_with + u64::from(count > 0),
                holds: sum.holds + count,
            }
        })
    }
}

impl Requirement {
    /// The rule by which it is judged.
    #[must_use]
    pub fn rule(&self) -> Rule {
        Rule { limit: self.limit, proportion: self.proportion, confidence: self.confidence }
    }
}

impl Assessment<'_> {
    /// Whether every requirement passes in every variant; true without requirements.
    #[must_use]
    pub fn all_shown(&self) -> bool {
        self.requirements.iter().all(|assessed| assessed.judgement.verdict == Verdict::Pass)
    }
}
