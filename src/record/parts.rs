//! Trial rows on disk: one Parquet file for each variant and each fixed range of trials.

use super::block::{Block, Diagnostics};
use super::whole::{WriteError, write_whole};
use crate::measurement::OUTPUTS;
use parquet::FileError;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

mod parquet;

/// Trials in a part; the ranges are fixed, so threads, shards and resumed runs cut alike.
pub const TRIALS_IN_A_PART: u64 = 10_000;

/// Parts that are read side by side.
const PARTS_AT_ONCE: usize = 16;

/// Which part: a variant (an arm at a point of its sweeps) and a range of trials.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PartId {
    /// Index of the variant in the plan.
    pub variant: u32,
    /// Index of the range: it begins at trial `part * TRIALS_IN_A_PART`.
    pub part: u64,
}

impl PartId {
    /// The part that holds a trial.
    #[must_use]
    pub const fn holding(variant: u32, trial: u64) -> Self {
        Self { variant, part: trial / TRIALS_IN_A_PART }
    }

    /// Its first trial.
    #[must_use]
    pub const fn first_trial(self) -> u64 {
        self.part.saturating_mul(TRIALS_IN_A_PART)
    }

    /// Its file in the folder of parts.
    #[must_use]
    pub fn path(self, folder: &Path) -> PathBuf {
        folder.join(self.to_string())
    }
}

impl fmt::Display for PartId {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{:04}-{:06}.parquet", self.variant, self.part)
    }
}

impl FromStr for PartId {
    type Err = ();

    fn from_str(name: &str) -> Result<Self, ()> {
        let (variant, part) = name.strip_suffix(".parquet").and_then(|stem| stem.split_once('-')).ok_or(())?;
        let id = Self { variant: variant.parse().map_err(drop)?, part: part.parse().map_err(drop)? };
        // One part, one name: `1-+2.parquet` is none of ours.
        if id.to_string() == name { Ok(id) } else { Err(()) }
    }
}

/// What all rows of a part share.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Origin<'a> {
    /// Name of the arm.
    pub arm: &'a str,
    /// Index of the point in the arm's sweeps, 0 without one.
    pub point: u32,
    /// Which set of draws: 0, or 1 for the second set that variance-based sensitivity needs.
    pub replicate: u32,
}

/// A part cannot be written or read.
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
}

impl PartError {
    fn reading(path: &Path, error: FileError) -> Self {
        let path = path.to_owned();
        match error {
            FileError::NoColumn(column) => Self::NoColumn { path, column },
            FileError::Unreadable(why) => Self::Unreadable { path, why },
        }
    }
}

/// Writes one part, whole or not at all; its bytes depend on its content alone.
///
/// # Errors
/// If the rows are not those of the part in ascending order of trial and reduction, or the file cannot be written.
pub fn write_part(folder: &Path, id: PartId, origin: Origin, block: &Block) -> Result<(), PartError> {
    let (first, last) = (id.first_trial(), id.first_trial() + (TRIALS_IN_A_PART - 1));
    let keys = || block.trial.iter().zip(&block.reduction);
    let in_range = block.trial.iter().all(|trial| (first..=last).contains(trial));
    if !in_range || !keys().is_sorted_by(|a, b| a < b) {
        return Err(PartError::Rows { part: id, first, last });
    }
    Ok(write_whole(&id.path(folder), |file| parquet::write(file, origin, block))?)
}

/// Which rows of a trial are read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Rows {
    /// The last reduction of each trial, so that a case counts once.
    #[default]
    LastReduction,
    /// Every reduction.
    All,
}

/// One column of numbers, each there or missing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Column {
    values: Vec<f64>, // 0 where missing
    present: Vec<bool>,
}

impl Column {
    fn with_capacity(rows: usize) -> Self {
        Self { values: Vec::with_capacity(rows), present: Vec::with_capacity(rows) }
    }

    /// Number of rows.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether there is no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Number of missing values.
    #[must_use]
    pub fn missing(&self) -> usize {
        self.present.iter().filter(|&&present| !present).count()
    }

    /// The value of a row, if it is there.
    #[must_use]
    pub fn get(&self, row: usize) -> Option<f64> {
        self.present.get(row).and_then(|&present| present.then(|| self.values[row]))
    }

