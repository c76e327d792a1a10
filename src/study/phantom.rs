//! The tracker by itself, on a virtual phantom: single points over the volume, distances between them, the pointer
//! tilted, and what a point seems to move when the camera is put back or knocked.
//!
//! In the sense of ASTM F2554 (accuracy of a navigation system's localiser on a phantom; scope from memory): bias, spread,
//! root mean square and 95th percentile of points and distances. The orientation of objects is outside that standard.

use crate::analysis::CONFIDENCE;
use crate::analysis::moments::{moments, rms};
use crate::analysis::order::quantile;
use crate::experiment::Variant;
use crate::geometry::{Displacement, Point, Pose};
use crate::measurement::{Camera, Observations, PivotMemory, Workspace};
use crate::simulation::noise::rotation_then_translation;
use crate::simulation::{CaseKey, Hold, Simulator, TrueHold};
use rayon::prelude::*;

/// A phantom before the camera: a cube of three by three by three divots.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PhantomPlan {
    /// Distance of its middle from the camera along the optical axis, mm.
    pub distance_mm: f64,
    /// Distance between neighbouring divots, mm.
    pub spacing_mm: f64,
    /// Tilts of the pointer about the middle divot, degrees.
    pub tilt_deg: f64,
}

impl Default for PhantomPlan {
    fn default() -> Self {
        Self { distance_mm: 250.0, spacing_mm: 75.0, tilt_deg: 30.0 }
    }
}

/// Errors of one thing over the trials: of a vector in the camera's axes (Z along the optical axis), or of a length.
#[derive(Clone, Debug, PartialEq)]
pub struct PointSummary {
    /// What it is.
    pub name: String,
    /// Where it is in the camera's axes, mm; `None` for what has no place.
    pub place: Option<[f64; 3]>,
    /// Trials measured.
    pub n: u64,
    /// Mean error on each axis (one number for a length or an angle).
    pub bias: Vec<f64>,
    /// Standard deviation on each axis, likewise.
    pub sd: Vec<f64>,
    /// Root mean square of the length of the error.
    pub rms: f64,
    /// 95 of 100 errors are no longer than this.
    pub p95: f64,
    /// Lower and upper 95 % bound of that; `None` with too few trials.
    pub p95_interval: (Option<f64>, Option<f64>),
}

/// What the phantom shows of one variant.
#[derive(Clone, Debug, PartialEq)]
pub struct PhantomStudy {
    /// Position error of each divot, mm.
    pub points: Vec<PointSummary>,
    /// Error of the distance between two divots, by its length, mm.
    pub distances: Vec<PointSummary>,
    /// Position error in the middle with the pointer tilted, mm.
    pub tilted: Vec<PointSummary>,
    /// Angle by which the pointer's axis is off, degrees, of each divot.
    pub pointers: Vec<PointSummary>,
    /// How far each divot seems to have moved after the camera was put back, then after a knock, mm.
    pub disturbed: [Vec<PointSummary>; 2],
    /// Trials that gave no answer.
    pub failed: u64,
}

/// What happens to the camera between the first and a later round of the phantom.
pub const DISTURBANCES: [&str; 2] = ["put back", "knocked"];

/// One trial: measured tips and the angle of the pointer's axis, hold by hold, round by round.
struct Trial {
    tips: Vec<Point<Camera>>,
    angles_deg: Vec<f64>,
    truths: Vec<TrueHold>,
}

/// Touches the phantom so many times, each time with a new device. The camera stands before it by itself, whatever carries it
/// in the theatre.
#[must_use]
pub fn phantom(variant: &Variant, seed: u64, trials: u64, plan: PhantomPlan) -> PhantomStudy {
    let simulator = Simulator::new(variant.model.clone(), &variant.procedure);
    let (holds, middle) = (holds(plan), Point::new(0.0, 0.0, plan.distance_mm));
    let trials: Vec<Option<Trial>> = (0..usize::try_from(trials).unwrap_or(usize::MAX))
        .into_par_iter()
        .map_init(
            || (Observations::of_markers(), Workspace::default()),
            |(observed, workspace), trial| {
                let key = CaseKey::alone(seed, trial as u64);
                let seats = seats(variant, &key);
                let truths = simulator.touch_phantom(&key, middle, &holds, &seats, observed);
                measure(variant, observed, workspace, truths)
            },
        )
        .collect();
    let failed = trials.iter().filter(|trial| trial.is_none()).count() as u64;
    let trials: Vec<Trial> = trials.into_iter().flatten().collect();
    PhantomStudy { failed, ..summed(&holds, &trials) }
}

