//! The feature on the femur.

use super::camera::rotation_then_translation;
use crate::geometry::Pose;
use crate::measurement::Feature;
use crate::simulation::normal;
use crate::simulation::patient::PatientVector;
use crate::simulation::source::{Basis, CaptureKey, Source};
use crate::simulation::streams::{CaseKey, Scores};
use crate::simulation::{Covariance, Quantity};
use serde::{Deserialize, Serialize};

/// Sources `femur.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FemurNoise {
    /// `femur.groove`.
    pub groove: Source<Groove>,
    /// `femur.motion`.
    pub motion: Source<Motion>,
    /// `femur.loosening`.
    pub loosening: Source<Loosening>,
}

/// Clearance of the tip in the groove or divot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Groove {
    /// Displacement of the tip on each axis.
    pub each_axis_mm: Quantity,
    /// Covariance of the components, in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covariance_mm2: Option<Covariance>,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// The femur moving while its groove is traced.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Motion {
    /// Displacement on each axis from the first to the last frame of a trace.
    pub each_axis_mm: Quantity,
    /// Covariance of the components, in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covariance_mm2: Option<Covariance>,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// The feature moving on the bone after the baseline.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Loosening {
    /// Probability that it happens.
    pub probability: f64,
    /// Each component of the rotation vector.
    pub rotation_deg: Quantity,
    /// Each component of the translation.
    pub translation_mm: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

impl Source<Groove> {
    /// Displacement of the tip in the next frame.
    #[must_use]
    pub fn displacement(&self, scores: &mut Scores) -> PatientVector {
        let Groove { each_axis_mm, covariance_mm2, .. } = &self.model;
        self.vector(covariance_mm2.as_ref(), [each_axis_mm; 3], scores.next_three()).into()
    }
}

impl Source<Motion> {
    /// Displacement from the first to the last frame of a trace; it grows evenly with the frames.
    #[must_use]
    pub fn over_trace(&self, key: &CaseKey, capture: CaptureKey) -> PatientVector {
        if self.is_off() {
            return PatientVector::ZERO;
        }
        let scores = self.capture_stream(key, capture).next_three();
        let Motion { each_axis_mm, covariance_mm2, .. } = &self.model;
        self.vector(covariance_mm2.as_ref(), [each_axis_mm; 3], scores).into()
    }
}

impl Source<Loosening> {
    /// How the feature has moved on the bone, about its own origin; `None` where it has not.
    #[must_use]
    pub fn motion(&self, key: &CaseKey) -> Option<Pose<Feature, Feature>> {
        if self.is_off() {
            return None;
        }
        let mut scores = self.case_stream(key);
        if normal::complement(scores.next_score()) >= self.model.probability {
            return None;
        }
        Some(rotation_then_translation(
            self.three_values(&self.model.rotation_deg, scores.next_three()),
            self.three_values(&self.model.translation_mm, scores.next_three()),
        ))
    }
}
