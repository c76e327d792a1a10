//! What an error is made of where one plane is read and another is meant: what the two planes differ by in this patient on
//! this table, and what the measurement adds.

use super::derive::scaled;
use crate::analysis::moments::moments;
use crate::analysis::{CONFIDENCE, Estimate};
use crate::experiment::{Plan, Variant};
use crate::measurement::Output;
use crate::record::{Parts, Rows, Schema};
use crate::trial::{Cells, Progress, RunError, RunFolder, run_cells};

/// Cases that are read again without noise, at most.
pub const CASES: u64 = 20_000;

/// The errors of one arm in their two parts.
#[derive(Clone, Debug)]
pub struct Definitional<'p> {
    /// The variant.
    pub variant: &'p Variant,
    /// Each output asked for.
    pub outputs: Vec<ErrorParts>,
    /// How the pelvis is tilted on the table in each case, degrees, and the definitional error of anteversion, degrees.
    pub over_tilt: Vec<[f64; 2]>,
}

/// Bias and standard deviation of an error and of its parts, over the same cases.
#[derive(Clone, Debug)]
pub struct ErrorParts {
    /// The output.
    pub output: Output,
    /// Number of cases with a reading.
    pub n: u64,
    /// Of the error as read.
    pub whole: [Option<Estimate>; 2],
    /// Of what a reading without any noise is off by.
    pub definitional: [Option<Estimate>; 2],
    /// Of the rest.
    pub technical: [Option<Estimate>; 2],
}

/// Splits the errors of every variant whose truth is meant in another plane than it reads, over the first [`CASES`] of the
/// run: the same cases are read once more with every noise source off. Nothing in a nested design.
///
/// # Errors
/// See [`RunError`]; what was simulated stays, and the same run goes on from there.
pub fn definitional<'p>(
    plan: &'p Plan,
    folder: &RunFolder,
    threads: usize,
    progress: &dyn Progress,
) -> Result<Vec<Definitional<'p>>, RunError> {
    let apart = |(_, variant): &(u32, &'p Variant)| variant.procedure.plane.meant() != variant.measurand_plane;
    let split: Vec<(u32, &Variant)> = (0..).zip(&plan.variants).filter(apart).collect();
    if split.is_empty() || plan.design.is_some() {
        return Ok(Vec::new());
    }
    let silent: Vec<Variant> = split.iter().map(|(_, variant)| scaled(variant, |_| 0.0)).collect();
    let rows = plan.trials.min(CASES);
    let cells =
        run_cells(plan, &Cells { study: "definitional", variants: &silent, rows }, folder, threads, progress)?;
    let (cells, parts) = (Parts::list(&cells)?, Parts::list(&folder.parts())?);
    let read = |parts: &Parts, variant: u32, name: &str| -> Result<Vec<f64>, RunError> {
        let column = parts.column(variant, name, Rows::LastReduction)?;
        // A part may be longer than was asked for here.
        Ok(column.iter().take(usize::try_from(rows).unwrap_or(usize::MAX)).map(|v| v.unwrap_or(f64::NAN)).collect())
    };
    let mut found = Vec::new();
    for (cell, (index, variant)) in (0..).zip(split) {
        let (mut outputs, mut over_tilt) = (Vec::new(), Vec::new());
        for output in plan.asked().outputs() {
            let name = Schema::error_column(output);
            let (whole, definitional) = (read(&parts, index, &name)?, read(&cells, cell, &name)?);
            if output == Output::Anteversion && !variant.model.anatomy.tilt_deg.is_constant() {
                let tilts = read(&cells, cell, "anatomy_tilt_deg")?;
                over_tilt = tilts.iter().zip(&definitional).map(|(&tilt, &error)| [tilt, error]).collect();
            }
            outputs.push(parts_of(output, &whole, &definitional));
        }
        found.push(Definitional { variant, outputs, over_tilt });
    }
    Ok(found)
}

/// Over the cases that both runs read.
fn parts_of(output: Output, whole: &[f64], definitional: &[f64]) -> ErrorParts {
    let both = whole.iter().zip(definitional).filter(|(whole, part)| whole.is_finite() && part.is_finite());
    let (whole, definitional): (Vec<f64>, Vec<f64>) = both.unzip();
    let technical: Vec<f64> = whole.iter().zip(&definitional).map(|(whole, part)| whole - part).collect();
    let of = |errors: &[f64]| {
        let moments = moments(errors);
        [moments.map(|moments| moments.bias(CONFIDENCE)), moments.and_then(|moments| moments.spread(CONFIDENCE))]
    };
    ErrorParts {
        output,
        n: whole.len() as u64,
        whole: of(&whole),
        definitional: of(&definitional),
        technical: of(&technical),
    }
}
