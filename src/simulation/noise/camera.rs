//! The camera's seat on the pelvis.

use crate::geometry::{Displacement, Point, Pose, Rotation};
use crate::measurement::{Camera, Step};
use crate::simulation::normal;
use crate::simulation::source::{Basis, CaptureKey, Source, Switch};
use crate::simulation::streams::CaseKey;
use crate::simulation::{Covariance, Quantity};
use serde::{Deserialize, Serialize};

/// Sources `camera.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CameraNoise {
    /// `camera.remount`.
    pub remount: Source<Remount>,
    /// `camera.drift`.
    pub drift: Source<Drift>,
}

/// The camera taken off and put back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Remount {
    /// Each component of the rotation vector about the camera's origin.
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

impl Source<Remount> {
    /// What putting the camera back does to every later pose, in camera axes.
    #[must_use]
    pub fn displacement(&self, key: &CaseKey) -> Pose<Camera, Camera> {
        if self.is_off() {
            return Pose::new(Rotation::identity(), Point::ORIGIN);
        }
        let Remount { rotation_deg, translation_mm, rotation_covariance_deg2, translation_covariance_mm2, .. } =
            &self.model;
        let mut scores = self.capture_stream(key, CaptureKey::before(Step::Cup));
        rotation_then_translation(
            self.vector(rotation_covariance_deg2.as_ref(), [rotation_deg; 3], scores.next_three()),
            self.vector(translation_covariance_mm2.as_ref(), [translation_mm; 3], scores.next_three()),
        )
    }
}

/// The camera's mount creeping on the pelvis, and now and then knocked.
///
/// The clock counts steps of the procedure as equally long: 0 at step 2, 1 at step 9, and the same within a step,
/// because the frames of a capture take seconds and what lies between two steps takes minutes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drift {
    /// Each component of the rotation vector about the camera's origin at step 9.
    pub rotation_deg: Quantity,
    /// Each component of the translation at step 9.
    pub translation_mm: Quantity,
    /// Covariance of the rotation vector at step 9, in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rotation_covariance_deg2: Option<Covariance>,
    /// Covariance of the translation at step 9, in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub translation_covariance_mm2: Option<Covariance>,
    /// Probability that the mount is knocked in a case.
    pub knock_probability: f64,
    /// Each component of the rotation vector of a knock.
    pub knock_rotation_deg: Quantity,
    /// Each component of the translation of a knock.
    pub knock_translation_mm: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// How the mount moves in one case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriftPath {
    rotation_deg: [f64; 3],
    translation_mm: [f64; 3],
    knock: Option<(f64, Pose<Camera, Camera>)>,
}

impl Source<Drift> {
    /// The path of a case; `None` if the source is off.
    #[must_use]
    pub fn path(&self, key: &CaseKey) -> Option<DriftPath> {
        if self.is_off() {
            return None;
        }
        let mut scores = self.case_stream(key);
        let Drift { rotation_covariance_deg2, translation_covariance_mm2, .. } = &self.model;
        let rotation_deg =
            self.vector(rotation_covariance_deg2.as_ref(), [&self.model.rotation_deg; 3], scores.next_three());
        let translation_mm =
            self.vector(translation_covariance_mm2.as_ref(), [&self.model.translation_mm; 3], scores.next_three());
        let knocked = normal::complement(scores.next_score()) < self.model.knock_probability;
        let moment = normal::cumulative(scores.next_score());
        let Switch { steady, event, .. } = self.switch;
        let knock = (knocked && event != 0.0).then(|| {
            let mut three = |quantity| self.three_values(quantity, scores.next_three()).map(|value| event * value);
            let rotation_deg = three(&self.model.knock_rotation_deg);
            (moment, rotation_then_translation(rotation_deg, three(&self.model.knock_translation_mm)))
        });
        let [rotation_deg, translation_mm] =
            [rotation_deg, translation_mm].map(|three| three.map(|value| steady * value));
        Some(DriftPath { rotation_deg, translation_mm, knock })
    }
}

impl DriftPath {
    /// Whether the mount is knocked on it.
    #[must_use]
    pub fn is_knocked(&self) -> bool {
        self.knock.is_some()
    }

    /// What the mount's motion does to every pose at a step of the procedure, 2 to 9, in camera axes.
    #[must_use]
    pub fn at_step(&self, step: u32) -> Pose<Camera, Camera> {
        let clock = (f64::from(step) - 2.0) / 7.0;
        let crept =
            rotation_then_translation(self.rotation_deg.map(|v| clock * v), self.translation_mm.map(|v| clock * v));
        match self.knock {
            Some((moment, knock)) if clock >= moment => knock * crept,
            _ => crept,
        }
    }
}

/// A small motion of a body in its own axes: rotation vector in degrees about the origin, then translation in mm.
#[must_use]
pub fn rotation_then_translation<A>(rotation_deg: [f64; 3], translation_mm: [f64; 3]) -> Pose<A, A> {
    let [x, y, z] = rotation_deg.map(f64::to_radians);
    Pose::new(Rotation::from_rotation_vector(Displacement::new(x, y, z)), Point::from_vector(translation_mm.into()))
}
