//! The bony plane: three points touched.

use super::{PelvicAxes, PlaneStrategy, from_x_and_z};
use crate::geometry::Point;
use crate::measurement::failure::AtStep;
use crate::measurement::frames::Camera;
use crate::measurement::observation::Step;

pub(super) const STRATEGY: PlaneStrategy = PlaneStrategy {
    word: "bony",
    meaning: "the anterior pelvic plane through both anterior superior iliac spines (ASIS) and the midpoint of the pubis, \
              all three touched",
    built: "Z from the left to the right spine; X = unit((midpoint of the spines - pubis) x Z); Y = Z x X",
    formula: "z = unit(r - l), x = unit(((l + r)/2 - p) × z), y = z × x",
    source: Some("axes: Wu G et al. J Biomech 2002;35:543-548"),
    needs: &[Step::Pubis],
    axes: |touched, _| bony_axes(touched.left?, touched.right?, touched.pubis?).at(Step::Pubis),
};

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
