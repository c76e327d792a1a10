//! What the recordings themselves tell of the noise: how frames scatter in a capture, captures in a case, and how well
//! pivots hold. No truth is needed.

use super::case::{frame_poses, sessions};
use super::standing::Standing;
use crate::analysis::spread::{Pool, Spread};
use crate::experiment::{Replay, Variant};
use crate::geometry::{
    Direction, Displacement, Layout, Point, Pose, Rotation, centroid, fit_pivot, mean_direction, pivot_residual_rms,
};
use crate::measurement::{Camera, FemurFeature, PelvicAxes, Procedure, Side, Step, Taking, Tracker, Workspace};
use crate::record::recording::{RecordedCapture, RecordedCase, RecordedFrames, RecordedStep, Recordings};
use crate::simulation::noise::REFERENCE_DISTANCE_MM;

/// What was estimated of one kind of noise.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// Its id in tables.
    pub id: &'static str,
    /// What it is.
    pub meaning: String,
    /// Its unit: mm or deg.
    pub unit: &'static str,
    /// Standard deviation (an axis); `None` where the recordings hold nothing to estimate it from.
    pub spread: Option<Spread>,
    /// What it is estimated from.
    pub from: String,
    /// Captures, or groups of captures, behind it.
    pub captures: u64,
}

/// Everything that was estimated.
#[derive(Clone, Debug, PartialEq)]
pub struct NoiseFit {
    /// The estimates.
    pub rows: Vec<Fitted>,
    /// Confidence of their intervals.
    pub confidence: f64,
}

impl NoiseFit {
    /// The standard deviation of an id, if it was estimated.
    #[must_use]
    pub fn sd(&self, id: &str) -> Option<f64> {
        self.rows.iter().find(|row| row.id == id).and_then(|row| row.spread).map(|spread| spread.sd)
    }
}

/// Estimates the noise from the sound cases of a recording, as one variant measures them.
#[must_use]
pub fn fit(variant: &Variant, recordings: &Recordings, asked: &Replay) -> NoiseFit {
    let mut gathering = Gathering::new(&variant.procedure, asked);
    for case in recordings.cases.iter().filter(|case| case.faults.is_empty()) {
        gathering.case(case);
    }
    NoiseFit { rows: gathering.rows(), confidence: asked.confidence }
}

/// A pool with the number of captures behind it.
#[derive(Default)]
struct Counted {
    pool: Pool,
    captures: u64,
}

impl Counted {
    /// Deviations from the mean of one group, axis by axis.
    fn group<const N: usize>(&mut self, values: &[[f64; N]]) {
        if values.len() < 2 {
            return;
        }
        self.captures += 1;
        for axis in 0..N {
            let mean = values.iter().map(|value| value[axis]).sum::<f64>() / values.len() as f64;
            let squares = values.iter().map(|value| (value[axis] - mean) * (value[axis] - mean)).sum();
            self.pool.add(axis, squares, (values.len() - 1) as f64);
        }
    }

    fn variance(&self) -> f64 {
        self.pool.variance().unwrap_or(0.0)
    }
}

/// Between captures of one thing: their means, and what the frames within let them scatter.
#[derive(Default)]
struct Between {
    means: Counted,
    /// Mean over groups of the mean of 1 / frames.
    within_share: f64,
}

impl Between {
    fn group(&mut self, captures: &[Vec<[f64; 3]>]) {
        let captures: Vec<_> = captures.iter().filter(|frames| !frames.is_empty()).collect();
        if captures.len() < 2 {
            return;
        }
        let mean = |frames: &&Vec<[f64; 3]>| {
            [0, 1, 2].map(|axis| frames.iter().map(|frame| frame[axis]).sum::<f64>() / frames.len() as f64)
        };
        let means: Vec<[f64; 3]> = captures.iter().map(mean).collect();
        self.means.group(&means);
        self.within_share +=
            captures.iter().map(|frames| 1.0 / frames.len() as f64).sum::<f64>() / captures.len() as f64;
    }

