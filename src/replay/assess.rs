//! The errors of recorded cases summed up and judged, by the code that assesses simulated ones.

use super::measured::Replayed;
use crate::study::{Assessment, assess_in_memory};
use std::collections::BTreeMap;

impl<'p> Replayed<'p> {
    /// What the errors say: of every output by every variant, and of every requirement.
    #[must_use]
    pub fn assess(&self) -> Assessment<'p> {
        let failures = (0..self.plan.variants.len()).map(|variant| self.reasons(variant)).collect();
        assess_in_memory(self.plan, failures, |variant, output| self.error_column(variant, output))
    }

    /// Cases without a reading of every output, by reason; a case counts by its last reduction.
    fn reasons(&self, variant: usize) -> BTreeMap<String, u64> {
        let mut reasons = BTreeMap::new();
        for readings in self.readings.chunk_by(|one, next| one.case == next.case) {
            let Some(last) = readings.iter().rfind(|reading| reading.variant == variant) else { continue };
            let reason = match last.failures().first() {
                Some(failure) => failure.to_string(),
                None if last.read.is_none() => REFUSED.to_owned(),
                None => continue,
            };
            *reasons.entry(reason).or_insert(0) += 1;
        }
        reasons
    }
}

/// The outcome of a case whose rows are wrong.
pub const REFUSED: &str = "its rows are wrong";
