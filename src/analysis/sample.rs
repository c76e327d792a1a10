//! The errors of one output in one variant.

use crate::record::Column;

/// The errors of one output in one variant: those that were measured, and how many trials gave no reading.
///
/// Every value is finite; one that is not counts as failed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Errors {
    values: Vec<f64>,
    failed: u64,
}

impl Errors {
    /// Errors in the unit of their output, in any order, and the number of trials without a reading.
    #[must_use]
    pub fn new(mut values: Vec<f64>, failed: u64) -> Self {
        let given = values.len();
        values.retain(|value| value.is_finite());
        let refused = (given - values.len()) as u64;
        Self { values, failed: failed + refused }
    }

    /// The errors that were measured.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// Number of trials that were measured.
    #[must_use]
    pub fn measured(&self) -> u64 {
        self.values.len() as u64
    }

    /// Number of trials without a reading.
    #[must_use]
    pub fn failed(&self) -> u64 {
        self.failed
    }

    /// Number of all trials.
    #[must_use]
    pub fn attempted(&self) -> u64 {
        self.measured() + self.failed
    }

    /// The absolute errors, unsorted.
    #[must_use]
    pub fn absolute(&self) -> Vec<f64> {
        self.values.iter().map(|value| value.abs()).collect()
    }
}

/// A column of errors; a missing one is a failed trial.
impl From<Column> for Errors {
    fn from(column: Column) -> Self {
        let (values, missing) = column.into_present();
        Self::new(values, missing as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_what_is_no_number_is_a_failure() {
        let errors = Errors::new(vec![1.0, f64::NAN, -2.0, f64::INFINITY], 3);
        assert_eq!(errors.values(), [1.0, -2.0]);
        assert_eq!((errors.measured(), errors.failed(), errors.attempted()), (2, 5, 7));
        let column: Column = [Some(0.5), None, Some(f64::NAN), Some(-1.0)].into_iter().collect();
        assert_eq!(Errors::from(column), Errors::new(vec![0.5, -1.0], 2));
    }
}
