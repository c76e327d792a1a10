//! What everything means: one catalogue from which the command line and the reference are written.

mod keys;
mod measured;
mod page;
mod simulated;
mod terms;

pub use page::{detail, markdown, overview};

/// One thing that can be explained.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// What kind of thing it is.
    pub kind: Kind,
    /// Its id, as files and messages write it.
    pub id: String,
    /// What it is.
    pub meaning: String,
    /// What else there is to know: a label and a text each.
    pub facts: Vec<(String, String)>,
}

/// Kinds of things, in the order of the reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// What is reported.
    Output,
    /// The pelvic plane that is measured.
    Plane,
    /// Definition of the cup angles.
    Angles,
    /// What is traced or touched on the femur.
    Feature,
    /// How a pivot is estimated.
    Pivot,
    /// A noise source.
    Source,
    /// A quantity of the patient.
    Anatomy,
    /// A quantity of the change made.
    Implant,
    /// A distribution.
    Distribution,
    /// A key of the experiment file.
    Key,
    /// Why a reading is missing.
    Failure,
    /// A word.
    Term,
    /// A letter in a formula.
    Symbol,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 13] = [
        Self::Output,
        Self::Plane,
        Self::Angles,
        Self::Feature,
        Self::Pivot,
        Self::Source,
        Self::Anatomy,
        Self::Implant,
        Self::Distribution,
        Self::Key,
        Self::Failure,
        Self::Term,
        Self::Symbol,
    ];

    /// One of them, in words.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Output => "output",
            Self::Plane => "measured plane",
            Self::Angles => "definition of the cup angles",
            Self::Feature => "femoral feature",
            Self::Pivot => "pivot estimator",
            Self::Source => "noise source",
            Self::Anatomy => "quantity of the patient",
            Self::Implant => "quantity of the change made",
            Self::Distribution => "distribution",
            Self::Key => "key of the experiment file",
            Self::Failure => "reason of a failed trial",
            Self::Term => "term",
            Self::Symbol => "symbol",
        }
    }

    /// Heading over all of them.
    #[must_use]
    pub const fn heading(self) -> &'static str {
        match self {
            Self::Output => "Outputs",
            Self::Plane => "Planes",
            Self::Angles => "Definitions of the cup angles",
            Self::Feature => "Femoral features",
            Self::Pivot => "Pivot estimators",
            Self::Source => "Noise sources",
            Self::Anatomy => "The patient",
            Self::Implant => "The change made",
            Self::Distribution => "Distributions",
            Self::Key => "Keys of the experiment file",
            Self::Failure => "Failures",
            Self::Term => "Terms",
            Self::Symbol => "Symbols",
        }
    }
}

impl Entry {
    fn new(kind: Kind, id: impl Into<String>, meaning: impl Into<String>) -> Self {
        Self { kind, id: id.into(), meaning: meaning.into(), facts: Vec::new() }
    }

    fn fact(mut self, label: impl Into<String>, text: impl Into<String>) -> Self {
        self.facts.push((label.into(), text.into()));
        self
    }
}

/// Everything that can be explained, by kind.
#[must_use]
pub fn catalogue() -> Vec<Entry> {
    let mut entries = measured::outputs();
    entries.extend(measured::planes());
    entries.extend(measured::angles());
    entries.extend(measured::features());
    entries.extend(measured::pivots());
    entries.extend(simulated::sources());
    entries.extend(simulated::anatomy());
    entries.extend(simulated::implant());
    entries.extend(measured::distributions());
    entries.extend(keys::keys());
    entries.extend(measured::failures());
    entries.extend(terms::terms());
    entries.extend(terms::symbols());
    entries
}

/// The entries that an id names: those of just this id, and those whose id begins with it and a dot.
#[must_use]
pub fn find<'e>(entries: &'e [Entry], asked: &str) -> Vec<&'e Entry> {
    let asked = asked.trim();
    let named = |id: &str| {
        entries.iter().filter(|entry| entry.id.strip_prefix(id).is_some_and(begins_anew)).collect::<Vec<_>>()
    };
    let found = named(asked);
    if !found.is_empty() {
        return found;
    }
    // As paths of the file write it, with or without the parameter of a source or what stands in it.
    let mut path = asked.strip_prefix("noise.").unwrap_or(asked);
    loop {
        let exact: Vec<_> = entries.iter().filter(|entry| entry.id == path).collect();
        if !exact.is_empty() {
            return exact;
        }
        match path.rsplit_once('.') {
            // Only what a quantity or a source contains: a section's other keys are other things.
            Some((parent, key)) if contains(entries, parent, key) => path = parent,
            Some((parent, _)) if contains_any_parameter(entries, parent) => path = parent,
            _ => return Vec::new(),
        }
    }
}

fn begins_anew(rest: &str) -> bool {
    rest.is_empty() || rest.starts_with('.')
}

/// Whether an entry has a fact with this label.
fn contains(entries: &[Entry], id: &str, label: &str) -> bool {
    entries.iter().any(|entry| entry.id == id && entry.facts.iter().any(|(known, _)| known == label))
}

/// Whether a path leads into a quantity: `anatomy.tilt_deg.normal`, `tracker.jitter.across_mm.normal`.
fn contains_any_parameter(entries: &[Entry], path: &str) -> bool {
    let quantity =
        entries.iter().any(|entry| entry.id == path && matches!(entry.kind, Kind::Anatomy | Kind::Implant));
    let parameter = path.rsplit_once('.').is_some_and(|(source, key)| contains(entries, source, key));
    let deeper = path.rsplit_once('.').is_some_and(|(parent, key)| {
        crate::simulation::DISTRIBUTIONS.contains(&key) && contains_any_parameter(entries, parent)
    });
    quantity || parameter || deeper
}

