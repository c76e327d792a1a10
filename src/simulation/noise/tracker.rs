//! What the camera sees of a tracker.

use crate::geometry::lanes::sum;
use crate::geometry::{Displacement, LANES, Lanes, Point, PointLanes};
use crate::measurement::{Camera, Tracker};
use crate::simulation::Quantity;
use crate::simulation::source::{Basis, Source};
use crate::simulation::streams::{CaseKey, Scores};
use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

/// Sources `tracker.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TrackerNoise {
    /// `tracker.jitter`.
    pub jitter: Source<Jitter>,
    /// `tracker.lens`.
    pub lens: Source<Lens>,
    /// `tracker.build`.
    pub build: Source<Build>,
}

/// Noise of marker positions.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Jitter {
    /// One marker, each axis across the ray, at the reference distance.
    pub across_mm: Quantity,
    /// One marker, along the ray, at the reference distance.
    pub along_mm: Quantity,
    /// The image of one marker, each coordinate, where cameras form images.
    pub pixel_px: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// What calibration leaves of the camera's distortion.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lens {
    /// Root mean square length of the displacement over the working volume, in expectation over devices.
    pub rms_mm: f64,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// Markers off their drawing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Build {
    /// One marker, each axis of its tracker.
    pub each_axis_mm: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// Distance at which jitter is stated, mm.
pub const REFERENCE_DISTANCE_MM: f64 = 250.0;

impl Source<Jitter> {
    /// Noise of the image of one marker, px: two scores.
    #[inline]
    #[must_use]
    pub fn on_image_px(&self, scores: &mut Scores) -> [f64; 2] {
        [0, 1].map(|_| self.value(&self.model.pixel_px, scores.next_score()))
    }

    /// Where markers are seen; three scores for each of the first `count`, two across the ray and one
    /// along it.
    #[inline]
    #[must_use]
    pub fn disturbed(&self, markers: PointLanes<Camera>, count: usize, scores: &mut Scores) -> PointLanes<Camera> {
        let mut drawn = [0.0; 3 * LANES];
        scores.fill(&mut drawn[..3 * count]);
        let [first, second, third] =
            [0, 1, 2].map(|i| Lanes::new(std::array::from_fn(|marker| drawn[3 * marker + i])));
        let per_reference = 1.0 / REFERENCE_DISTANCE_MM;
        let (across, along) = (&self.model.across_mm, &self.model.along_mm);
        let ray = Rays::to(&markers);
        let [one, other] = ray.across();
        let one_mm = per_reference * self.values(across, first);
        let other_mm = per_reference * self.values(across, second);
        let along_mm = per_reference * per_reference * ray.distance * self.values(along, third);
        let p = markers.components;
        PointLanes::new([0, 1, 2].map(|i| p[i] + (one_mm * one[i] + other_mm * other[i] + along_mm * p[i])))
    }
}

/// The rays from the camera to positions side by side.
struct Rays {
    position: [Lanes; 3],
    distance: Lanes,
    sign: Lanes,
    factor: Lanes,
}

impl Rays {
    #[inline]
    fn to(positions: &PointLanes<Camera>) -> Self {
        let position @ [x, y, z] = positions.components;
        let distance = (x * x + y * y + z * z).sqrt();
        let sign = z.is_sign_negative().bitselect(Lanes::splat(-1.0), Lanes::splat(1.0));
        Self { position, distance, sign, factor: -1.0 / (sign * distance + z) }
    }

    /// Two perpendicular vectors across each ray, each as long as the ray, without a branch (after Duff T et al.
    /// J Comput Graph Tech 2017;6:1-8, scaled by the distance).
    #[inline]
    fn across(&self) -> [[Lanes; 3]; 2] {
        let Self { position: [x, y, _], distance, sign, factor } = *self;
        let mixed = x * y * factor;
        [[distance + sign * x * x * factor, sign * mixed, -sign * x], [mixed, sign * distance + y * y * factor, -y]]
    }
}

/// Half the edge of the working volume, a cube with its edges along the camera's axes, mm.
pub const VOLUME_HALF_EDGE_MM: f64 = 150.0;

/// Distance of the working volume's centre from the camera's origin along the optical axis, mm: the volume begins
/// at the camera. Beyond it the polynomial goes on.
pub const VOLUME_CENTRE_MM: f64 = 150.0;

/// One device's displacement field: a quadratic polynomial of position.
///
/// With `u` the position from the centre of the volume in half edges, each camera axis has the functions
/// `sqrt(3) u_i`, `3 u_i u_j` (i < j) and `sqrt(5)/2 (3 u_i^2 - 1)` (products of Legendre polynomials), which are
/// orthonormal over the volume. The matrix of the linear ones is symmetric and there is no constant: a turn and a
/// shift of all that is seen would cancel in every reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LensField {
    /// For each axis the polynomial's coefficients, each in every lane: `1, u, v, w, v w, w u, u v, u u, v v, w w`.
    coefficients: [[Lanes; 10]; 3],
}