/// The cube, row by row, then the tilted holds in its middle.
fn holds(plan: PhantomPlan) -> Vec<Hold> {
    let at = |i: i32| f64::from(i) * plan.spacing_mm;
    let mut holds = Vec::new();
    for z in -1..=1 {
        for y in -1..=1 {
            for x in -1..=1 {
                let place = Point::new(at(x), at(y), plan.distance_mm + at(z));
                holds.push(Hold { place, tilt_deg: [0.0, 0.0] });
            }
        }
    }
    let tilt = plan.tilt_deg;
    for tilt_deg in [[tilt, 0.0], [-tilt, 0.0], [0.0, tilt], [0.0, -tilt]] {
        holds.push(Hold { place: Point::new(0.0, 0.0, plan.distance_mm), tilt_deg });
    }
    holds
}

/// Divots of the cube.
const CUBE: usize = 27;

/// As first seated, put back, and knocked.
fn seats(variant: &Variant, key: &CaseKey) -> [Pose<Camera, Camera>; 3] {
    let camera = &variant.model.noise.camera;
    let first = rotation_then_translation([0.0; 3], [0.0; 3]);
    let knock = if camera.drift.is_off() {
        first
    } else {
        // Here every trial is knocked: how far, not how often, is asked.
        let mut scores = camera.drift.case_stream(key);
        let rotation_deg = camera.drift.three_values(&camera.drift.model.knock_rotation_deg, scores.next_three());
        let shift_mm = camera.drift.three_values(&camera.drift.model.knock_translation_mm, scores.next_three());
        rotation_then_translation(rotation_deg, shift_mm)
    };
    [first, camera.remount.displacement(key), knock]
}

fn measure(
    variant: &Variant,
    observed: &Observations,
    workspace: &mut Workspace,
    truths: Vec<TrueHold>,
) -> Option<Trial> {
    let mut captures = variant.procedure.poses(observed, workspace).into_iter();
    let tip = variant.procedure.pivot.fit(&captures.next()?.ok()?, &mut PivotMemory::default()).ok()?.in_tool;
    let (mut tips, mut angles_deg) = (Vec::new(), Vec::new());
    for (poses, truth) in captures.zip(&truths) {
        let poses = poses.ok().filter(|poses| !poses.is_empty())?;
        let share = 1.0 / poses.len() as f64;
        let sum = |f: &dyn Fn(&Pose<_, Camera>) -> Displacement<Camera>| {
            share * poses.iter().fold(Displacement::ZERO, |sum, pose| sum + f(pose))
        };
        tips.push(Point::ORIGIN + sum(&|pose| *pose * tip - Point::ORIGIN));
        let shaft = sum(&|pose| pose.rotation * (Point::ORIGIN - tip)).direction()?;
        let (along, apart) =
            (shaft.cosine(truth.shaft), shaft.as_displacement().cross(truth.shaft.as_displacement()));
        angles_deg.push(libm::atan2(apart.length(), along).to_degrees());
    }
    Some(Trial { tips, angles_deg, truths })
}

