//! The pose of a tracker as a camera gives it that solves poses itself: noise of all six degrees of freedom at once.
//!
//! To first order a rigid fit answers small displacements `e_i` of the markers, at `x_i` from their centroid, with the
//! shift `mean(e_i)` and the turn `J^-1 sum(x_i x e_i)`, `J = sum(|x_i|^2 I - x_i x_i')`. So marker noise of covariance
//! `S_i` gives the pose the covariance `W+ diag(S_i) W+'`, `W = stack [I, -[x_i]x]` (Wiles AD et al. IEEE TMI
//! 2008;27:378-390; Danilchenko A, Fitzpatrick JM. IEEE TMI 2011;30:679-693).

use super::noise::{Jitter, REFERENCE_DISTANCE_MM};
use super::quantity::Quantity;
use super::small_motions::SmallMotions;
use super::source::Source;
use crate::geometry::lanes::{alike, apart, cross, cross_with, dot, side_by_side, sum, turned};
use crate::geometry::{LANES, Lanes, Matrix3, Point, PointLanes, PoseLanes, Vector3};
use crate::measurement::{Camera, Tracker};
use nalgebra::{Matrix6, SMatrix};

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
    arms: Vec<Arm>,
    /// `S = sum(x x')`.
    spread: Matrix3<f64>,
    /// `J^-1`.
    inverse_moment: Matrix3<f64>,
}

/// A marker of a tracker.
#[derive(Clone, Debug)]
struct Arm {
    /// From the centroid.
    x: Vector3<f64>,
    /// `J^-1 [x]x`: the turn with which the pose answers its displacement.
    answer: Matrix3<f64>,
    /// The vector of the difference of that matrix and its transpose.
    twist: Vector3<f64>,
}

/// Makes six scores a small motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PoseFactor {
    about: Point<Tracker>,
    /// Shift by the first three scores, mm.
    shift_factor: Matrix3<f64>,
    /// Turn by the first three scores, radians.
    mixed_factor: Matrix3<f64>,
    /// Turn by the last three scores, radians.
    turn_factor: Matrix3<f64>,
    /// Mean of the turn, of second order in the noise, radians.
    mean_turn: Vector3<f64>,
}

impl MarkerNoise {
    /// That of a source, as it is scaled.
    #[must_use]
    pub fn of(jitter: &Source<Jitter>) -> Self {
        let sd_mm = |quantity: &Quantity| jitter.switch.scale * quantity.mean_and_sd().1;
        Self { across_mm: sd_mm(&jitter.model.across_mm), along_mm: sd_mm(&jitter.model.along_mm) }
    }
}

impl PoseFactor {
    /// Of a covariance of shift (mm) and rotation vector (radians) about the tracker's origin, in its axes; `None` if
    /// it is not positive semi-definite.
    #[must_use]
    pub fn of_covariance(covariance: &Matrix6<f64>) -> Option<Self> {
        let eigenvalues = covariance.symmetric_eigenvalues();
        let possible = eigenvalues.min() >= -1e-9 * eigenvalues.max().abs();
        possible.then(|| {
            let lower = lower_factor(covariance);
            Self {
                about: Point::ORIGIN,
                shift_factor: lower.fixed_view::<3, 3>(0, 0).into(),
                mixed_factor: lower.fixed_view::<3, 3>(3, 0).into(),
                turn_factor: lower.fixed_view::<3, 3>(3, 3).into(),
                mean_turn: Vector3::zeros(),
            }
        })
    }

    /// Length by which it moves a point of the tracker, root mean square, mm.
    #[must_use]
    pub fn point_rms_mm(&self, point: Point<Tracker>) -> f64 {
        let arm = (point - self.about).vector().cross_matrix();
        let first = self.shift_factor - arm * self.mixed_factor;
        (first.norm_squared() + (arm * self.turn_factor).norm_squared()).sqrt()
    }

