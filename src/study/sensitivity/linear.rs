//! The linear budget of the GUM: what each input does to each output to the first order, by central differences through the
//! whole chain, and whether that is good enough.
//!
//! JCGM 100:2008, 5.1 and 5.2 (law of propagation of uncertainty, uncorrelated and correlated inputs); JCGM 101:2008, clause
//! 8 (comparison with a Monte Carlo run).

use super::covariances::{CorrelatedPair, correlated};
use super::nominal::{
    Input, WITHOUT_QUANTITY, drawn_alone, inputs, moved, nominal, source_alone, vector_drawn, vectors,
};
use super::{Asking, CONFIDENCE};
use crate::analysis::moments::moments;
use crate::analysis::{Estimate, order};
use crate::experiment::Variant;
use crate::measurement::{OUTPUTS, Output};
use crate::record::{Parts, Rows, Schema};
use crate::simulation::Quantity;
use crate::simulation::noise::Drawn;
use crate::trial::{CaseErrors, RunError, errors_in_memory};

/// Half of a central difference, in the unit of the input: mm, degrees or one.
const STEP: f64 = 0.01;
/// Cases behind the contribution of an input that is drawn many times.
const CASES: usize = 2000;
/// Offsets at which the effect of an input is looked at, in its standard uncertainties.
pub const MULTIPLES: [f64; 13] = [-6.0, -4.0, -3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0];
/// A coefficient counts as linear as far as the effect departs from it by no more than this proportion.
pub const LINEAR_WITHIN: f64 = 0.05;
/// Half the width of a normal 95 % interval in standard uncertainties.
const COVERAGE_FACTOR: f64 = 1.959_963_984_540_054;

/// The linear budget of a variant.
#[derive(Clone, Debug)]
pub struct LinearStudy {
    /// Every input in use.
    pub inputs: Vec<LinearInput>,
    /// What correlations between components add, by source.
    pub correlated: Vec<CorrelatedPair>,
    /// The budget of each output asked for.
    pub outputs: Vec<OutputBudget>,
}

/// One input: what it is and what it does to each output.
#[derive(Clone, Debug)]
pub struct LinearInput {
    /// The input; `None` for a source whose magnitude is no drawn quantity, and for a vector with a covariance.
    pub input: Option<Input>,
    /// Its path without a leading `noise.`.
    pub id: String,
    /// The source it belongs to; `anatomy` or `implant` for the population.
    pub source: &'static str,
    /// Its standard uncertainty, in its own unit; `None` where it has none of its own.
    pub standard_uncertainty: Option<f64>,
    /// Change of the error with the input, in the output's unit per unit of the input; `None` without a reading or where a
    /// fixed offset makes no sense.
    pub slopes: Option<CaseErrors>,
    /// Its standard uncertainty in each output, to the first order; `None` where another line of the budget holds it.
    pub contributions: Option<[Estimate; OUTPUTS.len()]>,
    /// Effect of a fixed offset at each of [`MULTIPLES`], less that of none; empty without one.
    pub effects: Vec<CaseErrors>,
}

/// The budget of one output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutputBudget {
    /// The output.
    pub output: Output,
    /// Its error in the typical case.
    pub expected: f64,
    /// Combined standard uncertainty to the first order.
    pub combined: f64,
    /// Ends of the linear coverage interval.
    pub linear: (f64, f64),
    /// Standard uncertainty and ends of the coverage interval of the trials of the run; `None` without enough trials.
    pub monte_carlo: Option<(f64, f64, f64)>,
    /// Numerical tolerance for two digits and for one digit of the uncertainty.
    pub allowed: Option<[f64; 2]>,
}

impl OutputBudget {
    /// How many digits of the uncertainty the linear budget is good for: 2, 1 or 0; `None` where nothing can be compared.
    #[must_use]
    pub fn digits(&self) -> Option<u32> {
        let ((_, low, high), [two, one]) = self.monte_carlo.zip(self.allowed)?;
        let apart = (self.linear.0 - low).abs().max((self.linear.1 - high).abs());
        Some(if apart <= two { 2 } else { u32::from(apart <= one) })
    }
}

