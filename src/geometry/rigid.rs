//! Rigid registration of known points to their measured positions, in closed form.
//!
//! Least squares over rotations and translations. The rotation is the unit quaternion that maximises Horn's
//! quadratic form (Horn BKP. J Opt Soc Am A 1987;4:629-642). Its largest eigenvalue is the largest root of a
//! quartic, found by Newton's method from an upper bound (Theobald DL. Acta Crystallogr A 2005;61:478-480); its
//! eigenvector is a column of the adjugate.

use super::axes::{Displacement, Point, Pose, Rotation};
use super::fit::FitError;
use super::lanes::{LANES, Lanes, apart, side_by_side};
use super::rotation::from_quaternion;
use nalgebra::{Matrix3, Vector3};

/// Points of a rigid body as drawn, ready to be fitted: at least 3, not nearly in a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout<A> {
    centroid: Point<A>,
    centred: Vec<Vector3<f64>>,
    sum_of_squares_mm2: f64,
}

/// Why points cannot serve as a layout.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum LayoutError {
    /// Fewer than three points.
    #[error("{0} points, at least 3 are needed")]
    TooFew(usize),
    /// The second singular value of the centred points is under 1 % of the first.
    #[error(
        "points nearly in a line or in one place (spread across the line {across_mm:.3} mm, along it {along_mm:.3} mm)"
    )]
    NearlyCollinear {
        /// Second singular value of the centred points, mm.
        across_mm: f64,
        /// First singular value, mm.
        along_mm: f64,
    },
}

/// A fitted pose and how well the points agreed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RigidFit<A, B> {
    /// The pose that takes drawn points to measured ones.
    pub pose: Pose<A, B>,
    /// Root mean square distance between fitted and measured points (fiducial registration error), mm.
    pub residual_rms_mm: f64,
}

impl<A> Layout<A> {
    /// Below this ratio of the second to the first singular value points count as collinear.
    pub const COLLINEAR_RATIO: f64 = 0.01;

    /// Takes drawn points, mm.
    ///
    /// # Errors
    /// With fewer than three points, or points nearly in a line: the rotation would hang on noise.
    pub fn new(points: &[Point<A>]) -> Result<Self, LayoutError> {
        if points.len() < 3 {
            return Err(LayoutError::TooFew(points.len()));
        }
        let centroid = super::principal::centroid(points);
        let centred: Vec<_> = points.iter().map(|&p| *(p - centroid).vector()).collect();
        let scatter: Matrix3<f64> = centred.iter().map(|v| v * v.transpose()).sum();
        let mut eigenvalues = scatter.symmetric_eigenvalues();
        eigenvalues.as_mut_slice().sort_by(f64::total_cmp);
        let [across_mm, along_mm] = [eigenvalues[1], eigenvalues[2]].map(|e| e.max(0.0).sqrt());
        // Negated so that NaN is refused too.
        if !(across_mm > Self::COLLINEAR_RATIO * along_mm) {
            return Err(LayoutError::NearlyCollinear { across_mm, along_mm });
        }
        let sum_of_squares_mm2 = centred.iter().map(Vector3::norm_squared).sum();
        Ok(Self { centroid, centred, sum_of_squares_mm2 })
    }

    /// Number of points.
    #[must_use]
    #[allow(clippy::len_without_is_empty)] // a layout has at least three points
    pub fn len(&self) -> usize {
        self.centred.len()
    }