    /// Angle by which it turns the tracker, root mean square, radians.
    #[must_use]
    pub fn turn_rms(&self) -> f64 {
        (self.mixed_factor.norm_squared() + self.turn_factor.norm_squared()).sqrt()
    }

    /// The motions at six scores each.
    #[inline]
    #[must_use]
    pub fn motions(&self, [a, b, c, d, e, f]: [Lanes; 6]) -> SmallMotions {
        let (first, last) = ([a, b, c], [d, e, f]);
        let turn = sum(alike(&self.mean_turn), turned(&self.mixed_factor, first));
        SmallMotions {
            about: self.about,
            shift: turned(&self.shift_factor, first),
            turn: sum(turn, turned(&self.turn_factor, last)),
        }
    }
}

impl PoseResponse {
    /// Of markers that do not lie in a line.
    #[must_use]
    pub fn of(markers: &[Point<Tracker>]) -> Self {
        let centroid = crate::geometry::centroid(markers);
        let arms = markers.iter().map(|&marker| *(marker - centroid).vector());
        let spread: Matrix3<f64> = arms.clone().map(|x| x * x.transpose()).sum();
        let moment = Matrix3::from_diagonal_element(spread.trace()) - spread;
        let inverse_moment = moment.try_inverse().unwrap_or_else(Matrix3::zeros);
        let arm = |x: Vector3<f64>| {
            let answer = inverse_moment * x.cross_matrix();
            Arm { x, answer, twist: antisymmetric(&answer) }
        };
        Self { centroid, arms: arms.map(arm).collect(), spread, inverse_moment }
    }

    /// The motions by which the pose answers displacements of one marker, mm, in tracker axes.
    ///
    /// # Panics
    /// If there is no marker with that index.
    #[inline]
    #[must_use]
    pub fn to_one(&self, which: usize, displacement: [Lanes; 3]) -> SmallMotions {
        let share = 1.0 / self.arms.len() as f64;
        let turn = turned(&self.arms[which].answer, displacement);
        SmallMotions { about: self.centroid, shift: displacement.map(|by| share * by), turn }
    }

    /// The motions by which placed trackers answer displacements of their markers, mm, in camera axes, each a function of
    /// the marker's place.
    #[inline]
    #[must_use]
    pub fn in_place(
        &self,
        placed: &PoseLanes<Tracker, Camera>,
        displacement: impl Fn(PointLanes<Camera>) -> [Lanes; 3],
    ) -> SmallMotions {
        let zero = Lanes::splat(0.0);
        let (mut shift, mut torque) = ([zero; 3], [zero; 3]);
        let centroid = (*placed * self.centroid).components;
        for Arm { x, .. } in &self.arms {
            let arm = placed.turned(alike(x));
            let displaced = displacement(PointLanes::new(sum(centroid, arm)));
            shift = sum(shift, displaced);
            torque = sum(torque, cross(arm, displaced));
        }
        let share = 1.0 / self.arms.len() as f64;
        SmallMotions {
            about: self.centroid,
            shift: placed.turned_back(shift.map(|sum| share * sum)),
            turn: turned(&self.inverse_moment, placed.turned_back(torque)),
        }
    }

    /// No motions, about the same point.
    #[inline]
    #[must_use]
    pub fn still(&self) -> SmallMotions {
        let zero = [Lanes::splat(0.0); 3];
        SmallMotions { about: self.centroid, shift: zero, turn: zero }
    }

    /// What marker noise does to the pose of a tracker that sees the camera at this place.
    #[must_use]
    pub fn factor(&self, camera: Point<Tracker>, noise: MarkerNoise) -> PoseFactor {
        let [factor, ..] = self.factors([camera; LANES], noise);
        factor
    }

