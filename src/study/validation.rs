//! A simulated run held against a bench: whether its errors are those that were seen, and over which range that was
//! looked at.

use crate::analysis::agreement::{Agreements, Compared, compare};
use crate::analysis::order::quantile;
use crate::experiment::{Plan, Variant};
use crate::measurement::{Asked, OUTPUTS, Output};
use crate::record::{PartError, Parts, Rows, Schema};
use crate::replay::Replayed;

/// A bench against its model, arm by arm.
#[derive(Clone, Debug)]
pub struct Validation {
    /// Name of the run that predicts.
    pub model: String,
    /// Every variant of the bench that the run has too.
    pub variants: Vec<ValidatedVariant>,
    /// Names of the arms that it has not.
    pub unmatched: Vec<String>,
}

/// Recorded cases that a run is held against.
#[derive(Clone, Debug)]
pub struct HeldBench {
    /// Its experiment of recorded cases, as the experiment of the run names it.
    pub file: String,
    /// The same as a plan; its number of trials is that of the cases.
    pub plan: Plan,
    /// How their errors agree with those of the run.
    pub validation: Validation,
    /// Cases that could not be read at all.
    pub unread: u64,
}

/// One variant of a bench against its model.
#[derive(Clone, Debug)]
pub struct ValidatedVariant {
    /// Index of the variant in the plan of the bench.
    pub variant: usize,
    /// Name of the arm of the run.
    pub model_arm: String,
    /// The outputs that both ask for.
    pub compared: Asked,
    /// How the errors of these agree, in their order.
    pub agreements: Agreements,
    /// What range of conditions the bench covers.
    pub ranges: Vec<Range>,
}

/// The range of one condition: what the bench covers, and what the context of use asks.
#[derive(Clone, Debug, PartialEq)]
pub struct Range {
    /// The condition.
    pub name: String,
    /// Its unit.
    pub unit: &'static str,
    /// Smallest and largest of the bench; `None` if it is not known of any case.
    pub covered: Option<(f64, f64)>,
    /// Between these lie the middle 95 % of the simulated cases.
    pub asked: (f64, f64),
    /// Proportion of the simulated cases inside what is covered.
    pub proportion: f64,
}

/// Why a run cannot be held against a bench.
#[derive(Debug, thiserror::Error)]
pub enum ValidationError {
    /// A part of it cannot be read.
    #[error(transparent)]
    Part(#[from] PartError),
    /// It measures nothing that the bench measures.
    #[error("no arm of {model} measures as an arm of the bench does: {asked}")]
    NoArm {
        /// The run.
        model: String,
        /// What the bench measures.
        asked: String,
    },
}

/// The stream of the test's draws: one of its own, so that it depends on nothing else.
const SEED: u64 = 0x0062_656e_6368;

/// Holds a run (its plan and parts) against a bench.
///
/// # Errors
/// See [`ValidationError`].
pub fn validate(
    replayed: &Replayed,
    model: &Plan,
    parts: &Parts,
    confidence: f64,
) -> Result<Validation, ValidationError> {
    demand_partners(replayed.plan, model)?;
    let (mut variants, mut unmatched) = (Vec::new(), Vec::new());
    for (index, variant) in replayed.plan.variants.iter().enumerate() {
        let Some((number, of_model)) = partner(variant, model) else {
            unmatched.push(variant.arm.clone());
            continue;
        };
        let compared = shared(variant, of_model);
        variants.push(ValidatedVariant {
            variant: index,
            model_arm: of_model.arm.clone(),
            compared,
            agreements: agreements(replayed, index, compared, parts, number, confidence)?,
            ranges: ranges(replayed, index, compared, parts, number)?,
        });
    }
    Ok(Validation { model: model.title.clone(), variants, unmatched })
}

/// Demands that a model measures anything that a bench measures.
///
/// # Errors
/// [`ValidationError::NoArm`].
pub fn demand_partners(bench: &Plan, model: &Plan) -> Result<(), ValidationError> {
    if bench.variants.iter().any(|variant| partner(variant, model).is_some()) {
        return Ok(());
    }
    let asked: Vec<_> = bench.variants.iter().map(measured_in_words).collect();
    Err(ValidationError::NoArm { model: model.title.clone(), asked: asked.join("; ") })
}

/// The variant of a model that measures as one of the bench does: the arm of the same name, else the only other.
fn partner<'m>(variant: &Variant, model: &'m Plan) -> Option<(u32, &'m Variant)> {
    let alike = |(_, other): &(u32, &Variant)| are_alike(variant, other);
    let alike: Vec<_> = (0..).zip(&model.variants).filter(alike).collect();
    let same_name = alike.iter().find(|(_, other)| (&other.arm, other.point) == (&variant.arm, variant.point));
    match (same_name, &alike[..]) {
        (Some(&found), _) => Some(found),
        (None, &[only]) => Some(only),
        _ => None,
    }
}