impl Source<Lens> {
    /// The field of a device; `None` if the source is off.
    #[must_use]
    pub fn field(&self, key: &CaseKey) -> Option<LensField> {
        if self.is_off() {
            return None;
        }
        let mut scores = self.device_stream(key);
        // Nine coefficients for mixed and nine for square functions, three on the linear diagonal, and three pairs of
        // equal ones beside it with half the variance: 24 variances in all.
        let sd_mm = self.switch.scale * self.model.rms_mm / 24.0_f64.sqrt();
        let mut drawn = || Vector3::from(scores.next_three()) * sd_mm;
        let (along, beside) = (drawn(), drawn() * std::f64::consts::FRAC_1_SQRT_2);
        #[rustfmt::skip]
        let linear = Matrix3::new(
            along.x,  beside.z, beside.y,
            beside.z, along.y,  beside.x,
            beside.y, beside.x, along.z,
        );
        let mixed = Matrix3::from_columns(&[drawn(), drawn(), drawn()]);
        let square = Matrix3::from_columns(&[drawn(), drawn(), drawn()]);
        // The functions' factors are taken in, so that a marker costs nothing but powers of its position.
        let square = 1.5 * 5.0_f64.sqrt() * square;
        let constant = -square * Vector3::repeat(1.0 / 3.0);
        let scale = 1.0 / VOLUME_HALF_EDGE_MM;
        let (linear, mixed, square) =
            (3.0_f64.sqrt() * scale * linear, 3.0 * scale * scale * mixed, scale * scale * square);
        let coefficients = [0, 1, 2].map(|i| {
            let [l, m, s] = [&linear, &mixed, &square].map(|matrix| matrix.row(i));
            [constant[i], l[0], l[1], l[2], m[0], m[1], m[2], s[0], s[1], s[2]].map(Lanes::splat)
        });
        Some(LensField { coefficients })
    }
}

impl LensField {
    /// Where markers seem to be.
    #[inline]
    #[must_use]
    pub fn seen(&self, markers: PointLanes<Camera>) -> PointLanes<Camera> {
        PointLanes::new(sum(markers.components, self.displacement(markers)))
    }

    /// How far from where they are markers seem to be, mm.
    #[inline]
    #[must_use]
    pub fn displacement(&self, markers: PointLanes<Camera>) -> [Lanes; 3] {
        let [u, v, z] = markers.components;
        let w = z - VOLUME_CENTRE_MM;
        self.coefficients.map(|[constant, l0, l1, l2, m0, m1, m2, s0, s1, s2]| {
            let along_u = l0 + s0 * u + m2 * v;
            let along_v = l1 + s1 * v + m0 * w;
            let along_w = l2 + s2 * w + m1 * u;
            constant + along_u * u + along_v * v + along_w * w
        })
    }
}