fn summed(holds: &[Hold], trials: &[Trial]) -> PhantomStudy {
    let place = |hold: usize| <[f64; 3]>::from(*holds[hold].place.vector());
    let point = |name: String, hold: usize, error: &dyn Fn(&Trial) -> Displacement<Camera>| {
        let errors: Vec<[f64; 3]> = trials.iter().map(|trial| (*error(trial).vector()).into()).collect();
        of_vectors(name, Some(place(hold)), &errors)
    };
    let off = |hold: usize| move |trial: &Trial| trial.tips[hold] - trial.truths[hold].tip;
    let points = (0..CUBE).map(|hold| point("point".to_owned(), hold, &off(hold))).collect();
    let tilted = (CUBE..holds.len())
        .map(|hold| {
            let [about_x, about_y] = holds[hold].tilt_deg;
            point(format!("tilted {about_x} deg about X, {about_y} about Y"), hold, &off(hold))
        })
        .collect();
    let pointers = (0..CUBE)
        .map(|hold| {
            let angles: Vec<f64> = trials.iter().map(|trial| trial.angles_deg[hold]).collect();
            of_lengths("pointer axis".to_owned(), Some(place(hold)), &angles)
        })
        .collect();
    let disturbed = [1, 2].map(|round: usize| {
        (0..CUBE)
            .map(|hold| {
                let later = round * holds.len() + hold;
                point(DISTURBANCES[round - 1].to_owned(), hold, &|trial| trial.tips[later] - trial.tips[hold])
            })
            .collect()
    });
    PhantomStudy { points, distances: distances(holds, trials), tilted, pointers, disturbed, failed: 0 }
}

/// Distances between all pairs of divots, by their length.
fn distances(holds: &[Hold], trials: &[Trial]) -> Vec<PointSummary> {
    let length = |one: usize, other: usize| (holds[one].place - holds[other].place).length();
    let mut pairs: Vec<(usize, usize)> =
        (0..CUBE).flat_map(|one| (one + 1..CUBE).map(move |other| (one, other))).collect();
    pairs.sort_by(|a, b| length(a.0, a.1).total_cmp(&length(b.0, b.1)));
    pairs
        .chunk_by(|a, b| (length(a.0, a.1) - length(b.0, b.1)).abs() < 1e-6)
        .map(|pairs| {
            let (one, other) = pairs[0];
            let errors: Vec<f64> = trials
                .iter()
                .flat_map(|trial| {
                    pairs.iter().map(|&(one, other)| {
                        let measured = (trial.tips[one] - trial.tips[other]).length();
                        measured - (trial.truths[one].tip - trial.truths[other].tip).length()
                    })
                })
                .collect();
            let found = of_lengths(format!("{:.1} mm apart", length(one, other)), None, &errors);
            // Distances of one trial hang together: no interval that takes them as independent.
            PointSummary { p95_interval: (None, None), ..found }
        })
        .collect()
}

fn of_vectors(name: String, place: Option<[f64; 3]>, errors: &[[f64; 3]]) -> PointSummary {
    let axes = [0, 1, 2].map(|axis| errors.iter().map(|error| error[axis]).collect::<Vec<f64>>());
    let length = |[x, y, z]: &[f64; 3]| (x * x + y * y + z * z).sqrt();
    summary(name, place, &axes, errors.iter().map(length).collect())
}

fn of_lengths(name: String, place: Option<[f64; 3]>, errors: &[f64]) -> PointSummary {
    summary(name, place, &[errors.to_vec()], errors.iter().map(|error| error.abs()).collect())
}

fn summary(name: String, place: Option<[f64; 3]>, axes: &[Vec<f64>], mut lengths: Vec<f64>) -> PointSummary {
    lengths.sort_unstable_by(f64::total_cmp);
    let each = |f: fn(&[f64]) -> Option<f64>| axes.iter().map(|axis| f(axis).unwrap_or(f64::NAN)).collect();
    PointSummary {
        name,
        place,
        n: lengths.len() as u64,
        bias: each(|axis| Some(moments(axis)?.mean)),
        sd: each(|axis| moments(axis)?.sd()),
        rms: rms(&lengths, CONFIDENCE).map_or(f64::NAN, |rms| rms.value),
        p95: quantile(&lengths, 0.95).unwrap_or(f64::NAN),
        p95_interval: crate::analysis::order::interval(&lengths, 0.95, crate::analysis::CONFIDENCE),
    }
}