impl LinearInput {
    /// How far its effect on an output stays linear, in its standard uncertainties; `None` where it does as far as was
    /// looked, or where it does nothing.
    #[must_use]
    pub fn linear_up_to(&self, output: usize) -> Option<f64> {
        let (slope, uncertainty) = (self.slopes?[output], self.standard_uncertainty?);
        let mut leaves: Option<f64> = None;
        for (multiple, effect) in MULTIPLES.iter().zip(&self.effects) {
            let linear = slope * multiple * uncertainty;
            let apart = (effect[output] - linear).abs();
            if apart > LINEAR_WITHIN * linear.abs() && apart > 1e-6 {
                leaves = Some(leaves.map_or(multiple.abs(), |found| found.min(multiple.abs())));
            }
        }
        let leaves = leaves?;
        Some(MULTIPLES.iter().copied().filter(|&multiple| multiple < leaves).fold(0.0, f64::max))
    }
}

pub(super) fn ask(asking: &Asking, index: u32, variant: &Variant) -> Result<LinearStudy, RunError> {
    let nominal = nominal(variant);
    let listed = inputs(variant);
    let protocol = &variant.model.protocol;

    // The typical case; a step to either side of each input; each of the offsets.
    let has_slope = |input: &Input| input.drawn != Drawn::Rarely;
    let mut singles = vec![nominal.clone()];
    for input in listed.iter().filter(|input| has_slope(input)) {
        let uncertainty = input.mean_and_sd().1;
        singles.extend([-STEP, STEP].map(|step| moved(&nominal, input, step)));
        singles.extend(MULTIPLES.map(|multiple| moved(&nominal, input, multiple * uncertainty)));
    }
    let single = errors_in_memory(&singles, asking.plan.seed, 1, asking.threads, asking.progress)?;
    let mut single = single.into_iter().filter_map(|cases| cases.into_iter().next());
    let base = single.next().unwrap_or([f64::NAN; OUTPUTS.len()]);

    let mut rows = Vec::new();
    let mut alone = Vec::new();
    for input in listed {
        let (_, uncertainty) = input.mean_and_sd();
        let (mut slopes, mut effects) = (None, Vec::new());
        if has_slope(&input) {
            let ends = single.next().zip(single.next());
            slopes = ends.map(|(below, above)| std::array::from_fn(|i| (above[i] - below[i]) / (2.0 * STEP)));
            let offsets = single.by_ref().take(MULTIPLES.len());
            effects = offsets.map(|errors| std::array::from_fn(|i| errors[i] - base[i])).collect();
        }
        let once = input.drawn.is_once(protocol);
        let has_components = rows_of_components(&input);
        // One line of the budget for what is drawn: components where each acts once, else the whole quantity.
        let contributions = match slopes {
            _ if input.in_covariance => None,
            Some(slopes) if once && !has_components => Some(slopes.map(|slope| exactly(slope.abs() * uncertainty))),
            _ if !once && !input.is_component() && !matches!(input.quantity, Quantity::Constant(_)) => {
                alone.push((rows.len(), drawn_alone(&nominal, &input)));
                None
            }
            _ => None,
        };
        rows.push(LinearInput {
            id: input.id.clone(),
            source: input.source,
            standard_uncertainty: Some(uncertainty),
            input: Some(input),
            slopes,
            contributions,
            effects,
        });
    }
    for vector in vectors(variant) {
        alone.push((rows.len(), vector_drawn(&nominal, &vector)));
        rows.push(drawn_as_one(vector.id(), vector.source));
    }
    for (source, switch) in variant.model.noise.clone().switches() {
        if WITHOUT_QUANTITY.contains(&source.id) && switch.scale != 0.0 {
            alone.push((rows.len(), source_alone(&nominal, source.id, switch.scale)));
            rows.push(drawn_as_one(source.id.to_owned(), source.id));
        }
    }
    let correlated = correlated(variant, &rows);
    let variants: Vec<Variant> = alone.iter().map(|(_, variant)| variant.clone()).collect();
    let cases = errors_in_memory(&variants, asking.plan.seed, CASES, asking.threads, asking.progress)?;
    for ((row, _), errors) in alone.into_iter().zip(cases) {
        rows[row].contributions = Some(std::array::from_fn(|i| spread(&errors, i)));
    }
    let outputs = budgets(asking, index, &base, &rows, &correlated)?;
    Ok(LinearStudy { inputs: rows, correlated, outputs })
}

