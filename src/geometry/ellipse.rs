//! Pose of an ellipse of known size through traced points.
//!
//! Orthogonal distance in space (in the sense of Ahn SJ, Rauh W, Warnecke HJ. Pattern Recognit
//! 2001;34:2283-2303), six unknowns. At the foot point of each observed point the distance has an in-plane and an
//! out-of-plane part. In the ellipse's own axes the out-of-plane part depends, to first order, on the shift
//! along the normal and the two tilts, the in-plane part on the other three unknowns: each Gauss-Newton step is
//! two systems of three equations. Foot points are carried along, one Newton step for each step of the pose, several
//! points side by side.

use super::axes::{Displacement, Point, Pose, Rotation};
use super::fit::FitError;
use super::lanes::{LANES, Lanes, PointLanes};
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

/// Points of a trace, some side by side, with the points of the ellipse nearest to them: working memory, so that a
/// caller in a loop allocates nothing.
#[derive(Debug)]
pub struct TracedPoints<A>(Vec<Traced<A>>);

impl<A> Default for TracedPoints<A> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

#[derive(Debug)]
struct Traced<A> {
    points: PointLanes<A>,
    /// 1; 0 where there were too few points left and the last one only stands in.
    weight: Lanes,
    feet: Feet,
}

/// Points of the ellipse by their eccentric angles, held as cosines and sines.
#[derive(Clone, Copy, Debug)]
struct Feet {
    cosine: Lanes,
    sine: Lanes,
}

/// The ellipse of given semi-axes with the least sum of squared distances to the points.
///
/// # Errors
/// [`FitError::TooFewPoints`] with fewer than five points, [`FitError::RankLoss`] for points in a line or in one
/// place, [`FitError::NoConvergence`] if the iteration does not settle.
pub fn fit_ellipse<E, A>(
    points: &[Point<A>],
    size: SemiAxes,
    memory: &mut TracedPoints<A>,
) -> Result<EllipseFit<E, A>, FitError> {
    if points.len() < 5 {
        return Err(FitError::TooFewPoints);
    }
    let traced = &mut memory.0;
    traced.clear();
    traced.extend(points.chunks(LANES).map(|some| Traced {
        points: PointLanes::of(some),
        weight: Lanes::new(std::array::from_fn(|lane| if lane < some.len() { 1.0 } else { 0.0 })),
        feet: Feet { cosine: Lanes::splat(1.0), sine: Lanes::splat(0.0) },
    }));
    let mut pose = start(points, traced)?;
    let to_ellipse = pose.inverse();
    for some in traced.iter_mut() {
        some.feet = Feet::in_direction_of(to_ellipse * some.points, size);
    }
    let mut before = f64::NAN;
    for _ in 0..200 {
        let Step { shift, turn, squares_mm2 } = gauss_newton_step(traced, size, &pose)?;
        let turned = Rotation::from_rotation_vector(turn);
        pose = Pose::new(pose.rotation * turned, pose * (Point::ORIGIN + shift));
        let moved = (shift.length() / size.major_mm).max(turn.length());
        if moved * moved <= SETTLED * before {
            let residual_rms_mm = (squares_mm2 / points.len() as f64).sqrt();
            return Ok(EllipseFit { pose, residual_rms_mm });
        }
        before = moved;
    }
    Err(FitError::NoConvergence)
}

/// A step after which the next would be this small, relative to the size, is the last. Each is smaller than the one before by
/// the ratio of the residuals to the radius of curvature, and quadratically small for points that fit exactly.
const SETTLED: f64 = 1e-8;

/// A small motion of the ellipse in its own axes and the sum of squared distances before it.
struct Step<E> {
    shift: Displacement<E>,
    turn: Displacement<E>,
    squares_mm2: f64,
}

