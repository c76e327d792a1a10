//! Turning points of the native and the new hip.

use crate::simulation::patient::PatientVector;
use crate::simulation::source::{Basis, SharedScore, Source};
use crate::simulation::streams::{CaseKey, Scores};
use crate::simulation::{Covariance, Quantity};
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
    /// Covariance of the three, in their place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covariance_mm2: Option<Covariance>,
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
        let NativeCentre { anterior_mm, superior_mm, lateral_mm, covariance_mm2, .. } = &self.model;
        let scores = std::array::from_fn(|i| case.shared.of(case.scores[i], own[i]));
        self.vector(covariance_mm2.as_ref(), [anterior_mm, superior_mm, lateral_mm], scores).into()
    }
}

impl Source<Liner> {
    /// The head's centre in the next frame, from the liner's: uniform in a ball, since three components of a point
    /// uniform on the sphere in five dimensions are.
    #[must_use]
    pub fn displacement(&self, frames: &mut Scores) -> PatientVector {
        let mut scores = [0.0; 5];
        frames.fill(&mut scores);
        let length = scores.iter().map(|score| score * score).sum::<f64>().sqrt();
        let [x, y, z, ..] = scores.map(|score| self.switch.scale * self.model.radial_clearance_mm * score / length);
        PatientVector::from([x, y, z])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulation::source::{BasisKind, Switch};
    use crate::simulation::source_key;

    /// Uniform in a ball: the cubed distance from the centre is uniform, and each component has a fifth of the squared
    /// radius as its variance.
    #[test]
    fn coverage_liner_fills_its_ball_evenly() {
        let radius_mm = 0.1;
        let basis = Basis { kind: BasisKind::Assumed, source: None, note: None };
        let switch = Switch { key: source_key("centre.liner"), ..Switch::default() };
        let liner = Source { model: Liner { radial_clearance_mm: radius_mm, basis }, switch };
        let mut frames = liner.case_stream(&CaseKey::alone(1, 0));
        let count = 100_000;
        let (mut cubed, mut squares) = ([0.0; 2], [0.0; 3]);
        for _ in 0..count {
            let place = liner.displacement(&mut frames);
            let place = [place.anterior, place.superior, place.lateral].map(|component| component / radius_mm);
            let distance = place.iter().map(|p| p * p).sum::<f64>().sqrt();
            let volume = distance * distance * distance;
            cubed = [cubed[0] + volume, cubed[1] + volume * volume];
            for (square, p) in squares.iter_mut().zip(place) {
                *square += p * p;
            }
        }
        let count = f64::from(count);
        // Standard errors of the means of u and u^2, u uniform, and of the square of a component.
        for (found, expected, variance) in [
            (cubed[0], 1.0 / 2.0, 1.0 / 12.0),
            (cubed[1], 1.0 / 3.0, 4.0 / 45.0),
            (squares[0], 0.2, 3.0 / 35.0 - 0.04),
            (squares[1], 0.2, 3.0 / 35.0 - 0.04),
            (squares[2], 0.2, 3.0 / 35.0 - 0.04),
        ] {
            let error = (variance / count).sqrt();
            assert!((found / count - expected).abs() < 4.0 * error, "{} for {expected}", found / count);
        }
    }
}
