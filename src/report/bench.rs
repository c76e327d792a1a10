//! The report on recorded cases: the sections of a simulated run where they hold, and what a bench alone has.

use super::columns::Columns;
use super::document::Document;
use super::evidence::{Entry, Evidence, Files, Section};
use super::section;
use crate::experiment::Plan;
use crate::measurement::{OUTPUTS, Output};
use crate::record::recording::Recordings;
use crate::record::truths::Truths;
use crate::record::{PartError, Schema};
use crate::replay::{Complaint, NoiseFit, Replayed};
use crate::study::{Assessment, Validation};

/// Recorded cases, measured.
#[derive(Debug)]
pub struct Bench<'a> {
    /// What was asked; its number of trials is that of the cases.
    pub plan: &'a Plan,
    /// What was recorded.
    pub recordings: &'a Recordings,
    /// What is known to be true.
    pub truths: Option<&'a Truths>,
    /// What was read.
    pub replayed: &'a Replayed<'a>,
    /// What is wrong with it.
    pub complaints: &'a [Complaint],
    /// What the errors say.
    pub assessment: &'a Assessment<'a>,
    /// How they agree with a simulated run.
    pub validation: Option<&'a Validation>,
    /// The noise that they show, if asked for.
    pub fit: Option<&'a NoiseFit>,
    /// SHA-256 of the recordings and of the truth, in hexadecimal digits.
    pub sums: [Option<String>; 2],
}

impl Evidence {
    /// What recorded cases show.
    ///
    /// # Errors
    /// If the run that predicts them cannot be read.
    pub fn of_bench(bench: &Bench) -> Result<Self, PartError> {
        let Bench { plan, assessment, replayed, .. } = *bench;
        let mut files = Files::default();
        let mut sections = vec![
            section::bench::question(bench),
            section::answer::section(plan, assessment, &mut files),
            section::bench::readings(bench, &mut files),
            section::results::section(plan, assessment, &ErrorsInMemory(replayed), &mut files)?,
            section::failures::section(plan, assessment, None, &mut files)?,
        ];
        // Here trials are those of the model and cases those of the bench.
        sections.iter_mut().for_each(speak_of_cases);
        sections.extend(bench.validation.map(|found| section::validation::section(plan, found, &mut files)));
        sections.extend(bench.fit.map(|fit| section::fit::section(fit, &mut files)));
        sections.extend([section::bench::reproduction(bench, &mut files), section::bench::limits(bench)]);
        let report = Document::whole(plan.title.clone(), sections);
        Ok(Self { report, documents: Vec::new(), files: files.into_files() })
    }
}

/// Errors of recorded cases as columns.
struct ErrorsInMemory<'a>(&'a Replayed<'a>);

impl Columns for ErrorsInMemory<'_> {
    fn of(&self, variant: u32, name: &str) -> Result<Option<Vec<f64>>, PartError> {
        let is_named = |output: &Output| name == Schema::error_column(*output);
        let output = OUTPUTS.into_iter().find(is_named);
        let errors = output.map(|output| self.0.error_column(variant as usize, output));
        Ok(errors.map(|errors| errors.into_iter().map(|error| error.unwrap_or(f64::NAN)).collect()))
    }
}

/// The sections of a run say "trial"; what a bench counts is cases.
fn speak_of_cases(section: &mut Section) {
    let change = |text: &mut String| {
        if text.contains("rial") {
            *text = text.replace("trial", "case").replace("Trial", "Case");
        }
    };
    for entry in &mut section.entries {
        match entry {
            Entry::Heading { title, .. } => change(title),
            Entry::Paragraph { text } => change(text),
            Entry::List { items } => items.iter_mut().for_each(change),
            Entry::Verdict(finding) => change(&mut finding.sentence),
            // Recorded cases have no sources that could be scaled.
            Entry::WhatIf(_) => {}
            Entry::Table(table) => {
                change(&mut table.caption);
                change(&mut table.reading);
                table.columns.iter_mut().for_each(|column| change(&mut column.name));
            }
            Entry::Charts { charts } => {
                for chart in charts {
                    change(&mut chart.caption);
                    change(&mut chart.reading);
                    change(&mut chart.svg);
                }
            }
        }
    }
}
