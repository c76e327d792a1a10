//! Everything a report says, as plain data. Each section, table and chart is one entry here; writers walk it.

use super::document::Document;
use super::section;
use crate::checks::Outcome;
use crate::experiment::{Plan, Variant};
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::record::{PartError, Parts};
use crate::study::budget::BudgetSearch;
use crate::study::sensitivity::ArmSensitivity;
use crate::study::{Assessment, HeldBench};
use serde::Serialize;

/// A report before it is written.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// The document that holds everything.
    pub report: Document,
    /// Documents for one reader each, chosen from it and put in order.
    pub documents: Vec<Document>,
    /// The tables behind its tables and charts, one file each.
    pub files: Vec<Csv>,
}

/// A section.
#[derive(Clone, Debug, Serialize)]
pub struct Section {
    /// Its anchor.
    pub id: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// What it says.
    pub entries: Vec<Entry>,
}

/// One thing that a section says.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Entry {
    /// The heading of a subsection.
    Heading {
        /// Its anchor.
        id: String,
        /// Its words.
        title: String,
    },
    /// A paragraph.
    Paragraph {
        /// Its sentences.
        text: String,
    },
    /// Sentences that stand by themselves.
    List {
        /// One sentence or two each.
        items: Vec<String>,
    },
    /// One requirement, judged.
    Verdict(Finding),
    /// A table.
    Table(Table),
    /// Sliders for the scale of each source, with what is then predicted; nothing without scripts.
    WhatIf(Panel),
    /// Charts side by side.
    Charts {
        /// The charts.
        charts: Vec<Chart>,
    },
}

/// A requirement and its verdict.
#[derive(Clone, Debug, Serialize)]
pub struct Finding {
    /// The verdict's word.
    pub verdict: &'static str,
    /// Id of the requirement, with the arm and point where there are several.
    pub label: String,
    /// The requirement in the user's words.
    pub text: String,
    /// Id in the user's risk file.
    pub risk: Option<String>,
    /// The verdict and what it rests on, in full sentences.
    pub sentence: String,
}

/// Sliders for the scale of each source.
#[derive(Clone, Debug, Serialize)]
pub struct Panel {
    /// Its anchor.
    pub id: String,
    /// What it does.
    pub caption: String,
    /// One slider each.
    pub sources: Vec<PanelSource>,
    /// One line each: an output, or one of its requirements.
    pub rows: Vec<PanelRow>,
}

/// A source with a slider.
#[derive(Clone, Debug, Serialize)]
pub struct PanelSource {
    /// Its id, with the event where it is a rare event of a source.
    pub name: String,
    /// Bias that each row has with this source alone, in the order of the panel's rows.
    pub biases: Vec<f64>,
    /// The variance likewise.
    pub variances: Vec<f64>,
    /// As JSON, for each row what runs found with the source at scale 0, 1/2 and 2 and all others at 1: bias, standard deviation,
    /// 95 % quantile and required quantile; null for what was not found.
    pub runs: String,
}

/// An output that is predicted, with a requirement that limits it or none.
#[derive(Clone, Debug, Serialize)]
pub struct PanelRow {
    /// Name of the output.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// Bias that no source has alone.
    pub bias: f64,
    /// The variance likewise.
    pub variance: f64,
    /// The 95 % quantile over that of normal errors of the same bias and variance.
    pub shape: f64,
    /// The requirement, where there is one.
    pub required: Option<PanelRequired>,
    /// Where the prediction is off most in runs that exist, in words.
    pub off: String,
}

/// A requirement in a panel.
#[derive(Clone, Debug, Serialize)]
pub struct PanelRequired {
    /// Id, proportion and limit in words.
    pub words: String,
    /// Proportion that must be within.
    pub proportion: f64,
    /// The word of its direction.
    pub direction: String,
    /// The limit less a guard band, in the unit of the output.
    pub acceptance: f64,
    /// The required quantile over that of normal errors of the same bias and variance.
    pub shape: f64,
}

/// A table as it is read.
#[derive(Clone, Debug, Serialize)]
pub struct Table {
    /// Its anchor.
    pub id: String,
    /// What it holds.
    pub caption: String,
    /// How to read it.
    pub reading: String,
    /// Its columns.
    pub columns: Vec<Heading>,
    /// Its rows.
    pub rows: Vec<Vec<String>>,
    /// Name of the file that holds it, without folder and ending.
    pub csv: String,
}