    /// Row after row.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = Option<f64>> + '_ {
        self.values.iter().zip(&self.present).map(|(&value, &present)| present.then_some(value))
    }

    /// The values that are there, in the memory they already have, and how many are missing.
    #[must_use]
    pub fn into_present(self) -> (Vec<f64>, usize) {
        let (missing, Self { mut values, present }) = (self.missing(), self);
        if missing > 0 {
            let mut rows = present.into_iter();
            values.retain(|_| rows.next() == Some(true));
        }
        (values, missing)
    }

    fn append(&mut self, other: &mut Self) {
        self.values.append(&mut other.values);
        self.present.append(&mut other.present);
    }

    fn push(&mut self, value: Option<f64>) {
        let value = value.filter(|value| value.is_finite());
        self.values.push(value.unwrap_or(0.0));
        self.present.push(value.is_some());
    }
}

impl FromIterator<Option<f64>> for Column {
    fn from_iter<T: IntoIterator<Item = Option<f64>>>(values: T) -> Self {
        let mut column = Self::default();
        values.into_iter().for_each(|value| column.push(value));
        column
    }
}

/// What a part holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coverage {
    /// First and last trial; `None` for a part without rows.
    pub trials: Option<(u64, u64)>,
    /// Number of trials; fewer than the range from first to last if some are missing.
    pub trial_count: u64,
    /// Number of rows: trials times reductions.
    pub rows: usize,
}

/// The parts of a run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Parts {
    folder: PathBuf,
    ids: BTreeSet<PartId>,
}