    /// The variance of a capture's mean that its frames explain.
    fn known(&self, within: f64) -> f64 {
        within * self.within_share / self.means.captures.max(1) as f64
    }

    /// One axis of the means by itself.
    fn axis(&self, axis: usize, within: f64, confidence: f64) -> Option<Spread> {
        self.means.pool.axis(axis)?.spread_beyond(self.known(within), confidence)
    }

    fn spread(&self, within: f64, confidence: f64) -> Option<Spread> {
        self.means.pool.spread_beyond(self.known(within), confidence)
    }
}

struct Gathering<'a> {
    procedure: &'a Procedure,
    asked: &'a Replay,
    workspace: Workspace,
    position: Counted,
    rotation: Counted,
    /// Centroid of the markers at the reference distance: across the ray (twice), along it.
    across: Counted,
    along: Counted,
    /// Turns of a tracker at the reference distance: about what is across the ray (twice), about the ray.
    turned_across: Counted,
    turned_about_ray: Counted,
    touched: Counted,
    played: Counted,
    pivots: [Counted; 3],
    /// Where the tip was in touches of landmarks and divots, and the pivot in pivots.
    at_touched: Standing,
    at_played: Standing,
    at_pivots: [Standing; 3],
    asis: Between,
    pubis: Between,
    divots: Between,
    level: Counted,
    remount_rotation: Counted,
    remount_translation: Counted,
    remount_within: [(f64, f64); 2],
}

const PIVOTS: [Step; 3] = [Step::TipPivot, Step::CentreNative, Step::CentreNew];

impl<'a> Gathering<'a> {
    fn new(procedure: &'a Procedure, asked: &'a Replay) -> Self {
        Self {
            procedure,
            asked,
            workspace: Workspace::default(),
            position: Counted::default(),
            rotation: Counted::default(),
            across: Counted::default(),
            along: Counted::default(),
            turned_across: Counted::default(),
            turned_about_ray: Counted::default(),
            touched: Counted::default(),
            played: Counted::default(),
            pivots: Default::default(),
            at_touched: Standing::default(),
            at_played: Standing::default(),
            at_pivots: [Standing::default(); 3],
            asis: Between::default(),
            pubis: Between::default(),
            divots: Between::default(),
            level: Counted::default(),
            remount_rotation: Counted::default(),
            remount_translation: Counted::default(),
            remount_within: [(0.0, 0.0); 2],
        }
    }

    fn case(&mut self, case: &RecordedCase) {
        for &step in &self.asked.still {
            case.of(step).for_each(|capture| self.still(capture));
        }
        for (which, step) in PIVOTS.into_iter().enumerate() {
            let step = RecordedStep { step, femur: None };
            case.of(step).for_each(|capture| self.pivot(which, capture));
        }
        for &step in &self.asked.remount {
            self.remounted(case, step);
        }
        let Some(session) = sessions(case, self.procedure).into_iter().next() else { return };
        let estimates = self.procedure.measure(&session.observed, &mut self.workspace);
        if let Ok(tip) = estimates.tip {
            self.touches(case, tip, estimates.axes.ok());
        }
        if let Ok(axes) = estimates.axes {
            self.levels(case, axes);
        }
        self.workspace.reclaim(estimates);
    }

    fn poses(&self, capture: &RecordedCapture) -> Vec<Pose<Tracker, Camera>> {
        frame_poses(capture, &self.procedure.instruments)
    }

