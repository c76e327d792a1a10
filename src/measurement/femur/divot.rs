//! A divot: one point touched.

use super::{FeaturePose, FemurStrategy, Outline, Taking, Trace};
use crate::geometry::Point;
use crate::measurement::failure::Reason;

pub(super) const STRATEGY: FemurStrategy = FemurStrategy {
    word: "divot",
    meaning: "one point on the femur, touched",
    turn: "none is seen: the leg must be put back in the same place",
    formula: "R = 1",
    estimator: "mean of the tip positions",
    drawing: None,
    taking: Taking::Held(1),
    outline: |_| Outline::Places(vec![Point::ORIGIN]),
    locate: |points, _, _| {
        let &point = points.first().ok_or(Reason::NotRecorded)?;
        Ok(Trace { pose: FeaturePose::Place(point), residual_rms_mm: 0.0, largest_gap_deg: 0.0 })
    },
    shown: |pose| FeaturePose::Place(pose.origin),
};
