//! Whether a part is whole, belongs to a run, and adds up.

use super::error::PartError;
use super::id::{PartId, TRIALS_IN_A_PART};
use super::origin::{Origin, differences, last_trial};
use super::parquet::{FileError, Part};
use super::{Parts, digest, fixed_columns};
use crate::measurement::OUTPUTS;
use crate::record::block::Schema;
use std::io::Cursor;
use std::path::Path;

/// What a part holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coverage {
    /// First and last trial.
    pub trials: (u64, u64),
    /// Number of trials; fewer than the range from first to last if some are missing.
    pub trial_count: u64,
    /// Number of rows: trials times reductions.
    pub rows: usize,
}

impl Parts {
    /// Checks that a part is as it was written (by its digest), belongs to a run, has the columns that every part has, holds
    /// trials of its range only, and that every error in it is the reading less the truth, bit by bit; says what it holds.
    ///
    /// # Errors
    /// If it cannot be read or one of these does not hold.
    pub fn check(&self, id: PartId, origin: &Origin) -> Result<Coverage, PartError> {
        let path = id.path(&self.folder);
        let bytes = std::fs::read(&path)
            .map_err(|error| PartError::reading(&path, FileError::Unreadable(error.to_string())))?;
        demand_whole(&path, &bytes)?;
        let failed = |error| PartError::reading(&path, error);
        let mut part = Part::within(Cursor::new(&bytes[..])).map_err(failed)?;
        let entries = part.entries().map_err(failed)?;
        let differences = differences(&entries, origin, id);
        if !differences.is_empty() {
            return Err(PartError::OtherRun { path, differences });
        }
        if let Some(column) = fixed_columns().find(|column| !part.has(column)) {
            return Err(PartError::NoColumn { path, column });
        }
        let trials = part.indices("trial").map_err(failed)?;
        let allowed = id.first_trial()..=id.first_trial() + (TRIALS_IN_A_PART - 1);
        let ends = trials.first().copied().zip(trials.last().copied());
        let Some(ends) = ends.filter(|_| trials.is_sorted() && trials.iter().all(|trial| allowed.contains(trial)))
        else {
            let why = format!("its trials are not those from {} to {}", allowed.start(), allowed.end());
            return Err(PartError::Unreadable { path, why });
        };
        if last_trial(&entries) != Some(ends.1) {
            let why = format!("its last trial is {}, which is not the one that its metadata states", ends.1);
            return Err(PartError::Unreadable { path, why });
        }
        check_arithmetic(&path, &mut part, &trials)?;
        Ok(Coverage { trials: ends, trial_count: trials.chunk_by(|a, b| a == b).count() as u64, rows: trials.len() })
    }
}

/// Finds the digest of a part to be that of its content. Nothing else of it may be looked at before.
pub(super) fn demand_whole(path: &Path, bytes: &[u8]) -> Result<(), PartError> {
    let path = || path.to_owned();
    match digest::stated_and_found(bytes) {
        None => Err(PartError::NoDigest { path: path() }),
        Some((stated, found)) if stated != found => Err(PartError::Damaged { path: path(), found, stated }),
        Some(_) => Ok(()),
    }
}

/// Finds every error to be the reading less the truth, in the arithmetic that made it.
fn check_arithmetic(path: &Path, part: &mut Part<Cursor<&[u8]>>, trials: &[u64]) -> Result<(), PartError> {
    for output in OUTPUTS {
        let names = Schema::columns_of(output);
        let columns = part.many(&names).map_err(|error| PartError::reading(path, error))?;
        let [truth, read, error] = &columns[..] else { continue };
        let expected = |row: usize| read[row].map(|read| read - truth[row].unwrap_or(f64::NAN));
        let same = |row: &usize| error[*row].map(bits) == expected(*row).map(bits);
        if let Some(row) = (0..trials.len()).find(|row| !same(row)) {
            let word = |value: Option<f64>| value.map_or_else(|| "blank".to_owned(), |value| value.to_string());
            let reduction = trials[..row].iter().rev().take_while(|&&trial| trial == trials[row]).count();
            return Err(PartError::Arithmetic {
                path: path.to_owned(),
                place: format!("trial {}, reduction {reduction}: {}", trials[row], names[2]),
                found: word(error[row]),
                expected: word(expected(row)),
            });
        }
    }
    Ok(())
}

/// The bits of a number; those of any that is not a number are the same.
fn bits(value: f64) -> u64 {
    if value.is_nan() { f64::NAN.to_bits() } else { value.to_bits() }
}
