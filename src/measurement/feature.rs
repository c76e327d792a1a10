//! The femoral feature: where it is, and the turn that restores its baseline orientation.

use super::failure::Reason;
use super::frames::{Camera, Feature};
use super::options::{FemurFeature, Instruments};
use crate::geometry::{
    Circle, Direction, EllipseFit, Matrix3, Point, Pose, PrincipalAxes, Rotation, TracedPoints, Vector3, fit_circle,
    fit_ellipse,
};

/// Points of the three-divots feature.
pub const DIVOT_COUNT: usize = 3;

/// What the feature tells of the femur.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FeaturePose {
    /// A place only.
    Place(Point<Camera>),
    /// A place and an axis; spin about the axis stays unseen.
    Axial(Point<Camera>, Direction<Camera>),
    /// A pose up to the half turns that leave an ellipse as it is.
    Elliptic(Pose<Feature, Camera>),
    /// A full pose.
    Full(Pose<Feature, Camera>),
}

impl FeaturePose {
    /// Its origin, mm.
    #[must_use]
    pub fn place(&self) -> Point<Camera> {
        match *self {
            Self::Place(place) | Self::Axial(place, _) => place,
            Self::Elliptic(pose) | Self::Full(pose) => pose.origin,
        }
    }
}

/// A feature pose with what its estimator tells of its own fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trace {
    /// The pose.
    pub pose: FeaturePose,
    /// Root mean square residual of the fit, mm; 0 for a single point.
    pub residual_rms_mm: f64,
    /// Largest gap of a trace, degrees; 0 for touched points.
    pub largest_gap_deg: f64,
}

/// Working memory of the trace estimators.
#[derive(Debug, Default)]
pub struct TraceMemory {
    traced: TracedPoints<Camera>,
    spokes: Vec<Spoke>,
}

/// A gap of a trace above this is a failure, degrees.
const LARGEST_GAP_DEG: f64 = 120.0;

/// The pose of a traced groove (circle or ellipse) from the tip positions.
///
/// # Errors
/// [`Reason::TraceIncomplete`] for a gap over 120 degrees, or the reason of the fit.
pub fn traced(
    feature: FemurFeature,
    tips: &[Point<Camera>],
    instruments: &Instruments,
    memory: &mut TraceMemory,
) -> Result<Trace, Reason> {
    if tips.is_empty() {
        return Err(Reason::NotRecorded);
    }
    let (pose, residual_rms_mm, centre, plane) = if feature == FemurFeature::Circle {
        let Circle { centre, axis, residual_rms_mm, .. } = fit_circle(tips)?;
        let [_, across, along] = PrincipalAxes::of(tips).axes;
        (FeaturePose::Axial(centre, axis), residual_rms_mm, centre, [along, across])
    } else {
        let EllipseFit { pose, residual_rms_mm } = fit_ellipse(tips, instruments.ellipse, &mut memory.traced)?;
        let [_, major, minor] = pose.rotation.axes();
        (FeaturePose::Elliptic(pose), residual_rms_mm, pose.origin, [major, minor])
    };
    let largest_gap_deg = trace_gap(tips, centre, plane, &mut memory.spokes);
    if largest_gap_deg > LARGEST_GAP_DEG {
        return Err(Reason::TraceIncomplete);
    }
    Ok(Trace { pose, residual_rms_mm, largest_gap_deg })
}

/// The pose of the three touched divots.
///
/// # Errors
/// [`Reason::RankLoss`] if they are in a line.
pub fn three_divots(points: [Point<Camera>; DIVOT_COUNT], instruments: &Instruments) -> Result<Trace, Reason> {
    let fit = instruments.three_divots.fit(&points)?;
    Ok(Trace { pose: FeaturePose::Full(fit.pose), residual_rms_mm: fit.residual_rms_mm, largest_gap_deg: 0.0 })
}

