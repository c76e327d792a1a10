//! The procedure, step by step, from what was recorded to the readings.

use super::cup::cup_angles;
use super::failure::{AtStep, Failure, Reason};
use super::femur::{FemurFeature, Taking, Trace, TraceMemory, restored_turn};
use super::frames::{Camera, Pelvis, Tracker};
use super::observation::{Capture, Observations, Step};
use super::options::{AngleDefinition, Instruments, Side};
use super::pivot::{PivotEstimator, PivotMemory};
use super::plane::{PelvicAxes, Plane, Template, Touched};
use super::readings::{Asked, CentreShift, LegChange, Output, Readings};
use super::stillness::largest_distance_mm;
use super::tracking::{FrameCounts, Tracks};
use crate::geometry::{
    Direction, Displacement, Layout, Millimetres, Pivot, Point, Pose, mean_direction, pivot_residual_rms,
};

/// A measurement procedure: what is measured, from what, with which tools.
#[derive(Clone, Debug, PartialEq)]
pub struct Procedure {
    /// Operated side.
    pub side: Side,
    /// Pelvic plane measured.
    pub plane: Plane,
    /// Population template, for the plane that needs one.
    pub template: Template,
    /// How pivots are estimated: the probe's tip and both hip centres.
    pub pivot: PivotEstimator,
    /// Femoral feature used.
    pub femur: FemurFeature,
    /// Definition of the cup angles.
    pub angles: AngleDefinition,
    /// The tools as drawn.
    pub instruments: Instruments,
    /// Proportion of a capture's frames that must give a pose; with fewer the capture has failed.
    pub least_tracked_proportion: f64,
    /// The outputs that are asked for.
    pub asked: Asked,
}

/// Every estimate of a case, each standing or failing by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimates {
    /// Probe tip: pivoted, or as drawn where it was not pivoted and a drawing is given.
    pub tip: Result<Point<Tracker>, Failure>,
    /// Left ASIS, as touched.
    pub asis_left: Result<Point<Camera>, Failure>,
    /// Right ASIS, as touched.
    pub asis_right: Result<Point<Camera>, Failure>,
    /// Pubis midpoint, as touched; a failure where the plane does not need it.
    pub pubis: Result<Point<Camera>, Failure>,
    /// Up, as read from the level; a failure where the plane does not need it.
    pub up: Result<Direction<Camera>, Failure>,
    /// Axes of the measured plane.
    pub axes: Result<PelvicAxes, Failure>,
    /// Femoral feature at baseline.
    pub baseline: Result<Trace, Failure>,
    /// Native hip centre.
    pub native: Result<Pivot<Tracker, Camera>, Failure>,
    /// Cup axis, out of the opening.
    pub cup_axis: Result<Direction<Camera>, Failure>,
    /// New hip centre.
    pub renewed: Result<Pivot<Tracker, Camera>, Failure>,
    /// Each reduction.
    pub reductions: Vec<ReductionEstimates>,
    /// How well poses and pivots fitted.
    pub residuals: Residuals,
    /// Frames that gave no pose.
    pub frames: FrameCounts,
}

/// Estimates and readings at one reduction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReductionEstimates {
    /// Femoral feature at this reduction.
    pub feature: Result<Trace, Failure>,
    /// The readings at this reduction.
    pub readings: Readings,
}

/// Residuals of the fits, root mean square, mm; NaN where there was no fit. They are no accuracy estimates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residuals {
    /// Fiducial registration error over all frames.
    pub pose_mm: f64,
    /// Tip pivot.
    pub tip_pivot_mm: f64,
    /// Native centre.
    pub native_mm: f64,
    /// New centre.
    pub renewed_mm: f64,
    /// Largest distance of a frame's tip from the mean of its hold, over all holds of the probe; 0 without a hold.
    pub stillness_mm: f64,
}

/// Memory that is used again from case to case, so that measuring allocates nothing after the first.
#[derive(Debug, Default)]
pub struct Workspace {
    tracks: Tracks,
    pub(super) gate: Tracks,
    points: Vec<Point<Camera>>,
    trace: TraceMemory,
    pub(super) pivot: PivotMemory,
    reductions: Vec<ReductionEstimates>,
}