    /// The points as drawn, mm.
    pub fn points(&self) -> impl ExactSizeIterator<Item = Point<A>> + '_ {
        self.centred.iter().map(|&v| self.centroid + Displacement::from_vector(v))
    }

    /// The points from their mean, mm.
    pub(super) fn centred(&self) -> &[Vector3<f64>] {
        &self.centred
    }

    /// The mean of the points.
    #[must_use]
    pub fn centroid(&self) -> Point<A> {
        self.centroid
    }

    /// The pose that brings the drawn points closest to the measured ones, in the same order.
    ///
    /// # Errors
    /// [`FitError::TooFewPoints`] if the numbers of points differ, [`FitError::RankLoss`] if the measured points
    /// do not determine a rotation or are not finite.
    pub fn fit<B>(&self, measured: &[Point<B>]) -> Result<RigidFit<A, B>, FitError> {
        if measured.len() != self.centred.len() {
            return Err(FitError::TooFewPoints);
        }
        let [fit, ..] = self.fit_side_by_side([measured; LANES]);
        fit
    }

    /// The pose of each frame, in order, of frames that follow each other: the same answers as [`Layout::fit`],
    /// found several at a time.
    ///
    /// Points after the last whole frame are left alone.
    pub fn fit_frames<B>(&self, frames: &[Point<B>], mut each: impl FnMut(Result<RigidFit<A, B>, FitError>)) {
        let count = self.centred.len();
        for some in frames.chunks(LANES * count) {
            let held = some.len() / count;
            // Where the last are fewer, the last frame stands in for the missing ones.
            let frame = |lane: usize| lane.min(held.saturating_sub(1)) * count;
            if held > 0 {
                let fits = self.fit_side_by_side(std::array::from_fn(|lane| &some[frame(lane)..frame(lane) + count]));
                fits.into_iter().take(held).for_each(&mut each);
            }
        }
    }

    /// Frames with as many points as the layout, side by side: a fit alone waits for its own last result most
    /// of the time.
    fn fit_side_by_side<B>(&self, frames: [&[Point<B>]; LANES]) -> [Result<RigidFit<A, B>, FitError>; LANES] {
        // One pass over offsets from the first point. The drawn points are centred, so the correlation does not
        // depend on what the measured ones are referred to.
        let share = Lanes::splat(1.0 / self.centred.len() as f64);
        let points = |k: usize| side_by_side(frames.map(|frame| *frame[k].vector()));
        let first = points(0);
        let zero = Lanes::splat(0.0);
        let (mut s, mut sum, mut squares_mm2) = ([[zero; 3]; 3], [zero; 3], zero);
        for (k, drawn) in self.centred.iter().enumerate() {
            let point = points(k);
            let offset = [0, 1, 2].map(|i| point[i] - first[i]);
            for (row, &drawn) in s.iter_mut().zip(drawn) {
                for (entry, &offset) in row.iter_mut().zip(&offset) {
                    *entry += drawn * offset;
                }
            }
            for (sum, &offset) in sum.iter_mut().zip(&offset) {
                *sum += offset;
                squares_mm2 += offset * offset;
            }
        }
        let mean = sum.map(|sum| share * sum);
        let measured_mm2 = squares_mm2 - (mean[0] * sum[0] + mean[1] * sum[1] + mean[2] * sum[2]);
        let bound = 0.5 * (self.sum_of_squares_mm2 + measured_mm2);
        let Dominant { quaternion, eigenvalue, distinct } = dominant_quaternion(&s, bound);
        // The pose that puts the centroid as drawn at the mean of the measured points.
        let rows = from_quaternion(quaternion);
        let centroid = self.centroid.vector();
        let origin = [0, 1, 2].map(|i| {
            let [x, y, z] = rows[i];
            first[i] + mean[i] - (x * centroid.x + y * centroid.y + z * centroid.z)
        });
        let residual_rms_mm = (2.0 * share * (bound - eigenvalue)).max(zero).sqrt().to_array();
        let rotations = rows.map(apart);
        let (origins, distinct) = (apart(origin), distinct.to_bitmask());
        std::array::from_fn(|lane| {
            if distinct & (1 << lane) == 0 {
                return Err(FitError::RankLoss);
            }
            let rotation = Rotation::from_rows(rotations.map(|row| row[lane]));
            let origin = Point::from_vector(origins[lane].into());
            Ok(RigidFit { pose: Pose::new(rotation, origin), residual_rms_mm: residual_rms_mm[lane] })
        })
    }
}

/// Largest eigenvalues of several of Horn's matrices with their unit eigenvectors, scalar first.
struct Dominant {
    quaternion: [Lanes; 4],
    eigenvalue: Lanes,
    /// A mask: the eigenvalue stands alone, so that the quaternion is determined.
    distinct: Lanes,
}

/// Of Horn's symmetric matrix, given the correlation of drawn and measured offsets and an upper bound of the
/// largest eigenvalue.
fn dominant_quaternion(s: &[[Lanes; 3]; 3], bound: Lanes) -> Dominant {
    let [[xx, xy, xz], [yx, yy, yz], [zx, zy, zz]] = *s;
    let horn = Symmetric {
        a00: xx + yy + zz,
        a01: yz - zy,
        a02: zx - xz,
        a03: xy - yx,
        a11: xx - yy - zz,
        a12: xy + yx,
        a13: zx + xz,
        a22: yy - xx - zz,
        a23: yz + zy,
        a33: zz - xx - yy,
    };
    let squares = s.iter().flatten().fold(Lanes::splat(0.0), |sum, &entry| sum + entry * entry);
    let determinant = xx * (yy * zz - yz * zy) - xy * (yx * zz - yz * zx) + xz * (yx * zy - yy * zx);
    let root = largest_root(-2.0 * squares, -8.0 * determinant, horn.minors().determinant(), bound);
    let shifted =
        Symmetric { a00: horn.a00 - root, a11: horn.a11 - root, a22: horn.a22 - root, a33: horn.a33 - root, ..horn };
    // The adjugate of a matrix of rank 3 is a multiple of the outer product of its null vector with itself: any
    // column will do, best the one with the largest diagonal entry.
    let [first, rest @ ..] = shifted.adjugate();
    let (mut column, mut largest) = (first, first[0].abs());
    for (i, other) in (1..).zip(rest) {
        let size = other[i].abs();
        let larger = size.simd_gt(largest);
        largest = larger.bitselect(size, largest);
        for (entry, other) in column.iter_mut().zip(other) {
            *entry = larger.bitselect(other, *entry);
        }
    }
    let norm = column.iter().fold(Lanes::splat(0.0), |sum, &c| sum + c * c).sqrt();
    // A second root this near the first leaves the rotation undetermined. NaN is refused too.
    let distinct =
        largest.simd_gt(1e-10 * bound * bound * bound) & norm.is_finite() & root.simd_gt(Lanes::splat(0.0));
    Dominant { quaternion: column.map(|c| c / norm), eigenvalue: root, distinct }
}