    /// A tool held still: its frames differ by the camera's noise alone.
    fn still(&mut self, capture: &RecordedCapture) {
        let poses = self.poses(capture);
        let Some(mean) = mean_rotation(&poses) else { return };
        let drawn = self.procedure.instruments.layout(capture.step.step);
        let middle = drawn.map_or(Point::ORIGIN, Layout::centroid);
        let places: Vec<Point<Camera>> = poses.iter().map(|&pose| pose * middle).collect();
        let centre = centroid(&places);
        let Some(ray) = (centre - Point::ORIGIN).direction() else { return };
        let [one, other] = across(ray);
        let split = |vector: Displacement<Camera>| [vector.along(one), vector.along(other), vector.along(ray)];
        let origins: Vec<_> = poses.iter().map(|pose| split(pose.origin - Point::ORIGIN)).collect();
        self.position.group(&origins);
        let turns: Vec<_> = poses.iter().map(|pose| split(turn_from(mean, pose))).collect();
        self.rotation.group(&turns);
        // A marker's noise is that of the mean of so many times the root of their number; it grows with distance across
        // the ray, with its square along it.
        let root = drawn.map_or(1.0, |drawn| (drawn.len() as f64).sqrt());
        let nearer = REFERENCE_DISTANCE_MM / (centre - Point::ORIGIN).length();
        let scaled = |factor: f64, axes: &[usize]| -> Vec<Vec<f64>> {
            places
                .iter()
                .map(|&place| split(place - centre))
                .map(|parts| axes.iter().map(|&axis| factor * root * parts[axis]).collect())
                .collect()
        };
        let two: Vec<[f64; 2]> = scaled(nearer, &[0, 1]).iter().map(|parts| [parts[0], parts[1]]).collect();
        self.across.group(&two);
        let one: Vec<[f64; 1]> = scaled(nearer * nearer, &[2]).iter().map(|parts| [parts[0]]).collect();
        self.along.group(&one);
        let squared = nearer * nearer;
        let across: Vec<[f64; 2]> = turns.iter().map(|[one, other, _]| [squared * one, squared * other]).collect();
        self.turned_across.group(&across);
        let about_ray: Vec<[f64; 1]> = turns.iter().map(|[_, _, ray]| [nearer * ray]).collect();
        self.turned_about_ray.group(&about_ray);
    }

    /// How far a pivot misses its place, with the six unknowns of its fit taken off the degrees of freedom. By least
    /// squares whatever the procedure's estimator: it alone has that many.
    fn pivot(&mut self, which: usize, capture: &RecordedCapture) {
        let poses = self.poses(capture);
        let Ok(pivot) = fit_pivot(&poses) else { return };
        let components = 3.0 * poses.len() as f64;
        if components <= 6.0 {
            return;
        }
        let rms = pivot_residual_rms(&poses, &pivot);
        self.pivots[which].pool.add(0, rms * rms * components, components - 6.0);
        self.pivots[which].captures += 1;
        self.at_pivots[which].add(capture, &poses, &self.procedure.instruments, pivot.in_tool);
    }

    /// Points touched: how the tip moves in a hold, and how captures of one thing differ.
    fn touches(&mut self, case: &RecordedCase, tip: Point<Tracker>, axes: Option<PelvicAxes>) {
        let held = |femur: &FemurFeature| femur.strategy().taking != Taking::Traced;
        let at_femur =
            |step| FemurFeature::ALL.into_iter().filter(held).map(move |femur| RecordedStep::of(step, femur));
        let landmarks = [Step::AsisLeft, Step::AsisRight, Step::Pubis].map(|step| RecordedStep { step, femur: None });
        let baselines_and_reductions = at_femur(Step::FemurBaseline).chain(at_femur(Step::FemurReduction));
        for step in landmarks.into_iter().chain(baselines_and_reductions) {
            for divot in 0..step.places() {
                let captures: Vec<&RecordedCapture> =
                    case.of(step).filter(|capture| capture.divot == divot).collect();
                let at_femur = step.femur.is_some();
                let mut tips: Vec<Vec<Point<Camera>>> = Vec::new();
                for capture in captures {
                    let poses = self.poses(capture);
                    let standing = if at_femur { &mut self.at_played } else { &mut self.at_touched };
                    standing.add(capture, &poses, &self.procedure.instruments, tip);
                    tips.push(poses.into_iter().map(|pose| pose * tip).collect());
                }
                for tips in &tips {
                    let places: Vec<[f64; 3]> = tips.iter().map(|tip| (*tip.vector()).into()).collect();
                    if at_femur { self.played.group(&places) } else { self.touched.group(&places) }
                }
                // Between reductions the femur has moved, so only baselines repeat.
                let (Some(axes), true) = (axes, step.step != Step::FemurReduction) else { continue };
                let side = self.procedure.side;
                let in_patient: Vec<Vec<[f64; 3]>> =
                    tips.iter().map(|tips| tips.iter().map(|&tip| patient(axes, side, tip)).collect()).collect();
                match step.step {
                    Step::AsisLeft | Step::AsisRight => self.asis.group(&in_patient),
                    Step::Pubis => self.pubis.group(&in_patient),
                    _ => self.divots.group(&in_patient),
                }
            }
        }
    }

