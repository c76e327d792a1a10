//! How the leg lies.

use crate::simulation::Quantity;
use crate::simulation::patient::PatientTurn;
use crate::simulation::source::{Basis, Source};
use crate::simulation::streams::Scores;
use serde::{Deserialize, Serialize};

/// Sources `posture.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PostureNoise {
    /// `posture.baseline`.
    pub baseline: Source<Posture>,
    /// `posture.reduction`.
    pub reduction: Source<Posture>,
}

/// A turn of the leg about the head centre.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Posture {
    /// Flexion.
    pub flexion_deg: Quantity,
    /// Adduction.
    pub adduction_deg: Quantity,
    /// Internal rotation.
    pub internal_rotation_deg: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

impl Source<Posture> {
    /// The turn drawn from a stream of this source; call it with `scores` of the right stratum.
    #[must_use]
    pub fn turn(&self, open: impl FnOnce(&Self) -> Scores) -> PatientTurn {
        if self.is_off() {
            return PatientTurn::ZERO;
        }
        let mut scores = open(self);
        PatientTurn {
            flexion_deg: self.value(&self.model.flexion_deg, scores.next_score()),
            adduction_deg: self.value(&self.model.adduction_deg, scores.next_score()),
            internal_rotation_deg: self.value(&self.model.internal_rotation_deg, scores.next_score()),
        }
    }
}
