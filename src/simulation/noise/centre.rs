//! Turning points of the native and the new hip.

use crate::simulation::Quantity;
use crate::simulation::normal;
use crate::simulation::patient::PatientVector;
use crate::simulation::source::{Basis, SharedScore, Source};
use crate::simulation::streams::{CaseKey, Scores};
use serde::{Deserialize, Serialize};

/// Sources `centre.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CentreNoise {
    /// `centre.native`.
    pub native: Source<NativeCentre>,
    /// `centre.liner`.
    pub liner: Source<Liner>,
}

/// The native turning point, off the geometric centre and wandering.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NativeCentre {
    /// Forwards.
    pub anterior_mm: Quantity,
    /// Upwards.
    pub superior_mm: Quantity,
    /// Towards the operated side.
    pub lateral_mm: Quantity,
    /// Proportion of the variance that stays the same within a case; the rest wanders from frame to frame.
    pub case_share: f64,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// Clearance of the new pair.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Liner {
    /// Radius of the ball in which the head's centre lies.
    pub radial_clearance_mm: f64,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// The part of the native turning point that a case keeps.
#[derive(Clone, Copy, Debug)]
pub struct NativeCase {
    scores: [f64; 3],
    shared: SharedScore,
}

impl Source<NativeCentre> {
    /// What the case keeps.
    #[must_use]
    pub fn of_case(&self, key: &CaseKey) -> NativeCase {
        NativeCase { scores: self.case_stream(key).next_three(), shared: SharedScore::new(self.model.case_share) }
    }

    /// The turning point in the next frame, from the geometric centre.
    #[must_use]
    pub fn displacement(&self, case: &NativeCase, frames: &mut Scores) -> PatientVector {
        let own = frames.next_three();
        let score = |i: usize| case.shared.of(case.scores[i], own[i]);
        PatientVector {
            anterior: self.value(&self.model.anterior_mm, score(0)),
            superior: self.value(&self.model.superior_mm, score(1)),
            lateral: self.value(&self.model.lateral_mm, score(2)),
        }
    }
}

impl Source<Liner> {
    /// The head's centre in the next frame, from the liner's: uniform in a ball.
    #[must_use]
    pub fn displacement(&self, frames: &mut Scores) -> PatientVector {
        let [x, y, z] = frames.next_three();
        let radius =
            self.switch.scale * self.model.radial_clearance_mm * libm::cbrt(normal::cumulative(frames.next_score()));
        let length = (x * x + y * y + z * z).sqrt();
        PatientVector::from([x, y, z].map(|component| radius * component / length))
    }
}
