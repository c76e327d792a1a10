//! Noise sources and populations: what they are, from the simulator; their numbers, from the defaults.

use super::{Entry, Kind, basis_at, default_at, defaults, unit_of};
use crate::simulation::noise::{SOURCES, components_of};
use crate::simulation::{Anatomy, Implant};

/// The noise sources.
pub fn sources() -> Vec<Entry> {
    let defaults = defaults();
    let entry = |source: &'static crate::simulation::noise::SourceEntry| {
        let section = format!("noise.{}", source.id);
        let strata: Vec<_> = source.strata.iter().map(|stratum| stratum.word()).collect();
        let mut entry = Entry::new(Kind::Source, source.id, source.meaning)
            .fact("drawn anew for each", strata.join(", "))
            .fact("axes", source.axes);
        for parameter in source.parameters {
            let default = default_at(&defaults, &format!("{section}.{}", parameter.key)).unwrap_or_default();
            let unit = unit_of(parameter.key);
            entry = entry.fact(parameter.key, format!("{}; unit: {unit}; default {default}", parameter.meaning));
        }
        for covariance in source.covariances {
            let unit = if covariance.key.ends_with("_deg2") { "degrees squared" } else { "mm squared" };
            let text = format!(
                "optional, in place of {}: the covariance of the three components as three rows, mean 0; unit: {unit}",
                covariance.in_place_of.join(", ")
            );
            entry = entry.fact(covariance.key, text);
        }
        let components: Vec<String> = components_of(source).map(|component| component.short_id()).collect();
        if !components.is_empty() {
            entry = entry.fact("components that can be correlated", components.join(", "));
        }
        entry
            .fact("plausible", source.plausible)
            .fact(
                "by default",
                if source.on_by_default {
                    "on"
                } else {
                    "off, unless the file has its section or noise.only has its full id"
                },
            )
            .fact("basis", basis_at(&defaults, &section))
            .fact("in the file", format!("[{section}]"))
    };
    SOURCES.iter().map(entry).collect()
}

/// The patient's quantities.
pub fn anatomy() -> Vec<Entry> {
    drawn(Kind::Anatomy, "anatomy", Anatomy::KEYS, Anatomy::MEANINGS)
}

/// The quantities of the change made.
pub fn implant() -> Vec<Entry> {
    drawn(Kind::Implant, "implant", Implant::KEYS, Implant::MEANINGS)
}

fn drawn(kind: Kind, section: &str, keys: &[&str], meanings: &[&str]) -> Vec<Entry> {
    let defaults = defaults();
    let entry = |(key, meaning): (&&str, &&str)| {
        let id = format!("{section}.{key}");
        let default = default_at(&defaults, &id).unwrap_or_default();
        Entry::new(kind, &id, meaning.trim())
            .fact("unit", unit_of(key))
            .fact("drawn anew for each", "case")
            .fact("default", default)
            .fact("basis of the section", basis_at(&defaults, section))
            .fact("column", id.replace('.', "_"))
    };
    keys.iter().zip(meanings).map(entry).collect()
}