impl Workspace {
    /// Takes an estimate's memory back for the next case.
    pub fn reclaim(&mut self, estimates: Estimates) {
        self.reductions = estimates.reductions;
    }
}

impl Procedure {
    /// Whether a step is needed for what is asked.
    #[must_use]
    pub fn needs(&self, step: Step) -> bool {
        let [cup, leg, centre] =
            [&Output::CUP[..], &Output::LEG, &Output::CENTRE].map(|group| self.asked.has_any(group));
        match step {
            Step::TipPivot | Step::AsisLeft | Step::AsisRight => true,
            Step::Level | Step::Pubis => self.plane.needs(step),
            Step::FemurBaseline | Step::FemurReduction => leg,
            Step::CentreNative => centre || self.plane.needs(step),
            Step::Cup => cup,
            Step::CentreNew => leg || centre,
        }
    }

    /// How femur and cup are measured, in words behind a comma each; nothing of what is not asked for.
    #[must_use]
    pub fn ways(&self) -> String {
        let femur = self.asked.has_any(&Output::LEG).then(|| format!(", {}", self.femur.word()));
        let angles = self.asked.has_any(&Output::CUP).then(|| format!(", angles {}", self.angles.word()));
        [femur, angles].into_iter().flatten().collect()
    }

    /// Measures a case: one page that reads as the procedure in the theatre.
    #[must_use]
    pub fn measure(&self, observed: &Observations, workspace: &mut Workspace) -> Estimates {
        let pose_mm = workspace.tracks.follow(observed, self);
        let mut reductions = std::mem::take(&mut workspace.reductions);
        reductions.clear();
        let mut case = Case { procedure: self, observed, workspace };

        // 1. The probe tip is found by pivoting, or known from its drawing.
        let tip_pivot = case.pivot(Step::TipPivot);
        let tip = case.tip(tip_pivot);

        // 2. The landmarks are touched and the level is read.
        let asis_left = case.touched(Step::AsisLeft, tip);
        let asis_right = case.touched(Step::AsisRight, tip);
        let pubis = case.touched(Step::Pubis, tip);
        let up = case.up();

        // 3. The femoral feature before dislocation.
        let baseline = case.feature(Step::FemurBaseline, 0, tip);

        // 4. The native centre. 5. The camera is taken off and put back.
        let native = case.pivot(Step::CentreNative);

        // The plane is built from these.
        let touched =
            Touched { left: asis_left, right: asis_right, pubis, up, native: native.map(|pivot| pivot.in_space) };
        let axes = (self.plane.strategy().axes)(&touched, &self.template);

        // 6. The cup, and 7. the new centre.
        let cup_axis = case.cup_axis();
        let renewed = case.pivot(Step::CentreNew);

        // 8. The femoral feature at each reduction, and 9. the final values.
        let cup = axes.and_then(|axes| Ok(cup_angles(axes * cup_axis?, self.side, self.angles)));
        let centre = axes.and_then(|axes| Ok(self.centre_shift(axes * (renewed?.in_space - native?.in_space))));
        for take in 0..observed.reductions {
            let feature = case.feature(Step::FemurReduction, take, tip);
            let leg = self.leg_change(axes, baseline, feature, renewed);
            reductions.push(ReductionEstimates { feature, readings: Readings { cup, leg, centre } });
        }

        let residuals = Residuals {
            pose_mm,
            tip_pivot_mm: case.pivot_residual(Step::TipPivot, &tip_pivot),
            native_mm: case.pivot_residual(Step::CentreNative, &native),
            renewed_mm: case.pivot_residual(Step::CentreNew, &renewed),
            stillness_mm: case.stillness_mm(tip),
        };
        Estimates {
            tip,
            asis_left,
            asis_right,
            pubis,
            up,
            axes,
            baseline,
            native,
            cup_axis,
            renewed,
            reductions,
            residuals,
            frames: case.workspace.tracks.frames(),
        }
    }

    /// The tracker poses of each capture, as [`Self::measure`] finds them; none for readings of the level.
    #[must_use]
    pub fn poses(
        &self,
        observed: &Observations,
        workspace: &mut Workspace,
    ) -> Vec<Result<Vec<Pose<Tracker, Camera>>, Reason>> {
        workspace.tracks.follow(observed, self);
        let of = |(index, capture): (usize, &Capture)| match capture.step {
            Step::Level => Ok(Vec::new()),
            _ => workspace.tracks.poses(index).map(<[_]>::to_vec),
        };
        observed.captures.iter().enumerate().map(of).collect()
    }