impl Parts {
    /// Lists the parts in a folder; a folder that is not there holds none. Hidden files, which an interrupted
    /// write may leave, and files that do not end in `.parquet` are passed over.
    ///
    /// # Errors
    /// If the folder cannot be listed or holds a Parquet file that is not named as a part.
    pub fn list(folder: &Path) -> Result<Self, PartError> {
        let failed = |source| PartError::Folder { folder: folder.to_owned(), source };
        let mut ids = BTreeSet::new();
        let entries = match std::fs::read_dir(folder) {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Ok(Self { folder: folder.to_owned(), ids });
            }
            entries => entries.map_err(failed)?,
        };
        for entry in entries {
            let path = entry.map_err(failed)?.path();
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            if !name.starts_with('.') && path.extension().is_some_and(|end| end == "parquet") {
                ids.insert(name.parse().map_err(|()| PartError::Foreign { path: path.clone() })?);
            }
        }
        Ok(Self { folder: folder.to_owned(), ids })
    }

    /// All of them, by variant and range.
    pub fn ids(&self) -> impl Iterator<Item = PartId> + '_ {
        self.ids.iter().copied()
    }

    /// Those of one variant, in the order of their trials.
    pub fn of_variant(&self, variant: u32) -> impl Iterator<Item = PartId> + '_ {
        self.ids.range(PartId { variant, part: 0 }..=PartId { variant, part: u64::MAX }).copied()
    }

    /// Whether a part is there.
    #[must_use]
    pub fn contains(&self, id: PartId) -> bool {
        self.ids.contains(&id)
    }

    /// Checks that a part can be read, has the columns that every part has and holds trials of its range only;
    /// says which.
    ///
    /// # Errors
    /// If it cannot be read or is not what its name says.
    pub fn check(&self, id: PartId) -> Result<Coverage, PartError> {
        let path = id.path(&self.folder);
        let failed = |error| PartError::reading(&path, error);
        let mut file = parquet::Part::open(&path).map_err(failed)?;
        if let Some(column) = fixed_columns().find(|column| !file.has(column)) {
            return Err(PartError::NoColumn { path, column });
        }
        let trials = file.indices("trial").map_err(failed)?;
        let range = id.first_trial()..=id.first_trial() + (TRIALS_IN_A_PART - 1);
        if !trials.is_sorted() || trials.iter().any(|trial| !range.contains(trial)) {
            let why = format!("its trials are not those from {} to {}", range.start(), range.end());
            return Err(PartError::Unreadable { path, why });
        }
        Ok(Coverage {
            trials: trials.first().copied().zip(trials.last().copied()),
            trial_count: trials.chunk_by(|a, b| a == b).count() as u64,
            rows: trials.len(),
        })
    }

    /// One column of one variant over all its parts, in the order of trials. Whole numbers are given as `f64`.
    ///
    /// # Errors
    /// If a part cannot be read or lacks the column.
    pub fn column(&self, variant: u32, name: &str, rows: Rows) -> Result<Column, PartError> {
        let [column] = self.columns(variant, [name], rows)?;
        Ok(column)
    }

    /// Several columns of one variant, row by row of the same trials; no other column is held beside them.
    ///
    /// # Errors
    /// If a part cannot be read or lacks a column.
    pub fn columns<const N: usize>(
        &self,
        variant: u32,
        names: [&str; N],
        rows: Rows,
    ) -> Result<[Column; N], PartError> {
        // Room for all trials at once: growing would hold the old column and the new.
        let parts = self.of_variant(variant).count() as u64;
        let room = usize::try_from(parts * TRIALS_IN_A_PART).unwrap_or_default();
        let mut columns = std::array::from_fn(|_| Column::with_capacity(room));
        self.each_part(variant, &names, rows, |part| {
            for (column, mut of_part) in columns.iter_mut().zip(part) {
                column.append(&mut of_part);
            }
        })?;
        Ok(columns)
    }

    /// Several columns of one variant, one part after the other, so that memory does not grow with the run.
    ///
    /// # Errors
    /// If a part cannot be read or lacks a column.
    pub fn each_part<S: AsRef<str> + Sync>(
        &self,
        variant: u32,
        names: &[S],
        rows: Rows,
        mut take: impl FnMut(Vec<Column>),
    ) -> Result<(), PartError> {
        let ids: Vec<PartId> = self.of_variant(variant).collect();
        // Read on all threads, a few at a time, and taken in order.
        for ids in ids.chunks(PARTS_AT_ONCE) {
            let read: Vec<_> = ids.par_iter().map(|&id| self.read(id, names, rows)).collect();
            for columns in read {
                take(columns?);
            }
        }
        Ok(())
    }

    fn read<S: AsRef<str>>(&self, id: PartId, names: &[S], rows: Rows) -> Result<Vec<Column>, PartError> {
        let path = id.path(&self.folder);
        let failed = |error| PartError::reading(&path, error);
        let mut file = parquet::Part::open(&path).map_err(failed)?;
        let keep = kept(&mut file, rows).map_err(failed)?;
        let columns = file.many(names).map_err(failed)?;
        let chosen = |values: Vec<Option<f64>>| -> Column {
            values.into_iter().zip(&keep).filter(|(_, keep)| **keep).map(|(value, _)| value).collect()
        };
        Ok(columns.into_iter().map(chosen).collect())
    }

    /// The first trials of a variant whose last reduction failed, at most so many, each with what failed.
    ///
    /// # Errors
    /// If a part cannot be read.
    pub fn failed_trials(&self, variant: u32, most: usize) -> Result<Vec<(u64, String)>, PartError> {
        let mut found = Vec::new();
        for id in self.of_variant(variant) {
            if found.len() >= most {
                break;
            }
            let path = id.path(&self.folder);
            let failed = |error| PartError::reading(&path, error);
            let mut file = parquet::Part::open(&path).map_err(failed)?;
            let keep = kept(&mut file, Rows::LastReduction).map_err(failed)?;
            let trials = file.indices("trial").map_err(failed)?;
            let words = file.words("failure").map_err(failed)?;
            let rows = trials.into_iter().zip(words).zip(keep).filter(|(_, keep)| *keep);
            found.extend(rows.filter_map(|((trial, word), _)| Some((trial, word?))));
        }
        found.truncate(most);
        Ok(found)
    }

    /// How often each failure (`step: reason`) stands in the rows of a variant.
    ///
    /// # Errors
    /// If a part cannot be read.
    pub fn failures(&self, variant: u32, rows: Rows) -> Result<BTreeMap<String, u64>, PartError> {
        let mut counts = BTreeMap::new();
        for id in self.of_variant(variant) {
            let path = id.path(&self.folder);
            let failed = |error| PartError::reading(&path, error);
            let mut file = parquet::Part::open(&path).map_err(failed)?;
            let keep = kept(&mut file, rows).map_err(failed)?;
            let words = file.words("failure").map_err(failed)?;
            for word in words.into_iter().zip(keep).filter_map(|(word, keep)| word.filter(|_| keep)) {
                *counts.entry(word).or_default() += 1;
            }
        }
        Ok(counts)
    }
}

/// Which rows of a part are read; those of a trial follow each other, its last reduction last.
fn kept(file: &mut parquet::Part, rows: Rows) -> Result<Vec<bool>, FileError> {
    let trials = file.indices("trial")?;
    let last_of_its_trial = |row: usize| trials.get(row + 1) != Some(&trials[row]);
    Ok((0..trials.len()).map(|row| rows == Rows::All || last_of_its_trial(row)).collect())
}

/// The columns of every part: all but the drawn values.
fn fixed_columns() -> impl Iterator<Item = String> {
    let front = ["arm", "point", "replicate", "trial", "device", "case", "repeat", "reduction", "failure"];
    let outputs = OUTPUTS.into_iter().flat_map(|output| {
        let (id, unit) = (output.id(), output.unit().suffix());
        ["true", "read", "error"].map(|what| format!("{id}_{what}_{unit}"))
    });
    let end = Diagnostics::REALS.into_iter().chain(["retries"]);
    front.into_iter().map(String::from).chain(outputs).chain(end.map(String::from))
}

#[cfg(test)]
mod tests;