/// The head of a column.
#[derive(Clone, Debug, Serialize)]
pub struct Heading {
    /// Its name with the unit or level of what stands below.
    pub name: String,
    /// Whether numbers stand below.
    pub numbers: bool,
}

/// A chart.
#[derive(Clone, Debug, Serialize)]
pub struct Chart {
    /// Name of its file without folder and ending; its anchor is the same behind `chart-`.
    pub id: String,
    /// What it shows.
    pub caption: String,
    /// How to read it.
    pub reading: String,
    /// The picture.
    pub svg: String,
    /// Whether it takes the whole width of the page.
    pub wide: bool,
    /// Name of the file that holds its data, without folder and ending.
    pub csv: String,
}

/// A table as a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Csv {
    /// Its name without folder and ending.
    pub name: String,
    /// Names of its columns.
    pub header: Vec<String>,
    /// Its rows.
    pub rows: Vec<Vec<Cell>>,
    /// Whether it is also written as Parquet, for other statistics programs.
    pub tidy: bool,
}

/// A run that has been assessed.
#[derive(Clone, Copy, Debug)]
pub struct Run<'a> {
    /// What was asked.
    pub plan: &'a Plan,
    /// What its trials say.
    pub assessment: &'a Assessment<'a>,
    /// Where the errors come from; empty where that was not asked.
    pub sensitivity: &'a [ArmSensitivity<'a>],
    /// The published checks of this build; empty where they were not run.
    pub checks: &'a [Outcome],
    /// Its trials.
    pub parts: &'a Parts,
    /// Recorded cases that it is held against, if any.
    pub bench: Option<&'a HeldBench>,
}

impl Evidence {
    /// What a run shows.
    ///
    /// # Errors
    /// If a part of the run cannot be read.
    pub fn of(run: &Run) -> Result<Self, PartError> {
        let Run { plan, assessment, sensitivity, checks, parts, bench } = *run;
        let mut files = Files::default();
        let mut sections = vec![
            section::question::section(plan),
            section::answer::section(plan, assessment, &mut files),
            section::brief::section(plan, assessment, sensitivity, &mut files),
            section::results::section(plan, assessment, parts, &mut files)?,
            section::statistics::section(plan, assessment, &mut files),
        ];
        sections.extend(section::components::section(plan, assessment, &mut files));
        sections.extend(section::cup::section(plan, assessment, &mut files));
        sections.extend(section::comparison::sections(plan, assessment, parts, &mut files)?);
        sections.extend(section::definitional::section(plan, &assessment.definitional, &mut files));
        sections.extend(section::response::section(plan, assessment, &mut files));
        sections.extend(section::sensitivity::section(plan, sensitivity, &mut files));
        sections.extend(section::what_if::section(plan, sensitivity, &mut files));
        let allocation = sensitivity.iter().find_map(|arm| arm.allocation.as_ref());
        sections.extend(allocation.map(|search| section::budget::section(plan, search, &mut files)));
        sections.extend([
            section::scene::section(plan, &mut files),
            section::equations::section(plan, &mut files),
            section::inputs::section(plan, &mut files),
            section::planned::section(plan, &assessment.look, &mut files),
            section::numerics::section(plan),
        ]);
        sections.extend(section::code_verification::section(checks, &mut files));
        sections.extend([
            section::bench_comparison::section(plan, bench, &mut files),
            section::failures::section(plan, assessment, Some(parts), &mut files)?,
            section::traceability::section(plan, assessment, &mut files),
            section::reproduction::section(plan, &section::reproduction::of_run(plan), &mut files),
            section::credibility::section(plan, checks, sensitivity, &mut files),
            section::limits::section(plan, sensitivity, &mut files),
            section::signatures::section(plan, &mut files),
            section::glossary::section(plan, &mut files),
        ]);
        let of = |kind| Document::of(kind, plan, &sections).with_files(&files);
        let documents = plan.documents().into_iter().map(of).collect();
        let report = Document::whole(plan.title.clone(), sections).with_files(&files);
        Ok(Self { report, documents, files: files.0 })
    }