    fn centre_shift(&self, shift: Displacement<Pelvis>) -> CentreShift {
        CentreShift {
            superior: Millimetres(shift.y()),
            lateral: Millimetres(self.side.sign() * shift.z()),
            anterior: Millimetres(shift.x()),
        }
    }

    /// The shift of the femur with its baseline orientation restored about the new centre,
    /// `D = (h1 - c0) - R' (h1 - c1)`, in the measured plane.
    fn leg_change(
        &self,
        axes: Result<PelvicAxes, Failure>,
        baseline: Result<Trace, Failure>,
        later: Result<Trace, Failure>,
        renewed: Result<Pivot<Tracker, Camera>, Failure>,
    ) -> Result<LegChange, Failure> {
        let (axes, baseline, later, centre) = (axes?, baseline?.pose, later?.pose, renewed?.in_space);
        let turn = restored_turn(&baseline, &later).at(Step::FemurReduction)?;
        let shift = (centre - baseline.place()) - turn.inverse() * (centre - later.place());
        let shift = axes * shift;
        Ok(LegChange { leg_length: Millimetres(-shift.y()), offset: Millimetres(self.side.sign() * shift.z()) })
    }
}

impl Instruments {
    /// The layout that a step watches.
    #[must_use]
    pub fn layout(&self, step: Step) -> Option<&Layout<Tracker>> {
        let trackers = self.trackers.as_ref()?;
        Some(match step {
            Step::Cup => &trackers.inserter,
            Step::CentreNative | Step::CentreNew => &trackers.head,
            _ => &trackers.probe,
        })
    }
}

/// A case at hand: what was seen, and the memory to work in.
struct Case<'a> {
    procedure: &'a Procedure,
    observed: &'a Observations,
    workspace: &'a mut Workspace,
}

