//! A tool: its markers, how it is held: its axis along a direction, its markers turned to the camera; and how it is swung on a
//! cone.

use super::TruePelvis;
use super::model::Tools;
use crate::geometry::{Direction, Displacement, Matrix3, Point, Rotation, Vector3};
use crate::measurement::{Side, Tracker};

/// The tools whose trackers the camera sees.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ToolKind {
    /// The probe.
    Probe,
    /// The cup inserter.
    Inserter,
    /// The native head, then the trial head.
    Head,
    /// The pelvis itself, where the camera is on a stand.
    Pelvis,
}

impl ToolKind {
    /// Every tool, in the order of the file.
    pub const ALL: [Self; 4] = [Self::Probe, Self::Inserter, Self::Head, Self::Pelvis];

    /// Its name in files.
    #[must_use]
    pub fn word(self) -> &'static str {
        &self.part()[1..]
    }

    /// How it goes on the id of a source that draws each tool by itself.
    pub const fn part(self) -> &'static str {
        match self {
            Self::Probe => ".probe",
            Self::Inserter => ".inserter",
            Self::Head => ".head",
            Self::Pelvis => ".pelvis",
        }
    }
}

/// A tool in its tracker's axes, as drawn.
#[derive(Clone, Debug)]
pub struct Tool {
    /// Which it is.
    pub kind: ToolKind,
    /// Where its markers are.
    pub markers: Vec<Point<Tracker>>,
    /// In which direction each of them looks.
    pub normals: Vec<Direction<Tracker>>,
    /// From tracker axes to those whose X is the tool's own axis, Y as near to where the markers face (+Z) as can be.
    upright: Rotation<Tracker, Tracker>,
    /// Two directions across its axis.
    pub transverse: [Direction<Tracker>; 2],
    /// Its working point: tip, or centre of the head.
    pub point: Point<Tracker>,
}

impl Tool {
    /// A tool with its own axis, of any length but 0.
    pub fn new(kind: ToolKind, tools: &Tools, axis: Displacement<Tracker>, point_mm: [f64; 3]) -> Self {
        let (markers_mm, normals) = tools.markers(kind);
        let normal =
            |i: usize| normals.get(i).and_then(|&normal| Displacement::from_vector(normal.into()).direction());
        let axis = axis.direction().unwrap_or(Direction::Y);
        let [x, y, z] = triad(axis, Direction::Z, Direction::X);
        let [_, first, second] = triad(axis, Direction::X, Direction::Z);
        Self {
            kind,
            normals: (0..markers_mm.len()).map(|i| normal(i).unwrap_or(Direction::Z)).collect(),
            markers: markers_mm.iter().map(|&[x, y, z]| Point::new(x, y, z)).collect(),
            upright: Rotation::<Tracker, Tracker>::from_axes(x, y, z).inverse(),
            transverse: [first, second],
            point: Point::from_vector(point_mm.into()),
        }
    }

    /// A tool whose axis runs from its working point to its tracker.
    pub fn with_shaft(kind: ToolKind, tools: &Tools, point_mm: [f64; 3]) -> Self {
        let point: Point<Tracker> = Point::from_vector(point_mm.into());
        Self::new(kind, tools, Point::ORIGIN - point, point_mm)
    }

    /// Its orientation where its axis points along `target`, turned about it so that the markers look towards `facing` as far
    /// as the axis allows.
    pub fn held(
        &self,
        target: Direction<TruePelvis>,
        facing: Direction<TruePelvis>,
    ) -> Rotation<Tracker, TruePelvis> {
        let [x, y, z] = triad(target, facing, Direction::Y);
        Rotation::<Tracker, TruePelvis>::from_axes(x, y, z) * self.upright
    }
}

/// A right-handed triple whose first axis is `first` and whose second is as near `second` as can be; `spare`
/// where the two are parallel.
fn triad<A>(first: Direction<A>, second: Direction<A>, spare: Direction<A>) -> [Direction<A>; 3] {
    let across = |d: Direction<A>| d.as_displacement() - d.cosine(first) * first;
    let one = across(second);
    let second = if one.length() > 1e-6 { one } else { across(spare) };
    let second = second.direction().unwrap_or(spare);
    [first, second, first.third(second)]
}

/// Cosine and sine of equally spaced angles, once round from 0.
#[must_use]
pub fn once_round(frames: usize) -> Vec<(f64, f64)> {
    let angle = |frame| std::f64::consts::TAU * frame as f64 / frames as f64;
    let cosine_and_sine = |(sine, cosine)| (cosine, sine);
    (0..frames).map(|frame| cosine_and_sine(libm::sincos(angle(frame)))).collect()
}

/// A swing of a tool round a cone: the frames are equally spaced round the axis, each turned from the axis by
/// the same angle about a transverse axis: `Rz(phi) Ry(theta) Rz(-phi)` with the cone's axis as z.
#[derive(Clone, Debug)]
pub struct ConeSwing {
    sine: f64,
    cosine: f64,
    around: Vec<(f64, f64)>,
}

impl ConeSwing {
    /// So many frames once round, at this angle from the axis.
    pub fn new(frames: usize, cone_deg: f64) -> Self {
        let (sine, cosine) = libm::sincos(cone_deg.to_radians());
        Self { sine, cosine, around: once_round(frames) }
    }

    /// The turns of the frames about a cone's axis. A left hip is swung as the mirror image of a right one, so
    /// that each frame's noise meets the mirrored turn.
    pub fn turns(
        &self,
        axis: Direction<TruePelvis>,
        side: Side,
    ) -> impl ExactSizeIterator<Item = Rotation<TruePelvis, TruePelvis>> + '_ {
        let [_, first, second] = triad(axis, Direction::Y, Direction::X);
        self.around.iter().map(move |&(cosine, sine)| {
            // A turn is a pseudovector: its mirror image is minus the mirrored vector. The triad's third axis, a
            // vector product, has changed its sign already.
            let transverse: Displacement<TruePelvis> = (side.sign() * cosine) * first + sine * second;
            Rotation::from_matrix(self.turn_about(transverse.vector()))
        })
    }

    fn turn_about(&self, unit: &Vector3<f64>) -> Matrix3<f64> {
        let cross = unit.cross_matrix();
        Matrix3::identity() + self.sine * cross + (1.0 - self.cosine) * (cross * cross)
    }
}
