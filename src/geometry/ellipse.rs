//! Pose of an ellipse of known size through traced points.
//!
//! Orthogonal distance in space (in the sense of Ahn SJ, Rauh W, Warnecke HJ. Pattern Recognit
//! 2001;34:2283-2303), six unknowns. At the foot point of each observed point the distance has an in-plane and an
//! out-of-plane part. In the ellipse's own axes the out-of-plane part depends, to first order, on the shift
//! along the normal and the two tilts, the in-plane part on the other three unknowns: each Gauss-Newton step is
//! two systems of three equations. Foot points are carried along, one Newton step for each step of the pose.

use super::axes::{Displacement, Point, Pose, Rotation};
use super::fit::FitError;
use super::principal::PrincipalAxes;
use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

/// Semi-axes of an ellipse, mm: `major_mm` along Y, `minor_mm` along Z, the normal along X.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SemiAxes {
    /// Along Y.
    pub major_mm: f64,
    /// Along Z, less than `major_mm`.
    pub minor_mm: f64,
}

/// A fitted ellipse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EllipseFit<E, A> {
    /// Origin the centre, X the normal, Y the major axis. Half turns about its own axes are as good a fit.
    pub pose: Pose<E, A>,
    /// Root mean square distance of the points to the ellipse, mm.
    pub residual_rms_mm: f64,
}

/// A point of the ellipse by its eccentric angle, held as cosine and sine.
#[derive(Clone, Copy, Debug)]
pub struct Foot {
    cosine: f64,
    sine: f64,
}

/// The ellipse of given semi-axes with the least sum of squared distances to the points. `feet` is working
/// memory, so that a caller in a loop allocates nothing.
///
/// # Errors
/// [`FitError::TooFewPoints`] with fewer than five points, [`FitError::RankLoss`] for points in a line or in one
/// place, [`FitError::NoConvergence`] if the iteration does not settle.
pub fn fit_ellipse<E, A>(
    points: &[Point<A>],
    size: SemiAxes,
    feet: &mut Vec<Foot>,
) -> Result<EllipseFit<E, A>, FitError> {
    if points.len() < 5 {
        return Err(FitError::TooFewPoints);
    }
    let mut pose = start(points)?;
    feet.clear();
    feet.extend(points.iter().map(|&point| Foot::nearest_direction(pose.inverse() * point, size)));
    for _ in 0..200 {
        let Step { shift, turn, squares_mm2 } = gauss_newton_step(points, size, &pose, feet)?;
        let turned = Rotation::from_rotation_vector(turn);
        pose = Pose::new(pose.rotation * turned, pose * (Point::ORIGIN + shift));
        if shift.length() <= SETTLED * size.major_mm && turn.length() <= SETTLED {
            let residual_rms_mm = (squares_mm2 / points.len() as f64).sqrt();
            return Ok(EllipseFit { pose, residual_rms_mm });
        }
    }
    Err(FitError::NoConvergence)
}

/// A step this small, relative to the size, is the last: what remains is smaller by the ratio of the residuals to
/// the radius of curvature, and quadratically small for points that fit exactly.
const SETTLED: f64 = 1e-7;

/// A small motion of the ellipse in its own axes and the sum of squared distances before it.
struct Step<E> {
    shift: Displacement<E>,
    turn: Displacement<E>,
    squares_mm2: f64,
}

fn gauss_newton_step<E, A>(
    points: &[Point<A>],
    size: SemiAxes,
    pose: &Pose<E, A>,
    feet: &mut [Foot],
) -> Result<Step<E>, FitError> {
    let to_ellipse = pose.inverse();
    let (mut out_normal, mut out_right) = (Matrix3::zeros(), Vector3::zeros());
    let (mut in_normal, mut in_right) = (Matrix3::zeros(), Vector3::zeros());
    let mut squares_mm2 = 0.0;
    for (&point, foot) in points.iter().zip(feet) {
        let q = to_ellipse * point;
        foot.improve(&q, size);
        let (y, z) = foot.position(size);
        let (normal_y, normal_z, weight) = foot.outward(size);
        // Distance along the normal of the plane; the plane's shift along X, turns about Y and Z.
        let out_row = Vector3::new(1.0, z, -y);
        out_normal += out_row * out_row.transpose();
        out_right += out_row * q.x();
        // Distance along the curve's own normal; shifts along Y and Z, turn about X.
        let (dy, dz) = (q.y() - y, q.z() - z);
        let in_row = Vector3::new(normal_y, normal_z, y * normal_z - z * normal_y);
        let weighted = weight * in_row;
        in_normal += weighted * in_row.transpose();
        in_right += weighted * (dy * normal_y + dz * normal_z);
        squares_mm2 += q.x() * q.x() + dy * dy + dz * dz;
    }
    let out = out_normal.cholesky().ok_or(FitError::RankLoss)?.solve(&out_right);
    let within = in_normal.cholesky().ok_or(FitError::RankLoss)?.solve(&in_right);
    // A turn of more than half a radian is outside the linear range: shorten the step.
    let damping = (0.5 / out.yz().norm().max(within.z.abs()).max(0.5)).min(1.0);
    if !(damping > 0.0) {
        return Err(FitError::NoConvergence);
    }
    Ok(Step {
        shift: damping * Displacement::new(out.x, within.x, within.y),
        turn: damping * Displacement::new(within.z, out.y, out.z),
        squares_mm2,
    })
}

