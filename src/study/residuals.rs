//! Does a residual say how far off a reading is? How the residuals of the fits go with the size of the errors.

use crate::analysis::joint::Bivariate;
use crate::analysis::{CONFIDENCE, Estimate};
use crate::experiment::{Plan, Variant};
use crate::measurement::{OUTPUTS, Output};
use crate::record::{PartError, Parts, Rows, Schema};

/// Residuals that stand in the parts, root mean square, mm.
pub const RESIDUALS: [&str; 6] = [
    "pose_rms_mm",
    "tip_pivot_rms_mm",
    "centre_native_rms_mm",
    "centre_new_rms_mm",
    "feature_baseline_rms_mm",
    "feature_reduction_rms_mm",
];

/// How one residual goes with the size of one output's error.
#[derive(Clone, Debug)]
pub struct ResidualCorrelation<'p> {
    /// The variant.
    pub variant: &'p Variant,
    /// Column of the residual, one of [`RESIDUALS`].
    pub residual: &'static str,
    /// The output.
    pub output: Output,
    /// Correlation of the residual with the absolute error; `None` where one of them has no spread.
    pub correlation: Option<Estimate>,
}

/// Every residual against every output of every variant, part by part.
///
/// # Errors
/// If a part cannot be read.
pub(super) fn residuals<'p>(plan: &'p Plan, parts: &Parts) -> Result<Vec<ResidualCorrelation<'p>>, PartError> {
    let names: Vec<String> =
        RESIDUALS.map(String::from).into_iter().chain(OUTPUTS.map(Schema::error_column)).collect();
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
        for (residual, both) in RESIDUALS.into_iter().zip(&both) {
            let of = |(output, both): (Output, &Bivariate)| ResidualCorrelation {
                variant,
                residual,
                output,
                correlation: both.correlation(CONFIDENCE),
            };
            found.extend(OUTPUTS.into_iter().zip(both).map(of));
        }
    }
    Ok(found)
}
