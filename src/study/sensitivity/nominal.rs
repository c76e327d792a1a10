//! The typical case: every quantity at its mean, so that one input can be moved and all else stands still.

use crate::experiment::Variant;
use crate::simulation::noise::{Component, CovarianceEntry, Drawn};
use crate::simulation::{Anatomy, Covariance, Implant, Model, Quantity};

/// One input of the measurement: a quantity, or one component of it.
#[derive(Clone, Debug)]
pub struct Input {
    /// Its path without a leading `noise.`, with the component where there are several.
    pub id: String,
    /// The source it belongs to; `anatomy` or `implant` for the population.
    pub source: &'static str,
    /// The key that carries its unit.
    pub key: &'static str,
    /// Its distribution, before the scale of its source.
    pub quantity: Quantity,
    /// Scale of its source.
    pub scale: f64,
    /// How often a case draws it.
    pub drawn: Drawn,
    /// Whether its quantity has several components.
    pub has_components: bool,
    /// Whether it is part of a vector that is drawn from a covariance: then its spread alone is no line of a budget.
    pub in_covariance: bool,
    place: Place,
}

/// Where the quantity of an input stands in a model.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    Anatomy(usize),
    Implant(usize),
    Noise { index: usize, component: Option<usize> },
}

impl Input {
    /// Mean and standard deviation of what is drawn, scaled.
    #[must_use]
    pub fn mean_and_sd(&self) -> (f64, f64) {
        let (mean, sd) = self.quantity.mean_and_sd();
        (self.scale * mean, self.scale.abs() * sd)
    }

    /// Whether it is what a component is drawn from, with the one slope that belongs to it.
    #[must_use]
    pub fn draws(&self, component: &Component) -> bool {
        let named = |name: &str| name == component.item.name || name == component.axis.name;
        self.source == component.source.id
            && self.key == component.axis.key
            && if self.has_components {
                self.is_component() && self.id.rsplit('.').next().is_some_and(named)
            } else {
                true
            }
    }

    /// Whether it is one component of a quantity that has several.
    #[must_use]
    pub fn is_component(&self) -> bool {
        matches!(self.place, Place::Noise { component: Some(_), .. })
    }
}

/// Every input of a variant that is in use. A quantity with several components stands first as a whole, then by
/// component.
pub(super) fn inputs(variant: &Variant) -> Vec<Input> {
    let Model { anatomy, implant, .. } = &variant.model;
    let population = |source: &'static str, key: &'static str, quantity: Quantity, place: Place| Input {
        id: format!("{source}.{key}"),
        source,
        key,
        quantity,
        scale: 1.0,
        drawn: Drawn::Once,
        has_components: false,
        in_covariance: false,
        place,
    };
    let mut inputs = Vec::new();
    for (i, (&key, (_, quantity))) in Anatomy::KEYS.iter().zip(anatomy.quantities()).enumerate() {
        inputs.push(population("anatomy", key, quantity.clone(), Place::Anatomy(i)));
    }
    for (i, (&key, (_, quantity))) in Implant::KEYS.iter().zip(implant.quantities()).enumerate() {
        inputs.push(population("implant", key, quantity.clone(), Place::Implant(i)));
    }
    let mut noise = variant.model.noise.clone();
    let scales: Vec<_> = noise.switches().into_iter().map(|(source, switch)| (source.id, switch.scale)).collect();
    let scale_of = |id: &str| scales.iter().find(|(source, _)| *source == id).map_or(0.0, |(_, scale)| *scale);
    let vectors = vectors(variant);
    for (index, input) in noise.inputs().into_iter().enumerate() {
        let scale = scale_of(input.source);
        if scale == 0.0 {
            continue;
        }
        let vector = vectors
            .iter()
            .find(|vector| vector.source == input.source && vector.entry.in_place_of.contains(&input.key));
        let of = |component: Option<usize>| Input {
            id: match component.and_then(|which| input.components.get(which)) {
                Some(name) => format!("{}.{}.{name}", input.source, input.key),
                None => format!("{}.{}", input.source, input.key),
            },
            source: input.source,
            key: input.key,
            quantity: match vector {
                Some(vector) => Quantity::normal(vector.sd(input.key, component)),
                None => input.quantity.clone(),
            },
            scale,
            drawn: input.drawn,
            has_components: !input.components.is_empty(),
            in_covariance: vector.is_some(),
            place: Place::Noise { index, component },
        };
        inputs.push(of(None));
        // Of a rare event no component can be held fixed.
        let components = if input.drawn == Drawn::Rarely { 0 } else { input.components.len() };
        inputs.extend((0..components).map(|component| of(Some(component))));
    }
    inputs
}

/// A vector that is drawn from a covariance.
#[derive(Clone, Debug)]
pub(super) struct Vector {
    /// The source it belongs to.
    pub source: &'static str,
    /// What the catalogue says of it.
    pub entry: &'static CovarianceEntry,
    covariance: Covariance,
}