    /// The same for several places.
    #[must_use]
    pub fn factors(&self, cameras: [Point<Tracker>; LANES], noise: MarkerNoise) -> [PoseFactor; LANES] {
        let camera = side_by_side(cameras.map(|camera| *(camera - self.centroid).vector()));
        let per_mm2 = 1.0 / (REFERENCE_DISTANCE_MM * REFERENCE_DISTANCE_MM);
        let across_share = noise.across_mm * noise.across_mm * per_mm2;
        let along_share = noise.along_mm * noise.along_mm * per_mm2 * per_mm2;
        // sum W_i' S_i W_i, with S_i = a I + b r r' for the ray r from the camera; W_i' r is r and its torque x r.
        let zero = Lanes::splat(0.0);
        let (mut shifts, mut mixed, mut turns) = ([[zero; 3]; 3], [[zero; 3]; 3], [[zero; 3]; 3]);
        let (mut across_sum, mut across_arm, mut across_spread) = (zero, [zero; 3], [[zero; 3]; 3]);
        let mut bent = [zero; 3];
        for Arm { x, answer, twist } in &self.arms {
            let ray = [0, 1, 2].map(|i| x[i] - camera[i]);
            let squared = dot(ray, ray);
            let (across, excess) = (across_share * squared, along_share * squared - across_share);
            let torque = cross_with(x, ray);
            let (ray_share, torque_share) = (ray.map(|ray| excess * ray), torque.map(|torque| excess * torque));
            across_sum += across;
            for i in 0..3 {
                across_arm[i] += across * x[i];
                for j in 0..3 {
                    mixed[i][j] += torque_share[i] * ray[j];
                }
                for j in 0..=i {
                    shifts[i][j] += ray_share[i] * ray[j];
                    turns[i][j] += torque_share[i] * torque[j];
                    across_spread[i][j] += across * (x[i] * x[j]);
                }
            }
            // a(J^-1 [x]x S), with a(u v') = v x u.
            let answered = cross(ray_share, turned(answer, ray));
            bent = sum(bent, cross_with(x, sum([0, 1, 2].map(|i| across * twist[i]), answered)));
        }
        let trace = across_spread[0][0] + across_spread[1][1] + across_spread[2][2];
        let [x, y, z] = across_arm;
        let across_mixed = [[zero, -z, y], [z, zero, -x], [-y, x, zero]];
        for i in 0..3 {
            shifts[i][i] += across_sum;
            turns[i][i] += trace;
            mixed[i] = sum(mixed[i], across_mixed[i]);
            for j in 0..=i {
                turns[i][j] -= across_spread[i][j];
            }
        }
        // The lower triangle of its factor, block by block: [L 0; M N].
        let (shift_factor, inverse) = lower_factors(&shifts);
        let mixed_factor = mixed.map(|[a, b, c]| {
            let [_, [l10, ..], [l20, l21, _]] = shift_factor;
            let first = a * inverse[0];
            let second = (b - l10 * first) * inverse[1];
            [first, second, (c - l20 * first - l21 * second) * inverse[2]]
        });
        for i in 0..3 {
            for j in 0..=i {
                turns[i][j] -= dot(mixed_factor[i], mixed_factor[j]);
            }
        }
        let (turn_factor, _) = lower_factors(&turns);
        // The pose answers with shift / n and J^-1 turn.
        let share = 1.0 / self.arms.len() as f64;
        let shift_factor = shift_factor.map(|row| row.map(|entry| share * entry));
        let answered = |factor: &[[Lanes; 3]; 3]| {
            let columns = [0, 1, 2].map(|j| turned(&self.inverse_moment, factor.map(|row| row[j])));
            [0, 1, 2].map(|i| columns.map(|column| column[i]))
        };
        let (mixed_factor, turn_factor) = (answered(&mixed_factor), answered(&turn_factor));
        // The second order: with R = exp[w], S = sum(x x') and E = sum(e x'), R'(S + E) is symmetric at the best fit. So
        // w = w1 + w2 with J w2 = a([w1]^2 S / 2 - [w1] E), a(A) the vector of A - A'; markers err independently.
        let covariance = [0, 1, 2]
            .map(|i| [0, 1, 2].map(|j| dot(mixed_factor[i], mixed_factor[j]) + dot(turn_factor[i], turn_factor[j])));
        let spread = covariance.map(|row| turned(&self.spread, row));
        let twist = [spread[2][1] - spread[1][2], spread[0][2] - spread[2][0], spread[1][0] - spread[0][1]];
        let mean_turn = turned(&self.inverse_moment, sum(twist.map(|twist| 0.5 * twist), bent));

        let (shift_rows, mixed_rows, turn_rows) =
            (shift_factor.map(apart), mixed_factor.map(apart), turn_factor.map(apart));
        let matrix =
            |rows: &[[[f64; 3]; LANES]; 3], lane: usize| Matrix3::from(rows.map(|row| row[lane])).transpose();
        let mean_turn = apart(mean_turn);
        std::array::from_fn(|lane| PoseFactor {
            about: self.centroid,
            shift_factor: matrix(&shift_rows, lane),
            mixed_factor: matrix(&mixed_rows, lane),
            turn_factor: matrix(&turn_rows, lane),
            mean_turn: mean_turn[lane].into(),
        })
    }
}