    /// What a search for the largest sources shows, made by a command.
    #[must_use]
    pub fn of_budget(plan: &Plan, search: &BudgetSearch, command: &str) -> Self {
        let mut files = Files::default();
        let sections = vec![
            section::question::section(plan),
            section::budget::section(plan, search, &mut files),
            section::inputs::section(plan, &mut files),
            section::reproduction::section(plan, command, &mut files),
            section::limits::section(plan, &[], &mut files),
            section::glossary::section(plan, &mut files),
        ];
        Self { report: Document::whole(plan.title.clone(), sections), documents: Vec::new(), files: files.0 }
    }

    /// Every table.
    pub fn tables(&self) -> impl Iterator<Item = &Table> {
        self.report.tables()
    }

    /// Every chart.
    pub fn charts(&self) -> impl Iterator<Item = &Chart> {
        self.report.charts()
    }
}

/// The files that come with a report.
#[derive(Debug, Default)]
pub(super) struct Files(Vec<Csv>);

impl Files {
    /// The files.
    pub fn into_files(self) -> Vec<Csv> {
        self.0
    }

    /// Names of those that are also written as Parquet.
    pub fn tidy(&self) -> impl Iterator<Item = &str> {
        self.0.iter().filter(|file| file.tidy).map(|file| file.name.as_str())
    }

    /// A file that was added.
    pub fn get(&self, name: &str) -> Option<&Csv> {
        self.0.iter().find(|file| file.name == name)
    }

    /// Adds a file and hands back its name.
    pub fn add(&mut self, name: &str, header: &[impl ToString], rows: Vec<Vec<Cell>>) -> String {
        self.push(name, header, rows, false)
    }

    /// The same for a file that other statistics programs take in: one row is one number with what it is of.
    pub fn add_tidy(&mut self, name: &str, header: &[impl ToString], rows: Vec<Vec<Cell>>) -> String {
        self.push(name, header, rows, true)
    }

    fn push(&mut self, name: &str, header: &[impl ToString], rows: Vec<Vec<Cell>>, tidy: bool) -> String {
        let header = header.iter().map(ToString::to_string).collect();
        self.0.push(Csv { name: name.to_owned(), header, rows, tidy });
        name.to_owned()
    }

    /// A table of words whose file holds the same words.
    pub fn table(
        &mut self,
        name: &str,
        caption: &str,
        reading: &str,
        header: &[&str],
        rows: Vec<Vec<String>>,
    ) -> Entry {
        let cells = rows.iter().map(|row| row.iter().map(|word| word.as_str().into()).collect()).collect();
        Entry::Table(Table {
            id: format!("table-{name}"),
            caption: caption.to_owned(),
            reading: reading.to_owned(),
            columns: header.iter().map(|name| Heading { name: (*name).to_owned(), numbers: false }).collect(),
            rows,
            csv: self.add(name, header, cells),
        })
    }
}

impl Entry {
    pub(super) fn paragraph(text: impl Into<String>) -> Self {
        Self::Paragraph { text: text.into() }
    }

    pub(super) fn heading(id: impl Into<String>, title: impl Into<String>) -> Self {
        Self::Heading { id: id.into(), title: title.into() }
    }
}

/// The outputs that are shown where the page has no place for all and nothing says which: of all, cup, leg length and offset.
pub(super) fn shown_by_default(plan: &Plan) -> Vec<Output> {
    plan.asked().outputs().take(4).collect()
}

/// How a variant is called where there are several; nothing where there is one.
pub(super) fn label(plan: &Plan, variant: &Variant) -> Option<String> {
    if plan.variants.len() < 2 {
        return None;
    }
    let values = plan.points.get(variant.point as usize).map_or(&[][..], |point| &point.values);
    let values = values.iter().map(|(path, value)| format!("{path} = {value}"));
    // With one arm at several points, the point says it all.
    let arms = plan.variants.iter().any(|other| other.arm != variant.arm).then(|| variant.arm.clone());
    Some(arms.into_iter().chain(values).collect::<Vec<_>>().join("; "))
}

/// What begins the names of a variant's files and anchors: its number and arm; nothing where there is one variant.
pub(super) fn prefix(plan: &Plan, index: usize) -> String {
    let Some(variant) = plan.variants.get(index).filter(|_| plan.variants.len() > 1) else { return String::new() };
    let simple = |letter: char| if letter.is_ascii_alphanumeric() { letter.to_ascii_lowercase() } else { '-' };
    let words: String = variant.arm.chars().map(simple).collect();
    let words: Vec<&str> = words.split('-').filter(|word| !word.is_empty()).take(6).collect();
    format!("{}-{}-", index + 1, words.join("-"))
}
