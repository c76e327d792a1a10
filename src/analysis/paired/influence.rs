//! An estimate of one arm and how much each trial moves it.

use super::Measure;
use crate::analysis::harrell_davis::HarrellDavis;
use crate::analysis::moments::{moments, rms};
use rayon::slice::ParallelSliceMut;

/// An estimate and its influence function: `n` times the change that one more such trial makes, to first order.
pub(super) struct Influence {
    pub value: f64,
    kind: Kind,
}

enum Kind {
    Mean,
    Sd { mean: f64 },
    Rms,
    Quantile(HarrellDavis),
}

impl Influence {
    /// Of finite errors; `None` without values, or where one value says nothing.
    pub fn of(measure: Measure, mut errors: Vec<f64>) -> Option<Self> {
        match measure {
            Measure::Bias => Some(Self { value: moments(&errors)?.mean, kind: Kind::Mean }),
            Measure::Sd => {
                let moments = moments(&errors)?;
                Some(Self { value: moments.sd()?, kind: Kind::Sd { mean: moments.mean } })
            }
            Measure::Rms => Some(Self { value: rms(&errors, 0.95)?.value, kind: Kind::Rms }),
            Measure::P95Abs => {
                for error in &mut errors {
                    *error = error.abs();
                }
                errors.par_sort_unstable_by(f64::total_cmp);
                let quantile = HarrellDavis::of(&errors, super::P95)?;
                Some(Self { value: quantile.value(), kind: Kind::Quantile(quantile) })
            }
            Measure::Conformance | Measure::FailureRate | Measure::WinRate => None,
        }
    }

    pub fn at(&self, error: f64) -> f64 {
        let value = self.value;
        // Without spread nothing moves to first order.
        match &self.kind {
            Kind::Mean => error - value,
            Kind::Sd { .. } | Kind::Rms if value == 0.0 => 0.0,
            Kind::Sd { mean } => ((error - mean) * (error - mean) - value * value) / (2.0 * value),
            Kind::Rms => (error * error - value * value) / (2.0 * value),
            Kind::Quantile(quantile) => quantile.influence(error.abs()),
        }
    }
}
