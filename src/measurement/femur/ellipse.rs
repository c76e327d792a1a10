//! An elliptic groove of known size, traced: a full pose, up to the half turns that leave an ellipse as it is.

use super::{FeaturePose, FemurStrategy, Outline, Taking, Trace, gap};
use crate::geometry::{EllipseFit, fit_ellipse};

pub(super) const STRATEGY: FemurStrategy = FemurStrategy {
    word: "ellipse",
    meaning: "an elliptic groove of known size, traced",
    turn: "the whole turn, up to the half turns that an ellipse allows",
    formula: "R = R1 S R0': of the four half turns S that fit, the one with the smallest turn",
    estimator: "least sum of squared distances to the ellipse in space, six unknowns",
    drawing: Some("tools.ellipse_semi_axes_mm"),
    taking: Taking::Traced,
    outline: |instruments| Outline::Groove([instruments.ellipse.major_mm, instruments.ellipse.minor_mm]),
    locate: |tips, instruments, memory| {
        let EllipseFit { pose, residual_rms_mm } = fit_ellipse(tips, instruments.ellipse, &mut memory.traced)?;
        let [_, major, minor] = pose.rotation.axes();
        let largest_gap_deg = gap::largest_deg(tips, pose.origin, [major, minor], &mut memory.turns)?;
        Ok(Trace { pose: FeaturePose::Elliptic(pose), residual_rms_mm, largest_gap_deg })
    },
    shown: FeaturePose::Elliptic,
};