/// Largest roots of `x^4 + c2 x^2 + c1 x + c0`, all of whose roots are real, by Newton's method from above.
fn largest_root(c2: Lanes, c1: Lanes, c0: Lanes, bound: Lanes) -> Lanes {
    let mut x = bound;
    let mut falling = x.simd_eq(x);
    for _ in 0..60 {
        let square = x * x;
        let value = (square + c2) * square + c1 * x + c0;
        let slope = (4.0 * square + 2.0 * c2) * x + c1;
        let step = value / slope;
        // A root that has settled stays as it is, whatever its neighbours need.
        x = falling.bitselect(x - step, x);
        // Newton falls monotonically from an upper bound, in the end quadratically: after a step this small, or one
        // the other way, only rounding is left.
        falling &= step.simd_gt(1e-10 * x);
        if !falling.any() {
            break;
        }
    }
    x
}

/// Four symmetric 4x4 matrices, side by side.
#[derive(Clone, Copy)]
struct Symmetric {
    a00: Lanes,
    a01: Lanes,
    a02: Lanes,
    a03: Lanes,
    a11: Lanes,
    a12: Lanes,
    a13: Lanes,
    a22: Lanes,
    a23: Lanes,
    a33: Lanes,
}

/// The 2x2 minors of the upper and of the lower two rows of a 4x4 matrix, columns 01 02 03 12 13 23.
struct Minors {
    upper: [Lanes; 6],
    lower: [Lanes; 6],
}

impl Minors {
    #[inline]
    fn determinant(&self) -> Lanes {
        let (u, l) = (&self.upper, &self.lower);
        u[0] * l[5] - u[1] * l[4] + u[2] * l[3] + u[3] * l[2] - u[4] * l[1] + u[5] * l[0]
    }
}

impl Symmetric {
    #[inline]
    fn rows(&self) -> [[Lanes; 4]; 4] {
        [
            [self.a00, self.a01, self.a02, self.a03],
            [self.a01, self.a11, self.a12, self.a13],
            [self.a02, self.a12, self.a22, self.a23],
            [self.a03, self.a13, self.a23, self.a33],
        ]
    }

    #[inline]
    fn minors(&self) -> Minors {
        let minors = |a: [Lanes; 4], b: [Lanes; 4]| {
            [
                a[0] * b[1] - a[1] * b[0],
                a[0] * b[2] - a[2] * b[0],
                a[0] * b[3] - a[3] * b[0],
                a[1] * b[2] - a[2] * b[1],
                a[1] * b[3] - a[3] * b[1],
                a[2] * b[3] - a[3] * b[2],
            ]
        };
        let [p, q, r, s] = self.rows();
        Minors { upper: minors(p, q), lower: minors(r, s) }
    }

    #[inline]
    fn adjugate(&self) -> [[Lanes; 4]; 4] {
        let Minors { upper: u, lower: l } = self.minors();
        let [p, q, r, s] = self.rows();
        let a00 = q[1] * l[5] - q[2] * l[4] + q[3] * l[3];
        let a01 = p[2] * l[4] - p[1] * l[5] - p[3] * l[3];
        let a02 = s[1] * u[5] - s[2] * u[4] + s[3] * u[3];
        let a03 = r[2] * u[4] - r[1] * u[5] - r[3] * u[3];
        let a11 = p[0] * l[5] - p[2] * l[2] + p[3] * l[1];
        let a12 = s[2] * u[2] - s[0] * u[5] - s[3] * u[1];
        let a13 = r[0] * u[5] - r[2] * u[2] + r[3] * u[1];
        let a22 = s[0] * u[4] - s[1] * u[2] + s[3] * u[0];
        let a23 = r[1] * u[2] - r[0] * u[4] - r[3] * u[0];
        let a33 = r[0] * u[3] - r[1] * u[1] + r[2] * u[0];
        [[a00, a01, a02, a03], [a01, a11, a12, a13], [a02, a12, a22, a23], [a03, a13, a23, a33]]
    }
}
