//! A part against rows that were made again, bit by bit.

use super::check::demand_whole;
use super::parquet::{self, FileError};
use super::{Origin, PartError, PartId, Parts};
use crate::measurement::OUTPUTS;
use crate::record::block::{Block, Schema};

/// Which columns are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compared {
    /// Every column, of the rows that were made again.
    Everything,
    /// What is drawn and what is true, of every row of the part.
    Truth,
}

impl Compared {
    /// Whether a column is compared.
    pub(super) fn takes(self, column: &str) -> bool {
        const KEYS: [&str; 8] = ["arm", "point", "replicate", "trial", "device", "case", "repeat", "reduction"];
        let is_drawn = || ["anatomy_", "implant_"].iter().any(|prefix| column.starts_with(prefix));
        let is_true = || OUTPUTS.into_iter().any(|output| Schema::columns_of(output)[0] == column);
        self == Self::Everything || KEYS.contains(&column) || is_drawn() || is_true()
    }
}

impl Parts {
    /// The first thing in which a part differs from rows that were made again, in words; `None` if it is the same to the last
    /// bit.
    ///
    /// # Errors
    /// If the part cannot be read.
    pub fn first_difference(
        &self,
        id: PartId,
        origin: Origin,
        made: &Block,
        compared: Compared,
    ) -> Result<Option<String>, PartError> {
        let path = id.path(&self.folder);
        let failed = |error| PartError::reading(&path, error);
        let bytes = std::fs::read(&path).map_err(|error| failed(FileError::Unreadable(error.to_string())))?;
        demand_whole(&path, &bytes)?;
        parquet::first_difference(&bytes, origin, made, compared).map_err(failed)
    }
}
