//! How still a hold was, from what the camera saw alone; and the gate that has a restless one taken again.

use super::failure::{Failure, Reason};
use super::frames::{Camera, Tracker};
use super::observation::{Capture, Observations, Step};
use super::procedure::{Procedure, Workspace};
use crate::geometry::{Displacement, Point, Pose};

/// Largest distance of a frame's tip from the mean tip of its capture, mm.
#[must_use]
pub fn largest_distance_mm(poses: &[Pose<Tracker, Camera>], tip: Point<Tracker>) -> f64 {
    let total = poses.iter().fold(Displacement::ZERO, |sum, &pose| sum + (pose * tip - Point::ORIGIN));
    let mean = Point::ORIGIN + (1.0 / poses.len() as f64) * total;
    poses.iter().map(|&pose| (pose * tip - mean).length()).fold(0.0, f64::max)
}

/// Judges each hold of the probe as soon as it is taken, with the tip as it was calibrated at the beginning of the case.
#[derive(Debug)]
pub struct StillnessGate<'a> {
    procedure: &'a Procedure,
    workspace: &'a mut Workspace,
    limit_mm: f64,
    tip: Option<Result<Point<Tracker>, Reason>>,
}

impl<'a> StillnessGate<'a> {
    /// A gate for one case. A hold is still if no frame's tip is further than `limit_mm` from the capture's mean tip.
    #[must_use]
    pub fn new(procedure: &'a Procedure, workspace: &'a mut Workspace, limit_mm: f64) -> Self {
        Self { procedure, workspace, limit_mm, tip: None }
    }

    /// Whether the last capture was still. One that gives no tip is let through: it fails by itself, for its own reason.
    pub fn is_still(&mut self, observed: &Observations) -> bool {
        let tip = match self.tip {
            Some(tip) => tip,
            None => self.calibrated_tip(observed),
        };
        self.tip = Some(tip);
        let last = observed.captures.len().saturating_sub(1);
        match (tip, self.poses(observed, last)) {
            (Ok(tip), Ok(poses)) => !(largest_distance_mm(poses, tip) > self.limit_mm),
            _ => true,
        }
    }

    /// The probe tip as its pivoting gives it, before anything else is measured.
    fn calibrated_tip(&mut self, observed: &Observations) -> Result<Point<Tracker>, Reason> {
        let pivoted = observed.captures.iter().position(|capture| capture.step == Step::TipPivot);
        let (estimator, mut memory) = (self.procedure.pivot, std::mem::take(&mut self.workspace.pivot));
        let pivoted = pivoted.ok_or(Reason::NotRecorded);
        let poses = pivoted.and_then(|pivoted| self.poses(observed, pivoted));
        let found = poses.and_then(|poses| Ok(estimator.fit(poses, &mut memory)?.in_tool));
        self.workspace.pivot = memory;
        found
    }

    fn poses(&mut self, observed: &Observations, capture: usize) -> Result<&[Pose<Tracker, Camera>], Reason> {
        if capture >= observed.captures.len() {
            return Err(Reason::NotRecorded);
        }
        self.workspace.gate.follow_some(observed, self.procedure, capture..capture + 1);
        self.workspace.gate.poses(0)
    }
}

impl Capture {
    /// Whether the tip is held in one place.
    #[must_use]
    pub fn is_hold(&self, traced: bool) -> bool {
        match self.step {
            Step::AsisLeft | Step::AsisRight | Step::Pubis => true,
            Step::FemurBaseline | Step::FemurReduction => !traced,
            _ => false,
        }
    }

    /// A capture that the gate has given up has no answer.
    pub(super) fn settled(&self) -> Result<(), Failure> {
        if self.still { Ok(()) } else { Err(Failure { step: self.step, reason: Reason::NotStill }) }
    }
}
