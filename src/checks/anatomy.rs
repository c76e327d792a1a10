//! Patients as drawn, against the populations that were published.

use super::Mark::Published;
use super::chain::Chain;
use super::{Check, Found, Tolerance, moments};
use crate::simulation::{CaseKey, Patient, Quantity, Scene, Shape, normal};
use std::sync::LazyLock;

const PELVIS: &str = "Augustine AS et al. Clin Anat 2018, doi 10.1002/ca.23273";
const FEMUR: &str = "Carmona M et al. J Arthroplasty, open archive hal-03553324 (628 CT)";
const CENTRE: &str = "Bell AL et al. J Biomech 1990";
const DEVIATION: &str = "leave-one-out errors of Harrington ME et al. J Biomech 2007;40:595-602";
const TILT: &str =
    "mean: Bone Joint J 2017;99-B:184-191 (1517 patients); sd: Murphy WS et al. Clin Orthop 2013;471:417-421";

/// Patients drawn.
const COUNT: u64 = 20_000;

const fn row(
    id: &'static str,
    quantity: &'static str,
    unit: &'static str,
    (expected, rounding): (f64, f64),
    source: &'static str,
    function: fn() -> Result<Found, String>,
) -> Check {
    let tolerance = Tolerance::StandardErrors { times: 4.0, rounding };
    Check { id, quantity, unit, expected, tolerance, source, mark: Published, function }
}

macro_rules! moments_of {
    ($field:ident, $name:literal, $unit:literal, $mean:literal, $sd:literal, $source:expr) => {
        [
            row(
                concat!("anatomy.", stringify!($field), ".mean"),
                concat!("mean ", $name, ", what its truncation takes away put back"),
                $unit,
                ($mean, 0.0),
                $source,
                || mean(stringify!($field), |patient| patient.$field),
            ),
            row(
                concat!("anatomy.", stringify!($field), ".sd"),
                concat!("sd of ", $name, ", what its truncation takes away put back"),
                $unit,
                ($sd, 0.0),
                $source,
                || sd(stringify!($field), |patient| patient.$field),
            ),
        ]
    };
}

/// Checks of the patients drawn.
pub const CHECKS: &[&[Check]] = &[MOMENTS.as_flattened(), CENTRES];

/// Mean and standard deviation of what is drawn.
const MOMENTS: &[[Check; 2]] = &[
    moments_of!(asis_width_mm, "distance between the spines", "mm", 238.0, 20.1, PELVIS),
    moments_of!(pubis_drop_mm, "distance from the spines' line to the pubis", "mm", 92.7, 10.5, PELVIS),
    moments_of!(femoral_offset_mm, "femoral offset", "mm", 42.9, 6.8, FEMUR),
    moments_of!(neck_shaft_angle_deg, "neck-shaft angle", "deg", 124.7, 6.2, FEMUR),
    moments_of!(femoral_version_deg, "femoral version", "deg", 14.5, 8.1, FEMUR),
    moments_of!(tilt_deg, "pelvic tilt supine, posterior positive", "deg", -4.2, 6.4, TILT),
];

const CENTRES: &[Check] = &[
    row(
        "anatomy.centre.anterior",
        "mean hip centre from mid-spines, forwards, by width",
        "",
        (-0.19, 0.0),
        CENTRE,
        || centre(|scene| scene.native_centre.x()),
    ),
    row(
        "anatomy.centre.superior",
        "mean hip centre from mid-spines, upwards, by width",
        "",
        (-0.30, 0.0),
        CENTRE,
        || centre(|scene| scene.native_centre.y()),
    ),
    row(
        "anatomy.centre.lateral",
        "mean hip centre from mid-spines, outwards, by width",
        "",
        (0.36, 0.0),
        CENTRE,
        || centre(|scene| scene.side.sign() * scene.native_centre.z()),
    ),
    row(
        "anatomy.centre.anterior.sd",
        "sd of a hip centre about its ratio, forwards",
        "mm",
        (5.2, 0.0),
        DEVIATION,
        || deviation(|scene, patient| scene.native_centre.x() + 0.19 * patient.asis_width_mm),
    ),
    row(
        "anatomy.centre.superior.sd",
        "sd of a hip centre about its ratio, upwards",
        "mm",
        (3.6, 0.0),
        DEVIATION,
        || deviation(|scene, patient| scene.native_centre.y() + 0.30 * patient.asis_width_mm),
    ),
    row(
        "anatomy.centre.lateral.sd",
        "sd of a hip centre about its ratio, outwards",
        "mm",
        (3.2, 0.0),
        DEVIATION,
        || deviation(|scene, patient| scene.side.sign() * scene.native_centre.z() - 0.36 * patient.asis_width_mm),
    ),
];

