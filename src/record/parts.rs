//! Trial rows on disk: one Parquet file for each variant and each fixed range of trials.

use super::block::{Block, Diagnostics, Schema};
use super::whole::write_whole;
use crate::measurement::OUTPUTS;
use parquet::FileError;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::path::{Path, PathBuf};

mod check;
mod column;
mod compare;
mod digest;
mod error;
mod id;
mod origin;
mod parquet;

pub use check::Coverage;
pub use column::Column;
pub use compare::Compared;
pub use error::PartError;
pub use id::{PartId, TRIALS_IN_A_PART};
pub use origin::Origin;

/// Parts that are read side by side.
const PARTS_AT_ONCE: usize = 16;

/// Writes one part, whole or not at all, with the run that it belongs to and its digest; its bytes depend on its content alone.
///
/// # Errors
/// If there is no row, the rows are not those of the part in ascending order of trial and reduction, or the file cannot be
/// written.
pub fn write_part(folder: &Path, id: PartId, origin: Origin, block: &Block) -> Result<(), PartError> {
    let (first, last) = (id.first_trial(), id.first_trial() + (TRIALS_IN_A_PART - 1));
    let keys = || block.trial.iter().zip(&block.reduction);
    let in_range = block.trial.iter().all(|trial| (first..=last).contains(trial));
    if block.is_empty() || !in_range || !keys().is_sorted_by(|a, b| a < b) {
        return Err(PartError::Rows { part: id, first, last });
    }
    Ok(write_whole(&id.path(folder), |file| file.write_all(&parquet::bytes(id, origin, block)?))?)
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
    let outputs = OUTPUTS.into_iter().flat_map(Schema::columns_of);
    let end = Diagnostics::REALS.into_iter().chain(["retries"]);
    front.into_iter().map(String::from).chain(outputs).chain(end.map(String::from))
}

#[cfg(test)]
mod tests;