/// [`lower_factor`] of several matrices, of which the lower triangles are read, and the inverses of their diagonals; 0 in a
/// direction without variance.
#[inline]
fn lower_factors(matrices: &[[Lanes; 3]; 3]) -> ([[Lanes; 3]; 3], [Lanes; 3]) {
    let [[m00, ..], [m10, m11, _], [m20, m21, m22]] = *matrices;
    let zero = Lanes::splat(0.0);
    let pivot = |left: Lanes, diagonal: Lanes| {
        let varies = left.simd_gt(1e-12 * diagonal);
        let root = varies.bitselect(left, zero).sqrt();
        (root, varies.bitselect(1.0 / root, zero))
    };
    let (l00, i00) = pivot(m00, m00);
    let (l10, l20) = (m10 * i00, m20 * i00);
    let (l11, i11) = pivot(m11 - l10 * l10, m11);
    let l21 = (m21 - l20 * l10) * i11;
    let (l22, i22) = pivot(m22 - l20 * l20 - l21 * l21, m22);
    ([[l00, zero, zero], [l10, l11, zero], [l20, l21, l22]], [i00, i11, i22])
}

/// The vector `v` whose vector product is `A - A'`.
fn antisymmetric(a: &Matrix3<f64>) -> Vector3<f64> {
    Vector3::new(a.m32 - a.m23, a.m13 - a.m31, a.m21 - a.m12)
}

