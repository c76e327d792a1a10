//! What is wrong with an experiment file, shown where the user wrote it.

use miette::{Diagnostic, LabeledSpan, NamedSource, Severity, SourceCode};
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

/// A finding before it is tied to its file: what, where, and how to mend it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fault {
    /// Bytes of the user's file; `None` where nothing written is to blame.
    pub span: Option<Range<usize>>,
    /// What is wrong, in one line.
    pub message: String,
    /// What was found and what was expected, shown at the place.
    pub label: String,
    /// How to mend it.
    pub help: Option<String>,
}

impl Fault {
    pub fn new(span: Option<Range<usize>>, message: impl Into<String>, label: impl Into<String>) -> Self {
        Self { span, message: message.into(), label: label.into(), help: None }
    }

    pub fn help(self, help: impl Into<String>) -> Self {
        Self { help: Some(help.into()), ..self }
    }

    pub fn help_if(self, help: Option<String>) -> Self {
        Self { help, ..self }
    }
}

/// One finding in an experiment file, ready to be shown.
#[derive(Clone, Debug)]
pub struct Diagnosis {
    fault: Fault,
    severity: Severity,
    file: Arc<NamedSource<String>>,
}

impl Diagnosis {
    /// Bytes of the file that the finding points at.
    #[must_use]
    pub fn span(&self) -> Option<Range<usize>> {
        self.fault.span.clone()
    }

    /// What was found and what was expected.
    #[must_use]
    pub fn label(&self) -> &str {
        &self.fault.label
    }
}

impl fmt::Display for Diagnosis {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.fault.message)?;
        // Without a place to show it at, the label is part of the message.
        if self.fault.span.is_none() && !self.fault.label.is_empty() {
            write!(f, ": {}", self.fault.label)?;
        }
        Ok(())
    }
}

impl std::error::Error for Diagnosis {}

impl Diagnostic for Diagnosis {
    fn severity(&self) -> Option<Severity> {
        Some(self.severity)
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.fault.help.as_ref().map(|help| Box::new(help) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.fault.span.as_ref().map(|_| &*self.file as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let span = self.fault.span.clone()?;
        Some(Box::new(std::iter::once(LabeledSpan::new_with_span(Some(self.fault.label.clone()), span))))
    }
}

/// Why an experiment file gives no plan: one finding or more, the first one first to be mended.
#[derive(Clone, Debug)]
pub struct ExperimentError {
    first: Box<Diagnosis>,
    others: Vec<Diagnosis>,
}

impl ExperimentError {
    /// All findings, at least one.
    pub fn findings(&self) -> impl Iterator<Item = &Diagnosis> {
        std::iter::once(&*self.first).chain(&self.others)
    }
}

impl fmt::Display for ExperimentError {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        self.first.fmt(f)
    }
}

impl std::error::Error for ExperimentError {}

impl Diagnostic for ExperimentError {
    fn severity(&self) -> Option<Severity> {
        self.first.severity()
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.first.help()
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.first.source_code()
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        self.first.labels()
    }

    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        if self.others.is_empty() {
            return None;
        }
        Some(Box::new(self.others.iter().map(|other| other as &dyn Diagnostic)))
    }
}

/// Something a reader of the results should know; the run goes on.
pub type Warning = Diagnosis;

/// The user's file, to which findings are tied.
pub(super) struct File(Arc<NamedSource<String>>);

impl File {
    pub fn new(name: &str, text: &str) -> Self {
        Self(Arc::new(NamedSource::new(name, text.to_owned())))
    }

    fn tie(&self, mut fault: Fault, severity: Severity) -> Diagnosis {
        // A span may not reach beyond the text, or nothing of the file would be shown.
        let length = self.0.inner().len();
        fault.span = fault.span.filter(|_| length > 0).map(|span| span.start.min(length)..span.end.min(length));
        Diagnosis { fault, severity, file: Arc::clone(&self.0) }
    }

    /// An error from one fault.
    pub fn error(&self, fault: Fault) -> ExperimentError {
        ExperimentError { first: Box::new(self.tie(fault, Severity::Error)), others: Vec::new() }
    }

    /// An error from all that was found, each once, or nothing if there is nothing.
    pub fn verdict(&self, faults: Vec<Fault>) -> Result<(), ExperimentError> {
        let mut faults = without_repeats(faults).into_iter().map(|fault| self.tie(fault, Severity::Error));
        let Some(first) = faults.next() else { return Ok(()) };
        Err(ExperimentError { first: Box::new(first), others: faults.collect() })
    }

    /// Warnings, each once.
    pub fn warnings(&self, faults: Vec<Fault>) -> Vec<Warning> {
        without_repeats(faults).into_iter().map(|fault| self.tie(fault, Severity::Warning)).collect()
    }
}

/// In the order of the file. Arms and sweep points share most of it: what is wrong with it is said once.
fn without_repeats(faults: Vec<Fault>) -> Vec<Fault> {
    let mut distinct: Vec<Fault> = Vec::new();
    for fault in faults {
        if !distinct.contains(&fault) {
            distinct.push(fault);
        }
    }
    distinct.sort_by_key(|fault| fault.span.as_ref().map_or(usize::MAX, |span| span.start));
    distinct
}
