//! A round groove, traced: its centre and its axis.

use super::{FeaturePose, FemurStrategy, Outline, Taking, Trace, gap};
use crate::geometry::{Circle, Direction, PrincipalAxes, fit_circle};

pub(super) const STRATEGY: FemurStrategy = FemurStrategy {
    word: "circle",
    meaning: "a round groove, traced",
    turn: "the smallest turn that aligns the two axes; spin about the axis stays unseen",
    formula: "R: the smallest turn that aligns the two axes",
    estimator: "plane by principal axes, then a circle by least squares of the distances in it",
    drawing: None,
    taking: Taking::Traced,
    outline: |instruments| Outline::Groove([instruments.circle_radius_mm; 2]),
    locate: |tips, _, memory| {
        let Circle { centre, axis, residual_rms_mm, .. } = fit_circle(tips)?;
        let [_, across, along] = PrincipalAxes::of(tips).axes;
        let largest_gap_deg = gap::largest_deg(tips, centre, [along, across], &mut memory.turns)?;
        Ok(Trace { pose: FeaturePose::Axial(centre, axis), residual_rms_mm, largest_gap_deg })
    },
    shown: |pose| FeaturePose::Axial(pose.origin, pose.rotation * Direction::X),
};