/// The id that was probably meant.
#[must_use]
pub fn nearest<'e>(entries: &'e [Entry], asked: &str) -> Option<&'e str> {
    let asked = asked.trim().to_lowercase();
    let asked = asked.strip_prefix("noise.").unwrap_or(&asked);
    let likeness = |id: &str| {
        // A part of an id may be all that is remembered.
        let part = id.split('.').map(|part| strsim::jaro_winkler(asked, &part.to_lowercase())).fold(0.0, f64::max);
        strsim::jaro_winkler(asked, &id.to_lowercase()).max(0.98 * part)
    };
    let best = entries.iter().map(|entry| (likeness(&entry.id), entry.id.as_str()));
    best.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|(likeness, _)| *likeness > 0.7).map(|(_, id)| id)
}

/// The defaults of the experiment file.
fn defaults() -> toml::Table {
    // They stand in the program; every run reads them.
    crate::experiment::DEFAULTS.parse().unwrap_or_default()
}

/// The default at a path, as the file would write it.
fn default_at(defaults: &toml::Table, path: &str) -> Option<String> {
    let (first, rest) = path.split_once('.').unwrap_or((path, ""));
    let mut value = defaults.get(first)?;
    for key in rest.split('.').filter(|key| !key.is_empty()) {
        value = value.get(key)?;
    }
    Some(value.to_string())
}

/// The basis of a section, in words.
fn basis_at(defaults: &toml::Table, section: &str) -> String {
    let mut value = defaults.get(section.split('.').next().unwrap_or_default());
    for key in section.split('.').skip(1) {
        value = value.and_then(|value| value.get(key));
    }
    let text = |key: &str| value.and_then(|value| value.get("basis")?.get(key)?.as_str()).map(str::to_owned);
    let parts: Vec<_> = [text("kind"), text("source"), text("note")].into_iter().flatten().collect();
    parts.join("; ")
}

/// The unit that a key ends in.
fn unit_of(key: &str) -> &'static str {
    match key.rsplit('_').next() {
        Some("mm") => "mm",
        Some("deg") => "degrees",
        Some("hz") => "1/s",
        Some("s") => "s",
        Some("px") => "px",
        Some("ratio" | "share" | "probability" | "proportion") => "none (a proportion)",
        _ => "none",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::file_keys;
    use std::collections::HashSet;

    #[test]
    fn identity_every_key_of_the_file_is_explained_and_no_other() {
        let explained: HashSet<_> =
            catalogue().into_iter().filter(|entry| entry.kind == Kind::Key).map(|entry| entry.id).collect();
        let known: HashSet<_> = file_keys().into_iter().collect();
        let mut missing: Vec<_> = known.difference(&explained).collect();
        missing.sort();
        assert!(missing.is_empty(), "not explained: {missing:?}");
        let mut unknown: Vec<_> = explained.difference(&known).collect();
        unknown.sort();
        assert!(unknown.is_empty(), "explained, but no key: {unknown:?}");
    }

    #[test]
    fn identity_ids_are_unique_within_their_kind_and_texts_are_there() {
        let entries = catalogue();
        let mut seen = HashSet::new();
        for entry in &entries {
            assert!(seen.insert((entry.kind, entry.id.clone())), "{} twice", entry.id);
            assert!(!entry.meaning.trim().is_empty(), "{}", entry.id);
            assert!(entry.facts.iter().all(|(label, text)| !label.is_empty() && !text.is_empty()), "{entry:?}");
        }
        for kind in Kind::ALL {
            assert!(entries.iter().any(|entry| entry.kind == kind), "{kind:?}");
        }
    }

    #[test]
    fn identity_every_source_shows_its_parameters_with_their_defaults() {
        let entries = catalogue();
        let defaults = defaults();
        for source in &crate::simulation::noise::SOURCES {
            let entry = entries.iter().find(|entry| entry.id == source.id).expect("an entry");
            for parameter in source.parameters {
                let path = format!("noise.{}.{}", source.id, parameter.key);
                let default = default_at(&defaults, &path).expect("a default");
                let (_, text) = entry.facts.iter().find(|(label, _)| label == parameter.key).expect("a parameter");
                assert!(text.contains(parameter.meaning) && text.contains(&default), "{path}: {text}");
            }
            let (_, basis) = entry.facts.iter().find(|(label, _)| label == "basis").expect("a basis");
            assert!(["measured", "published", "assumed"].iter().any(|kind| basis.starts_with(kind)), "{basis}");
        }
    }

    #[test]
    fn identity_found_by_id_family_or_path() {
        let entries = catalogue();
        let ids = |asked: &str| find(&entries, asked).iter().map(|entry| entry.id.clone()).collect::<Vec<_>>();
        assert_eq!(ids("landmark.tissue"), ["landmark.tissue"]);
        assert_eq!(ids("landmark").len(), 3);
        assert_eq!(ids("noise.landmark.tissue.asis_mm"), ["landmark.tissue"]);
        assert_eq!(ids("noise.tracker.jitter.across_mm.normal.sd"), ["tracker.jitter"]);
        assert_eq!(ids("anatomy.tilt_deg.normal.sd"), ["anatomy.tilt_deg"]);
        assert!(ids("level").contains(&"level.table".to_owned()));
        assert_eq!(ids("rank loss"), ["rank loss"]);
        assert!(ids("nothing.of.this").is_empty());
        assert_eq!(nearest(&entries, "landmark.tisue"), Some("landmark.tissue"));
        assert_eq!(nearest(&entries, "tisue"), Some("landmark.tissue"));
        assert_eq!(nearest(&entries, "inclinaton"), Some("inclination"));
        assert_eq!(nearest(&entries, "qqqq"), None);
    }
}
