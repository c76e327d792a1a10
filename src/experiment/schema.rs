//! Which keys an experiment file knows: those of the defaults, and those that have no default.

use crate::simulation::noise::SOURCES;
use toml::de::{DeTable, DeValue};

/// Keys without a default, by the table they stand in.
const WITHOUT_DEFAULT: &[(&str, &[&str])] = &[
    ("", &["title", "question", "context_of_use", "seed", "reduction", "arm", "sweep", "requirement", "comparison"]),
    ("measure", &["measurand_plane"]),
    (
        "camera.second",
        &["focal_length_px", "principal_point_px", "radial_distortion", "tangential_distortion", "resolution_px"],
    ),
    ("protocol", &["stillness_limit_mm"]),
    ("noise", &["only", "correlation"]),
    ("camera", &["pose_covariance"]),
    ("replay", &["recordings", "truth", "model"]),
    (
        "report",
        &["model_influence", "decision_consequence", "bench", "bench_comparison", "author", "reviewer", "approver"],
    ),
];

/// Arrays of tables, with the keys of one table.
const RECORDS: [(&str, &[&str]); 6] = [
    (
        "reduction",
        &["name", "added_leg_length_mm", "added_offset_mm", "flexion_deg", "adduction_deg", "internal_rotation_deg"],
    ),
    ("noise.correlation", &["between", "coefficient"]),
    ("arm", &["name", "set"]),
    (
        "comparison",
        &[
            "id",
            "text",
            "arm",
            "against",
            "output",
            "measure",
            "claim",
            "margin_deg",
            "margin_mm",
            "confidence",
            "primary",
        ],
    ),
    ("sweep", &["vary", "over", "between", "points", "sample"]),
    (
        "requirement",
        &[
            "id",
            "risk",
            "text",
            "output",
            "limit_deg",
            "limit_mm",
            "direction",
            "guard_deg",
            "guard_mm",
            "all_of",
            "proportion",
            "confidence",
        ],
    ),
];

/// Parameters of each distribution.
const DISTRIBUTIONS: [(&str, &[&str]); 7] = [
    ("normal", &["mean", "sd", "truncated"]),
    ("rectangular", &["low", "high", "truncated"]),
    ("triangular", &["low", "mode", "high", "truncated"]),
    ("lognormal", &["median", "log_sd", "truncated"]),
    ("student_t", &["location", "scale", "degrees_of_freedom", "truncated"]),
    ("mixture", &["main", "event", "probability", "truncated"]),
    (EMPIRICAL, &["csv", "column", "values", "truncated"]),
];

/// The distribution of measured values: its parameters belong together and are replaced together.
pub(super) const EMPIRICAL: &str = "empirical";

/// Keys of a basis.
pub(super) const BASIS: [&str; 3] = ["kind", "source", "note"];

/// The table whose keys are names of noise sources.
pub(super) const SCALE: &str = "noise.scale";

/// Tables whose keys are the user's own; replaced whole.
const OWN_KEYS: [&str; 3] = [SCALE, "sensitivity.groups", "sensitivity.cost"];

/// Whether the keys of the table at a path are the user's own.
pub(super) fn has_own_keys(path: &str) -> bool {
    OWN_KEYS.contains(&path)
}

/// What no arm and no sweep may set: it belongs to the experiment as a whole.
pub(super) const WHOLE_EXPERIMENT: [&str; 17] = [
    "seed",
    "trials",
    "looks",
    "planning",
    "requirements_needed",
    "multiplicity",
    "design",
    "report",
    "requirement",
    "comparison",
    "arm",
    "sweep",
    "sensitivity",
    "replay",
    "title",
    "question",
    "context_of_use",
];

/// What may stand at a place of the file.
pub(super) enum Place<'d> {
    /// A section: tables merge key by key; holds the defaults.
    Section(&'d DeTable<'static>),
    /// A number, or where the typed section allows it a table with one distribution; replaced whole.
    Number,
    /// Where a section's numbers come from; replaced whole.
    Basis,
    /// An array of tables with these keys; replaced whole.
    Records(&'static [&'static str]),
    /// Text, a truth value, an array, or a table with keys of the user's own; replaced whole.
    Whole,
}

impl<'d> Place<'d> {
    /// The place of a key with this default, at this path.
    fn of_default(path: &str, default: &'d DeValue<'static>) -> Self {
        match default {
            DeValue::Table(_) if is_distribution(default) => Self::Number,
            DeValue::Table(_) if is_basis(path) => Self::Basis,
            DeValue::Table(_) if has_own_keys(path) => Self::Whole,
            DeValue::Table(table) => Self::Section(table),
            DeValue::Integer(_) | DeValue::Float(_) => Self::Number,
            _ => Self::Whole,
        }
    }
}

