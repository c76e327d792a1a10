//! Three divots of known drawing, touched one after another.

use super::{FeaturePose, FemurStrategy, Outline, Taking, Trace};

pub(super) const STRATEGY: FemurStrategy = FemurStrategy {
    word: "three-divots",
    meaning: "three points of known drawing, touched",
    turn: "the whole turn",
    formula: "R = R1 R0': rigid fit of the drawing",
    estimator: "rigid fit of the three measured points to their drawing",
    drawing: Some("tools.three_divots_mm"),
    taking: Taking::Held(3),
    outline: |instruments| Outline::Places(instruments.three_divots.points().collect()),
    locate: |points, instruments, _| {
        let fit = instruments.three_divots.fit(points)?;
        Ok(Trace { pose: FeaturePose::Full(fit.pose), residual_rms_mm: fit.residual_rms_mm, largest_gap_deg: 0.0 })
    },
    shown: FeaturePose::Full,
};