impl Foot {
    /// The point of the ellipse whose eccentric angle is that of `q` scaled to the unit circle.
    fn nearest_direction<E>(q: Point<E>, size: SemiAxes) -> Self {
        let (c, s) = (q.y() / size.major_mm, q.z() / size.minor_mm);
        let length = (c * c + s * s).sqrt();
        if length > 0.0 { Self { cosine: c / length, sine: s / length } } else { Self { cosine: 1.0, sine: 0.0 } }
    }

    fn position(self, size: SemiAxes) -> (f64, f64) {
        (size.major_mm * self.cosine, size.minor_mm * self.sine)
    }

    /// Outward normal of the curve, in its plane, and the inverse of its squared length: without a square root.
    fn outward(self, size: SemiAxes) -> (f64, f64, f64) {
        let (y, z) = (size.minor_mm * self.cosine, size.major_mm * self.sine);
        (y, z, 1.0 / (y * y + z * z))
    }

    /// One Newton step of the eccentric angle towards the foot of the perpendicular from `q`.
    fn improve<E>(&mut self, q: &Point<E>, size: SemiAxes) {
        let (y, z) = self.position(size);
        let (dy, dz) = (q.y() - y, q.z() - z);
        let tangent = (-size.major_mm * self.sine, size.minor_mm * self.cosine);
        let along = dy * tangent.0 + dz * tangent.1;
        let speed2 = tangent.0 * tangent.0 + tangent.1 * tangent.1;
        // Curvature term kept only while it leaves a minimum.
        let slope = (speed2 + dy * y + dz * z).max(0.1 * speed2);
        // The turn by the step as the tangent of its half: a rotation to rounding, again without a square root.
        let half = (0.5 * along / slope).clamp(-0.25, 0.25);
        let share = 2.0 / (1.0 + half * half);
        let (cosine, sine) = (share - 1.0, share * half);
        *self =
            Self { cosine: cosine * self.cosine - sine * self.sine, sine: sine * self.cosine + cosine * self.sine };
    }
}

/// A first pose from the points alone: plane by principal axes, centre and major axis from an algebraic conic;
/// from the principal axes themselves where the conic is no ellipse.
fn start<E, A>(points: &[Point<A>]) -> Result<Pose<E, A>, FitError> {
    let principal = PrincipalAxes::of(points);
    let [normal, across, along] = principal.axes;
    if !(principal.spread_mm[1] > 0.01 * principal.spread_mm[2]) {
        return Err(FitError::RankLoss);
    }
    let unit = principal.spread_mm[2];
    let coordinates = points.iter().map(|&point| {
        let offset = point - principal.centroid;
        (offset.along(along) / unit, offset.along(across) / unit)
    });
    let (centre, major) = conic(coordinates).unwrap_or(((0.0, 0.0), (1.0, 0.0)));
    let origin = principal.centroid + (unit * centre.0) * along + (unit * centre.1) * across;
    let major = major.0 * along.as_displacement() + major.1 * across.as_displacement();
    let (x, y) = (normal, major.direction().ok_or(FitError::RankLoss)?);
    let z = x.as_displacement().cross(y.as_displacement()).direction().ok_or(FitError::RankLoss)?;
    Ok(Pose::new(Rotation::from_axes(x, y, z), origin))
}

/// Centre and unit major axis of the conic `a u^2 + b u v + c v^2 + d u + e v = 1` closest, algebraically, to
/// points about the origin; `None` if it is no ellipse.
fn conic(points: impl Iterator<Item = (f64, f64)>) -> Option<((f64, f64), (f64, f64))> {
    let mut normal = SMatrix::<f64, 5, 5>::zeros();
    let mut right = SVector::<f64, 5>::zeros();
    for (u, v) in points {
        let row = SVector::<f64, 5>::from([u * u, u * v, v * v, u, v]);
        normal += row * row.transpose();
        right += row;
    }
    let [a, b, c, d, e] = normal.cholesky()?.solve(&right).into();
    let discriminant = 4.0 * a * c - b * b;
    if !(a > 0.0 && discriminant > 1e-9) {
        return None;
    }
    let centre = ((b * e - 2.0 * c * d) / discriminant, (b * d - 2.0 * a * e) / discriminant);
    // The major axis is the eigenvector of [[a, b/2], [b/2, c]] with the smaller eigenvalue.
    let half_difference = 0.5 * (a - c);
    let root = (half_difference * half_difference + 0.25 * b * b).sqrt();
    let major =
        if half_difference >= 0.0 { (-0.5 * b, half_difference + root) } else { (root - half_difference, -0.5 * b) };
    let length = (major.0 * major.0 + major.1 * major.1).sqrt();
    if length > 0.0 { Some((centre, (major.0 / length, major.1 / length))) } else { None }
}