/// Patients of the default population with their scenes.
struct Population {
    quantities: Vec<(&'static str, Quantity)>,
    patients: Vec<(Patient, Scene)>,
}

static POPULATION: LazyLock<Result<Population, String>> = LazyLock::new(|| {
    let chain = Chain::of("seed = 6\ntrials = 20000\n")?;
    let model = &chain.variant().model;
    let patients = (0..COUNT).map(|index| {
        let key = CaseKey::alone(6, index);
        let patient = model.anatomy.draw(&key, 0);
        (patient, Scene::of(model, &patient, &model.implant.draw(&key, 0)))
    });
    let quantities = model.anatomy.quantities().into_iter().map(|(key, quantity)| (key, quantity.clone())).collect();
    Ok(Population { patients: patients.collect(), quantities })
});

fn sample(of: impl Fn(&Patient, &Scene) -> f64) -> Result<Vec<f64>, String> {
    Ok(POPULATION.as_ref()?.patients.iter().map(|(patient, scene)| of(patient, scene)).collect())
}

/// Mean of a quantity, plus the closed-form shift that its truncation makes.
fn mean(key: &str, of: fn(&Patient) -> f64) -> Result<Found, String> {
    let truncated = Truncated::of(key)?;
    let found = moments::mean(&sample(|patient, _| of(patient))?);
    Ok(Found { value: found.value - truncated.mean_shift, ..found })
}

/// Standard deviation of a quantity, divided by the closed-form factor that its truncation makes.
fn sd(key: &str, of: fn(&Patient) -> f64) -> Result<Found, String> {
    let truncated = Truncated::of(key)?;
    Ok(moments::sd(&sample(|patient, _| of(patient))?).times(1.0 / truncated.sd_factor))
}

fn centre(of: fn(&Scene) -> f64) -> Result<Found, String> {
    Ok(moments::mean(&sample(|patient, scene| of(scene) / patient.asis_width_mm)?))
}

fn deviation(of: fn(&Scene, &Patient) -> f64) -> Result<Found, String> {
    Ok(moments::sd(&sample(|patient, scene| of(scene, patient))?))
}

/// What truncation does to a normal distribution's mean and standard deviation.
struct Truncated {
    mean_shift: f64,
    sd_factor: f64,
}

impl Truncated {
    /// Closed form of the doubly truncated normal distribution (Johnson NL, Kotz S, Balakrishnan N. Continuous
    /// univariate distributions, vol 1, section 10.1), with the spread and bounds that the population states.
    fn of(key: &str) -> Result<Self, String> {
        let population = POPULATION.as_ref()?;
        let (_, quantity) = population.quantities.iter().find(|(name, _)| *name == key).ok_or("no such quantity")?;
        let Quantity::Drawn(Shape::Normal { mean, sd }, cut) = *quantity else {
            return Err(format!("{key} is not normally distributed"));
        };
        if cut.is_none() {
            return Ok(Self { mean_shift: 0.0, sd_factor: 1.0 });
        }
        // The ends of the drawn range are the bounds.
        let [low, high] = [f64::NEG_INFINITY, f64::INFINITY].map(|score| (quantity.value(score) - mean) / sd);
        let density = |z: f64| libm::exp(-0.5 * z * z) / std::f64::consts::TAU.sqrt();
        let mass = normal::cumulative(high) - normal::cumulative(low);
        let shift = (density(low) - density(high)) / mass;
        let variance = 1.0 + (low * density(low) - high * density(high)) / mass - shift * shift;
        Ok(Self { mean_shift: sd * shift, sd_factor: variance.sqrt() })
    }
}
