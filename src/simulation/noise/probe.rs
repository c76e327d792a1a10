//! The probe and the hand that holds it.

use super::camera::rotation_then_translation;
use crate::geometry::{Point, Pose, Rotation};
use crate::measurement::{Step, Tracker};
use crate::simulation::normal;
use crate::simulation::patient::PatientVector;
use crate::simulation::source::{Basis, CaptureKey, Source};
use crate::simulation::streams::{CaseKey, Scores};
use crate::simulation::{Covariance, Quantity};
use serde::{Deserialize, Serialize};

/// Sources `probe.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProbeNoise {
    /// `probe.tremor`.
    pub tremor: Source<Tremor>,
    /// `probe.attach`.
    pub attach: Source<Seat>,
    /// `probe.slip`.
    pub slip: Source<Slip>,
}

/// Motion of the hand while it touches a landmark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tremor {
    /// Displacement of the tip on each axis.
    pub each_axis_mm: Quantity,
    /// Covariance of the components, in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covariance_mm2: Option<Covariance>,
    /// Time after which the correlation has fallen to 1/e.
    pub time_constant_s: f64,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// How a tracker sits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seat {
    /// Each component of the rotation vector about the tracker's origin.
    pub rotation_deg: Quantity,
    /// Each component of the translation.
    pub translation_mm: Quantity,
    /// Covariance of the rotation vector, in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rotation_covariance_deg2: Option<Covariance>,
    /// Covariance of the translation, in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub translation_covariance_mm2: Option<Covariance>,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// The tip not staying where it is put.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Slip {
    /// Each axis, each frame of the tip pivot.
    pub in_pivot_mm: Quantity,
    /// Each axis, from a random frame of the hold on.
    pub in_hold_mm: Quantity,
    /// Probability that the tip slips in a hold.
    pub in_hold_probability: f64,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// The running displacement of a trembling hand: `x' = a x + sqrt(1 - a^2) z` on scores, so that every frame's
/// value has the stated distribution.
#[derive(Clone, Debug)]
pub struct TremorPath {
    scores: Scores,
    state: Option<[f64; 3]>,
    correlation: f64,
    innovation: f64,
}

impl Source<Tremor> {
    /// The path through one capture; `None` if the source is off.
    #[must_use]
    pub fn path(&self, key: &CaseKey, capture: CaptureKey, frame_rate_hz: f64) -> Option<TremorPath> {
        if self.is_off() {
            return None;
        }
        let correlation = libm::exp(-1.0 / (frame_rate_hz * self.model.time_constant_s));
        Some(TremorPath {
            scores: self.capture_stream(key, capture),
            state: None,
            correlation,
            innovation: (1.0 - correlation * correlation).sqrt(),
        })
    }

    /// Displacement of the tip in the next frame.
    #[must_use]
    pub fn next_displacement(&self, path: &mut TremorPath) -> PatientVector {
        let fresh = path.scores.next_three();
        let state = match path.state {
            None => fresh,
            Some(last) => [0, 1, 2].map(|i| path.correlation * last[i] + path.innovation * fresh[i]),
        };
        path.state = Some(state);
        self.vector(self.model.covariance_mm2.as_ref(), [&self.model.each_axis_mm; 3], state).into()
    }
}

impl Source<Seat> {
    /// How the probe sits in its tracker's axes when seated before `step`.
    #[must_use]
    pub fn seat(&self, key: &CaseKey, step: Step) -> Pose<Tracker, Tracker> {
        if self.is_off() {
            return Pose::new(Rotation::identity(), Point::ORIGIN);
        }
        let Seat { rotation_deg, translation_mm, rotation_covariance_deg2, translation_covariance_mm2, .. } =
            &self.model;
        let mut scores = self.capture_stream(key, CaptureKey::before(step));
        rotation_then_translation(
            self.vector(rotation_covariance_deg2.as_ref(), [rotation_deg; 3], scores.next_three()),
            self.vector(translation_covariance_mm2.as_ref(), [translation_mm; 3], scores.next_three()),
        )
    }
}

/// A slip in a hold: from this frame on, by this much.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HoldSlip {
    /// First displaced frame.
    pub from_frame: usize,
    /// Displacement of the tip.
    pub displacement: PatientVector,
}

impl Source<Slip> {
    /// Displacement of the tip in the next frame of the tip pivot.
    #[must_use]
    pub fn in_pivot(&self, scores: &mut Scores) -> PatientVector {
        let displacement = self.three_values(&self.model.in_pivot_mm, scores.next_three());
        PatientVector::from(displacement.map(|value| self.switch.steady * value))
    }

    /// Whether and how the tip slips in a hold of so many frames.
    #[must_use]
    pub fn in_hold(&self, key: &CaseKey, capture: CaptureKey, frames: usize) -> Option<HoldSlip> {
        if self.is_off() || self.switch.event == 0.0 {
            return None;
        }
        let mut scores = self.capture_stream(key, capture);
        let happens = normal::complement(scores.next_score()) < self.model.in_hold_probability;
        if !happens {
            return None;
        }
        let moment = normal::cumulative(scores.next_score());
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a frame of the hold: not negative
        let from_frame = (moment * frames as f64) as usize;
        let displacement = self.three_values(&self.model.in_hold_mm, scores.next_three());
        let displacement = displacement.map(|value| self.switch.event * value);
        Some(HoldSlip { from_frame, displacement: displacement.into() })
    }
}
