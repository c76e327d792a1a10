//! Rigid registration of markers: its residual and its error at a target, against their published formulas.

use super::Mark::{Derived, Published};
use super::moments;
use super::{Check, Found, Tolerance};
use crate::geometry::{Displacement, Layout, Point, Pose, PrincipalAxes, Rotation, Vector3, centroid};
use crate::simulation::{Scores, StreamKey, source_key};
use nalgebra::{Matrix3, SMatrix};
use std::sync::LazyLock;

const FITZPATRICK: &str = "Fitzpatrick JM, West JB, Maurer CR. IEEE TMI 1998;17:694-702";
const ANISOTROPIC: &str =
    "Wiles AD et al. IEEE TMI 2008;27:378-390; Danilchenko A, Fitzpatrick JM. IEEE TMI 2011;30:679-693";

const NO_ESTIMATE: &str =
    "Danilchenko A, Fitzpatrick JM. IEEE TMI 2011;30:679-693: the residual is no accuracy estimate";

/// Axes of the markers as drawn, and those they are measured in.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Drawn {}
#[derive(Clone, Copy, Debug, PartialEq)]
enum Measured {}

/// What one set of markers is asked, in its own unit.
struct Registration {
    markers: Vec<Point<Drawn>>,
    target: Point<Drawn>,
    /// Standard deviation of the markers along three axes, and these axes in measured coordinates.
    sd: [f64; 3],
    axes: Rotation<Measured, Measured>,
}

/// What many fits gave, in measured axes and in the unit of the noise.
struct Sample {
    squared_residual: Vec<f64>,
    error: [Vec<f64>; 3],
    squared_error: Vec<f64>,
}

/// How the markers truly lie when they are measured.
fn true_turn() -> Rotation<Drawn, Measured> {
    Rotation::from_rotation_vector(Displacement::new(-0.4, 1.2, 0.8))
}

const FITS: u32 = 100_000;

impl Registration {
    /// Equal noise of this rms (over three axes).
    fn isotropic(markers: &[[f64; 3]], target: [f64; 3], rms: f64) -> Self {
        Self {
            markers: markers.iter().map(|&[x, y, z]| Point::new(x, y, z)).collect(),
            target: Point::from_vector(target.into()),
            sd: [rms / 3.0_f64.sqrt(); 3],
            axes: Rotation::identity(),
        }
    }

    /// The same set turned and moved away from the origin, together with its target.
    fn moved(mut self) -> Self {
        let turn = Rotation::<Drawn, Drawn>::from_rotation_vector(Displacement::new(0.6, -0.9, 0.35));
        let scale = self.target_scale();
        let shift = Displacement::new(13.0 * scale, -29.0 * scale, 41.0 * scale);
        let place = |point: Point<Drawn>| Point::ORIGIN + turn * (point - Point::ORIGIN) + shift;
        self.target = place(self.target);
        for marker in &mut self.markers {
            *marker = place(*marker);
        }
        self
    }

    /// A length of the set's own order of size.
    fn target_scale(&self) -> f64 {
        PrincipalAxes::of(&self.markers).spread_mm[2]
    }

    /// Fits markers measured with noise from streams of a key of their own.
    fn fits(&self, id: &str) -> Result<Sample, String> {
        let layout = Layout::new(&self.markers).map_err(|error| error.to_string())?;
        let key = StreamKey { seed: 7, replicate: 0, source: source_key(id), device: 0, case: 0, capture: 0 };
        let mut scores = key.open();
        let pose = Pose::new(true_turn(), Point::new(7.0, -3.0, 11.0));
        let truth = pose * self.target;
        let mut sample = Sample {
            squared_residual: Vec::new(),
            error: [Vec::new(), Vec::new(), Vec::new()],
            squared_error: Vec::new(),
        };
        for _ in 0..FITS {
            let measured: Vec<_> = self.markers.iter().map(|&m| pose * m + self.noise(&mut scores)).collect();
            let fit = layout.fit(&measured).map_err(|error| error.to_string())?;
            let error = fit.pose * self.target - truth;
            sample.squared_residual.push(fit.residual_rms_mm * fit.residual_rms_mm);
            sample.squared_error.push(error.vector().norm_squared());
            for (axis, component) in sample.error.iter_mut().zip(error.vector().iter()) {
                axis.push(*component);
            }
        }
        Ok(sample)
    }