    /// Readings of the level in one take, as turns about Y and Z of the measured plane, degrees.
    fn levels(&mut self, case: &RecordedCase, axes: PelvicAxes) {
        for capture in case.of(RecordedStep { step: Step::Level, femur: None }) {
            let RecordedFrames::Ups(ups) = &capture.frames else { continue };
            let Some(mean) = mean_direction(ups.iter().copied()) else { continue };
            let turns = ups.iter().map(|up| axes * (up.as_displacement() - mean.as_displacement()));
            let turns: Vec<[f64; 2]> = turns.map(|off| [-off.z().to_degrees(), off.y().to_degrees()]).collect();
            self.level.group(&turns);
        }
    }

    /// Takes between which the camera was taken off and put back, the tool left where it was: each differs from their
    /// mean by one seating of the camera.
    fn remounted(&mut self, case: &RecordedCase, step: RecordedStep) {
        let mut means: Vec<Pose<Tracker, Camera>> = Vec::new();
        let mut shares = 0.0;
        for capture in case.of(step) {
            let poses = self.poses(capture);
            let Some(rotation) = mean_rotation(&poses) else { continue };
            let origins: Vec<_> = poses.iter().map(|pose| pose.origin).collect();
            means.push(Pose::new(rotation, centroid(&origins)));
            shares += 1.0 / poses.len() as f64;
        }
        if means.len() < 2 {
            return;
        }
        let (Some(rotation), share) = (mean_rotation(&means), shares / means.len() as f64) else { return };
        let origins: Vec<_> = means.iter().map(|pose| pose.origin).collect();
        let origin = centroid(&origins);
        let turns: Vec<Displacement<Camera>> = means.iter().map(|mean| turn_from(rotation, mean)).collect();
        let degrees: Vec<[f64; 3]> = turns.iter().map(|turn| (turn.vector() * 1_f64.to_degrees()).into()).collect();
        self.remount_rotation.group(&degrees);
        let shifts = means.iter().zip(&turns).map(|(mean, &turn)| {
            let turned = Rotation::<Camera, Camera>::from_rotation_vector(turn) * (origin - Point::ORIGIN);
            <[f64; 3]>::from(*(mean.origin - Point::ORIGIN - turned).vector())
        });
        self.remount_translation.group(&shifts.collect::<Vec<_>>());
        let reach = (origin - Point::ORIGIN).length();
        self.remount_within[0].0 += share;
        self.remount_within[0].1 += 1.0;
        self.remount_within[1].0 += share * 2.0 / 3.0 * reach * reach;
        self.remount_within[1].1 += 1.0;
    }

    fn rows(&self) -> Vec<Fitted> {
        let mut rows = self.jitter_rows();
        rows.extend(self.touch_rows());
        rows.extend(self.pivot_rows());
        rows.extend(self.capture_rows());
        rows.extend(self.seat_rows());
        rows
    }

    fn plain(&self, counted: &Counted) -> Option<Spread> {
        counted.pool.spread(self.asked.confidence)
    }

    /// What varies beyond the jitter of points that stood so, which only a still capture tells.
    fn beyond_jitter(&self, counted: &Counted, at: &Standing) -> Option<Spread> {
        let jitter = at.across * self.across.variance()
            + at.along * self.along.variance()
            + at.turned_across * self.turned_across.variance()
            + at.turned_about_ray * self.turned_about_ray.variance();
        // On each of three axes.
        let jitter = jitter / (3.0 * f64::max(at.frames, 1.0));
        counted.pool.spread_beyond(jitter, self.asked.confidence).filter(|_| self.position.captures > 0)
    }

