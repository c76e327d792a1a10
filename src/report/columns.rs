//! Where a report takes the numbers of single trials from.

use crate::record::{PartError, Parts, Rows};

/// Columns with one value a trial.
pub trait Columns {
    /// A column of a variant, each trial by its last reduction, NaN where there is no value; `None` if no trial has
    /// such a column.
    ///
    /// # Errors
    /// If it cannot be read.
    fn of(&self, variant: u32, name: &str) -> Result<Option<Vec<f64>>, PartError>;
}

impl Columns for Parts {
    fn of(&self, variant: u32, name: &str) -> Result<Option<Vec<f64>>, PartError> {
        let column = self.column(variant, name, Rows::LastReduction)?;
        Ok(Some(column.iter().map(|value| value.unwrap_or(f64::NAN)).collect()))
    }
}
