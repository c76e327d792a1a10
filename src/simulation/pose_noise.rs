//! The pose of a tracker as a camera gives it that solves poses itself: noise of all six degrees of freedom at once.
//!
//! To first order a rigid fit answers small displacements `e_i` of the markers, at `x_i` from their centroid, with the
//! shift `mean(e_i)` and the turn `J^-1 sum(x_i x e_i)`, `J = sum(|x_i|^2 I - x_i x_i')`. So marker noise of covariance
//! `S_i` gives the pose the covariance `W+ diag(S_i) W+'`, `W = stack [I, -[x_i]x]` (Wiles AD et al. IEEE TMI
//! 2008;27:378-390; Danilchenko A, Fitzpatrick JM. IEEE TMI 2011;30:679-693).

use super::noise::REFERENCE_DISTANCE_MM;
use crate::geometry::{Displacement, Matrix3, Point, Pose, Rotation, Vector3};
use crate::measurement::{Camera, Tracker};
use nalgebra::{Matrix6, Vector6};

/// Noise of markers: standard deviations of each axis across the ray and of the one along it, at the reference
/// distance, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MarkerNoise {
    /// Each of the two axes across the ray; grows as the distance.
    pub across_mm: f64,
    /// Along the ray; grows as its square.
    pub along_mm: f64,
}

/// How the pose of a tracker answers displacements of its markers.
#[derive(Clone, Debug)]
pub struct PoseResponse {
    centroid: Point<Tracker>,
    arms: Vec<Vector3<f64>>,
    inverse_moment: Matrix3<f64>,
}

/// A small motion of a tracker in its own axes: a turn about a point, then a shift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SmallMotion {
    /// About this point of the tracker.
    pub about: Point<Tracker>,
    /// Shift, mm.
    pub shift: Vector3<f64>,
    /// Rotation vector, radians.
    pub turn: Vector3<f64>,
}

/// Makes six scores a small motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PoseFactor {
    about: Point<Tracker>,
    factor: Matrix6<f64>,
    /// Mean of the turn, of second order in the noise, radians.
    mean_turn: Vector3<f64>,
}

impl PoseFactor {
    /// Of a covariance of shift (mm) and rotation vector (radians) about the tracker's origin, in its axes; `None` if
    /// it is not positive semi-definite.
    #[must_use]
    pub fn of_covariance(covariance: &Matrix6<f64>) -> Option<Self> {
        let eigenvalues = covariance.symmetric_eigenvalues();
        let possible = eigenvalues.min() >= -1e-9 * eigenvalues.max().abs();
        possible.then(|| Self { about: Point::ORIGIN, factor: lower_factor(covariance), mean_turn: Vector3::zeros() })
    }

    /// The motion at six scores.
    #[inline]
    #[must_use]
    pub fn motion(&self, scores: [f64; 6]) -> SmallMotion {
        let drawn = self.factor * Vector6::from(scores);
        let turn = self.mean_turn + drawn.fixed_rows::<3>(3);
        SmallMotion { about: self.about, shift: drawn.fixed_rows::<3>(0).into(), turn }
    }
}

impl PoseResponse {
    /// Of markers that do not lie in a line.
    #[must_use]
    pub fn of(markers: &[Point<Tracker>]) -> Self {
        let centroid = crate::geometry::centroid(markers);
        let arms: Vec<_> = markers.iter().map(|&marker| *(marker - centroid).vector()).collect();
        let moment = |x: &Vector3<f64>| x.norm_squared() * Matrix3::identity() - x * x.transpose();
        let moment: Matrix3<f64> = arms.iter().map(moment).sum();
        let inverse_moment = moment.try_inverse().unwrap_or_else(Matrix3::zeros);
        Self { centroid, arms, inverse_moment }
    }