    fn jitter_rows(&self) -> Vec<Fitted> {
        let steps = self.asked.still.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
        let from = format!("frames of {steps} in one take");
        let row = |id, meaning, spread, counted: &Counted| row(id, meaning, "mm", spread, &from, counted.captures);
        // The first two intervals hold together with the confidence (Bonferroni): a device is judged by the pair.
        let each = 1.0 - 0.5 * (1.0 - self.asked.confidence);
        let (position, rotation) = (self.position.pool.spread(each), self.rotation.pool.spread(each));
        let rotation = rotation.map(|spread| spread.times(1_f64.to_degrees()));
        let meaning = "jitter of a tracker's orientation, about each axis";
        let mut turning = row("jitter.rotation", meaning, rotation, &self.rotation);
        turning.unit = "deg";
        vec![
            row("jitter.position", "jitter of a tracker's origin, each axis", position, &self.position),
            turning,
            row(
                "jitter.across",
                "jitter of one marker across the ray, at 250 mm",
                self.plain(&self.across),
                &self.across,
            ),
            row(
                "jitter.along",
                "jitter of one marker along the ray, at 250 mm",
                self.plain(&self.along),
                &self.along,
            ),
        ]
    }

    fn touch_rows(&self) -> Vec<Fitted> {
        let (touched, played) = (&self.touched, &self.played);
        let of =
            |id, meaning, spread, from, counted: &Counted| row(id, meaning, "mm", spread, from, counted.captures);
        vec![
            of(
                "touch",
                "jitter and tremor together, at the tip on a landmark, each axis",
                self.plain(touched),
                "frames of a landmark in one take",
                touched,
            ),
            of(
                "tremor",
                "tremor: what touches move beyond jitter, each axis",
                self.beyond_jitter(touched, &self.at_touched),
                "touch less jitter at the tip",
                touched,
            ),
            of(
                "play",
                "jitter and play together, at the tip in a divot, each axis",
                self.plain(played),
                "frames of a divot in one take",
                played,
            ),
            of(
                "groove",
                "what the tip moves in a divot beyond jitter, each axis",
                self.beyond_jitter(played, &self.at_played),
                "play less jitter at the tip",
                played,
            ),
        ]
    }

    fn pivot_rows(&self) -> Vec<Fitted> {
        let names = [
            ("pivot.tip", "slip.tip", "the tip pivot"),
            ("pivot.native", "wander.native", "the native centre"),
            ("pivot.new", "wander.new", "the new centre"),
        ];
        let mut rows = Vec::new();
        for ((which, counted), (id, beyond, what)) in self.pivots.iter().enumerate().zip(names) {
            let (meaning, from) = (format!("residual of {what}, each axis"), "frames about the fitted pivot");
            rows.push(row(id, &meaning, "mm", self.plain(counted), from, counted.captures));
            let more = self.beyond_jitter(counted, &self.at_pivots[which]);
            let meaning = format!("what {what} moves beyond jitter, each axis");
            rows.push(row(beyond, &meaning, "mm", more, "residual less jitter at the lever", counted.captures));
        }
        rows
    }

