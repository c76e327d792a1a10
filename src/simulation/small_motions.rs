//! Small motions of a tracker in itself: what noise and lens make of its pose, to first order.

use crate::geometry::lanes::{alike, cross, sum};
use crate::geometry::{Lanes, Point, PoseLanes};
use crate::measurement::Tracker;

/// Small motions of a tracker in its own axes, side by side: a turn about a point, then a shift.
#[derive(Clone, Copy, Debug)]
pub struct SmallMotions {
    /// About this point of the tracker.
    pub about: Point<Tracker>,
    /// Shifts, mm.
    pub shift: [Lanes; 3],
    /// Rotation vectors, radians.
    pub turn: [Lanes; 3],
}

impl SmallMotions {
    /// The same about another point, to first order.
    #[inline]
    #[must_use]
    pub fn about(self, about: Point<Tracker>) -> Self {
        let along = cross(self.turn, alike((about - self.about).vector()));
        Self { about, shift: sum(self.shift, along), ..self }
    }

    /// Both together, to first order; about the point of these.
    #[inline]
    #[must_use]
    pub fn with(self, others: Self) -> Self {
        let others = others.about(self.about);
        Self { shift: sum(self.shift, others.shift), turn: sum(self.turn, others.turn), ..self }
    }

    /// As poses of the moved trackers in the axes of the one that stayed.
    #[inline]
    #[must_use]
    pub fn poses(&self) -> PoseLanes<Tracker, Tracker> {
        // Cayley's rotation of half the turn: its angle is right to the third power of a small turn, over 12.
        let [x, y, z] = self.turn.map(|turn| 0.5 * turn);
        let share = 2.0 / (1.0 + x * x + y * y + z * z);
        let (sx, sy, sz) = (share * x, share * y, share * z);
        let rows = [
            [1.0 - sy * y - sz * z, sx * y - sz, sx * z + sy],
            [sx * y + sz, 1.0 - sx * x - sz * z, sy * z - sx],
            [sx * z - sy, sy * z + sx, 1.0 - sx * x - sy * y],
        ];
        let about = self.about.vector();
        let origin = [0, 1, 2].map(|i| {
            let [a, b, c] = rows[i];
            about[i] + self.shift[i] - (a * about.x + b * about.y + c * about.z)
        });
        PoseLanes::new(rows, origin)
    }
}
