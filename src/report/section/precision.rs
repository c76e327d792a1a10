//! Monte Carlo standard errors, and the trials that reach those that are aimed at.

use crate::analysis::Estimate;
use crate::analysis::planning::trials_for_standard_error;
use crate::experiment::Assumptions;
use crate::measurement::Unit;
use crate::record::tables::Cell;
use crate::report::evidence::Heading;
use crate::report::words::{count, short, with_unit};
use crate::study::OutputAssessment;

pub const HEADER: [&str; 8] =
    ["arm", "point", "output", "unit", "estimate", "mcse", "mcse_aimed_at", "trials_for_mcse"];

/// How the table is read.
pub const READING: &str = "The Monte Carlo standard error (MCSE) of each estimate, and in brackets the number of trials that is \
                           expected to reach the standard error aimed at: (MCSE / aim)² times the trials of this run (Morris TP, \
                           White IR, Crowther MJ. Stat Med 2019;38:2074-2102).";

pub fn columns() -> Vec<Heading> {
    let words = |name: &str, numbers| Heading { name: name.to_owned(), numbers };
    let estimates = ["bias", "standard deviation", "root mean square", "95th percentile of |error|"];
    let first = [words("error of", false), words("MCSE aimed at", true)];
    first.into_iter().chain(estimates.map(|name| words(name, true))).collect()
}

fn estimates(assessed: &OutputAssessment) -> [(&'static str, Option<Estimate>); 4] {
    let s = &assessed.summary;
    [("bias", s.bias), ("sd", s.sd), ("rms", s.rms), ("p95_abs", s.p95_abs)]
}

/// The standard error that is aimed at, in the output's unit.
fn aim(assumptions: &Assumptions, assessed: &OutputAssessment) -> f64 {
    match assessed.output.unit() {
        Unit::Degrees => assumptions.mcse_deg,
        Unit::Millimetres => assumptions.mcse_mm,
    }
}

/// Standard error and trials.
fn planned(estimate: Option<Estimate>, trials: u64, aim: f64) -> Option<(f64, Option<u64>)> {
    let error = estimate?.standard_error?;
    Some((error, trials_for_standard_error(trials, error, aim)))
}

pub fn row(assumptions: &Assumptions, assessed: &OutputAssessment) -> Vec<String> {
    let aim = aim(assumptions, assessed);
    let unit = assessed.output.unit().symbol();
    let cell = |(_, estimate)| match planned(estimate, assessed.summary.n, aim) {
        None => "none".to_owned(),
        Some((error, trials)) => {
            let trials = trials.map_or_else(|| "more than a billion".to_owned(), count);
            format!("{} ({trials})", short(two_digits(error)))
        }
    };
    let first = [assessed.output.name().to_owned(), with_unit(&short(aim), unit)];
    first.into_iter().chain(estimates(assessed).map(cell)).collect()
}

pub fn file_rows(assumptions: &Assumptions, assessed: &OutputAssessment) -> Vec<Vec<Cell>> {
    let aim = aim(assumptions, assessed);
    let row = |(name, estimate): (&'static str, Option<Estimate>)| {
        let found = planned(estimate, assessed.summary.n, aim);
        vec![
            assessed.variant.arm.as_str().into(),
            assessed.variant.point.into(),
            assessed.output.id().into(),
            assessed.output.unit().suffix().into(),
            name.into(),
            found.map(|found| found.0).into(),
            aim.into(),
            found.and_then(|found| found.1).into(),
        ]
    };
    estimates(assessed).map(row).into()
}

/// Rounded to two significant digits.
fn two_digits(value: f64) -> f64 {
    format!("{value:.1e}").parse().unwrap_or(value)
}