impl<'a> Case<'a> {
    /// Captures of a step and take, with the reason of those that could not be tracked.
    fn captures(&self, step: Step, take: u32) -> impl Iterator<Item = (usize, &'a Capture)> + use<'a> {
        let captures: &'a [Capture] = &self.observed.captures;
        captures.iter().enumerate().filter(move |(_, c)| c.step == step && c.take == take)
    }

    /// Poses of one capture.
    fn poses(&self, (index, capture): (usize, &Capture)) -> Result<&[Pose<Tracker, Camera>], Failure> {
        capture.settled()?;
        self.workspace.tracks.poses(index).at(capture.step)
    }

    /// How still the holds were, whether or not a gate has judged them.
    fn stillness_mm(&self, tip: Result<Point<Tracker>, Failure>) -> f64 {
        let Ok(tip) = tip else { return f64::NAN };
        let traced = self.procedure.femur.strategy().taking == Taking::Traced;
        let captures = self.observed.captures.iter().enumerate();
        let holds = captures.filter(|(_, capture)| capture.is_hold(traced));
        holds.filter_map(|hold| Some(largest_distance_mm(self.poses(hold).ok()?, tip))).fold(0.0, f64::max)
    }

    fn pivot(&mut self, step: Step) -> Result<Pivot<Tracker, Camera>, Failure> {
        let capture = self.captures(step, 0).next();
        let capture = capture.ok_or(Failure { step, reason: Reason::NotRecorded })?;
        let mut memory = std::mem::take(&mut self.workspace.pivot);
        let found = self.poses(capture).and_then(|poses| self.procedure.pivot.fit(poses, &mut memory).at(step));
        self.workspace.pivot = memory;
        found
    }

    /// The tip from its pivot; from its drawing only where no pivot was recorded.
    fn tip(&self, pivot: Result<Pivot<Tracker, Camera>, Failure>) -> Result<Point<Tracker>, Failure> {
        match (pivot, self.procedure.instruments.probe_tip) {
            (Err(Failure { reason: Reason::NotRecorded, .. }), Some(drawn)) => Ok(drawn),
            (pivot, _) => Ok(pivot?.in_tool),
        }
    }

    fn pivot_residual(&self, step: Step, pivot: &Result<Pivot<Tracker, Camera>, Failure>) -> f64 {
        match (pivot, self.captures(step, 0).next().map(|capture| self.poses(capture))) {
            (Ok(pivot), Some(Ok(poses))) => pivot_residual_rms(poses, pivot),
            _ => f64::NAN,
        }
    }

    /// A touched point: the mean tip position of each capture, and the mean of those.
    fn touched(&self, step: Step, tip: Result<Point<Tracker>, Failure>) -> Result<Point<Camera>, Failure> {
        self.touched_among(step, self.captures(step, 0), tip)
    }

    fn touched_among(
        &self,
        step: Step,
        captures: impl Iterator<Item = (usize, &'a Capture)>,
        tip: Result<Point<Tracker>, Failure>,
    ) -> Result<Point<Camera>, Failure> {
        let (mut sum, mut count) = (Displacement::ZERO, 0_u32);
        for capture in captures {
            let poses = self.poses(capture)?;
            if poses.is_empty() {
                return Err(Failure { step, reason: Reason::TooFewPoints });
            }
            let tip = tip?;
            let total = poses.iter().fold(Displacement::ZERO, |sum, &pose| sum + (pose * tip - Point::ORIGIN));
            let share = 1.0 / poses.len() as f64;
            sum = sum + share * total;
            count += 1;
        }
        if count == 0 {
            return Err(Failure { step, reason: Reason::NotRecorded });
        }
        Ok(Point::ORIGIN + (1.0 / f64::from(count)) * sum)
    }

    /// Up: the mean of the level readings.
    fn up(&self) -> Result<Direction<Camera>, Failure> {
        let step = Step::Level;
        let readings = self.captures(step, 0).flat_map(|(_, capture)| &self.observed.ups[capture.frames.clone()]);
        if self.captures(step, 0).next().is_none() {
            return Err(Failure { step, reason: Reason::NotRecorded });
        }
        mean_direction(readings.copied()).at(step)
    }

    /// The cup axis: the tool axis of each frame, averaged.
    fn cup_axis(&self) -> Result<Direction<Camera>, Failure> {
        let step = Step::Cup;
        let capture = self.captures(step, 0).next().ok_or(Failure { step, reason: Reason::NotRecorded })?;
        let axis = self.procedure.instruments.cup_axis;
        mean_direction(self.poses(capture)?.iter().map(|pose| pose.rotation * axis)).at(step)
    }

    /// The femoral feature at baseline or at a reduction.
    fn feature(&mut self, step: Step, take: u32, tip: Result<Point<Tracker>, Failure>) -> Result<Trace, Failure> {
        let (tip, strategy) = (tip?, self.procedure.femur.strategy());
        let mut points = std::mem::take(&mut self.workspace.points);
        points.clear();
        let taken = match strategy.taking {
            Taking::Held(places) => self.places(step, take, places, tip, &mut points),
            Taking::Traced => self.trace(step, take, tip, &mut points),
        };
        let (instruments, memory) = (&self.procedure.instruments, &mut self.workspace.trace);
        let found = taken.and_then(|()| (strategy.locate)(&points, instruments, memory).at(step));
        self.workspace.points = points;
        found
    }

    /// The mean point of each place of a feature.
    fn places(
        &self,
        step: Step,
        take: u32,
        places: u32,
        tip: Point<Tracker>,
        points: &mut Vec<Point<Camera>>,
    ) -> Result<(), Failure> {
        for place in 0..places {
            let captures = self.captures(step, take).filter(|(_, capture)| capture.divot == place);
            points.push(self.touched_among(step, captures, Ok(tip))?);
        }
        Ok(())
    }

    /// Every tip of the traces of a feature.
    fn trace(
        &self,
        step: Step,
        take: u32,
        tip: Point<Tracker>,
        tips: &mut Vec<Point<Camera>>,
    ) -> Result<(), Failure> {
        for capture in self.captures(step, take) {
            tips.extend(self.poses(capture)?.iter().map(|&pose| pose * tip));
        }
        if tips.is_empty() { Err(Failure { step, reason: Reason::NotRecorded }) } else { Ok(()) }
    }
}
