//! Arms compared: what they do, how far apart their errors are, how they rank, how their readings agree, and what a residual
//! says.
//!
//! The sections are those of a simulation study in the order of Morris TP, White IR, Crowther MJ. Stat Med
//! 2019;38:2074-2102: aims and data-generating mechanisms are the report's own sections on the question, scene and inputs;
//! estimands, methods and performance measures are here.

mod agreement;
mod apart;
mod better;
mod claims;
mod claims_in_words;
mod methods;
mod pairs;
mod performance;
mod planned;
mod ranks;
mod residuals;

use crate::analysis::Interval;
use crate::analysis::paired::{Difference, Method};
use crate::experiment::{Plan, Variant};
use crate::measurement::Output;
use crate::record::PartError;
use crate::report::columns::Columns;
use crate::report::evidence::{Entry, Files, Heading, Section, shown_by_default};
use crate::report::words::{decimals, number};
use crate::study::{Assessment, Pair};

/// Points of a sweep whose tables and charts of single pairs stand in the page, at most; files hold all.
const MOST_POINTS: u32 = 3;
/// Pairs of arms that have charts of their own, at most.
const MOST_PAIRS: usize = 3;

/// Estimands, methods, and the arms beside each other; none for one arm.
pub fn sections(
    plan: &Plan,
    assessment: &Assessment,
    columns: &dyn Columns,
    files: &mut Files,
) -> Result<Vec<Section>, PartError> {
    if assessment.arms.pairs.is_empty() && assessment.arms.apart.is_empty() {
        return Ok(Vec::new());
    }
    let mut entries = apart::entries(plan, assessment);
    entries.extend(claims::entries(plan, assessment, files));
    entries.extend(planned::entry(plan, assessment, files));
    entries.extend(performance::entries(plan, assessment, files));
    entries.extend(pairs::entries(plan, assessment, files));
    entries.extend(better::entries(plan, assessment, files));
    entries.extend(ranks::entries(plan, assessment, files));
    let compared = Section { id: "comparison", title: "Arms beside each other", entries };
    let mut entries = agreement::entries(plan, assessment, columns, files)?;
    entries.extend(residuals::entries(plan, assessment, columns, files)?);
    let agreement = Section { id: "agreement", title: "Agreement of readings, and what a residual says", entries };
    Ok(vec![methods::estimands(plan, files), methods::methods(plan, files), compared, agreement])
}

/// The outputs with a requirement or a claim, or the first without any.
fn shown(plan: &Plan) -> Vec<Output> {
    let of_requirements = plan.requirements.iter().map(|requirement| requirement.output);
    let named: Vec<Output> = of_requirements.chain(plan.comparisons.iter().map(|claim| claim.output)).collect();
    let found: Vec<Output> = plan.asked().outputs().filter(|output| named.contains(output)).collect();
    if found.is_empty() { shown_by_default(plan) } else { found }
}

/// Both arms in words.
fn against([a, b]: Pair) -> String {
    format!("{} against {}", a.arm, b.arm)
}

/// The point of a variant in words; nothing where there is one.
fn at_point(plan: &Plan, variant: &Variant) -> String {
    let Some(point) = plan.points.get(variant.point as usize).filter(|_| plan.points.len() > 1) else {
        return String::new();
    };
    let values: Vec<String> = point.values.iter().map(|(path, value)| format!("{path} = {value}")).collect();
    format!(", {}", values.join(", "))
}

fn heading(name: impl Into<String>, numbers: bool) -> Heading {
    Heading { name: name.into(), numbers }
}

/// A difference with its interval, times a factor: `−0.60 (−0.73 to −0.48)`.
fn difference(found: &Difference, factor: f64) -> String {
    let scaled = |value: f64| factor * value;
    let digits = decimals(found.standard_error.map(scaled)).min(6);
    let value = number(scaled(found.difference), digits);
    let ends = |Interval { low, high, .. }: Interval| {
        let text = format!("{}\u{a0}to\u{a0}{}", number(scaled(low), digits), number(scaled(high), digits));
        if found.open.contains(&true) { format!("{text}, 0\u{a0}excluded") } else { text }
    };
    match (found.method, found.interval) {
        (Method::Identical, _) => "identical".to_owned(),
        (_, Some(interval)) => format!("{value} ({})", ends(interval)),
        (_, None) => format!("{value} (no\u{a0}interval)"),
    }
}

/// A probability as it is read.
fn probability(p: Option<f64>) -> String {
    match p {
        None => "none".to_owned(),
        Some(p) if p < 1e-4 => "below 0.0001".to_owned(),
        Some(p) => number(p, 4),
    }
}

/// The end of the names of files and anchors of an output at a point.
fn suffix(plan: &Plan, output: Output, point: u32) -> String {
    let output = output.id().replace('_', "-");
    if plan.points.len() > 1 { format!("{output}-{}", point + 1) } else { output }
}

fn point_file_columns(arms: Pair) -> [crate::record::tables::Cell; 2] {
    [arms[0].arm.as_str().into(), arms[1].arm.as_str().into()]
}

/// What is not in the page.
fn left_out(plan: &Plan) -> Option<Entry> {
    (plan.points.len() > MOST_POINTS as usize).then(|| {
        Entry::paragraph(format!(
            "Tables are shown for the first {MOST_POINTS} of {} points of the sweeps; the files hold all of them.",
            plan.points.len()
        ))
    })
}
