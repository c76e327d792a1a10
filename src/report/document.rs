//! Documents: the same sections, chosen and ordered for one reader. What each holds is data, in `outlines.rs`.

use super::evidence::{Chart, Entry, Files, Section, Table};
use super::outlines;
use crate::experiment::{Plan, ReportKind};
use serde::Serialize;

/// A document before it is written.
#[derive(Clone, Debug, Serialize)]
pub struct Document {
    /// Name of its file without the ending.
    pub name: &'static str,
    /// What it is, above its title.
    pub heading: &'static str,
    /// Name of the experiment.
    pub title: String,
    /// For whom it is, and in what order; nothing of the document that holds everything.
    pub foreword: &'static str,
    /// Whether it is marked as a draft.
    pub draft: bool,
    /// Its sections in reading order.
    pub sections: Vec<Section>,
    /// Names of the files of tables that stand as Parquet too.
    pub parquet: Vec<String>,
}

/// What a document holds, and in which order.
pub(super) struct Outline {
    /// What it is, above its title.
    pub heading: &'static str,
    /// For whom it is, and in what order.
    pub foreword: &'static str,
    /// Its sections.
    pub parts: &'static [Part],
}

/// A section of a document.
pub(super) struct Part {
    /// Its anchor.
    pub id: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// What stands there, of all sections.
    pub takes: &'static [Take],
    /// What is said where there is none of it; where this is blank, the section is left out.
    pub without: &'static str,
}

/// What is taken from the sections of a report.
pub(super) enum Take {
    /// A section, by its anchor.
    All(&'static str),
    /// What stands under one heading of a section: the section's anchor, and that of the heading, which in reports of
    /// several variants has a prefix.
    Under(&'static str, &'static str),
}

impl Document {
    /// The document that holds everything.
    pub(super) fn whole(title: String, sections: Vec<Section>) -> Self {
        let heading = "Accuracy report";
        Self { name: "report", heading, title, foreword: "", draft: false, sections, parquet: Vec::new() }
    }

    /// A document for one reader, from the sections of the report.
    pub(super) fn of(kind: ReportKind, plan: &Plan, sections: &[Section]) -> Self {
        let Outline { heading, foreword, parts } = outlines::of(kind);
        let chosen = parts.iter().filter_map(|part| part.section(sections)).collect();
        let (title, draft) = (plan.title.clone(), plan.reporting.draft);
        Self { name: kind.word(), heading, title, foreword, draft, sections: chosen, parquet: Vec::new() }
    }

    /// The same, with the names of those of these files that stand as Parquet too.
    pub(super) fn with_files(self, files: &Files) -> Self {
        Self { parquet: files.tidy().map(str::to_owned).collect(), ..self }
    }

    /// Every table.
    pub fn tables(&self) -> impl Iterator<Item = &Table> {
        self.entries().filter_map(|entry| if let Entry::Table(table) = entry { Some(table) } else { None })
    }

    /// Every chart.
    pub fn charts(&self) -> impl Iterator<Item = &Chart> {
        self.entries().flat_map(|entry| if let Entry::Charts { charts } = entry { charts.as_slice() } else { &[] })
    }

    /// Everything that its sections say.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.sections.iter().flat_map(|section| &section.entries)
    }
}

impl Part {
    fn section(&self, sections: &[Section]) -> Option<Section> {
        let &Self { id, title, takes, without } = self;
        // Under a heading of its own, what is taken needs no second one.
        let several = takes.len() > 1;
        let mut entries: Vec<Entry> = takes.iter().flat_map(|take| take.entries(sections, several)).collect();
        if entries.is_empty() && !without.is_empty() {
            entries.push(Entry::paragraph(without));
        }
        (!entries.is_empty()).then_some(Section { id, title, entries })
    }
}

impl Take {
    fn entries(&self, sections: &[Section], with_headings: bool) -> Vec<Entry> {
        let (&Self::All(id) | &Self::Under(id, _)) = self;
        let Some(section) = sections.iter().find(|section| section.id == id) else { return Vec::new() };
        match self {
            Self::All(_) => {
                let heading = with_headings.then(|| Entry::heading(format!("all-of-{id}"), section.title));
                heading.into_iter().chain(section.entries.iter().cloned()).collect()
            }
            Self::Under(_, name) => under(&section.entries, name, with_headings),
        }
    }
}

/// What stands under every heading with this name, prefixed or not.
fn under(entries: &[Entry], name: &str, with_headings: bool) -> Vec<Entry> {
    let named = |id: &str| id.strip_suffix(name).is_some_and(|rest| rest.is_empty() || rest.ends_with('-'));
    let (mut inside, mut found) = (false, Vec::new());
    for entry in entries {
        if let Entry::Heading { id, .. } = entry {
            inside = named(id);
            // Of several variants each keeps its heading, which tells them apart.
            if !with_headings && id == name {
                continue;
            }
        }
        if inside {
            found.push(entry.clone());
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sections() -> Vec<Section> {
        let text = |words: &str| Entry::paragraph(words);
        let head = |id: &str| Entry::heading(id, id);
        let entries = vec![
            text("first"),
            head("1-bony-waterfall"),
            text("bony"),
            head("2-level-waterfall"),
            text("level"),
            head("no-waterfalls"),
            text("other"),
        ];
        vec![
            Section { id: "why", title: "Why", entries },
            Section { id: "end", title: "End", entries: vec![text("end")] },
        ]
    }

    fn words(part: &Part) -> Option<Vec<String>> {
        let word = |entry: Entry| match entry {
            Entry::Paragraph { text } => text,
            Entry::Heading { id, .. } => format!("# {id}"),
            _ => String::new(),
        };
        part.section(&sections()).map(|section| section.entries.into_iter().map(word).collect())
    }

    #[test]
    fn identity_a_part_takes_what_is_there_and_says_what_is_not() {
        let part = |takes, without| Part { id: "part", title: "Part", takes, without };
        let variants = part(&[Take::Under("why", "waterfall")], "");
        assert_eq!(words(&variants).unwrap(), ["# 1-bony-waterfall", "bony", "# 2-level-waterfall", "level"]);
        let two = part(&[Take::All("end"), Take::Under("why", "no-waterfalls")], "");
        assert_eq!(words(&two).unwrap(), ["# all-of-end", "end", "# no-waterfalls", "other"]);
        assert_eq!(words(&part(&[Take::Under("why", "no-waterfalls")], "")).unwrap(), ["other"]);
        assert_eq!(words(&part(&[Take::All("nowhere")], "Nothing.")).unwrap(), ["Nothing."]);
        assert_eq!(words(&part(&[Take::All("nowhere")], "")), None);
    }

    /// No two parts of a document have one anchor, and what is never missing is in each.
    #[test]
    fn identity_every_outline_holds_what_is_never_missing() {
        let never_missing = [
            ("limits", "always"),
            ("limits", "hangs"),
            ("limits", "assumed"),
            ("limits", "not-modelled"),
            ("limits", "definitions"),
            ("failures", "failed"),
        ];
        for kind in ReportKind::ALL {
            let parts = outlines::of(kind).parts;
            for (section, heading) in never_missing {
                let is_it = |take: &Take| matches!(take, Take::Under(id, name) if (*id, *name) == (section, heading));
                assert!(parts.iter().any(|part| part.takes.iter().any(is_it)), "{kind:?}: {section}, {heading}");
            }
            let mut ids: Vec<&str> = parts.iter().map(|part| part.id).collect();
            ids.sort_unstable();
            ids.dedup();
            assert_eq!(ids.len(), parts.len(), "{kind:?}");
        }
    }
}
