//! The turn that restores the baseline orientation of the femur.

use super::FeaturePose;
use crate::geometry::{Matrix3, Rotation, Vector3};
use crate::measurement::failure::Reason;
use crate::measurement::frames::{Camera, Feature};

/// `R`: the turn of the femur from its baseline to its later orientation, as far as the feature shows it.
///
/// # Errors
/// [`Reason::PerpendicularAxes`] for a circle whose two axes are perpendicular.
pub fn restored_turn(baseline: &FeaturePose, later: &FeaturePose) -> Result<Rotation<Camera, Camera>, Reason> {
    match (baseline, later) {
        (FeaturePose::Axial(_, first), FeaturePose::Axial(_, second)) => {
            let cosine = first.cosine(*second);
            // The sign of a fitted axis means nothing: take the second along the first.
            if cosine.abs() < 1e-6 {
                return Err(Reason::PerpendicularAxes);
            }
            let second = if cosine < 0.0 { -*second } else { *second };
            Rotation::smallest_between(*first, second).ok_or(Reason::PerpendicularAxes)
        }
        (FeaturePose::Elliptic(first), FeaturePose::Elliptic(second)) => {
            Ok(smallest_elliptic_turn(first.rotation, second.rotation))
        }
        (FeaturePose::Full(first), FeaturePose::Full(second)) => Ok(second.rotation * first.rotation.inverse()),
        // A place alone: the leg must be put back as it was.
        _ => Ok(Rotation::identity()),
    }
}

/// The half turns about its own axes that leave an ellipse as it is, as signs of its axes.
const ELLIPSE_HALF_TURNS: [[f64; 3]; 4] = [[1.0, 1.0, 1.0], [1.0, -1.0, -1.0], [-1.0, 1.0, -1.0], [-1.0, -1.0, 1.0]];

/// `R_1 S R_0'` with the half turn `S` of largest trace: the smallest turn that an ellipse allows.
fn smallest_elliptic_turn(
    first: Rotation<Feature, Camera>,
    second: Rotation<Feature, Camera>,
) -> Rotation<Camera, Camera> {
    // trace(R_1 S R_0') is the sum over the axes of their signed cosines.
    let (before, after) = (first.axes(), second.axes());
    let cosines = [0, 1, 2].map(|i| before[i].cosine(after[i]));
    let trace = |signs: &[f64; 3]| signs.iter().zip(&cosines).map(|(s, c)| s * c).sum::<f64>();
    let best = ELLIPSE_HALF_TURNS
        .iter()
        .fold(&ELLIPSE_HALF_TURNS[0], |best, signs| if trace(signs) > trace(best) { signs } else { best });
    let half_turn = Rotation::<Feature, Feature>::from_matrix(Matrix3::from_diagonal(&Vector3::from(*best)));
    second * half_turn * first.inverse()
}