impl Source<Build> {
    /// Where the markers of a tool are in truth, into `built`. Each tool has a stream of its own: `part` is its name
    /// with a dot before it.
    pub fn build(&self, key: &CaseKey, part: &str, drawn: &[Point<Tracker>], built: &mut Vec<Point<Tracker>>) {
        built.clear();
        if self.is_off() {
            built.extend_from_slice(drawn);
            return;
        }
        let mut scores = self.device_part_stream(key, part);
        built.extend(drawn.iter().map(|&marker| {
            let off_mm = self.three_values(&self.model.each_axis_mm, scores.next_three());
            marker + Displacement::from_vector(off_mm.into())
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Layout;
    use crate::simulation::source::{BasisKind, Switch};
    use crate::simulation::source_key;

    fn source<M>(id: &str, model: M) -> Source<M> {
        Source { model, switch: Switch { key: source_key(id), ..Switch::default() } }
    }

    fn basis() -> Basis {
        Basis { kind: BasisKind::Assumed, source: None, note: None }
    }

    fn device(device: u64) -> CaseKey {
        CaseKey { seed: 3, device, case: 0, repeat: 0 }
    }

    /// Averages over the volume by the three-point Gauss-Legendre rule on each axis: exact up to the fifth degree
    /// of each coordinate, and the squares here are of the fourth.
    fn volume_average<const N: usize>(mut f: impl FnMut(Vector3<f64>) -> [f64; N]) -> [f64; N] {
        let nodes = [(-0.6_f64.sqrt(), 5.0 / 18.0), (0.0, 8.0 / 18.0), (0.6_f64.sqrt(), 5.0 / 18.0)];
        let mut total = [0.0; N];
        for (x, p) in nodes {
            for (y, q) in nodes {
                for (z, r) in nodes {
                    for (sum, value) in total.iter_mut().zip(f(Vector3::new(x, y, z))) {
                        *sum += p * q * r * value;
                    }
                }
            }
        }
        total
    }

    fn displacement(field: &LensField, u: Vector3<f64>) -> Vector3<f64> {
        let place = Point::from_vector(VOLUME_HALF_EDGE_MM * u + Vector3::new(0.0, 0.0, VOLUME_CENTRE_MM));
        *(field.seen(PointLanes::of(&[place])).point(0) - place).vector()
    }

    #[test]
    fn coverage_lens_has_the_stated_rms_over_the_volume() {
        let lens = source("tracker.lens", Lens { rms_mm: 0.2, basis: basis() });
        let devices = 4000_u32;
        let squares: Vec<f64> = (0..u64::from(devices))
            .map(|i| {
                let field = lens.field(&device(i)).expect("a source that is on");
                volume_average(|u| [displacement(&field, u).norm_squared()])[0]
            })
            .collect();
        let n = f64::from(devices);
        let mean = squares.iter().sum::<f64>() / n;
        let variance = squares.iter().map(|square| (square - mean) * (square - mean)).sum::<f64>() / (n - 1.0);
        let error = (variance / n).sqrt();
        assert!((mean - 0.04).abs() < 4.0 * error, "{mean} mm2, standard error {error}");
        // The test can tell: a coefficient more or less, 1 part in 24, would be seen.
        assert!(0.04 / 24.0 > 4.0 * error);
    }

    #[test]
    fn identity_lens_neither_shifts_nor_turns_the_volume() {
        let lens = source("tracker.lens", Lens { rms_mm: 0.2, basis: basis() });
        for i in 0..20 {
            let field = lens.field(&device(i)).expect("a source that is on");
            let moments = volume_average(|u| {
                let (d, turn) = (displacement(&field, u), u.cross(&displacement(&field, u)));
                [d.x, d.y, d.z, turn.x, turn.y, turn.z]
            });
            assert!(moments.iter().all(|moment| moment.abs() < 1e-12), "{moments:?}");
        }
    }

    /// First order: `S_pose = W+ S W+'` with `W = stack [I, -[x_i]x]`, `S_TRE = J S_pose J'` (Wiles AD et al. IEEE
    /// TMI 2008;27:378-390; Danilchenko A, Fitzpatrick JM. IEEE TMI 2011;30:679-693).
    #[test]
    fn coverage_build_moves_the_tip_as_the_first_order_says() {
        let sd_mm = 0.05;
        let build = source("tracker.build", Build { each_axis_mm: Quantity::normal(sd_mm), basis: basis() });
        let drawn: Vec<Point<Tracker>> =
            [[-26.0, -18.0, 0.0], [24.0, -24.0, 5.0], [31.0, 20.0, 0.0], [-20.0, 29.0, 4.0]]
                .map(|place: [f64; 3]| Point::from_vector(place.into()))
                .to_vec();
        let tip: Point<Tracker> = Point::new(3.0, -155.0, 2.0);

        let mut normal_matrix = nalgebra::Matrix6::zeros();
        let rows = |place: &Vector3<f64>| {
            let mut rows = nalgebra::Matrix3x6::identity();
            rows.fixed_view_mut::<3, 3>(0, 3).copy_from(&-place.cross_matrix());
            rows
        };
        for marker in &drawn {
            normal_matrix += rows(marker.vector()).transpose() * rows(marker.vector());
        }
        let pose = normal_matrix.try_inverse().expect("a rigid layout") * (sd_mm * sd_mm);
        let expected = rows(tip.vector()) * pose * rows(tip.vector()).transpose();

        let layout = Layout::new(&drawn).expect("a rigid layout");
        let count = 20_000_u32;
        let mut built = Vec::new();
        let mut found = Matrix3::zeros();
        for i in 0..u64::from(count) {
            build.build(&device(i), ".probe", &drawn, &mut built);
            let pose = layout.fit(&built).expect("a rigid layout").pose;
            let error = *(pose * tip - tip).vector();
            found += error * error.transpose() / f64::from(count);
        }
        for i in 0..3 {
            for j in 0..3 {
                let product = expected[(i, i)] * expected[(j, j)] + expected[(i, j)] * expected[(i, j)];
                let error = (product / f64::from(count)).sqrt();
                assert!((found[(i, j)] - expected[(i, j)]).abs() < 4.5 * error, "{found} for {expected}");
            }
        }
    }

    #[test]
    fn identity_each_tool_is_built_by_itself() {
        let build = source("tracker.build", Build { each_axis_mm: Quantity::normal(1.0), basis: basis() });
        let drawn = [Point::new(0.0, 0.0, 0.0); 2];
        let mut built = [const { Vec::new() }; 4];
        for (part, built) in [".probe", ".inserter", ".head", ".probe"].into_iter().zip(&mut built) {
            build.build(&device(1), part, &drawn, built);
        }
        assert_eq!(built[0], built[3]);
        assert!(built[0] != built[1] && built[1] != built[2] && built[0] != built[2]);
        // The stream of a part is that of a source of that name.
        let probe = source("tracker.build.probe", ());
        assert_eq!(probe.device_stream(&device(1)).next_three(), <[f64; 3]>::from(*built[0][0].vector()));
    }
}