    fn noise(&self, scores: &mut Scores) -> Displacement<Measured> {
        let [x, y, z] = scores.next_three();
        self.axes * Displacement::new(self.sd[0] * x, self.sd[1] * y, self.sd[2] * z)
    }

    /// `<TRE^2> = <FLE^2>/N (1 + 1/3 sum d_k^2/f_k^2)`, distances from the principal axes through the centroid.
    fn squared_target_error(&self) -> f64 {
        let squared_noise: f64 = self.sd.iter().map(|sd| sd * sd).sum();
        let principal = PrincipalAxes::of(&self.markers);
        let squared_distance = |point: Point<Drawn>, axis| {
            let offset = point - principal.centroid;
            let along = offset.along(axis);
            offset.vector().norm_squared() - along * along
        };
        let n = self.markers.len() as f64;
        let ratios = principal.axes.iter().map(|&axis| {
            let markers: f64 = self.markers.iter().map(|&marker| squared_distance(marker, axis)).sum();
            squared_distance(self.target, axis) / (markers / n)
        });
        squared_noise / n * (1.0 + ratios.sum::<f64>() / 3.0)
    }

    /// First-order covariance of the target: `W = stack [I, -[x_i]x]`, `W+ diag(S_i) W+'`, `J S J'`, in measured
    /// axes.
    fn target_covariance(&self) -> Result<Matrix3<f64>, String> {
        let turn = true_turn();
        let middle = centroid(&self.markers);
        let row = |point: Point<Drawn>| {
            let offset: Vector3<f64> = *(turn * (point - middle)).vector();
            let mut row = SMatrix::<f64, 3, 6>::zeros();
            row.fixed_view_mut::<3, 3>(0, 0).copy_from(&Matrix3::identity());
            row.fixed_view_mut::<3, 3>(0, 3).copy_from(&-offset.cross_matrix());
            row
        };
        let squares = Matrix3::from_diagonal(&Vector3::from(self.sd.map(|sd| sd * sd)));
        let noise = self.axes.matrix() * squares * self.axes.matrix().transpose();
        let mut normal = SMatrix::<f64, 6, 6>::zeros();
        let mut middle = SMatrix::<f64, 6, 6>::zeros();
        for &marker in &self.markers {
            let row = row(marker);
            normal += row.transpose() * row;
            middle += row.transpose() * noise * row;
        }
        // W+ diag(S) W+' with W+ = (W'W)^-1 W'.
        let inverse = normal.try_inverse().ok_or("the markers do not determine a pose")?;
        let pose = inverse * middle * inverse.transpose();
        let target = row(self.target);
        Ok(target * pose * target.transpose())
    }
}

type Lazy = LazyLock<Result<(Registration, Sample), String>>;

