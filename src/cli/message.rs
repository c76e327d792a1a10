//! What goes wrong, said on standard error.

use super::Ending;
use crate::experiment::{ExperimentError, Warning};
use crate::record::{PartError, WriteError};
use crate::study::ValidationError;
use crate::trial::{FolderError, RunError};
use miette::{Diagnostic, GraphicalReportHandler, GraphicalTheme};
use std::io::{self, ErrorKind, IsTerminal, Write};

/// A command that stops before its end.
#[derive(Debug)]
pub struct Stop {
    ending: Ending,
    report: Box<dyn Diagnostic + Send + Sync>,
}

/// A message without a place in a file.
#[derive(Debug, thiserror::Error, Diagnostic)]
#[error("{message}")]
struct Plain {
    message: String,
    #[help]
    help: Option<String>,
}

/// Something to know.
#[derive(Debug, thiserror::Error, Diagnostic)]
#[error("{message}")]
#[diagnostic(severity(Warning))]
struct Remark {
    message: String,
    #[help]
    help: Option<String>,
}

/// What to do about a file that could not be written, by what the operating system said.
fn advice(error: &io::Error) -> &'static str {
    match error.kind() {
        kind if is_full(kind) => "repeat the command to go on once there is room",
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "repeat the command to go on once you may write there, or name another place"
        }
        _ => "repeat the command to go on once this is mended",
    }
}

/// Whether a disk, a quota or a file has no more room.
fn is_full(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge)
}

impl Stop {
    /// Stops with a message and perhaps a way out.
    pub fn new(ending: Ending, message: impl std::fmt::Display, help: Option<&str>) -> Self {
        let help = help.map(str::to_owned);
        Self { ending, report: Box::new(Plain { message: message.to_string(), help }) }
    }

    /// With what status it ends.
    pub fn ending(&self) -> Ending {
        self.ending
    }

    /// What it says, without the way out.
    pub fn message(&self) -> String {
        self.report.to_string()
    }

    /// Says why on standard error.
    pub fn report(self) -> Ending {
        show(&*self.report);
        self.ending
    }
}

impl From<ExperimentError> for Stop {
    fn from(error: ExperimentError) -> Self {
        Self { ending: Ending::Refused, report: Box::new(error) }
    }
}

impl From<FolderError> for Stop {
    fn from(error: FolderError) -> Self {
        match &error {
            FolderError::Write(WriteError { source, .. }) => {
                Self::new(Ending::Unfinished, &error, Some(advice(source)))
            }
            FolderError::System { source, .. } if is_full(source.kind()) => {
                Self::new(Ending::Unfinished, &error, Some(advice(source)))
            }
            _ => Self::new(Ending::Refused, &error, error.help()),
        }
    }
}

impl From<PartError> for Stop {
    fn from(error: PartError) -> Self {
        match &error {
            PartError::Write(WriteError { source, .. }) => {
                Self::new(Ending::Unfinished, &error, Some(advice(source)))
            }
            PartError::OtherRun { .. } | PartError::Arithmetic { .. } => {
                let help =
                    "remove the file, and the same command makes its trials again; or bring back the one of this run";
                Self::new(Ending::Refused, error, Some(help))
            }
            _ => Self::new(Ending::Unfinished, error, None),
        }
    }
}

impl From<ValidationError> for Stop {
    fn from(error: ValidationError) -> Self {
        match error {
            ValidationError::Part(error) => error.into(),
            ValidationError::NoArm { .. } => Self::new(
                Ending::Refused,
                error,
                Some("run an experiment with the side, plane, feature and angles of the bench"),
            ),
        }
    }
}

impl From<WriteError> for Stop {
    fn from(error: WriteError) -> Self {
        Self::new(Ending::Unfinished, &error, Some(advice(&error.source)))
    }
}

impl From<RunError> for Stop {
    fn from(error: RunError) -> Self {
        match error {
            RunError::Folder(error) => error.into(),
            RunError::Part(error) => error.into(),
            RunError::Write(error) => error.into(),
            RunError::Interrupted { .. } => {
                Self::new(Ending::Unfinished, error, Some("repeat the command to go on from there"))
            }
            RunError::Incomplete { .. } => Self::new(
                Ending::Unfinished,
                error,
                Some(
                    "run the shards that are missing again, or make what is missing here: navassay run FILE --out DIR",
                ),
            ),
            RunError::Sums(error) => Self::new(Ending::Refused, error, None),
            RunError::Threads { .. } => Self::new(Ending::Unfinished, error, Some("ask for fewer with --threads")),
        }
    }
}

/// Something worth knowing, in one line.
pub fn note(text: &str) {
    let _ = writeln!(std::io::stderr(), "{text}");
}

/// Warnings, said but not obeyed.
pub fn warn(warnings: &[Warning]) {
    for warning in warnings {
        show(warning);
    }
}

/// Says something that stops nothing.
pub fn remark(message: &str, help: Option<&str>) {
    show(&Remark { message: message.to_owned(), help: help.map(str::to_owned) });
}

fn show(diagnostic: &dyn Diagnostic) {
    let coloured = std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none();
    let theme = if coloured { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    let mut text = String::new();
    if GraphicalReportHandler::new_themed(theme).with_width(100).render_report(&mut text, diagnostic).is_ok() {
        // Nobody may be listening; there is nowhere else to say so.
        let _ = writeln!(std::io::stderr(), "{}", text.trim_end());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_advice_fits_the_cause() {
        let said = |kind: ErrorKind| advice(&io::Error::from(kind));
        for kind in [ErrorKind::StorageFull, ErrorKind::QuotaExceeded, ErrorKind::FileTooLarge] {
            assert!(said(kind).ends_with("once there is room"), "{kind}");
        }
        for kind in [ErrorKind::PermissionDenied, ErrorKind::ReadOnlyFilesystem] {
            assert!(said(kind).contains("once you may write there"), "{kind}");
        }
        let other = said(ErrorKind::NotADirectory);
        assert!(other.contains("repeat the command to go on") && !other.contains("room"), "{other}");
    }
}
