//! What the scales of a budget multiply: the magnitudes of the noise that move a required output, with their plausible ranges.

use super::Knob;
use crate::experiment::{Requirement, Variant};
use crate::simulation::Quantity;
use crate::simulation::noise::{Drawn, SOURCES};
use crate::study::derive::scaled;
use crate::trial::{CaseErrors, RunError};

/// Cases in which an input that is drawn in every case is looked for.
const CASES: u64 = 64;

/// How a magnitude compares with its plausible range.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Plausible {
    /// Within it, or without a stated range.
    Within,
    /// Smaller than its lower end.
    Below,
    /// Larger than its upper end.
    Above,
}

impl Plausible {
    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Below => "below",
            Self::Above => "above",
        }
    }
}

/// A magnitude that the scale of a knob multiplies.
#[derive(Clone, Debug)]
pub struct Magnitude {
    /// Place of its knob.
    pub knob: usize,
    /// Source and key, joined by a dot.
    pub path: String,
    /// The key, whose suffix is the unit.
    pub key: &'static str,
    /// At scale 1: the standard deviation of what is drawn, or a magnitude that is stated without a distribution.
    pub size: f64,
    /// What is drawn; `None` for a magnitude without a distribution.
    pub quantity: Option<Quantity>,
    /// Plausible range of the size, in its unit; `None` where none is stated.
    pub range: Option<[f64; 2]>,
}

impl Magnitude {
    /// How it compares with its range at a scale.
    #[must_use]
    pub fn plausible(&self, scale: f64) -> Plausible {
        match self.range {
            Some([_, high]) if scale * self.size > high => Plausible::Above,
            Some([low, _]) if scale * self.size < low => Plausible::Below,
            _ => Plausible::Within,
        }
    }
}

/// Errors of the first cases of a variant.
type Run<'a> = &'a dyn Fn(&Variant, u64) -> Result<Vec<CaseErrors>, RunError>;

/// The magnitudes of each knob that move a required output in some case.
pub fn magnitudes(
    variant: &Variant,
    knobs: &[Knob],
    requirements: &[Requirement],
    trials: u64,
    run: Run,
) -> Result<Vec<Magnitude>, RunError> {
    let base = run(variant, trials)?;
    let moves = |changed: &Variant, cases: u64| -> Result<bool, RunError> {
        let changed = run(changed, cases.min(trials))?;
        let moved = |(one, other): (&CaseErrors, &CaseErrors)| {
            let mut places = requirements.iter().map(|asked| asked.output.place());
            places.any(|place| one[place].to_bits() != other[place].to_bits())
        };
        Ok(changed.iter().zip(&base).any(moved))
    };
    let knob_of = |source: &str| knobs.iter().position(|knob| knob.sources.contains(&source));
    let mut noise = variant.model.noise.clone();
    let scales: Vec<_> = noise.switches().map(|(source, switch)| (source.id, switch.scale)).into();
    let scale_of = |source: &str| scales.iter().find(|(id, _)| *id == source).map_or(1.0, |(_, scale)| *scale);
    let mut found = Vec::new();
    for (source, key, magnitude) in noise.fixed_magnitudes() {
        let size = scale_of(source) * magnitude.abs();
        let Some(knob) = knob_of(source).filter(|_| size > 0.0) else { continue };
        if moves(&scaled(variant, |id| if id == source { 0.0 } else { 1.0 }), CASES)? {
            let path = format!("{source}.{key}");
            found.push(Magnitude { knob, path, key, size, quantity: None, range: range_of(source, key) });
        }
    }
    for (place, input) in noise.inputs().into_iter().enumerate() {
        let size = scale_of(input.source) * input.quantity.mean_and_sd().1;
        let has_unit = input.key.ends_with("_mm") || input.key.ends_with("_deg") || input.key.ends_with("_px");
        let Some(knob) = knob_of(input.source).filter(|_| has_unit && size > 0.0) else { continue };
        let mut without = variant.clone();
        if let Some(input) = without.model.noise.inputs().into_iter().nth(place) {
            *input.quantity = Quantity::ZERO;
        }
        if moves(&without, if input.drawn == Drawn::Rarely { trials } else { CASES })? {
            found.push(Magnitude {
                knob,
                path: format!("{}.{}", input.source, input.key),
                key: input.key,
                size,
                quantity: Some(input.quantity.clone()),
                range: range_of(input.source, input.key),
            });
        }
    }
    // In the order of the catalogue, whatever they are.
    let order =
        |found: &Magnitude| SOURCES.iter().position(|source| found.path.starts_with(&format!("{}.", source.id)));
    found.sort_by_key(order);
    Ok(found)
}

fn range_of(source: &str, key: &str) -> Option<[f64; 2]> {
    let parameters = SOURCES.iter().filter(|entry| entry.id == source).flat_map(|entry| entry.parameters);
    parameters.into_iter().find(|parameter| parameter.key == key)?.plausible
}