    /// The motion by which the pose answers these displacements of the markers, in tracker axes, in their order.
    #[must_use]
    pub fn to(&self, displaced: impl Iterator<Item = Displacement<Tracker>>) -> SmallMotion {
        let (mut sum, mut torque) = (Vector3::zeros(), Vector3::zeros());
        for (arm, displacement) in self.arms.iter().zip(displaced) {
            sum += displacement.vector();
            torque += arm.cross(displacement.vector());
        }
        SmallMotion { about: self.centroid, shift: sum / self.arms.len() as f64, turn: self.inverse_moment * torque }
    }

    /// What marker noise does to the pose of a tracker that is seen in `pose`.
    #[must_use]
    pub fn factor(&self, pose: &Pose<Tracker, Camera>, noise: MarkerNoise) -> PoseFactor {
        let to_tracker = pose.inverse();
        let camera = to_tracker.origin - self.centroid;
        // sum W_i' S_i W_i, with S_i = a^2 I + (b^2 - a^2) u u' for the ray u: the lower triangle is enough.
        let mut sum = Matrix6::zeros();
        let (mut spread, mut bent) = (Matrix3::zeros(), Vector3::zeros());
        for x in &self.arms {
            let ray = x - camera.vector();
            let squared = ray.norm_squared();
            let distances = squared / (REFERENCE_DISTANCE_MM * REFERENCE_DISTANCE_MM);
            let across = noise.across_mm * noise.across_mm * distances;
            let along = noise.along_mm * noise.along_mm * distances * distances;
            let excess = (along - across) / squared;
            let torque = x.cross(&ray);
            let row = Vector6::new(ray.x, ray.y, ray.z, torque.x, torque.y, torque.z);
            for j in 0..6 {
                for i in j..6 {
                    sum[(i, j)] += excess * row[i] * row[j];
                }
            }
            for i in 0..3 {
                sum[(i, i)] += across;
                sum[(i + 3, i + 3)] += across * (x.norm_squared() - x[i] * x[i]);
            }
            // Below the diagonal: across [x]x beside shift, -across x_i x_j within the turn.
            let cross = across * x.cross_matrix();
            for i in 0..3 {
                for j in 0..3 {
                    sum[(i + 3, j)] += cross[(i, j)];
                }
            }
            for (i, j) in [(1, 0), (2, 0), (2, 1)] {
                sum[(i + 3, j + 3)] -= across * x[i] * x[j];
            }
            spread += x * x.transpose();
            let noise = across * Matrix3::identity() + excess * ray * ray.transpose();
            bent += x.cross(&antisymmetric(&(self.inverse_moment * x.cross_matrix() * noise)));
        }
        let lower = lower_factor(&sum);
        // The pose answers with shift / n and J^-1 turn.
        let mut factor = lower / self.arms.len() as f64;
        let turns = self.inverse_moment * lower.fixed_rows::<3>(3);
        factor.fixed_rows_mut::<3>(3).copy_from(&turns);
        // The second order: with R = exp[w], S = sum(x x') and E = sum(e x'), R'(S + E) is symmetric at the best fit. So
        // w = w1 + w2 with J w2 = a([w1]^2 S / 2 - [w1] E), a(A) the vector of A - A'; markers err independently.
        let turns = factor.fixed_rows::<3>(3);
        let covariance: Matrix3<f64> = turns * turns.transpose();
        let mean_turn = self.inverse_moment * (0.5 * antisymmetric(&(covariance * spread)) + bent);
        PoseFactor { about: self.centroid, factor, mean_turn }
    }
}

impl SmallMotion {
    /// As a pose of the moved tracker in the axes of the one that stayed.
    #[inline]
    #[must_use]
    pub fn pose(&self) -> Pose<Tracker, Tracker> {
        // The quaternion (1, turn / 2), normalised: its angle is right to the third power of a small turn, over 12.
        let half = 0.5 * self.turn;
        let scale = 1.0 / (1.0 + half.norm_squared()).sqrt();
        let rotation = Rotation::from_quaternion([scale, scale * half.x, scale * half.y, scale * half.z]);
        Pose::placing(rotation, self.about, self.about + Displacement::from_vector(self.shift))
    }
}

