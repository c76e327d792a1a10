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
    weighted(poses, |_| 1.0)
}

/// The one-step fit with a weight of each pose.
fn weighted<Tool, Space>(
    poses: &[Pose<Tool, Space>],
    weight: impl Fn(usize) -> f64,
) -> Result<Pivot<Tool, Space>, FitError> {
    if poses.len() < 3 {
        return Err(FitError::TooFewPoints);
    }
    let mut total = 0.0;
    let mut mean_rotation = Matrix3::zeros();
    let mut mean_origin = Vector3::zeros();
    for (index, pose) in poses.iter().enumerate() {
        let weight = weight(index);
        total += weight;
        mean_rotation += weight * pose.rotation.matrix();
        mean_origin += weight * pose.origin.vector();
    }
    let share = 1.0 / total;
    mean_rotation *= share;
    mean_origin *= share;
    // With c eliminated, (I - mean(R)' mean(R)) p = -mean(R' (t - mean(t))).
    let mut right = Vector3::zeros();
    for (index, pose) in poses.iter().enumerate() {
        right -= weight(index) * pose.rotation.matrix().tr_mul(&(pose.origin.vector() - mean_origin));
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
    finite(in_tool, in_space)
}

fn finite<Tool, Space>(in_tool: Vector3<f64>, in_space: Vector3<f64>) -> Result<Pivot<Tool, Space>, FitError> {
    if !in_space.iter().chain(&in_tool).all(|v| v.is_finite()) {
        return Err(FitError::RankLoss);
    }
    Ok(Pivot { in_tool: Point::from_vector(in_tool), in_space: Point::from_vector(in_space) })
}

/// Residuals farther out than this many standard deviations weigh less: 95 % as efficient as least squares for normal
/// residuals (Huber PJ, Ronchetti EM. Robust Statistics, 2nd ed. 2009, 4.5; figure for one component, from memory).
const HUBER: f64 = 1.345;
/// The median of a normal vector's length in three dimensions, in standard deviations of one component: the square root of
/// the median of chi-squared with 3 degrees of freedom, 2.366.
const MEDIAN_LENGTH: f64 = 1.538_172_25;
/// Rounds of reweighting, at most.
const ROUNDS: usize = 50;

/// The one-step fit with Huber's weights, reweighted until it settles: poses that miss by much count less. The scale of the
/// residuals is that of their median, so that nearly half of the poses may be wrong before it is.
///
/// `lengths` and `sorted` are memory to work in.
///
/// # Errors
/// As [`fit_pivot`]; [`FitError::NoConvergence`] if the weights do not settle.
pub fn fit_pivot_robust<Tool, Space>(
    poses: &[Pose<Tool, Space>],
    lengths: &mut Vec<f64>,
    sorted: &mut Vec<f64>,
) -> Result<Pivot<Tool, Space>, FitError> {
    let mut pivot = fit_pivot(poses)?;
    for _ in 0..ROUNDS {
        lengths.clear();
        lengths.extend(poses.iter().map(|&pose| (pose * pivot.in_tool - pivot.in_space).length()));
        sorted.clear();
        sorted.extend_from_slice(lengths);
        let middle = sorted.len() / 2;
        let (_, &mut median, _) = sorted.select_nth_unstable_by(middle, f64::total_cmp);
        // Of vectors the length that is usual for one component times the root of three.
        let reach = HUBER * 3.0_f64.sqrt() * median / MEDIAN_LENGTH;
        if reach <= f64::MIN_POSITIVE {
            return Ok(pivot);
        }
        let lengths = &*lengths;
        let next = weighted(poses, |index| (reach / lengths[index]).min(1.0))?;
        let moved = (next.in_space - pivot.in_space).length();
        pivot = next;
        if moved < 1e-9 {
            return Ok(pivot);
        }
    }
    Err(FitError::NoConvergence)
}

/// Distance of the points whose spheres are fitted from the tool's origin, mm: about the size of a tracker.
const MARK_MM: f64 = 50.0;

/// The centre of the spheres on which points of the tool move, four of them, each with a radius of its own: the least sum
/// of squares of squared distances, in closed form (Gamage `SSHU`, Lasenby J. J Biomech 2002;35:87-93). It uses where
/// points are and not how the tool is turned beyond that; noise pulls it towards the points where the range is small.
///
/// # Errors
/// As [`fit_pivot`].
pub fn fit_pivot_spheres<Tool, Space>(poses: &[Pose<Tool, Space>]) -> Result<Pivot<Tool, Space>, FitError> {
    if poses.len() < 3 {
        return Err(FitError::TooFewPoints);
    }
    let share = 1.0 / poses.len() as f64;
    let marks = [[0.0; 3], [MARK_MM, 0.0, 0.0], [0.0, MARK_MM, 0.0], [0.0, 0.0, MARK_MM]].map(Vector3::from);
    // From a place near the points, so that squares keep their digits.
    let near = poses[0].origin.vector();
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for mark in &marks {
        let place = |pose: &Pose<Tool, Space>| pose.rotation.matrix() * mark + pose.origin.vector() - near;
        let (mut mean, mut mean_square) = (Vector3::zeros(), 0.0);
        for pose in poses {
            let place = place(pose);
            mean += share * place;
            mean_square += share * place.norm_squared();
        }
        for pose in poses {
            let place = place(pose);
            let off = place - mean;
            normal += share * off * off.transpose();
            right += (0.5 * share * (place.norm_squared() - mean_square)) * off;
        }
    }
    let scale = normal.diagonal().max();
    let cholesky = normal.cholesky().ok_or(FitError::RankLoss)?;
    if cholesky.l_dirty().diagonal().iter().any(|d| d * d < 1e-9 * scale) {
        return Err(FitError::RankLoss);
    }
    let in_space = cholesky.solve(&right) + near;
    let back = |pose: &Pose<Tool, Space>| pose.rotation.matrix().tr_mul(&(in_space - pose.origin.vector()));
    let in_tool = poses.iter().map(back).sum::<Vector3<f64>>() * share;
    finite(in_tool, in_space)
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
