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
        let centre = super::principal::centroid(measured);
        let mut correlation = Matrix3::zeros();
        let mut measured_mm2 = 0.0;
        for (drawn, &point) in self.centred.iter().zip(measured) {
            let offset = *(point - centre).vector();
            correlation += drawn * offset.transpose();
            measured_mm2 += offset.norm_squared();
        }
        let bound = 0.5 * (self.sum_of_squares_mm2 + measured_mm2);
        let (quaternion, eigenvalue) = dominant_quaternion(&correlation, bound)?;
        let rotation = Rotation::from_quaternion(quaternion);
        let mean_square_mm2 = 2.0 * (bound - eigenvalue) / measured.len() as f64;
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
    let root = largest_root(-2.0 * s.norm_squared(), -8.0 * s.determinant(), determinant4(&horn), bound)?;
    let mut shifted = horn;
    for (i, row) in shifted.iter_mut().enumerate() {
        row[i] -= root;
    }
    // The adjugate of a matrix of rank 3 is a multiple of the outer product of its null vector with itself.
    let diagonal = [0, 1, 2, 3].map(|i| cofactor(&shifted, i, i));
    let (largest, pivot) = diagonal
        .iter()
        .enumerate()
        .fold((0, 0.0_f64), |(at, most), (i, &d)| if d.abs() > most { (i, d.abs()) } else { (at, most) });
    let mut column = [0.0; 4];
    for (i, entry) in column.iter_mut().enumerate() {
        *entry = if i == largest { diagonal[i] } else { cofactor(&shifted, largest, i) };
    }
    let norm = column.iter().map(|c| c * c).sum::<f64>().sqrt();
    // A second root this near the first leaves the rotation undetermined.
    if !(pivot > 1e-10 * bound * bound * bound && norm.is_finite()) {
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
        // Newton falls monotonically from an upper bound; a step the other way is rounding.
        if !(step > 1e-16 * x) {
            break;
        }
        x -= step;
    }
    if x.is_finite() && x > 0.0 { Ok(x) } else { Err(FitError::RankLoss) }
}

/// Signed minor of a 4x4 matrix without row `i` and column `j`.
fn cofactor(m: &[[f64; 4]; 4], i: usize, j: usize) -> f64 {
    let others = |skip: usize| match skip {
        0 => [1, 2, 3],
        1 => [0, 2, 3],
        2 => [0, 1, 3],
        _ => [0, 1, 2],
    };
    let ([a, b, c], [p, q, r]) = (others(i), others(j));
    let minor = m[a][p] * (m[b][q] * m[c][r] - m[b][r] * m[c][q]) - m[a][q] * (m[b][p] * m[c][r] - m[b][r] * m[c][p])
        + m[a][r] * (m[b][p] * m[c][q] - m[b][q] * m[c][p]);
    if (i + j).is_multiple_of(2) { minor } else { -minor }
}

fn determinant4(m: &[[f64; 4]; 4]) -> f64 {
    (0..4).map(|j| m[0][j] * cofactor(m, 0, j)).sum()
}