    fn capture_rows(&self) -> Vec<Fitted> {
        let confidence = self.asked.confidence;
        let mut rows = Vec::new();
        for (ids, between, what) in [
            (["capture.asis.anterior", "capture.asis.superior", "capture.asis.lateral"], &self.asis, "a spine"),
            (["capture.pubis.anterior", "capture.pubis.superior", "capture.pubis.lateral"], &self.pubis, "the pubis"),
        ] {
            for (axis, (id, direction)) in ids.into_iter().zip(["anterior", "superior", "lateral"]).enumerate() {
                let meaning = format!("repeatability of touching {what}, {direction}");
                let spread = between.axis(axis, self.touched.variance(), confidence);
                let captures = between.means.captures;
                rows.push(row(id, &meaning, "mm", spread, "takes of one landmark in one case", captures));
            }
        }
        let (divots, captures) = (&self.divots, self.divots.means.captures);
        let spread = divots.spread(self.played.variance(), confidence);
        let meaning = "repeatability of touching a divot, each axis";
        rows.push(row("capture.divot", meaning, "mm", spread, "takes of one divot at baseline", captures));
        for (axis, (id, about)) in [("level.about_y", "Y"), ("level.about_z", "Z")].into_iter().enumerate() {
            let spread = self.level.pool.axis(axis).and_then(|pool| pool.spread(confidence));
            let meaning = format!("noise of one level reading about {about}");
            rows.push(row(id, &meaning, "deg", spread, "level readings of one take", self.level.captures));
        }
        rows
    }

    fn seat_rows(&self) -> Vec<Fitted> {
        let [turned, shifted] = self.remount_within.map(|(sum, count)| sum / f64::max(count, 1.0));
        let rotation = self.rotation.variance();
        let known_turn = (1_f64.to_degrees() * 1_f64.to_degrees()) * rotation * turned;
        let known_shift = self.position.variance() * turned + rotation * shifted;
        let turn = self.remount_rotation.pool.spread_beyond(known_turn, self.asked.confidence);
        let shift = self.remount_translation.pool.spread_beyond(known_shift, self.asked.confidence);
        // Before and after are two seatings, so their difference varies by twice the variance.
        let both = |spread: Option<Spread>| spread.map(|spread| spread.times(std::f64::consts::SQRT_2));
        let (from, count) =
            ("takes with the camera put back between them (replay.remount)", self.remount_rotation.captures);
        vec![
            row("seat.rotation", "repeatability of seating the camera, about each axis", "deg", turn, from, count),
            row("seat.translation", "repeatability of seating the camera, each axis", "mm", shift, from, count),
            row("remount.rotation", "one seating against another, about each axis", "deg", both(turn), from, count),
            row("remount.translation", "one seating against another, each axis", "mm", both(shift), from, count),
        ]
    }
}

fn row(
    id: &'static str,
    meaning: &str,
    unit: &'static str,
    spread: Option<Spread>,
    from: &str,
    captures: u64,
) -> Fitted {
    Fitted { id, meaning: meaning.to_owned(), unit, spread, from: from.to_owned(), captures }
}

/// A place as anterior, superior, lateral.
fn patient(axes: PelvicAxes, side: Side, place: Point<Camera>) -> [f64; 3] {
    let place = axes * (place - Point::ORIGIN);
    [place.x(), place.y(), side.sign() * place.z()]
}

/// Two directions across a ray.
fn across(ray: Direction<Camera>) -> [Direction<Camera>; 2] {
    let aside = if ray.x().abs() < 0.9 { Direction::X } else { Direction::Y };
    let one = ray.as_displacement().cross(aside.as_displacement()).direction().unwrap_or(Direction::Y);
    let other = ray.as_displacement().cross(one.as_displacement()).direction().unwrap_or(Direction::Z);
    [one, other]
}

/// The turn of a pose from an orientation, in camera axes.
fn turn_from(mean: Rotation<Tracker, Camera>, pose: &Pose<Tracker, Camera>) -> Displacement<Camera> {
    let turn: Rotation<Camera, Camera> = pose.rotation * mean.inverse();
    turn.rotation_vector()
}

/// The orientation from which the turns of the frames cancel; `None` without frames.
fn mean_rotation(poses: &[Pose<Tracker, Camera>]) -> Option<Rotation<Tracker, Camera>> {
    let mut mean = poses.first()?.rotation;
    for _ in 0..5 {
        let sum = poses.iter().fold(Displacement::ZERO, |sum, pose| sum + turn_from(mean, pose));
        mean = Rotation::<Camera, Camera>::from_rotation_vector((1.0 / poses.len() as f64) * sum) * mean;
    }
    Some(mean)
}
