//! Circle in space through traced points.

use super::axes::{Direction, Displacement, Point};
use super::fit::FitError;
use super::principal::PrincipalAxes;
use nalgebra::{Matrix3, Vector3};

/// A circle in space.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circle<A> {
    /// Centre, mm.
    pub centre: Point<A>,
    /// Unit normal of its plane; the sign carries no meaning.
    pub axis: Direction<A>,
    /// Radius, mm.
    pub radius_mm: f64,
    /// Root mean square distance of the points to the circle, mm.
    pub residual_rms_mm: f64,
}

/// Plane by principal axes, then the circle in it with the least sum of squared distances (algebraic start,
/// then Gauss-Newton).
///
/// # Errors
/// [`FitError::TooFewPoints`] with fewer than three points, [`FitError::RankLoss`] for points in a line or in one
/// place, [`FitError::NoConvergence`] if the iteration does not settle.
pub fn fit_circle<A>(points: &[Point<A>]) -> Result<Circle<A>, FitError> {
    if points.len() < 3 {
        return Err(FitError::TooFewPoints);
    }
    let principal = PrincipalAxes::of(points);
    let [axis, across, along] = principal.axes;
    if !(principal.spread_mm[1] > 0.01 * principal.spread_mm[2]) {
        return Err(FitError::RankLoss);
    }
    let in_plane = |&point: &Point<A>| {
        let offset = point - principal.centroid;
        (offset.along(across), offset.along(along), offset.along(axis))
    };
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    for (u, v, _) in points.iter().map(in_plane) {
        let row = Vector3::new(2.0 * u, 2.0 * v, 1.0);
        normal += row * row.transpose();
        right += row * (u * u + v * v);
    }
    let start = normal.cholesky().ok_or(FitError::RankLoss)?.solve(&right);
    let (mut u0, mut v0) = (start.x, start.y);
    let mut radius_mm = (start.z + u0 * u0 + v0 * v0).max(0.0).sqrt();
    for _ in 0..100 {
        let mut normal = Matrix3::zeros();
        let mut right = Vector3::zeros();
        let mut squares = 0.0;
        for (u, v, out) in points.iter().map(in_plane) {
            let (du, dv) = (u - u0, v - v0);
            let distance = (du * du + dv * dv).sqrt().max(f64::MIN_POSITIVE);
            let row = Vector3::new(du / distance, dv / distance, 1.0);
            let excess = distance - radius_mm;
            normal += row * row.transpose();
            right += row * excess;
            squares += excess * excess + out * out;
        }
        let step = normal.cholesky().ok_or(FitError::RankLoss)?.solve(&right);
        u0 += step.x;
        v0 += step.y;
        radius_mm += step.z;
        if step.norm() <= 1e-12 * radius_mm {
            let offset: Displacement<A> = u0 * across + v0 * along;
            let residual_rms_mm = (squares / points.len() as f64).sqrt();
            return Ok(Circle { centre: principal.centroid + offset, axis, radius_mm, residual_rms_mm });
        }
    }
    Err(FitError::NoConvergence)
}
