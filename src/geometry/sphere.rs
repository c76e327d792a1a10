//! Least-squares sphere.

use super::axes::{Displacement, Point};
use super::fit::FitError;
use super::principal::centroid;
use nalgebra::{Matrix4, Vector4};

/// A sphere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sphere<A> {
    /// Centre, mm.
    pub centre: Point<A>,
    /// Radius, mm.
    pub radius_mm: f64,
}

/// The sphere with the least sum of squared distances to its surface: algebraic start, then Gauss-Newton.
///
/// # Errors
/// [`FitError::TooFewPoints`] with fewer than four points, [`FitError::RankLoss`] for points in a plane,
/// [`FitError::NoConvergence`] if the iteration does not settle.
pub fn fit_sphere<A>(points: &[Point<A>]) -> Result<Sphere<A>, FitError> {
    if points.len() < 4 {
        return Err(FitError::TooFewPoints);
    }
    let middle = centroid(points);
    // |q|^2 = 2 q.c + (r^2 - |c|^2), linear in c and the bracket; q relative to the centroid.
    let row = |q: &Displacement<A>| Vector4::new(2.0 * q.vector().x, 2.0 * q.vector().y, 2.0 * q.vector().z, 1.0);
    let mut normal = Matrix4::zeros();
    let mut right = Vector4::zeros();
    for &point in points {
        let q = point - middle;
        let row = row(&q);
        normal += row * row.transpose();
        right += row * q.vector().norm_squared();
    }
    let start = solve(normal, right)?;
    let mut centre = middle + Displacement::from_vector(start.xyz());
    let mut radius_mm = (start.w + start.xyz().norm_squared()).max(0.0).sqrt();
    for _ in 0..100 {
        let mut normal = Matrix4::zeros();
        let mut right = Vector4::zeros();
        for &point in points {
            let offset = point - centre;
            let distance = offset.length();
            let Some(outward) = offset.direction() else { continue };
            let row = outward.vector().push(1.0);
            normal += row * row.transpose();
            right += row * (distance - radius_mm);
        }
        let step = solve(normal, right)?;
        centre = centre + Displacement::from_vector(step.xyz());
        radius_mm += step.w;
        if step.norm() <= 1e-13 * (radius_mm.abs() + (centre - Point::ORIGIN).length()) {
            return Ok(Sphere { centre, radius_mm });
        }
    }
    Err(FitError::NoConvergence)
}

fn solve(normal: Matrix4<f64>, right: Vector4<f64>) -> Result<Vector4<f64>, FitError> {
    let scale = normal.diagonal().max();
    let cholesky = normal.cholesky().ok_or(FitError::RankLoss)?;
    if cholesky.l_dirty().diagonal().iter().any(|d| d * d < 1e-12 * scale) {
        return Err(FitError::RankLoss);
    }
    Ok(cholesky.solve(&right))
}
