//! Touching landmarks through the skin.

use crate::simulation::patient::PatientVector;
use crate::simulation::source::{Basis, CaptureKey, SharedScore, Source};
use crate::simulation::streams::CaseKey;
use crate::simulation::{Covariance, Quantity};
use serde::{Deserialize, Serialize};

/// Sources `landmark.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LandmarkNoise {
    /// `landmark.palpation.*`.
    pub palpation: PalpationNoise,
    /// `landmark.tissue`.
    pub tissue: Source<Tissue>,
}

/// Sources `landmark.palpation.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PalpationNoise {
    /// Both anterior superior iliac spines.
    pub asis: Source<Palpation>,
    /// The pubis.
    pub pubis: Source<Palpation>,
}

/// How far a touched point lies from the landmark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Palpation {
    /// Forwards.
    pub anterior_mm: Quantity,
    /// Upwards.
    pub superior_mm: Quantity,
    /// Towards the operated side.
    pub lateral_mm: Quantity,
    /// Covariance of the three, in their place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covariance_mm2: Option<Covariance>,
    /// Proportion of the variance that repeats within a case.
    pub case_share: f64,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// Soft tissue over the bone.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tissue {
    /// The patient's factor.
    pub factor: Quantity,
    /// Thickness over each anterior superior iliac spine.
    pub asis_mm: f64,
    /// Thickness over the pubis.
    pub pubis_mm: f64,
    /// Where the numbers come from.
    pub basis: Basis,
}

impl Source<Palpation> {
    /// The error of one touch. `item` is which landmark of this source in the case: 0 operated side or the only
    /// one, 1 other side.
    #[must_use]
    pub fn error(&self, key: &CaseKey, item: u32, capture: CaptureKey) -> PatientVector {
        if self.is_off() {
            return PatientVector::ZERO;
        }
        let mut case = self.case_stream(key);
        for _ in 0..item {
            let _other_landmark = case.next_three();
        }
        let (case, own) = (case.next_three(), self.capture_stream(key, capture).next_three());
        let shared = SharedScore::new(self.model.case_share);
        let Palpation { anterior_mm, superior_mm, lateral_mm, covariance_mm2, .. } = &self.model;
        let scores = std::array::from_fn(|i| shared.of(case[i], own[i]));
        self.item_vector(covariance_mm2.as_ref(), [anterior_mm, superior_mm, lateral_mm], item as usize, scores)
            .into()
    }
}

impl Source<Tissue> {
    /// Thickness over each spine and over the pubis of this patient, mm.
    #[must_use]
    pub fn thickness_mm(&self, key: &CaseKey) -> (f64, f64) {
        if self.is_off() {
            return (0.0, 0.0);
        }
        let factor = self.value(&self.model.factor, self.case_stream(key).next_score());
        (factor * self.model.asis_mm, factor * self.model.pubis_mm)
    }
}
