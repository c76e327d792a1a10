//! The camera's seat on the pelvis.

use crate::geometry::{Displacement, Point, Pose, Rotation};
use crate::measurement::{Camera, Step};
use crate::simulation::Quantity;
use crate::simulation::source::{Basis, CaptureKey, Source};
use crate::simulation::streams::CaseKey;
use serde::{Deserialize, Serialize};

/// Sources `camera.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CameraNoise {
    /// `camera.remount`.
    pub remount: Source<Remount>,
}

/// The camera taken off and put back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Remount {
    /// Each component of the rotation vector about the camera's origin.
    pub rotation_deg: Quantity,
    /// Each component of the translation.
    pub translation_mm: Quantity,
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
        let mut scores = self.capture_stream(key, CaptureKey::before(Step::Cup));
        rotation_then_translation(
            self.three_values(&self.model.rotation_deg, scores.next_three()),
            self.three_values(&self.model.translation_mm, scores.next_three()),
        )
    }
}

/// A small motion of a body in its own axes: rotation vector in degrees about the origin, then translation in mm.
#[must_use]
pub fn rotation_then_translation<A>(rotation_deg: [f64; 3], translation_mm: [f64; 3]) -> Pose<A, A> {
    let [x, y, z] = rotation_deg.map(f64::to_radians);
    Pose::new(Rotation::from_rotation_vector(Displacement::new(x, y, z)), Point::from_vector(translation_mm.into()))
}
