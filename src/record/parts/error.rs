//! Why a part cannot be written, read or accepted.

use super::id::PartId;
use super::parquet::FileError;
use crate::record::whole::WriteError;
use std::path::{Path, PathBuf};

/// A part cannot be written, read or accepted.
#[derive(Debug, thiserror::Error)]
pub enum PartError {
    /// The file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The rows are not those of the part.
    #[error("{part} takes the trials {first} to {last} in ascending order, each reduction once")]
    Rows {
        /// The part.
        part: PartId,
        /// Its first trial.
        first: u64,
        /// The last trial that it may hold.
        last: u64,
    },
    /// The folder cannot be listed.
    #[error("{folder} cannot be listed: {source}", folder = folder.display())]
    Folder {
        /// The folder of parts.
        folder: PathBuf,
        /// What the operating system said.
        source: std::io::Error,
    },
    /// A file in the folder of parts is none.
    #[error("{path} is not a part of a run: parts are named <variant>-<part>.parquet, such as 0000-000000.parquet",
        path = path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// A part cannot be read.
    #[error("{path} cannot be read as a part of a run: {why}", path = path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// A part lacks a column.
    #[error("{path} has no column {column}", path = path.display())]
    NoColumn {
        /// The file.
        path: PathBuf,
        /// The column.
        column: String,
    },
    /// A part carries no digest.
    #[error("{path} carries no digest: it is damaged, or written by a version before 0.2.0", path = path.display())]
    NoDigest {
        /// The file.
        path: PathBuf,
    },
    /// A part is not as it was written.
    #[error("{path} is damaged: its digest is {found}, expected {stated}", path = path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// SHA-256 of its content.
        found: String,
        /// SHA-256 that was written with it.
        stated: String,
    },
    /// A part of another run.
    #[error("{path} belongs to another run: its {list}", path = path.display(), list = differences.join("; its "))]
    OtherRun {
        /// The file.
        path: PathBuf,
        /// Everything in which the runs differ: found and expected.
        differences: Vec<String>,
    },
    /// An error is not the reading less the truth.
    #[error("{path}, {place} is {found}, expected {expected}, the reading less the truth", path = path.display())]
    Arithmetic {
        /// The file.
        path: PathBuf,
        /// Trial, reduction and column.
        place: String,
        /// The error that is there.
        found: String,
        /// The error that should be.
        expected: String,
    },
}

impl PartError {
    pub(super) fn reading(path: &Path, error: FileError) -> Self {
        let path = path.to_owned();
        match error {
            FileError::NoColumn(column) => Self::NoColumn { path, column },
            FileError::Unreadable(why) => Self::Unreadable { path, why },
        }
    }

    /// Whether the part is whole but not of this run, or not as the program writes it: nobody but the user knows where it
    /// comes from, so it is never made again without being asked.
    #[must_use]
    pub fn is_refused(&self) -> bool {
        matches!(self, Self::OtherRun { .. } | Self::Arithmetic { .. })
    }
}
