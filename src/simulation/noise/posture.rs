//! How the leg lies.

use crate::simulation::patient::PatientTurn;
use crate::simulation::source::{Basis, Source};
use crate::simulation::streams::Scores;
use crate::simulation::{Covariance, Quantity};
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
    /// Covariance of the three, in their place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covariance_deg2: Option<Covariance>,
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
        let Posture { flexion_deg, adduction_deg, internal_rotation_deg, covariance_deg2, .. } = &self.model;
        let quantities = [flexion_deg, adduction_deg, internal_rotation_deg];
        self.vector(covariance_deg2.as_ref(), quantities, open(self).next_three()).into()
    }
}
