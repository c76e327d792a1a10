//! The cup and its inserter.

use crate::simulation::patient::PatientTurn;
use crate::simulation::source::{Basis, Source};
use crate::simulation::streams::{CaseKey, Scores};
use crate::simulation::{Covariance, Quantity};
use serde::{Deserialize, Serialize};

/// Sources `cup.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CupNoise {
    /// `cup.attach`.
    pub attach: Source<TransverseTilt>,
    /// `cup.runout`.
    pub runout: Source<TransverseTilt>,
    /// `cup.seating`.
    pub seating: Source<Seating>,
}

/// A small turn about each of the inserter's two transverse axes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TransverseTilt {
    /// Turn about each transverse axis.
    pub transverse_deg: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// The cup moving after it was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seating {
    /// Each of flexion, adduction and internal rotation of the cup.
    pub each_axis_deg: Quantity,
    /// Covariance of the components, in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covariance_deg2: Option<Covariance>,
    /// Where the numbers come from.
    pub basis: Basis,
}

impl Source<TransverseTilt> {
    /// The two turns, degrees; call it with `scores` of the right stratum.
    #[must_use]
    pub fn turns_deg(&self, open: impl FnOnce(&Self) -> Scores) -> [f64; 2] {
        if self.is_off() {
            return [0.0; 2];
        }
        let mut scores = open(self);
        [0, 1].map(|axis| self.component(&self.model.transverse_deg, axis, scores.next_score()))
    }
}

impl Source<Seating> {
    /// The turn of the cup about the new centre.
    #[must_use]
    pub fn turn(&self, key: &CaseKey) -> PatientTurn {
        if self.is_off() {
            return PatientTurn::ZERO;
        }
        let Seating { each_axis_deg, covariance_deg2, .. } = &self.model;
        self.vector(covariance_deg2.as_ref(), [each_axis_deg; 3], self.case_stream(key).next_three()).into()
    }
}