macro_rules! sets {
    ($($(#[$doc:meta])* $name:ident = $set:expr;)+) => {
        $($(#[$doc])*
        static $name: Lazy = LazyLock::new(|| {
            let set = $set;
            let sample = set.fits(concat!("registration.", stringify!($name)))?;
            Ok((set, sample))
        });)+
    };
}

/// Of unit size; the formulas are of first order, so the noise must be small beside it.
const SMALL: f64 = 1e-3;
const SLANTED: [[f64; 3]; 4] = [[1.0, 1.0, 0.0], [-0.5, 0.5, 0.0], [-1.0, -1.0, 0.0], [0.5, -0.5, 0.0]];
const SQUARE: [[f64; 3]; 4] = [[1.0, 1.0, 0.0], [1.0, -1.0, 0.0], [-1.0, -1.0, 0.0], [-1.0, 1.0, 0.0]];
const RECTANGLE: [[f64; 3]; 4] = [[25.0, 40.0, 0.0], [25.0, -40.0, 0.0], [-25.0, -40.0, 0.0], [-25.0, 40.0, 0.0]];
/// Without symmetry, not in a plane, away from the origin.
const IRREGULAR: [[f64; 3]; 5] = [
    [112.0, -197.0, 293.0],
    [140.0, -218.0, 305.0],
    [91.0, -167.0, 314.0],
    [125.0, -179.0, 270.0],
    [69.0, -206.0, 320.0],
];
const IRREGULAR_TARGET: [f64; 3] = [-60.0, -50.0, 380.0];

sets! {
    SLANTED_CENTROID = Registration::isotropic(&SLANTED, [0.0, 0.0, 0.0], SMALL);
    SLANTED_TARGET = Registration::isotropic(&SLANTED, [2.0, 0.0, 0.0], SMALL);
    SLANTED_MOVED = Registration::isotropic(&SLANTED, [2.0, 0.0, 0.0], SMALL).moved();
    SQUARE_TARGET = Registration::isotropic(&SQUARE, [2.0, 0.0, 0.0], SMALL);
    SQUARE_MOVED = Registration::isotropic(&SQUARE, [2.0, 0.0, 0.0], SMALL).moved();
    RECTANGLE_TIP = Registration::isotropic(&RECTANGLE, [0.0, -240.0, 0.0], 0.25);
    RECTANGLE_MOVED = Registration::isotropic(&RECTANGLE, [0.0, -240.0, 0.0], 0.25).moved();
    IRREGULAR_ISOTROPIC = Registration::isotropic(&IRREGULAR, IRREGULAR_TARGET, 0.05);
    IRREGULAR_ANISOTROPIC = Registration {
        sd: [0.02, 0.02, 0.06],
        axes: Rotation::from_rotation_vector(Displacement::new(0.5, 0.8, -0.3)),
        ..Registration::isotropic(&IRREGULAR, IRREGULAR_TARGET, 1.0)
    };
    RECTANGLE_ANISOTROPIC = Registration {
        sd: [0.08, 0.08, 0.24],
        axes: Rotation::from_rotation_vector(Displacement::new(0.5, 0.8, -0.3)),
        ..Registration::isotropic(&RECTANGLE, [0.0, -240.0, 0.0], 1.0)
    }.moved();
}

macro_rules! row {
    ($id:literal, $quantity:literal, $unit:literal, $expected:literal rounded $rounding:literal,
     $mark:ident $source:ident: $set:ident, |$registration:pat_param, $sample:pat_param| $found:expr) => {
        Check {
            id: $id,
            quantity: $quantity,
            unit: $unit,
            expected: $expected,
            tolerance: Tolerance::StandardErrors { times: 4.0, rounding: $rounding },
            source: $source,
            mark: $mark,
            function: || {
                let ($registration, $sample) = $set.as_ref()?;
                Ok($found)
            },
        }
    };
}

/// Squares in units of a set's squared noise of 1e-6.
const UNIT: f64 = 1.0 / (SMALL * SMALL);

/// Checks of rigid registration.
pub const CHECKS: &[&[Check]] = &[&[
    row! { "rigid.slanted.fre2", "FRE² of four slanted markers, FLE² 1", "",
        0.5 rounded 1e-5, Published FITZPATRICK:
        SLANTED_CENTROID, |_, s| moments::mean(&s.squared_residual).times(UNIT)
    },
    row! { "rigid.slanted.tre2.centroid", "TRE² of four slanted markers at their centroid", "",
        0.25 rounded 1e-5, Published FITZPATRICK:
        SLANTED_CENTROID, |_, s| moments::mean(&s.squared_error).times(UNIT)
    },
    row! { "rigid.slanted.tre2", "TRE² of four slanted markers at (2, 0, 0)", "",
        1.35 rounded 1e-5, Published FITZPATRICK:
        SLANTED_TARGET, |_, s| moments::mean(&s.squared_error).times(UNIT)
    },
    row! { "rigid.slanted.tre2.moved", "the same, turned and moved away from the origin", "",
        1.35 rounded 1e-5, Published FITZPATRICK:
        SLANTED_MOVED, |_, s| moments::mean(&s.squared_error).times(UNIT)
    },
    row! { "rigid.square.tre2", "TRE² of a square at (2, 0, 0)", "",
        0.75 rounded 1e-5, Published FITZPATRICK:
        SQUARE_TARGET, |_, s| moments::mean(&s.squared_error).times(UNIT)
    },
    row! { "rigid.square.tre2.moved", "the same, turned and moved away from the origin", "",
        0.75 rounded 1e-5, Published FITZPATRICK:
        SQUARE_MOVED, |_, s| moments::mean(&s.squared_error).times(UNIT)
    },
    row! { "rigid.tip.tre", "TRE at the tip of a probe, rms", "mm",
        0.5813 rounded 1e-4, Derived FITZPATRICK:
        RECTANGLE_TIP, |_, s| moments::root(moments::mean(&s.squared_error))
    },
    row! { "rigid.tip.tre.moved", "the same, turned and moved away from the origin", "mm",
        0.5813 rounded 1e-4, Derived FITZPATRICK:
        RECTANGLE_MOVED, |_, s| moments::root(moments::mean(&s.squared_error))
    },
    row! { "rigid.tip.tre.x", "TRE at the tip of a probe across the plate, rms", "mm",
        0.374_22 rounded 5e-5, Derived FITZPATRICK:
        RECTANGLE_TIP, |_, s| along(s, 0)
    },
    row! { "rigid.tip.tre.y", "TRE at the tip of a probe along its shaft, rms", "mm",
        0.072_17 rounded 5e-5, Derived FITZPATRICK:
        RECTANGLE_TIP, |_, s| along(s, 1)
    },
    row! { "rigid.tip.tre.z", "TRE at the tip of a probe out of the plate, rms", "mm",
        0.438_99 rounded 5e-5, Derived FITZPATRICK:
        RECTANGLE_TIP, |_, s| along(s, 2)
    },
    row! { "rigid.tip.tre.p95", "TRE at the tip of a probe, 95 % below", "mm",
        1.004 rounded 5e-4, Derived FITZPATRICK:
        RECTANGLE_TIP, |_, s| moments::root(moments::quantile(&s.squared_error, 0.95))
    },
    row! { "rigid.tip.fre", "FRE of the probe's markers, rms", "mm",
        0.176_78 rounded 1e-5, Derived FITZPATRICK:
        RECTANGLE_TIP, |_, s| moments::root(moments::mean(&s.squared_residual))
    },
    row! { "rigid.irregular.tre2", "TRE² of five irregular markers, simulated over formula", "",
        1.0 rounded 1e-4, Published FITZPATRICK:
        IRREGULAR_ISOTROPIC, |r, s| moments::mean(&s.squared_error).times(1.0 / r.squared_target_error())
    },
    row! { "rigid.chi2.mean", "mean of N FRE²/σ² of five markers: χ² with 3N - 6 degrees of freedom", "",
        9.0 rounded 1e-4, Published FITZPATRICK:
        IRREGULAR_ISOTROPIC, |r, s| moments::mean(&chi_squared(r, s))
    },
    row! { "rigid.chi2.variance", "variance of N FRE²/σ² of five markers: χ² with 3N - 6 degrees of freedom", "",
        18.0 rounded 1e-3, Published FITZPATRICK:
        IRREGULAR_ISOTROPIC, |r, s| moments::variance(&chi_squared(r, s))
    },
    row! { "rigid.residual-is-no-accuracy", "correlation of residual and true error of five markers", "",
        0.0 rounded 1e-4, Published NO_ESTIMATE:
        IRREGULAR_ISOTROPIC, |_, s| moments::correlation(&roots(&s.squared_residual), &roots(&s.squared_error))
    },
    row! { "rigid.anisotropic.irregular.trace", "TRE² of irregular markers seen worse along the ray, over formula", "",
        1.0 rounded 1e-4, Published ANISOTROPIC:
        IRREGULAR_ANISOTROPIC, |r, s| moments::mean(&s.squared_error).times(1.0 / r.target_covariance()?.trace())
    },
    row! { "rigid.anisotropic.rectangle.trace", "TRE² of a rectangle seen worse along the ray, over formula", "",
        1.0 rounded 1e-3, Published ANISOTROPIC:
        RECTANGLE_ANISOTROPIC, |r, s| moments::mean(&s.squared_error).times(1.0 / r.target_covariance()?.trace())
    },
    worst(
        "rigid.anisotropic.irregular.covariance",
        "worst of six covariances of the error of five irregular markers seen worse along the ray",
        || worst_covariance(&IRREGULAR_ANISOTROPIC),
    ),
    worst(
        "rigid.anisotropic.rectangle.covariance",
        "worst of six covariances of the error of a turned rectangle seen worse along the ray",
        || worst_covariance(&RECTANGLE_ANISOTROPIC),
    ),
    worst(
        "rigid.anisotropic.irregular.mean",
        "worst of three mean errors of five irregular markers seen worse along the ray",
        || worst_mean(&IRREGULAR_ANISOTROPIC),
    ),
]];

/// A row of several comparisons: the one that misses most, in its own standard errors.
const fn worst(id: &'static str, quantity: &'static str, function: fn() -> Result<Found, String>) -> Check {
    let (unit, tolerance) = ("standard errors", Tolerance::Absolute(4.5));
    Check { id, quantity, unit, expected: 0.0, tolerance, source: ANISOTROPIC, mark: Published, function }
}

fn worst_covariance(set: &Lazy) -> Result<Found, String> {
    let (registration, sample) = set.as_ref()?;
    let expected = registration.target_covariance()?;
    let mut worst = 0.0;
    for i in 0..3 {
        for j in i..3 {
            let found = moments::covariance(&sample.error[i], &sample.error[j]);
            worst = f64::max(worst, misses_by(found, expected[(i, j)]));
        }
    }
    Ok(Found { count: u64::from(FITS), ..Found::exact(worst) })
}

fn worst_mean(set: &Lazy) -> Result<Found, String> {
    let (_, sample) = set.as_ref()?;
    let misses = sample.error.iter().map(|component| misses_by(moments::mean(component), 0.0));
    Ok(Found { count: u64::from(FITS), ..Found::exact(misses.fold(0.0, f64::max)) })
}

/// How many standard errors a found value misses by; infinitely many if that cannot be said.
fn misses_by(found: Found, expected: f64) -> f64 {
    let misses = (found.value - expected).abs() / found.standard_error.unwrap_or(0.0);
    if misses.is_nan() { f64::INFINITY } else { misses }
}

/// Rms error along one axis of the markers as drawn.
fn along(sample: &Sample, axis: usize) -> Found {
    let turn = true_turn();
    let direction = turn.axes()[axis];
    let [x, y, z] = &sample.error;
    let components = x.iter().zip(y).zip(z).map(|((&x, &y), &z)| Displacement::new(x, y, z).along(direction));
    moments::rms(&components.collect::<Vec<_>>())
}

fn chi_squared(registration: &Registration, sample: &Sample) -> Vec<f64> {
    let scale = registration.markers.len() as f64 / (registration.sd[0] * registration.sd[0]);
    sample.squared_residual.iter().map(|square| scale * square).collect()
}

fn roots(squares: &[f64]) -> Vec<f64> {
    squares.iter().map(|square| square.sqrt()).collect()
}