/// The outputs that two variants both ask for.
fn shared(one: &Variant, other: &Variant) -> Asked {
    one.procedure.asked.and(other.procedure.asked)
}

/// Whether two variants measure outputs that both ask for in one way.
fn are_alike(one: &Variant, other: &Variant) -> bool {
    let shared = shared(one, other);
    let planes = |variant: &Variant| (variant.procedure.plane, variant.measurand_plane);
    let (a, b) = (&one.procedure, &other.procedure);
    shared.has_any(&OUTPUTS)
        && a.side == b.side
        && planes(one) == planes(other)
        && (a.femur == b.femur || !shared.has_any(&Output::LEG))
        && (a.angles == b.angles || !shared.has_any(&Output::CUP))
}

/// What a variant measures, in words; the outputs are named where not all are asked for.
#[must_use]
pub fn measured_in_words(variant: &Variant) -> String {
    let procedure = &variant.procedure;
    let names: Vec<&str> = procedure.asked.outputs().map(Output::name).collect();
    format!(
        "{} hip, {} plane, truth in the {} plane{}{}",
        procedure.side.word(),
        procedure.plane.word(),
        variant.measurand_plane.word(),
        procedure.ways(),
        if procedure.asked == Asked::ALL { String::new() } else { format!(", of {}", names.join(", ")) },
    )
}

fn column(parts: &Parts, variant: u32, name: &str) -> Result<Vec<f64>, PartError> {
    let column = parts.column(variant, name, Rows::LastReduction)?;
    Ok(column.iter().map(|value| value.unwrap_or(f64::NAN)).collect())
}

fn agreements(
    replayed: &Replayed,
    variant: usize,
    compared: Asked,
    parts: &Parts,
    number: u32,
    confidence: f64,
) -> Result<Agreements, PartError> {
    let mut errors = Vec::new();
    for output in compared.outputs() {
        let name = Schema::error_column(output);
        let observed = replayed.error_column(variant, output);
        let observed: Vec<f64> = observed.into_iter().map(|error| error.unwrap_or(f64::NAN)).collect();
        errors.push((column(parts, number, &name)?, observed));
    }
    let errors: Vec<Compared> = errors.iter().map(|(predicted, observed)| Compared { predicted, observed }).collect();
    Ok(compare(&errors, confidence, SEED))
}

fn ranges(
    replayed: &Replayed,
    variant: usize,
    compared: Asked,
    parts: &Parts,
    number: u32,
) -> Result<Vec<Range>, PartError> {
    let last = replayed.last_readings(variant);
    let mut ranges = Vec::new();
    for output in compared.outputs() {
        let covered: Vec<f64> = last.iter().filter_map(|reading| reading.truth[output.place()]).collect();
        let name = format!("{}_true_{}", output.id(), output.unit().suffix());
        let asked = column(parts, number, &name)?;
        ranges.extend(range(format!("true {}", output.name()), output.unit().symbol(), &covered, &asked));
    }
    let covered: Vec<f64> = last.iter().map(|reading| reading.fit.asis_width_mm).collect();
    let asked = column(parts, number, "anatomy_asis_width_mm")?;
    ranges.extend(range("distance between the spines".to_owned(), "mm", &covered, &asked));
    Ok(ranges)
}

fn range(name: String, unit: &'static str, covered: &[f64], asked: &[f64]) -> Option<Range> {
    let mut asked: Vec<f64> = asked.iter().copied().filter(|value| value.is_finite()).collect();
    asked.sort_unstable_by(f64::total_cmp);
    let known = || covered.iter().copied().filter(|value| value.is_finite());
    let covered = known().min_by(f64::total_cmp).zip(known().max_by(f64::total_cmp));
    let inside = |(low, high): (f64, f64)| asked.iter().filter(|value| (low..=high).contains(*value)).count();
    Some(Range {
        name,
        unit,
        covered,
        asked: (quantile(&asked, 0.025)?, quantile(&asked, 0.975)?),
        proportion: covered.map_or(0.0, |covered| inside(covered) as f64 / asked.len() as f64),
    })
}
