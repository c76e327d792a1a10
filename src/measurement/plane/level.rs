//! The level plane: a level reading and two points touched.

use super::{PelvicAxes, PlaneStrategy, from_x_and_z};
use crate::geometry::{Direction, Point};
use crate::measurement::failure::AtStep;
use crate::measurement::frames::Camera;
use crate::measurement::observation::Step;

pub(super) const STRATEGY: PlaneStrategy = PlaneStrategy {
    word: "level",
    meaning: "the coronal plane of the patient lying on the table, from a level reading and both anterior superior iliac \
              spines (ASIS), touched",
    built: "X = up; Z from the left to the right spine, made level; Y = Z x X",
    formula: "x = unit(u), z = unit((r - l) - ((r - l)·x) x), y = z × x",
    source: None,
    needs: &[Step::Level],
    axes: |touched, _| level_axes(touched.up?, touched.left?, touched.right?).at(Step::Level),
};

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