/// Largest angle about `centre`, degrees, between neighbouring points of a trace, seen along the normal of a plane with
/// these two perpendicular axes.
fn trace_gap(
    tips: &[Point<Camera>],
    centre: Point<Camera>,
    plane: [Direction<Camera>; 2],
    spokes: &mut Vec<Spoke>,
) -> f64 {
    spokes.clear();
    spokes.extend(tips.iter().map(|&tip| Spoke::new(plane.map(|axis| (tip - centre).along(axis)))));
    spokes.sort_unstable_by(|one, other| one.turn.total_cmp(&other.turn));
    let Some(last) = spokes.last() else { return 360.0 };
    // From each to the next, and round from the last to the first.
    let before = std::iter::once(last).chain(spokes.iter());
    let gaps = before.zip(spokes.iter()).map(|(before, after)| before.to(after));
    let largest = gaps.fold(Spoke::default(), |largest, gap| if gap.turn > largest.turn { gap } else { largest });
    let [x, y] = largest.end;
    libm::atan2(y, x).to_degrees().rem_euclid(360.0)
}

/// A vector in a plane, and a number that grows with its angle: 0 to 4 once round, without trigonometry.
#[derive(Clone, Copy, Debug, Default)]
struct Spoke {
    end: [f64; 2],
    turn: f64,
}

impl Spoke {
    fn new([x, y]: [f64; 2]) -> Self {
        let along = x / (x.abs() + y.abs()).max(f64::MIN_POSITIVE);
        Self { end: [x, y], turn: if y >= 0.0 { 1.0 - along } else { 3.0 + along } }
    }

    /// The other as this one sees it: at the angle between them.
    fn to(&self, other: &Self) -> Self {
        let ([x, y], [u, v]) = (self.end, other.end);
        Self::new([x * u + y * v, x * v - y * u])
    }
}

/// `R`: the turn of the femur from its baseline to its later orientation, as far as the feature shows it.
///
/// # Errors
/// [`Reason::PerpendicularAxes`] for a circle whose two axes are perpendicular.
pub fn restored_turn(baseline: &FeaturePose, later: &FeaturePose) -> Result<Rotation<Camera, Camera>, Reason> {
    match (baseline, later) {
        (FeaturePose::Axial(_, first), FeaturePose::Axial(_, second)) => {
            let cosine = first.cosine(*second);
            // The sign of a fitted axis means nothing: take the second along the first.
            if cosine.abs() < 1e-6 {
                return Err(Reason::PerpendicularAxes);
            }
            let second = if cosine < 0.0 { -*second } else { *second };
            Rotation::smallest_between(*first, second).ok_or(Reason::PerpendicularAxes)
        }
        (FeaturePose::Elliptic(first), FeaturePose::Elliptic(second)) => {
            Ok(smallest_elliptic_turn(first.rotation, second.rotation))
        }
        (FeaturePose::Full(first), FeaturePose::Full(second)) => Ok(second.rotation * first.rotation.inverse()),
        // A place alone: the leg must be put back as it was.
        _ => Ok(Rotation::identity()),
    }
}

/// The half turns about its own axes that leave an ellipse as it is, as signs of its axes.
const ELLIPSE_HALF_TURNS: [[f64; 3]; 4] = [[1.0, 1.0, 1.0], [1.0, -1.0, -1.0], [-1.0, 1.0, -1.0], [-1.0, -1.0, 1.0]];

/// `R_1 S R_0'` with the half turn `S` of largest trace: the smallest turn that an ellipse allows.
fn smallest_elliptic_turn(
    first: Rotation<Feature, Camera>,
    second: Rotation<Feature, Camera>,
) -> Rotation<Camera, Camera> {
    // trace(R_1 S R_0') is the sum over the axes of their signed cosines.
    let (before, after) = (first.axes(), second.axes());
    let cosines = [0, 1, 2].map(|i| before[i].cosine(after[i]));
    let trace = |signs: &[f64; 3]| signs.iter().zip(&cosines).map(|(s, c)| s * c).sum::<f64>();
    let best = ELLIPSE_HALF_TURNS
        .iter()
        .fold(&ELLIPSE_HALF_TURNS[0], |best, signs| if trace(signs) > trace(best) { signs } else { best });
    let half_turn = Rotation::<Feature, Feature>::from_matrix(Matrix3::from_diagonal(&Vector3::from(*best)));
    second * half_turn * first.inverse()
}
