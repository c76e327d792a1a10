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
    turns: &mut Vec<Turn>,
) -> Result<f64, Reason> {
    turns.clear();
    turns.extend(tips.iter().map(|&tip| turn_of(plane.map(|axis| (tip - centre).along(axis)))));
    turns.sort_unstable_by(f64::total_cmp);
    let last = turns.last().ok_or(Reason::NotRecorded)?;
    // From each to the next, and round from the last to the first.
    let before = std::iter::once(last).chain(turns.iter());
    let largest = before.zip(turns.iter()).map(|(&before, &after)| turn_between(before, after)).fold(0.0, f64::max);
    let [x, y] = vector_at(largest);
    let largest_deg = libm::atan2(y, x).to_degrees().rem_euclid(360.0);
    if largest_deg > ALLOWED_DEG { Err(Reason::TraceIncomplete) } else { Ok(largest_deg) }
}

/// A number that grows with the angle of a vector in a plane: 0 to 4 once round, without trigonometry.
pub(super) type Turn = f64;

fn turn_of([x, y]: [f64; 2]) -> Turn {
    let along = x / (x.abs() + y.abs()).max(f64::MIN_POSITIVE);
    if y >= 0.0 { 1.0 - along } else { 3.0 + along }
}

/// A vector at a turn.
fn vector_at(turn: Turn) -> [f64; 2] {
    if turn <= 2.0 { [1.0 - turn, 1.0 - (1.0 - turn).abs()] } else { [turn - 3.0, (turn - 3.0).abs() - 1.0] }
}

/// The turn of one vector as another sees it.
fn turn_between(before: Turn, after: Turn) -> Turn {
    let ([x, y], [u, v]) = (vector_at(before), vector_at(after));
    turn_of([x * u + y * v, x * v - y * u])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The largest difference of sorted angles.
    fn of_sorted(angles_deg: &[f64]) -> f64 {
        let mut sorted = angles_deg.to_vec();
        sorted.sort_by(f64::total_cmp);
        let round = sorted[0] + 360.0 - sorted[sorted.len() - 1];
        sorted.windows(2).map(|pair| pair[1] - pair[0]).fold(round, f64::max)
    }

    #[test]
    fn identity_gap_is_that_of_sorted_angles() {
        let mut turns = Vec::new();
        // Of a full circle, for some tens of operations of either way.
        let rounding = 64.0 * f64::EPSILON * 360.0;
        for count in 2..200_u32 {
            // Multiples of the golden angle in a part of the circle, at uneven distances from its centre.
            let part = f64::from(count % 7 + 10) / 16.0;
            let angles_deg: Vec<f64> =
                (0..count).map(|i| (part * (137.5 * f64::from(i * count)).rem_euclid(360.0)) - 170.0).collect();
            let tips: Vec<_> = (0..)
                .zip(&angles_deg)
                .map(|(i, angle_deg)| {
                    let (sine, cosine) = libm::sincos(angle_deg.to_radians());
                    let radius = 10.0 + f64::from(i % 5);
                    Point::new(3.0, radius * cosine - 2.0, radius * sine + 1.0)
                })
                .collect();
            let expected = of_sorted(&angles_deg);
            match largest_deg(&tips, Point::new(0.0, -2.0, 1.0), [Direction::Y, Direction::Z], &mut turns) {
                Ok(found) => assert!((found - expected).abs() < rounding, "{count}: {found} for {expected}"),
                Err(reason) => assert!(reason == Reason::TraceIncomplete && expected > ALLOWED_DEG, "{count}"),
            }
        }
        let none = largest_deg(&[], Point::ORIGIN, [Direction::Y, Direction::Z], &mut turns);
        assert_eq!(none, Err(Reason::NotRecorded));
    }
}
