//! Does a residual say how far off a reading is? How the residuals of the fits go with the size of the errors.

use crate::analysis::joint::Bivariate;
use crate::analysis::{CONFIDENCE, Estimate};
use crate::experiment::{Plan, Variant};
use crate::measurement::{OUTPUTS, Output, Procedure, Step};
use crate::record::{PartError, Parts, Rows, Schema};

/// Residuals that stand in the parts, root mean square, mm, each with the step whose it is; `None` for that of all poses.
const RESIDUALS: [(&str, Option<Step>); 6] = [
    ("pose_rms_mm", None),
    ("tip_pivot_rms_mm", Some(Step::TipPivot)),
    ("centre_native_rms_mm", Some(Step::CentreNative)),
    ("centre_new_rms_mm", Some(Step::CentreNew)),
    ("feature_baseline_rms_mm", Some(Step::FemurBaseline)),
    ("feature_reduction_rms_mm", Some(Step::FemurReduction)),
];

/// Whether a procedure has a residual: it takes the step.
fn is_there(procedure: &Procedure, step: Option<Step>) -> bool {
    step.is_none_or(|step| procedure.needs(step))
}

/// The residuals that a procedure has.
pub fn residuals_of(procedure: &Procedure) -> impl Iterator<Item = &'static str> {
    RESIDUALS.into_iter().filter(|&(_, step)| is_there(procedure, step)).map(|(residual, _)| residual)
}

/// How one residual goes with the size of one output's error.
#[derive(Clone, Debug)]
pub struct ResidualCorrelation<'p> {
    /// The variant.
    pub variant: &'p Variant,
    /// Column of the residual, one of [`residuals_of`].
    pub residual: &'static str,
    /// The output.
    pub output: Output,
    /// Correlation of the residual with the absolute error; `None` where one of them has no spread.
    pub correlation: Option<Estimate>,
}

/// Every residual against every output asked for of every variant, part by part.
///
/// # Errors
/// If a part cannot be read.
pub(super) fn residuals<'p>(plan: &'p Plan, parts: &Parts) -> Result<Vec<ResidualCorrelation<'p>>, PartError> {
    let names: Vec<String> = RESIDUALS
        .map(|(residual, _)| residual.to_owned())
        .into_iter()
        .chain(OUTPUTS.map(Schema::error_column))
        .collect();
    let mut found = Vec::new();
    for (index, variant) in (0..).zip(&plan.variants) {
        let mut both = [[Bivariate::default(); OUTPUTS.len()]; RESIDUALS.len()];
        parts.each_part(index, &names, Rows::LastReduction, |columns| {
            let (residuals, errors) = columns.split_at(RESIDUALS.len());
            for (residual, both) in residuals.iter().zip(&mut both) {
                for (errors, both) in errors.iter().zip(both) {
                    let pairs = residual.iter().zip(errors.iter());
                    pairs.filter_map(|(one, other)| Some([one?, other?.abs()])).for_each(|pair| both.add(pair));
                }
            }
        })?;
        let there = RESIDUALS.into_iter().zip(&both).filter(|((_, step), _)| is_there(&variant.procedure, *step));
        for ((residual, _), both) in there {
            let of = |output: Output| ResidualCorrelation {
                variant,
                residual,
                output,
                correlation: both[output.place()].correlation(CONFIDENCE),
            };
            found.extend(plan.asked().outputs().map(of));
        }
    }
    Ok(found)
}
