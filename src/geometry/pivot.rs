//! The point of a tool that stays in one place while the tool is pivoted about it.

use super::axes::{Displacement, Point, Pose};
use super::fit::FitError;
use nalgebra::{Matrix3, Vector3};

/// A pivot: the same point seen from the tool and in space.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pivot<Tool, Space> {
    /// The point in the tool's axes, mm.
    pub in_tool: Point<Tool>,
    /// The point in space, mm.
    pub in_space: Point<Space>,
}

/// One-step linear least squares of `R_i p + t_i = c` over tool point `p` and place `c` (Yaniv Z. Proc SPIE
/// 9415:941527, 2015, "algebraic one step"). It weights translation only: orientation noise shortens `p`.
///
/// # Errors
/// [`FitError::TooFewPoints`] with fewer than three poses, [`FitError::RankLoss`] if the turns between the poses
/// leave a direction of `p` undetermined.
pub fn fit_pivot<Tool, Space>(poses: &[Pose<Tool, Space>]) -> Result<Pivot<Tool, Space>, FitError> {
    if poses.len() < 3 {
        return Err(FitError::TooFewPoints);
    }
    let share = 1.0 / poses.len() as f64;
    let mut mean_rotation = Matrix3::zeros();
    let mut mean_origin = Vector3::zeros();
    for pose in poses {
        mean_rotation += pose.rotation.matrix();
        mean_origin += pose.origin.vector();
    }
    mean_rotation *= share;
    mean_origin *= share;
    // With c eliminated, (I - mean(R)' mean(R)) p = -mean(R' (t - mean(t))).
    let mut right = Vector3::zeros();
    for pose in poses {
        right -= pose.rotation.matrix().tr_mul(&(pose.origin.vector() - mean_origin));
    }
    right *= share;
    let normal = Matrix3::identity() - mean_rotation.tr_mul(&mean_rotation);
    let cholesky = normal.cholesky().ok_or(FitError::RankLoss)?;
    // The normal matrix is of order 1 - cos(turn): 1e-8 is a turn of about 0.01 degrees.
    if cholesky.l_dirty().diagonal().iter().any(|d| d * d < 1e-8) {
        return Err(FitError::RankLoss);
    }
    let in_tool = cholesky.solve(&right);
    let in_space = mean_rotation * in_tool + mean_origin;
    if !in_space.iter().all(|v| v.is_finite()) {
        return Err(FitError::RankLoss);
    }
    Ok(Pivot { in_tool: Point::from_vector(in_tool), in_space: Point::from_vector(in_space) })
}

/// Root mean square over poses and components of how far the pivot point misses its place, mm.
#[must_use]
pub fn pivot_residual_rms<Tool, Space>(poses: &[Pose<Tool, Space>], pivot: &Pivot<Tool, Space>) -> f64 {
    let sum: f64 = poses
        .iter()
        .map(|&pose| pose * pivot.in_tool - pivot.in_space)
        .map(|miss: Displacement<Space>| miss.vector().norm_squared())
        .sum();
    let components = 3.0 * poses.len() as f64;
    (sum / components).sqrt()
}
