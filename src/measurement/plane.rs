//! Pelvic axes from landmarks and level readings.

use super::frames::{Camera, Pelvis};
use crate::geometry::{Direction, Point, Rotation};

/// Orientation of the camera in the measured pelvic axes: takes camera components to pelvic ones.
pub type PelvicAxes = Rotation<Camera, Pelvis>;

/// Axes of the bony (anterior pelvic) plane from left and right ASIS and pubis midpoint; `None` if the points
/// are in a line.
#[must_use]
pub fn bony_axes(left: Point<Camera>, right: Point<Camera>, pubis: Point<Camera>) -> Option<PelvicAxes> {
    let z = (right - left).direction()?;
    let up = left.midpoint(right) - pubis;
    let across = up.cross(z.as_displacement());
    // A pubis within a millionth of a millimetre of the line gives no plane.
    if across.length() < 1e-6 {
        return None;
    }
    from_x_and_z(across.direction()?, z)
}

/// Axes of the level (supine coronal) plane from the up direction and both ASIS; `None` if the line between the
/// ASIS is vertical.
#[must_use]
pub fn level_axes(up: Direction<Camera>, left: Point<Camera>, right: Point<Camera>) -> Option<PelvicAxes> {
    let line = right - left;
    let level = line - line.along(up) * up;
    if level.length() < 1e-6 {
        return None;
    }
    from_x_and_z(up, level.direction()?)
}

fn from_x_and_z(x: Direction<Camera>, z: Direction<Camera>) -> Option<PelvicAxes> {
    let y = z.as_displacement().cross(x.as_displacement()).direction()?;
    Some(Rotation::<Pelvis, Camera>::from_axes(x, y, z).inverse())
}