fn gauss_newton_step<E, A>(traced: &mut [Traced<A>], size: SemiAxes, pose: &Pose<E, A>) -> Result<Step<E>, FitError> {
    let to_ellipse = pose.inverse();
    let zero = Lanes::splat(0.0);
    let (mut out_normal, mut out_right) = ([zero; 6], [zero; 3]);
    let (mut in_normal, mut in_right) = ([zero; 6], [zero; 3]);
    let mut squares_mm2 = zero;
    for Traced { points, weight, feet } in traced {
        let q = to_ellipse * *points;
        feet.improve(&q, size);
        let [x, along_y, along_z] = q.components;
        let (y, z) = feet.position(size);
        let (normal_y, normal_z, inverse) = feet.outward(size);
        // Distance along the normal of the plane; the plane's shift along X, turns about Y and Z.
        add(&mut out_normal, &mut out_right, *weight, [Lanes::splat(1.0), z, -y], x);
        // Distance along the curve's own normal; shifts along Y and Z, turn about X.
        let (dy, dz) = (along_y - y, along_z - z);
        let row = [normal_y, normal_z, y * normal_z - z * normal_y];
        add(&mut in_normal, &mut in_right, *weight * inverse, row, dy * normal_y + dz * normal_z);
        squares_mm2 += *weight * (x * x + dy * dy + dz * dz);
    }
    let out = solved(out_normal, out_right)?;
    let within = solved(in_normal, in_right)?;
    // A turn of more than half a radian is outside the linear range: shorten the step.
    let damping = (0.5 / out.yz().norm().max(within.z.abs()).max(0.5)).min(1.0);
    if !(damping > 0.0) {
        return Err(FitError::NoConvergence);
    }
    Ok(Step {
        shift: damping * Displacement::new(out.x, within.x, within.y),
        turn: damping * Displacement::new(within.z, out.y, out.z),
        squares_mm2: sum(squares_mm2),
    })
}

/// Adds rows to normal equations in three unknowns: the upper triangle 00 01 02 11 12 22 and the right side.
#[inline]
fn add(normal: &mut [Lanes; 6], right: &mut [Lanes; 3], weight: Lanes, row: [Lanes; 3], observed: Lanes) {
    let [a, b, c] = row;
    let [u, v, w] = row.map(|entry| weight * entry);
    for (sum, term) in normal.iter_mut().zip([u * a, u * b, u * c, v * b, v * c, w * c]) {
        *sum += term;
    }
    for (sum, term) in right.iter_mut().zip([u, v, w]) {
        *sum += term * observed;
    }
}

/// The solution of normal equations in three unknowns.
fn solved(normal: [Lanes; 6], right: [Lanes; 3]) -> Result<Vector3<f64>, FitError> {
    let [a, b, c, d, e, f] = normal.map(sum);
    let cholesky = Matrix3::new(a, b, c, b, d, e, c, e, f).cholesky().ok_or(FitError::RankLoss)?;
    Ok(cholesky.solve(&Vector3::from(right.map(sum))))
}

/// The sum of numbers side by side, in their order.
fn sum(lanes: Lanes) -> f64 {
    lanes.to_array().iter().sum()
}

impl Feet {
    /// The points of the ellipse whose eccentric angles are those of `q` scaled to the unit circle.
    fn in_direction_of<E>(q: PointLanes<E>, size: SemiAxes) -> Self {
        let [_, y, z] = q.components;
        let (c, s) = (y / size.major_mm, z / size.minor_mm);
        let length = (c * c + s * s).sqrt();
        let off_centre = length.simd_gt(Lanes::splat(0.0));
        Self {
            cosine: off_centre.bitselect(c / length, Lanes::splat(1.0)),
            sine: off_centre.bitselect(s / length, Lanes::splat(0.0)),
        }
    }

    #[inline]
    fn position(self, size: SemiAxes) -> (Lanes, Lanes) {
        (size.major_mm * self.cosine, size.minor_mm * self.sine)
    }

    /// Outward normal of the curve, in its plane, and the inverse of its squared length: without a square root.
    #[inline]
    fn outward(self, size: SemiAxes) -> (Lanes, Lanes, Lanes) {
        let (y, z) = (size.minor_mm * self.cosine, size.major_mm * self.sine);
        (y, z, 1.0 / (y * y + z * z))
    }