/// The vector `v` whose vector product is `A - A'`.
fn antisymmetric(a: &Matrix3<f64>) -> Vector3<f64> {
    Vector3::new(a.m32 - a.m23, a.m13 - a.m31, a.m21 - a.m12)
}

/// The lower triangular `L` with `L L'` a positive semi-definite matrix, of which the lower triangle is read. Directions
/// without any variance have a column of zeros.
fn lower_factor(matrix: &Matrix6<f64>) -> Matrix6<f64> {
    let mut lower = Matrix6::zeros();
    for j in 0..6 {
        let known: f64 = (0..j).map(|k| lower[(j, k)] * lower[(j, k)]).sum();
        let left = matrix[(j, j)] - known;
        if left > 1e-12 * matrix[(j, j)] {
            let pivot = left.sqrt();
            lower[(j, j)] = pivot;
            for i in j + 1..6 {
                let known: f64 = (0..j).map(|k| lower[(i, k)] * lower[(j, k)]).sum();
                lower[(i, j)] = (matrix[(i, j)] - known) / pivot;
            }
        }
    }
    lower
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{LANES, PointLanes};
    use crate::simulation::noise::Jitter;
    use crate::simulation::{Basis, BasisKind, CaseKey, Quantity, Source, Switch};
    use nalgebra::{Matrix3x6, Matrix6x3};

    const MARKERS: [[f64; 3]; 5] =
        [[-26.0, -18.0, 0.0], [24.0, -24.0, 5.0], [31.0, 20.0, 0.0], [-20.0, 29.0, 4.0], [60.0, 7.0, -9.0]];

    fn seen() -> Pose<Tracker, Camera> {
        let turn = Rotation::from_rotation_vector(Displacement::new(0.4, -0.7, 0.2));
        Pose::new(turn, Point::new(40.0, -25.0, 210.0))
    }

    /// `W+ diag(S_i) W+'` written out with matrices, for markers away from the origin and unequal noise.
    #[test]
    fn outside_factor_is_that_of_the_covariance_written_out() {
        let markers = MARKERS.map(|place| Point::<Tracker>::from_vector(Vector3::from(place)));
        let noise = MarkerNoise { across_mm: 0.08, along_mm: 0.24 };
        let response = PoseResponse::of(&markers);
        let PoseFactor { factor, .. } = response.factor(&seen(), noise);

        let rows = |marker: Point<Tracker>| {
            let mut rows = Matrix3x6::identity();
            let arm = *(marker - response.centroid).vector();
            rows.fixed_view_mut::<3, 3>(0, 3).copy_from(&-arm.cross_matrix());
            rows
        };
        let normal: Matrix6<f64> = markers.iter().map(|&marker| rows(marker).transpose() * rows(marker)).sum();
        let inverse = normal.try_inverse().expect("a rigid layout");
        let mut expected = Matrix6::zeros();
        for &marker in &markers {
            let in_camera = *(seen() * marker).vector();
            let (distance, ray) = (in_camera.norm(), in_camera.normalize());
            let (across, along) = (0.08 * distance / 250.0, 0.24 * (distance / 250.0) * (distance / 250.0));
            let noise =
                across * across * Matrix3::identity() + (along * along - across * across) * ray * ray.transpose();
            let turned = seen().rotation.matrix().transpose() * noise * seen().rotation.matrix();
            let answer: Matrix6x3<f64> = inverse * rows(marker).transpose();
            expected += answer * turned * answer.transpose();
        }
        let found = factor * factor.transpose();
        assert!((found - expected).norm() < 1e-12 * expected.norm(), "{found} for {expected}");
    }

    /// The answer to small displacements is that of the rigid fit, up to their squares.
    #[test]
    fn identity_answer_is_that_of_the_rigid_fit() {
        let markers = MARKERS.map(|place| Point::<Tracker>::from_vector(Vector3::from(place)));
        let displaced = [[3.0, -1.0, 2.0], [-2.0, 0.5, 1.0], [1.0, 1.0, -3.0], [0.0, 2.0, 2.0], [-1.0, -2.0, 0.5]]
            .map(|[x, y, z]| Displacement::<Tracker>::new(1e-5 * x, 1e-5 * y, 1e-5 * z));
        let moved: Vec<_> = markers.iter().zip(displaced).map(|(&marker, by)| marker + by).collect();
        let fit = crate::geometry::Layout::new(&markers)
            .and_then(|layout| layout.fit(&moved).map_err(|_| crate::geometry::LayoutError::TooFew(0)));
        let expected = fit.expect("a rigid layout").pose;
        let found = PoseResponse::of(&markers).to(displaced.into_iter()).pose();
        let tip = Point::new(3.0, -155.0, 2.0);
        assert!((found * tip - expected * tip).length() < 1e-9);
    }

    /// Frames of a still tool through the markers and their rigid fit: `L^-1 C L'^-1` with their sample covariance `C` has
    /// no eigenvalue away from 1 by more than 2 %, and the mean turn is that of the second order.
    #[test]
    fn coverage_frames_of_a_still_tool_have_the_covariance() {
        let markers = MARKERS.map(|place| Point::<Tracker>::from_vector(Vector3::from(place)));
        // Large, so that the second order is many standard errors.
        let (across_mm, along_mm) = (0.4, 1.2);
        let response = PoseResponse::of(&markers);
        let PoseFactor { factor, mean_turn, .. } = response.factor(&seen(), MarkerNoise { across_mm, along_mm });
        let layout = crate::geometry::Layout::new(&markers).expect("a rigid layout");
        let jitter = Source {
            model: Jitter {
                across_mm: Quantity::normal(across_mm),
                along_mm: Quantity::normal(along_mm),
                pixel_px: Quantity::ZERO,
                basis: Basis { kind: BasisKind::Assumed, source: None, note: None },
            },
            switch: Switch::default(),
        };
        let mut scores = jitter.case_stream(&CaseKey { seed: 5, device: 0, case: 0, repeat: 0 });
        let places = markers.map(|marker| seen() * marker);
        let frames = 200_000;
        let (mut found, mut mean) = (Matrix6::zeros(), Vector3::zeros());
        for _ in 0..frames {
            let disturbed = places.chunks(LANES).flat_map(|some| {
                let seen = jitter.disturbed(PointLanes::of(some), some.len(), &mut scores).points();
                seen.into_iter().take(some.len())
            });
            let measured: Vec<_> = disturbed.collect();
            let pose = seen().inverse() * layout.fit(&measured).expect("a rigid layout").pose;
            let shift = pose * response.centroid - response.centroid;
            let turn = pose.rotation.rotation_vector();
            let (s, t) = (shift.vector(), turn.vector());
            let error = Vector6::new(s.x, s.y, s.z, t.x, t.y, t.z);
            mean += t / f64::from(frames);
            found += error * error.transpose() / f64::from(frames);
        }
        for i in 0..3 {
            let error = (found[(i + 3, i + 3)] / f64::from(frames)).sqrt();
            assert!((mean[i] - mean_turn[i]).abs() < 4.0 * error, "{mean} for {mean_turn}, standard error {error}");
        }
        let whitening = factor.try_inverse().expect("a covariance of full rank");
        let whitened = whitening * found * whitening.transpose();
        for eigenvalue in whitened.symmetric_eigenvalues().iter() {
            assert!((eigenvalue - 1.0).abs() < 0.02, "{eigenvalue}");
        }
    }

    #[test]
    fn identity_flat_covariance_draws_in_its_directions_alone() {
        let mut covariance = Matrix6::zeros();
        covariance[(0, 0)] = 4.0;
        covariance[(4, 4)] = 1e-6;
        let factor = PoseFactor::of_covariance(&covariance).expect("a covariance");
        let motion = factor.motion([1.0; 6]);
        assert_eq!((motion.shift, motion.turn), (Vector3::new(2.0, 0.0, 0.0), Vector3::new(0.0, 1e-3, 0.0)));
        covariance[(5, 5)] = -1.0;
        assert!(PoseFactor::of_covariance(&covariance).is_none());
    }
}
