//! Rigid registration of known points to their measured positions, in closed form.
//!
//! Least squares over rotations and translations. The rotation is the unit quaternion that maximises Horn's
//! quadratic form (Horn BKP. J Opt Soc Am A 1987;4:629-642). Its largest eigenvalue is the largest root of a
//! quartic, found by Newton's method from an upper bound (Theobald DL. Acta Crystallogr A 2005;61:478-480); its
//! eigenvector is a column of the adjugate.

use super::axes::{Displacement, Point, Pose, Rotation};
use super::fit::FitError;
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
        // One pass over offsets from the first point. The drawn points are centred, so the correlation does not
        // depend on what the measured ones are referred to.
        let first = measured[0];
        let share = 1.0 / measured.len() as f64;
        let (mut correlation, mut sum, mut squares_mm2) = (Matrix3::zeros(), Vector3::zeros(), 0.0);
        for (drawn, &point) in self.centred.iter().zip(measured) {
            let offset = *(point - first).vector();
            correlation += drawn * offset.transpose();
            sum += offset;
            squares_mm2 += offset.norm_squared();
        }
        let centre = first + Displacement::from_vector(share * sum);
        let measured_mm2 = squares_mm2 - share * sum.norm_squared();
        let bound = 0.5 * (self.sum_of_squares_mm2 + measured_mm2);
        let (quaternion, eigenvalue) = dominant_quaternion(&correlation, bound)?;
        let rotation = Rotation::from_quaternion(quaternion);
        let mean_square_mm2 = 2.0 * share * (bound - eigenvalue);
        Ok(RigidFit {
            pose: Pose::placing(rotation, self.centroid, centre),
            residual_rms_mm: mean_square_mm2.max(0.0).sqrt(),
        })
    }
}

/// Unit eigenvector (scalar first) and eigenvalue of the largest root of Horn's symmetric matrix, given the
/// correlation of drawn and measured offsets and an upper bound of the root.
fn dominant_quaternion(s: &Matrix3<f64>, bound: f64) -> Result<([f64; 4], f64), FitError> {
    let horn = [
        [s.trace(), s.m23 - s.m32, s.m31 - s.m13, s.m12 - s.m21],
        [s.m23 - s.m32, s.m11 - s.m22 - s.m33, s.m12 + s.m21, s.m31 + s.m13],
        [s.m31 - s.m13, s.m12 + s.m21, s.m22 - s.m11 - s.m33, s.m23 + s.m32],
        [s.m12 - s.m21, s.m31 + s.m13, s.m23 + s.m32, s.m33 - s.m11 - s.m22],
    ];
    let determinant = Minors::of(&horn).determinant();
    let root = largest_root(-2.0 * s.norm_squared(), -8.0 * s.determinant(), determinant, bound)?;
    let mut shifted = horn;
    for (i, row) in shifted.iter_mut().enumerate() {
        row[i] -= root;
    }
    // The adjugate of a matrix of rank 3 is a multiple of the outer product of its null vector with itself.
    let adjugate = Minors::of(&shifted).adjugate(&shifted);
    let larger = |best: usize, i: usize| if adjugate[i][i].abs() > adjugate[best][best].abs() { i } else { best };
    let largest = (1..4).fold(0, larger);
    let column = adjugate[largest];
    let norm = column.iter().map(|c| c * c).sum::<f64>().sqrt();
    // A second root this near the first leaves the rotation undetermined.
    if !(column[largest].abs() > 1e-10 * bound * bound * bound && norm.is_finite()) {
        return Err(FitError::RankLoss);
    }
    Ok((column.map(|c| c / norm), root))
}

/// Largest root of `x^4 + c2 x^2 + c1 x + c0`, all of whose roots are real, by Newton's method from above.
fn largest_root(c2: f64, c1: f64, c0: f64, bound: f64) -> Result<f64, FitError> {
    let mut x = bound;
    for _ in 0..60 {
        let square = x * x;
        let value = (square + c2) * square + c1 * x + c0;
        let slope = (4.0 * square + 2.0 * c2) * x + c1;
        let step = value / slope;
        x -= step;
        // Newton falls monotonically from an upper bound, in the end quadratically: after a step this small, or one
        // the other way, only rounding is left.
        if !(step > 1e-10 * x) {
            break;
        }
    }
    if x.is_finite() && x > 0.0 { Ok(x) } else { Err(FitError::RankLoss) }
}

/// The 2x2 minors of the upper and of the lower two rows of a symmetric 4x4 matrix, columns 01 02 03 12 13 23.
struct Minors {
    upper: [f64; 6],
    lower: [f64; 6],
}

impl Minors {
    #[inline]
    fn of([p, q, r, s]: &[[f64; 4]; 4]) -> Self {
        let minors = |a: &[f64; 4], b: &[f64; 4]| {
            [
                a[0] * b[1] - a[1] * b[0],
                a[0] * b[2] - a[2] * b[0],
                a[0] * b[3] - a[3] * b[0],
                a[1] * b[2] - a[2] * b[1],
                a[1] * b[3] - a[3] * b[1],
                a[2] * b[3] - a[3] * b[2],
            ]
        };
        Self { upper: minors(p, q), lower: minors(r, s) }
    }

    #[inline]
    fn determinant(&self) -> f64 {
        let (u, l) = (&self.upper, &self.lower);
        u[0] * l[5] - u[1] * l[4] + u[2] * l[3] + u[3] * l[2] - u[4] * l[1] + u[5] * l[0]
    }

    #[inline]
    fn adjugate(&self, [p, q, r, s]: &[[f64; 4]; 4]) -> [[f64; 4]; 4] {
        let (u, l) = (&self.upper, &self.lower);
        let a00 = q[1] * l[5] - q[2] * l[4] + q[3] * l[3];
        let a01 = -p[1] * l[5] + p[2] * l[4] - p[3] * l[3];
        let a02 = s[1] * u[5] - s[2] * u[4] + s[3] * u[3];
        let a03 = -r[1] * u[5] + r[2] * u[4] - r[3] * u[3];
        let a11 = p[0] * l[5] - p[2] * l[2] + p[3] * l[1];
        let a12 = -s[0] * u[5] + s[2] * u[2] - s[3] * u[1];
        let a13 = r[0] * u[5] - r[2] * u[2] + r[3] * u[1];
        let a22 = s[0] * u[4] - s[1] * u[2] + s[3] * u[0];
        let a23 = -r[0] * u[4] + r[1] * u[2] - r[3] * u[0];
        let a33 = r[0] * u[3] - r[1] * u[1] + r[2] * u[0];
        [[a00, a01, a02, a03], [a01, a11, a12, a13], [a02, a12, a22, a23], [a03, a13, a23, a33]]
    }
}