impl Vector {
    /// Its path without a leading `noise.`.
    pub fn id(&self) -> String {
        format!("{}.{}", self.source, self.entry.key)
    }

    /// Standard deviation of one component: its key among those that the covariance stands for, or its place in the one key;
    /// of the whole key the largest.
    fn sd(&self, key: &str, component: Option<usize>) -> f64 {
        let sds = self.covariance.sds();
        let place = match self.entry.in_place_of {
            [_] => component,
            keys => keys.iter().position(|known| *known == key),
        };
        place.map_or(sds.into_iter().fold(0.0, f64::max), |place| sds[place])
    }
}

/// The vectors of a variant that are drawn from a covariance, of the sources in use.
pub(super) fn vectors(variant: &Variant) -> Vec<Vector> {
    let mut noise = variant.model.noise.clone();
    let switches = noise.switches();
    let on: Vec<&str> =
        switches.iter().filter(|(_, switch)| switch.scale != 0.0).map(|(source, _)| source.id).collect();
    let given = noise.covariances().into_iter().filter_map(|input| {
        Some(Vector { source: input.source, entry: input.entry, covariance: input.covariance.clone()? })
    });
    given.filter(|vector| on.contains(&vector.source)).collect()
}

/// The typical case with one vector drawn from its covariance.
pub(super) fn vector_drawn(nominal: &Variant, vector: &Vector) -> Variant {
    let mut variant = nominal.clone();
    for input in variant.model.noise.covariances() {
        if input.source == vector.source && input.entry.key == vector.entry.key {
            *input.covariance = Some(vector.covariance.clone());
        }
    }
    variant
}

/// Sources whose magnitude is no drawn quantity; off in the typical case.
pub const WITHOUT_QUANTITY: [&str; 2] = ["tracker.lens", "centre.liner"];

/// The typical case of a variant: all quantities at their means, vectors with a covariance at 0, rare events and sources without a quantity off.
pub(super) fn nominal(variant: &Variant) -> Variant {
    let vectors = vectors(variant);
    let mut variant = variant.clone();
    let model = &mut variant.model;
    let at_mean = |quantity: &mut Quantity| *quantity = Quantity::Constant(quantity.mean_and_sd().0);
    model.anatomy.quantities_mut().into_iter().for_each(at_mean);
    model.implant.quantities_mut().into_iter().for_each(at_mean);
    for reduction in &mut model.reductions {
        at_mean(&mut reduction.added_leg_length_mm);
        at_mean(&mut reduction.added_offset_mm);
    }
    for input in model.noise.inputs() {
        let in_covariance = vectors
            .iter()
            .any(|vector| vector.source == input.source && vector.entry.in_place_of.contains(&input.key));
        if input.drawn == Drawn::Rarely || in_covariance {
            *input.quantity = Quantity::ZERO;
        } else {
            at_mean(input.quantity);
        }
    }
    for input in model.noise.covariances() {
        *input.covariance = None;
    }
    for (source, switch) in model.noise.switches() {
        if WITHOUT_QUANTITY.contains(&source.id) {
            switch.scale = 0.0;
        }
    }
    variant
}

/// The typical case with one input moved by so much, in its own unit and after the scale of its source.
pub(super) fn moved(nominal: &Variant, input: &Input, by: f64) -> Variant {
    with(nominal, input, |quantity, component| {
        let (mean, step) = (quantity.mean_and_sd().0, by / input.scale);
        match component {
            None => Quantity::Constant(mean + step),
            Some(which) => {
                let mut values = [mean; 3];
                values[which] += step;
                Quantity::Fixed(values)
            }
        }
    })
}

/// The typical case with one quantity drawn as it is in the experiment.
pub(super) fn drawn_alone(nominal: &Variant, input: &Input) -> Variant {
    with(nominal, input, |_, _| input.quantity.clone())
}

/// The typical case with one source at its scale.
pub(super) fn source_alone(nominal: &Variant, source: &str, scale: f64) -> Variant {
    let mut variant = nominal.clone();
    for (entry, switch) in variant.model.noise.switches() {
        if entry.id == source {
            switch.scale = scale;
        }
    }
    variant
}

fn with(nominal: &Variant, input: &Input, change: impl Fn(&Quantity, Option<usize>) -> Quantity) -> Variant {
    let mut variant = nominal.clone();
    let model = &mut variant.model;
    let put = |quantity: Option<&mut Quantity>, component| {
        if let Some(quantity) = quantity {
            *quantity = change(quantity, component);
        }
    };
    match input.place {
        Place::Anatomy(i) => put(model.anatomy.quantities_mut().into_iter().nth(i), None),
        Place::Implant(i) => put(model.implant.quantities_mut().into_iter().nth(i), None),
        Place::Noise { index, component } => {
            put(model.noise.inputs().into_iter().nth(index).map(|input| input.quantity), component);
        }
    }
    variant
}
