//! The errors of every output of every variant summed up, and every requirement judged.

use crate::analysis::{Errors, Judgement, Rule, Summary, Verdict, judge, summarise};
use crate::experiment::{Plan, Requirement, Variant};
use crate::measurement::{OUTPUTS, Output};
use crate::record::{PartError, Parts, Rows};
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
        failures.push(parts.failures(index, Rows::LastReduction)?);
    }
    // By requirement first, in the order of the file.
    let place = |asked: &Requirement| plan.requirements.iter().position(|requirement| requirement.id == asked.id);
    requirements.sort_by_key(|assessed| place(assessed.requirement));
    Ok(Assessment { outputs, requirements, failures })
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