/// A line of the budget without a quantity of its own.
fn drawn_as_one(id: String, source: &'static str) -> LinearInput {
    LinearInput {
        input: None,
        id,
        source,
        standard_uncertainty: None,
        slopes: None,
        contributions: None,
        effects: Vec::new(),
    }
}

/// Whether the components of a quantity stand in lines of their own.
fn rows_of_components(input: &Input) -> bool {
    input.has_components && !input.is_component()
}

fn exactly(value: f64) -> Estimate {
    Estimate { value, interval: None, standard_error: Some(0.0), count: 1 }
}

/// Standard deviation of an output over cases in which one input alone is drawn.
fn spread(errors: &[CaseErrors], output: usize) -> Estimate {
    let values: Vec<f64> = errors.iter().map(|errors| errors[output]).filter(|error| error.is_finite()).collect();
    moments(&values).and_then(|moments| moments.spread(CONFIDENCE)).unwrap_or(exactly(f64::NAN))
}

fn budgets(
    asking: &Asking,
    index: u32,
    base: &CaseErrors,
    rows: &[LinearInput],
    correlated: &[CorrelatedPair],
) -> Result<Vec<OutputBudget>, RunError> {
    let parts = Parts::list(&asking.folder.parts())?;
    let mut budgets = Vec::new();
    for output in asking.plan.asked().outputs() {
        let i = output.place();
        let squares = rows.iter().filter_map(|row| row.contributions).map(|all| all[i].value * all[i].value);
        let together = correlated.iter().map(|pair| pair.variances[i].value);
        let combined = squares.chain(together).filter(|square| square.is_finite()).sum::<f64>().max(0.0).sqrt();
        let (mut errors, _) = parts.column(index, &Schema::error_column(output), Rows::LastReduction)?.into_present();
        errors.sort_unstable_by(f64::total_cmp);
        let tail = 0.5 * (1.0 - CONFIDENCE);
        let sd = moments(&errors).and_then(|moments| moments.sd());
        let ends = order::quantile(&errors, tail).zip(order::quantile(&errors, 1.0 - tail));
        let monte_carlo = sd.zip(ends).map(|(sd, (low, high))| (sd, low, high));
        let expected = base[i];
        let reach = COVERAGE_FACTOR * combined;
        budgets.push(OutputBudget {
            output,
            expected,
            combined,
            linear: (expected - reach, expected + reach),
            monte_carlo,
            allowed: sd.filter(|&sd| sd > 0.0).map(numerical_tolerance),
        });
    }
    Ok(budgets)
}

/// Half a unit in the last of two digits, and of one digit, of an uncertainty (JCGM 101:2008, 7.9.2).
fn numerical_tolerance(uncertainty: f64) -> [f64; 2] {
    let first_digit = libm::floor(libm::log10(uncertainty));
    [0.5 * libm::exp10(first_digit - 1.0), 0.5 * libm::exp10(first_digit)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 101:2008, 7.9.2, examples: an uncertainty of 0.35 g as 35 x 10^-2 has a numerical tolerance of 0.005 g, of 2 K
    /// as 2 x 10^0 one of 0.5 K (examples recalled, the rule as stated there).
    #[test]
    fn table_numerical_tolerance() {
        assert!((numerical_tolerance(0.35)[0] - 0.005).abs() < 1e-15);
        assert!((numerical_tolerance(2.0)[1] - 0.5).abs() < 1e-15);
    }
}