/// The lower triangular `L` with `L L'` a positive semi-definite matrix, of which the lower triangle is read. Directions
/// without any variance have a column of zeros.
fn lower_factor<const N: usize>(matrix: &SMatrix<f64, N, N>) -> SMatrix<f64, N, N> {
    let mut lower = SMatrix::zeros();
    for j in 0..N {
        let known: f64 = (0..j).map(|k| lower[(j, k)] * lower[(j, k)]).sum();
        let left = matrix[(j, j)] - known;
        if left > 1e-12 * matrix[(j, j)] {
            let pivot = left.sqrt();
            lower[(j, j)] = pivot;
            for i in j + 1..N {
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
    use crate::geometry::{Displacement, Pose, Rotation};
    use crate::simulation::{Basis, BasisKind, CaseKey, Switch};
    use nalgebra::{Matrix3x6, Matrix6x3, Vector6};

    const MARKERS: [[f64; 3]; 5] =
        [[-26.0, -18.0, 0.0], [24.0, -24.0, 5.0], [31.0, 20.0, 0.0], [-20.0, 29.0, 4.0], [60.0, 7.0, -9.0]];

    fn seen() -> Pose<Tracker, Camera> {
        let turn = Rotation::from_rotation_vector(Displacement::new(0.4, -0.7, 0.2));
        Pose::new(turn, Point::new(40.0, -25.0, 210.0))
    }

    impl PoseFactor {
        /// Shift and turn by six scores.
        fn whole(&self) -> Matrix6<f64> {
            let mut whole = Matrix6::zeros();
            whole.fixed_view_mut::<3, 3>(0, 0).copy_from(&self.shift_factor);
            whole.fixed_view_mut::<3, 3>(3, 0).copy_from(&self.mixed_factor);
            whole.fixed_view_mut::<3, 3>(3, 3).copy_from(&self.turn_factor);
            whole
        }
    }

    /// `W+ diag(S_i) W+'` written out with matrices, for markers away from the origin and unequal noise.
    #[test]
    fn outside_factor_is_that_of_the_covariance_written_out() {
        let markers = MARKERS.map(|place| Point::<Tracker>::from_vector(Vector3::from(place)));
        let noise = MarkerNoise { across_mm: 0.08, along_mm: 0.24 };
        let response = PoseResponse::of(&markers);
        let factor = response.factor(seen().inverse().origin, noise).whole();

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
        let displaced = |[x, y, z]: [f64; 3]| [1e-7 * (y * z + x), 1e-7 * (x * x - 40.0 * z), 1e-7 * (z * x + y * y)];
        let moved = markers.map(|marker| {
            let place = *(seen() * marker).vector();
            Point::from_vector(place + Vector3::from(displaced(place.into())))
        });
        let layout = crate::geometry::Layout::new(&markers).expect("a rigid layout");
        let expected = layout.fit(&moved).expect("markers in place").pose;
        let answer = PoseResponse::of(&markers).in_place(&PoseLanes::of(&[seen()]), |places| {
            side_by_side(apart(places.components).map(|place| displaced(place).into()))
        });
        let motion = answer.poses().pose(0);
        let tip = Point::new(3.0, -155.0, 2.0);
        let moved_mm = (expected * tip - seen() * tip).length();
        let missed_mm = (seen() * motion * tip - expected * tip).length();
        // What the first order leaves out is the move times the turn, and as much again for each time that the tip is
        // farther away than the markers, some 160 mm to 25 mm.
        let turn = (seen().rotation.inverse() * expected.rotation).rotation_vector().length();
        assert!(turn > 1e-6 && missed_mm < 160.0 / 25.0 * turn * moved_mm, "{missed_mm} of {moved_mm} mm, {turn}");
    }

    /// Frames of a still tool through the markers and their rigid fit: `L^-1 C L'^-1` with their sample covariance `C` has
    /// no eigenvalue away from 1 by more than 2 %, and the mean turn is that of the second order.
    #[test]
    fn coverage_frames_of_a_still_tool_have_the_covariance() {
        let markers = MARKERS.map(|place| Point::<Tracker>::from_vector(Vector3::from(place)));
        // Large, so that the second order is many standard errors.
        let (across_mm, along_mm) = (0.4, 1.2);
        let response = PoseResponse::of(&markers);
        let factor = response.factor(seen().inverse().origin, MarkerNoise { across_mm, along_mm });
        let (factor, mean_turn) = (factor.whole(), factor.mean_turn);
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
            let mut measured = Vec::new();
            for some in places.chunks(LANES) {
                let seen = jitter.disturbed(PointLanes::of(some), some.len(), &mut scores);
                measured.extend(seen.points(some.len()));
            }
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
        let motion = factor.motions([Lanes::splat(1.0); 6]).poses().pose(0);
        assert_eq!(motion.origin, Point::new(2.0, 0.0, 0.0));
        let off = motion.rotation.rotation_vector() - Displacement::new(0.0, 1e-3, 0.0);
        assert!(off.length() < 1e-9, "{off:?}");
        covariance[(5, 5)] = -1.0;
        assert!(PoseFactor::of_covariance(&covariance).is_none());
    }
}
