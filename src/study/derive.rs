//! Variants made from a variant: other draws for some of it, other scales of its sources.

use crate::experiment::{Group, Variant};
use crate::simulation::noise::{Component, Noise};

/// The same variant with all that a group holds made from the second set of draws.
pub(super) fn redrawn(variant: &Variant, group: &Group) -> Variant {
    redrawn_where(variant, |id| group.holds(id))
}

/// The same variant with everything made from the second set of draws.
pub(super) fn all_redrawn(variant: &Variant) -> Variant {
    redrawn_where(variant, |_| true)
}

fn redrawn_where(variant: &Variant, chosen: impl Fn(&str) -> bool) -> Variant {
    let mut variant = variant.clone();
    let model = &mut variant.model;
    for (source, switch) in model.noise.switches() {
        if chosen(source.id) {
            switch.replicate = 1;
        }
    }
    for (id, replicate) in [
        ("anatomy", &mut model.replicates.anatomy),
        ("implant", &mut model.replicates.implant),
        ("protocol", &mut model.replicates.protocol),
    ] {
        if chosen(id) {
            *replicate = 1;
        }
    }
    // A second set of draws goes into the correlated scores of others too.
    model.noise.correlate();
    variant
}

/// The same variant with what is not `drawn` at the head of every mixing of correlated scores, and that with the `drawn` part
/// made from the second set of draws, given the rest. What is not drawn at all, because it is off or its step is left out,
/// comes last, so that no other score depends on it.
pub(crate) fn redrawn_given(variant: &Variant, drawn: impl Fn(&str) -> bool) -> (Variant, Variant) {
    let used = in_use(variant);
    let rank = |component: &Component| {
        let source = component.source;
        let is_drawn =
            used.contains(&source.id) && source.disturbs_only.is_none_or(|step| variant.procedure.needs(step));
        if is_drawn { u8::from(drawn(source.id)) } else { 2 }
    };
    let (mut held, mut anew) = (variant.clone(), redrawn_where(variant, &drawn));
    for variant in [&mut held, &mut anew] {
        variant.model.noise.correlate_in_order(rank);
    }
    (held, anew)
}

/// The same variant with the scale of each source multiplied by a factor.
pub(super) fn scaled(variant: &Variant, factor: impl Fn(&str) -> f64) -> Variant {
    let mut variant = variant.clone();
    for (source, switch) in variant.model.noise.switches() {
        switch.scale *= factor(source.id);
    }
    variant
}

/// A source, or a part of one that has a rare event: the event, or all else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SourcePart {
    /// Id of the source.
    pub source: &'static str,
    /// Name of the event; `None` for the source without it.
    pub event: Option<&'static str>,
}

impl std::fmt::Display for SourcePart {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.event {
            None => f.write_str(self.source),
            Some(event) => write!(f, "{}: {event}", self.source),
        }
    }
}

/// The sources that are switched on, each followed by its rare event where it has one that may happen.
pub(super) fn parts_in_use(variant: &Variant) -> Vec<SourcePart> {
    let events = variant.model.noise.events();
    let mut parts = Vec::new();
    for source in in_use(variant) {
        parts.push(SourcePart { source, event: None });
        let happens = events.iter().filter(|(id, _, probability)| *id == source && *probability > 0.0);
        parts.extend(happens.map(|(_, event, _)| SourcePart { source, event: Some(event) }));
    }
    parts
}

/// The same variant with the scale of each source, or of each part of a source with a rare event, multiplied by a factor.
pub(super) fn scaled_parts(variant: &Variant, factor: impl Fn(SourcePart) -> f64) -> Variant {
    let parts = parts_in_use(variant);
    let mut variant = variant.clone();
    for (entry, switch) in variant.model.noise.switches() {
        let of_event = parts.iter().find(|part| part.source == entry.id && part.event.is_some());
        let steady = factor(SourcePart { source: entry.id, event: None });
        match of_event.map(|part| factor(*part)) {
            Some(event) if event != steady => {
                switch.steady *= steady;
                switch.event *= event;
            }
            _ => switch.scale *= steady,
        }
    }
    variant
}

/// Ids of the sources that are switched on.
pub(super) fn in_use(variant: &Variant) -> Vec<&'static str> {
    let mut noise: Noise = variant.model.noise.clone();
    noise.switches().into_iter().filter(|(_, switch)| switch.scale != 0.0).map(|(source, _)| source.id).collect()
}
