//! What the camera sees of a tracker.

use crate::geometry::{Displacement, Point};
use crate::measurement::Camera;
use crate::simulation::Quantity;
use crate::simulation::source::{Basis, Source};
use crate::simulation::streams::Scores;
use nalgebra::Vector3;
use serde::{Deserialize, Serialize};

/// Sources `tracker.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TrackerNoise {
    /// `tracker.jitter`.
    pub jitter: Source<Jitter>,
}

/// Noise of marker positions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Jitter {
    /// One marker, each axis across the ray, at the reference distance.
    pub across_mm: Quantity,
    /// One marker, along the ray, at the reference distance.
    pub along_mm: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// Distance at which jitter is stated, mm.
pub const REFERENCE_DISTANCE_MM: f64 = 250.0;

impl Source<Jitter> {
    /// The marker as seen in one frame.
    #[inline]
    #[must_use]
    pub fn seen(&self, marker: Point<Camera>, scores: &mut Scores) -> Point<Camera> {
        let [first, second, third] = scores.next_three();
        let position = marker.vector();
        let distance = position.norm();
        let ray = position * (1.0 / distance);
        let (across, aside) = perpendicular_pair(&ray);
        let relative = distance * (1.0 / REFERENCE_DISTANCE_MM);
        let across_mm = relative * self.value(&self.model.across_mm, first);
        let aside_mm = relative * self.value(&self.model.across_mm, second);
        let along_mm = relative * relative * self.value(&self.model.along_mm, third);
        marker + Displacement::from_vector(across_mm * across + aside_mm * aside + along_mm * ray)
    }
}

/// Two unit vectors that complete a unit vector to a right-handed triple, without a branch (Duff T et al. J
/// Comput Graph Tech 2017;6:1-8).
#[inline]
fn perpendicular_pair(n: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let sign = 1.0_f64.copysign(n.z);
    let a = -1.0 / (sign + n.z);
    let b = n.x * n.y * a;
    (Vector3::new(1.0 + sign * n.x * n.x * a, sign * b, -sign * n.x), Vector3::new(b, sign + n.y * n.y * a, -n.y))
}