/// The place of a key in a section of the defaults; `None` if the key is not known there.
pub(super) fn place<'d>(section: &'d DeTable<'static>, path: &str, key: &str) -> Option<Place<'d>> {
    let full = joined(path, key);
    if let Some(default) = section.get(key) {
        return Some(Place::of_default(&full, default.get_ref()));
    }
    if !without_default(path).any(|known| known == key) {
        return None;
    }
    let records = RECORDS.iter().find(|(name, _)| *name == full);
    Some(records.map_or(Place::Whole, |(_, keys)| Place::Records(keys)))
}

/// All keys known in a section of the defaults.
pub(super) fn keys<'d>(section: &'d DeTable<'static>, path: &str) -> Vec<&'d str> {
    let of_default = section.keys().map(|key| -> &'d str { key.get_ref() });
    of_default.chain(without_default(path).map(|key| -> &'d str { key })).collect()
}

/// Keys without a default in a table; those of a noise source are its covariances.
fn without_default(path: &str) -> impl Iterator<Item = &'static str> {
    let listed = WITHOUT_DEFAULT.iter().find(|(table, _)| *table == path);
    let source = path.strip_prefix("noise.").and_then(|id| SOURCES.iter().find(|source| source.id == id));
    let listed = listed.into_iter().flat_map(|(_, keys)| keys.iter().copied());
    listed.chain(source.into_iter().flat_map(|source| source.covariances.iter().map(|covariance| covariance.key)))
}

/// Every key of the file by its path, in lists without the number; of `[anatomy]`, `[implant]` and the noise
/// sources only what is no drawn quantity.
#[must_use]
pub fn file_keys() -> Vec<String> {
    let mut keys: Vec<String> = BASIS.iter().map(|key| joined("basis", key)).collect();
    let records = |key: &str| RECORDS.iter().find(|(name, _)| *name == key).map(|(_, keys)| *keys);
    for (table, without_default) in WITHOUT_DEFAULT {
        for key in *without_default {
            let path = joined(table, key);
            match records(&path) {
                Some(inner) => keys.extend(inner.iter().map(|inner| joined(&path, inner))),
                None => keys.push(path),
            }
        }
    }
    let defaults: toml::Table = super::tree::DEFAULTS.parse().unwrap_or_default();
    for (section, value) in &defaults {
        let Some(table) = value.as_table() else {
            keys.push(section.clone());
            continue;
        };
        let drawn = ["anatomy", "implant"].contains(&section.as_str());
        let is_key = |key: &str| match section.as_str() {
            "noise" => ["off", "scale"].contains(&key),
            _ => !drawn || ["side", "basis"].contains(&key),
        };
        for (key, value) in table.iter().filter(|(key, _)| is_key(key)) {
            let key = joined(section, key);
            match value.as_table() {
                Some(inner) if !is_basis(&key) && !has_own_keys(&key) => {
                    keys.extend(inner.keys().map(|inner| joined(&key, inner)));
                }
                _ => keys.push(key),
            }
        }
    }
    keys
}

/// Names of the distributions.
pub(super) fn distributions() -> Vec<&'static str> {
    DISTRIBUTIONS.iter().map(|(kind, _)| *kind).collect()
}

/// Parameters of a distribution.
pub(super) fn parameters(kind: &str) -> Option<&'static [&'static str]> {
    DISTRIBUTIONS.iter().find(|(name, _)| *name == kind).map(|(_, keys)| *keys)
}

/// Whether a path is that of a basis.
pub(super) fn is_basis(path: &str) -> bool {
    path.rsplit('.').next() == Some("basis")
}

/// Whether a value is a table that holds a distribution.
pub(super) fn is_distribution(value: &DeValue) -> bool {
    value.as_table().is_some_and(|table| table.keys().any(|key| parameters(key.get_ref()).is_some()))
}

/// Whether a value is a range: a table with the key `between` alone.
pub(super) fn is_range(value: &DeValue) -> bool {
    value.as_table().is_some_and(|table| table.len() == 1 && table.contains_key("between"))
}

/// Whether a path that names nothing yet may be given a value: an optional key.
pub(super) fn may_be_added(path: &str) -> bool {
    let (parent, key) = path.rsplit_once('.').unwrap_or(("", path));
    let section = parent.rsplit('.').next().unwrap_or_default();
    let of_record = parent.rsplit_once('.').is_some_and(|(name, index)| {
        index.parse::<usize>().is_ok() && RECORDS.iter().any(|(n, keys)| *n == name && keys.contains(&key))
    });
    without_default(parent).any(|known| known == key)
        || path.strip_prefix(SCALE).is_some_and(|rest| rest.len() > 1 && rest.starts_with('.'))
        || (section != EMPIRICAL && parameters(section).is_some_and(|keys| keys.contains(&key)))
        || (section == "basis" && BASIS.contains(&key))
        || of_record
}

/// `path.key`.
pub(super) fn joined(path: &str, key: &str) -> String {
    if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") }
}
