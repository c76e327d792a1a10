//! The largest gap of a trace.

use crate::geometry::{Direction, Point};
use crate::measurement::failure::Reason;
use crate::measurement::frames::Camera;

/// A gap above this is a failure, degrees.
const ALLOWED_DEG: f64 = 120.0;

/// Largest angle about `centre`, degrees, between neighbouring points of a trace, seen along the normal of a plane with
/// these two perpendicular axes.
///
/// # Errors
/// [`Reason::TraceIncomplete`] if it is over 120 degrees.
pub(super) fn largest_deg(
    tips: &[Point<Camera>],
    centre: Point<Camera>,
    plane: [Direction<Camera>; 2],
    spokes: &mut Vec<Spoke>,
) -> Result<f64, Reason> {
    spokes.clear();
    spokes.extend(tips.iter().map(|&tip| Spoke::new(plane.map(|axis| (tip - centre).along(axis)))));
    spokes.sort_unstable_by(|one, other| one.turn.total_cmp(&other.turn));
    let last = spokes.last().ok_or(Reason::NotRecorded)?;
    // From each to the next, and round from the last to the first.
    let before = std::iter::once(last).chain(spokes.iter());
    let gaps = before.zip(spokes.iter()).map(|(before, after)| before.to(after));
    let largest = gaps.fold(Spoke::default(), |largest, gap| if gap.turn > largest.turn { gap } else { largest });
    let [x, y] = largest.end;
    let largest_deg = libm::atan2(y, x).to_degrees().rem_euclid(360.0);
    if largest_deg > ALLOWED_DEG { Err(Reason::TraceIncomplete) } else { Ok(largest_deg) }
}

/// A vector in a plane, and a number that grows with its angle: 0 to 4 once round, without trigonometry.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Spoke {
    end: [f64; 2],
    turn: f64,
}

impl Spoke {
    fn new([x, y]: [f64; 2]) -> Self {
        let along = x / (x.abs() + y.abs()).max(f64::MIN_POSITIVE);
        Self { end: [x, y], turn: if y >= 0.0 { 1.0 - along } else { 3.0 + along } }
    }

    /// The other as this one sees it: at the angle between them.
    fn to(&self, other: &Self) -> Self {
        let ([x, y], [u, v]) = (self.end, other.end);
        Self::new([x * u + y * v, x * v - y * u])
    }
}