    /// One Newton step of the eccentric angles towards the feet of the perpendiculars from `q`.
    #[inline]
    fn improve<E>(&mut self, q: &PointLanes<E>, size: SemiAxes) {
        let [_, along_y, along_z] = q.components;
        let (y, z) = self.position(size);
        let (dy, dz) = (along_y - y, along_z - z);
        let tangent = (-size.major_mm * self.sine, size.minor_mm * self.cosine);
        let along = dy * tangent.0 + dz * tangent.1;
        let speed2 = tangent.0 * tangent.0 + tangent.1 * tangent.1;
        // Curvature term kept only while it leaves a minimum.
        let slope = (speed2 + dy * y + dz * z).max(0.1 * speed2);
        // The turn by the step as the tangent of its half: a rotation to rounding, again without a square root.
        let quarter = Lanes::splat(0.25);
        let half = (0.5 * along / slope).max(-quarter).min(quarter);
        let share = 2.0 / (1.0 + half * half);
        let (cosine, sine) = (share - 1.0, share * half);
        *self =
            Self { cosine: cosine * self.cosine - sine * self.sine, sine: sine * self.cosine + cosine * self.sine };
    }
}

/// A first pose from the points alone: plane by principal axes, centre and major axis from an algebraic conic;
/// from the principal axes themselves where the conic is no ellipse.
fn start<E, A>(points: &[Point<A>], traced: &[Traced<A>]) -> Result<Pose<E, A>, FitError> {
    let principal = PrincipalAxes::of(points);
    let [normal, across, along] = principal.axes;
    if !(principal.spread_mm[1] > 0.01 * principal.spread_mm[2]) {
        return Err(FitError::RankLoss);
    }
    let unit = principal.spread_mm[2];
    let z = along.as_displacement().cross(across.as_displacement()).direction().ok_or(FitError::RankLoss)?;
    let own = Pose::<Principal, A>::new(Rotation::from_axes(along, across, z), principal.centroid).inverse();
    let (centre, major) = conic(traced, own, unit).unwrap_or(((0.0, 0.0), (1.0, 0.0)));
    let origin = principal.centroid + (unit * centre.0) * along + (unit * centre.1) * across;
    let major = major.0 * along.as_displacement() + major.1 * across.as_displacement();
    let (x, y) = (normal, major.direction().ok_or(FitError::RankLoss)?);
    let z = x.as_displacement().cross(y.as_displacement()).direction().ok_or(FitError::RankLoss)?;
    Ok(Pose::new(Rotation::from_axes(x, y, z), origin))
}

/// Principal axes of a trace, the one with the largest spread first, about its centroid.
struct Principal;

/// Centre and unit major axis of the conic `a u^2 + b u v + c v^2 + d u + e v = 1` closest, algebraically, to
/// points whose first two coordinates in `own` axes are `u` and `v` units; `None` if it is no ellipse.
fn conic<A>(traced: &[Traced<A>], own: Pose<A, Principal>, unit: f64) -> Option<((f64, f64), (f64, f64))> {
    let mut normal = [[Lanes::splat(0.0); 5]; 5];
    let mut right = [Lanes::splat(0.0); 5];
    for Traced { points, weight, .. } in traced {
        let [u, v, _] = (own * *points).components.map(|coordinate| coordinate / unit);
        let row = [u * u, u * v, v * v, u, v];
        let weighted = row.map(|entry| *weight * entry);
        for i in 0..5 {
            for j in 0..=i {
                normal[i][j] += weighted[i] * row[j];
            }
            right[i] += weighted[i];
        }
    }
    // The factorisation reads the lower triangle alone.
    let normal = SMatrix::<f64, 5, 5>::from_fn(|i, j| sum(normal[i][j]));
    let [a, b, c, d, e] = normal.cholesky()?.solve(&SVector::from(right.map(sum))).into();
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
