//! Where the errors come from: what `[sensitivity]` asks, answered for each arm at the first point of its sweeps.

mod covariances;
mod differences;
mod indices;
mod linear;
mod nominal;
mod one_at_a_time;
mod prediction;
mod shapley;
mod uncertain;

pub use super::derive::SourcePart;
pub use covariances::{AddedVariance, CorrelatedPair};
pub use differences::{Limited, LimitedDifference};
pub use indices::{IndexStudy, MOST_DROPPED, OutputIndices};
pub use linear::{LINEAR_WITHIN, LinearInput, LinearStudy, MULTIPLES, OutputBudget};
pub use nominal::Input;
pub use nominal::WITHOUT_QUANTITY;
pub use one_at_a_time::{CHANGES, Change, Changed, OneAtATime, SourceRuns};
pub use prediction::{CHECKED, Compared, Predicted, Prediction, Required};
pub use shapley::ShapleyStudy;
pub use uncertain::{Moves, UncertainPoint, UncertainStudy, WorstEnd};

use super::budget::{BudgetSearch, budget};
use crate::analysis::bootstrap::Resamples;
use crate::analysis::indices::RESAMPLES;
use crate::experiment::{Plan, Question, Variant};
use crate::measurement::OUTPUTS;
use crate::record::{PartError, Parts, Rows, Schema};
use crate::simulation::{StreamKey, source_key};
use crate::trial::{Progress, RunError, RunFolder};

/// Level of every interval here.
pub const CONFIDENCE: f64 = crate::analysis::CONFIDENCE;

/// What was found for one arm.
#[derive(Clone, Debug)]
pub struct ArmSensitivity<'p> {
    /// The variant that was asked: the arm at the first point.
    pub variant: &'p Variant,
    /// Variance-based indices, where asked.
    pub indices: Option<IndexStudy>,
    /// Shapley effects of groups that may be correlated, where asked.
    pub shapley: Option<ShapleyStudy>,
    /// Each source alone, all but it, half and twice of it, where asked.
    pub one_at_a_time: Option<OneAtATime>,
    /// Coefficients, the linear budget and the effects of offsets, where asked.
    pub linear: Option<LinearStudy>,
    /// The outer loop over magnitudes that are known within a range only, where asked and where there are any.
    pub uncertain: Option<UncertainStudy>,
    /// How large the sources may be, of the first arm where asked and where there is a requirement.
    pub allocation: Option<BudgetSearch<'p>>,
}

/// Asks what the plan asks; nothing without a section `[sensitivity]`. Cases that are in the folder already are not
/// simulated again.
///
/// # Errors
/// See [`RunError`]; what was simulated stays, and the same run goes on from there.
pub fn sensitivity<'p>(
    plan: &'p Plan,
    folder: &RunFolder,
    threads: usize,
    progress: &dyn Progress,
) -> Result<Vec<ArmSensitivity<'p>>, RunError> {
    let Some(asked) = &plan.sensitivity else { return Ok(Vec::new()) };
    let draws = Resamples::new(usize::try_from(asked.rows).unwrap_or(usize::MAX), resampling_seed(plan), RESAMPLES);
    let study = Asking { plan, rows: asked.rows, draws, folder, threads, progress };
    let arms = plan.variants.iter().filter(|variant| variant.point == 0).enumerate();
    arms.map(|(index, variant)| {
        let place = plan.variants.iter().position(|other| std::ptr::eq(other, variant)).unwrap_or(0);
        let place = u32::try_from(place).unwrap_or(u32::MAX);
        let indices =
            asked.asks(Question::Indices).then(|| indices::ask(&study, index, variant, asked)).transpose()?;
        let shapley =
            asked.asks(Question::Shapley).then(|| shapley::ask(&study, index, variant, asked)).transpose()?;
        let one = asked.asks(Question::OneAtATime).then(|| one_at_a_time::ask(&study, index, variant)).transpose()?;
        let linear = asked.asks(Question::Linear) || asked.asks(Question::Offsets);
        let linear = linear.then(|| linear::ask(&study, place, variant)).transpose()?;
        let outer = plan.uncertain.variants.get(index).filter(|outer| !outer.is_empty());
        let at_ends = plan.uncertain.variants_at_ends.get(index).map_or(&[][..], Vec::as_slice);
        let uncertain = outer.map(|outer| uncertain::ask(&study, index, outer, at_ends)).transpose()?;
        let allocated = index == 0 && asked.asks(Question::Allocation) && !plan.requirements.is_empty();
        let allocation = allocated.then(|| budget(plan, variant, threads, progress)).transpose()?;
        Ok(ArmSensitivity { variant, indices, shapley, one_at_a_time: one, linear, uncertain, allocation })
    })
    .collect()
}

/// What every question needs.
struct Asking<'a> {
    plan: &'a Plan,
    rows: u64,
    /// The same for every question.
    draws: Resamples,
    folder: &'a RunFolder,
    threads: usize,
    progress: &'a dyn Progress,
}

/// The seed of resampling: a stream of its own.
fn resampling_seed(plan: &Plan) -> u64 {
    let source = source_key("bootstrap");
    StreamKey { seed: plan.seed, replicate: 0, source, device: 0, case: 0, capture: 0 }.mixed()
}

/// Errors of every output of a cell, row by row; NaN where a case gave no reading.
fn errors(parts: &Parts, cell: u32) -> Result<[Vec<f64>; OUTPUTS.len()], PartError> {
    let names = OUTPUTS.map(Schema::error_column);
    let columns = parts.columns(cell, names.each_ref().map(String::as_str), Rows::LastReduction)?;
    Ok(columns.map(|column| column.iter().map(|value| value.unwrap_or(f64::NAN)).collect()))
}
