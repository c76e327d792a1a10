//! From errors of touched landmarks to errors of the cup angles.

use super::Mark::{Derived, Published};
use super::chain::{Chain, Scored};
use super::cup_angles::{askew, axis};
use super::moments;
use super::{Check, Found, Mark, Tolerance};
use crate::geometry::{Displacement, Point};
use crate::measurement::AngleDefinition::{Operative, Radiographic};
use crate::measurement::{AngleDefinition, Pelvis, Plane, Side, bony_axes, cup_angles};
use std::sync::LazyLock;

const GEOMETRY: &str = "geometry of the three points: the plane tilts by 1/H, yaws and rolls by 1/W";
const SIMULATED: &str = "closed form, confirmed by an independent simulation";
const HOHMANN: &str = "Hohmann E et al. J Orthop Surg Res 2011;6:40, doi 10.1186/1749-799X-6-40";
const RICHOLT: &str = "Richolt JA et al. Comput Aided Surg 2005;10:87-92: underestimated by 2.8 ± 1.8 in 72 patients";

/// Errors `[inclination, anteversion]` of a right cup 40/15 when the landmarks of a pelvis are touched beside
/// the bone: at the other spine, the operated spine, and the pubis; anterior, superior, lateral, mm.
fn touched_beside(
    [width, drop]: [f64; 2],
    [other, operated, pubis]: [[f64; 3]; 3],
    definition: AngleDefinition,
) -> Result<[f64; 2], String> {
    let camera = askew();
    let place = |[x, y, z]: [f64; 3], [dx, dy, dz]: [f64; 3]| {
        camera * (Point::<Pelvis>::new(x, y, z) + Displacement::new(dx, dy, dz))
    };
    let half = 0.5 * width;
    let left = place([0.0, 0.0, -half], other);
    let right = place([0.0, 0.0, half], operated);
    let axes = bony_axes(left, right, place([0.0, -drop, 0.0], pubis)).ok_or("no bony axes")?;
    let cup = axis(Radiographic, [40.0, 15.0], Side::Right);
    let (read, true_angles) = (
        cup_angles(axes * (camera.rotation * cup), Side::Right, definition),
        cup_angles(cup, Side::Right, definition),
    );
    Ok([read.inclination.0 - true_angles.inclination.0, read.anteversion.0 - true_angles.anteversion.0])
}

/// Which landmarks are touched beside the bone, each by the same displacement.
const OTHER: [bool; 3] = [true, false, false];
const OPERATED: [bool; 3] = [false, true, false];
const PUBIS: [bool; 3] = [false, false, true];
const BOTH: [bool; 3] = [true, true, false];
const ANTERIOR: [f64; 3] = [1.0, 0.0, 0.0];
const CRANIAL: [f64; 3] = [0.0, 1.0, 0.0];

/// A pelvis of width 240 and drop 90, and one of the published means.
const ROUND: [f64; 2] = [240.0, 90.0];
const MEAN: [f64; 2] = [238.0, 92.7];

fn moved(
    pelvis: [f64; 2],
    which: [bool; 3],
    direction: [f64; 3],
    by_mm: f64,
    definition: AngleDefinition,
) -> Result<[f64; 2], String> {
    let shift = direction.map(|component| by_mm * component);
    touched_beside(pelvis, which.map(|touched| if touched { shift } else { [0.0; 3] }), definition)
}

/// Change of the radiographic angles for each millimetre, by a central difference.
fn slope(which: [bool; 3], direction: [f64; 3]) -> Result<[f64; 2], String> {
    let step = 0.01;
    let after = moved(ROUND, which, direction, step, Radiographic)?;
    let before = moved(ROUND, which, direction, -step, Radiographic)?;
    Ok([0, 1].map(|angle| (after[angle] - before[angle]) / (2.0 * step)))
}

const fn row(
    id: &'static str,
    quantity: &'static str,
    (expected, within): (f64, f64),
    (source, mark): (&'static str, Mark),
    function: fn() -> Result<Found, String>,
) -> Check {
    let tolerance = Tolerance::Absolute(within);
    Check { id, quantity, unit: "deg", expected, tolerance, source, mark, function }
}

/// Two rows of one case, inclination and anteversion, from the function that finds both.
macro_rules! pair {
    ($id:literal, $quantity:literal: $found:expr => $ri:literal, $ra:literal within $within:literal) => {
        [
            row(
                concat!("landmark.", $id, ".ri"),
                concat!("inclination, ", $quantity),
                ($ri, $within),
                (GEOMETRY, Derived),
                || Ok(Found::exact($found[0])),
            ),
            row(
                concat!("landmark.", $id, ".ra"),
                concat!("anteversion, ", $quantity),
                ($ra, $within),
                (GEOMETRY, Derived),
                || Ok(Found::exact($found[1])),
            ),
        ]
    };
}

macro_rules! moved {
    ($id:literal, $quantity:literal: $pelvis:ident $which:ident $direction:ident $by:literal
     => $($expected:tt)*) => {
        pair! { $id, $quantity: moved($pelvis, $which, $direction, $by, Radiographic)? => $($expected)* }
    };
}

macro_rules! slope {
    ($id:literal, $quantity:literal: $which:ident $direction:ident => $ri:literal, $ra:literal) => {
        pair! { $id, $quantity: slope($which, $direction)? => $ri, $ra within 1e-4 }
    };
}

/// Rows of the whole chain: constant errors of palpation, forwards, at the spines and at the pubis.
macro_rules! chain {
    ($id:literal, $quantity:literal: $pelvis:ident asis $asis:literal pubis $pubis:literal => $($expected:tt)*) => {
        pair! { $id, $quantity: palpated_beside($pelvis, $asis, $pubis)?.error => $($expected)* }
    };
}

macro_rules! spread {
    ($id:literal, $quantity:literal: $sample:ident $output:literal times $factor:literal
     => $expected:literal within $rounding:literal) => {
        Check {
            id: $id,
            quantity: $quantity,
            unit: "deg",
            expected: $expected,
            tolerance: Tolerance::StandardErrors { times: 3.0, rounding: $rounding },
            source: SIMULATED,
            mark: Derived,
            function: || {
                let sample: Vec<_> = $sample.as_ref()?.iter().map(|case| case.error[$output]).collect();
                Ok(moments::sd(&sample).times($factor))
            },
        }
    };
}

/// Checks of landmarks, plane and cup angles.
pub const CHECKS: &[&[Check]] = &[BESIDE.as_flattened(), SPREADS, OTHERS];

/// Landmarks touched beside the bone, with what that does to inclination and anteversion. Rows of `chain` run a
/// whole experiment; palpation moves both spines alike, so one spine alone is moved by hand.
const BESIDE: &[[Check; 2]] = &[
    moved! { "mm.other", "other spine 1 mm anterior": ROUND OTHER ANTERIOR 1.0 => 0.0066, 0.3973 within 5e-4 },
    moved! { "mm.operated", "operated spine 1 mm anterior": ROUND OPERATED ANTERIOR 1.0 => 0.1035, 0.09 within 5e-4 },
    moved! { "mm.operated-cranial", "operated spine 1 mm cranial":
        ROUND OPERATED CRANIAL 1.0 => -0.2387, 0.0 within 5e-4
    },
    moved! { "mm.other-cranial", "other spine 1 mm cranial": ROUND OTHER CRANIAL 1.0 => 0.2387, 0.0 within 5e-4 },
    chain! { "mm.pubis", "pubis 1 mm anterior": ROUND asis 0.0 pubis 1.0 => -0.1077, -0.4880 within 5e-4 },
    chain! { "mm.both", "both spines 1 mm anterior": ROUND asis 1.0 pubis 0.0 => 0.1116, 0.4873 within 5e-4 },
    slope! { "slope.other", "per mm anterior, other spine": OTHER ANTERIOR => 0.005_82, 0.397_29 },
    slope! { "slope.operated", "per mm anterior, operated spine": OPERATED ANTERIOR => 0.103_82, 0.090_38 },
    slope! { "slope.pubis", "per mm anterior, pubis": PUBIS ANTERIOR => -0.109_65, -0.487_65 },
    slope! { "slope.both", "per mm anterior, both spines": BOTH ANTERIOR => 0.109_65, 0.487_65 },
    slope! { "slope.operated-cranial", "per mm cranial, operated spine": OPERATED CRANIAL => -0.238_73, 0.0 },
    moved! { "cm.operated", "operated spine 10 mm anterior":
        MEAN OPERATED ANTERIOR 10.0 => 0.991, 0.784 within 1e-3
    },
    moved! { "cm.other", "other spine 10 mm anterior": MEAN OTHER ANTERIOR 10.0 => 0.109, 3.909 within 1e-3 },
    chain! { "cm.pubis-anterior", "pubis 10 mm anterior": MEAN asis 0.0 pubis 10.0 => -0.879, -4.749 within 1e-3 },
    chain! { "cm.pubis-posterior", "pubis 10 mm posterior": MEAN asis 0.0 pubis -10.0 => 1.253, 4.675 within 1e-3 },
];

const SPREADS: &[Check] = &[
    spread! { "landmark.isotropic.ri", "sd of inclination, palpation 1 mm an axis, W 238 H 92.7":
        PALPATED_1 0 times 1.0 => 0.3712 within 5e-5
    },
    spread! { "landmark.isotropic.ra", "sd of anteversion, palpation 1 mm an axis, W 238 H 92.7":
        PALPATED_1 1 times 1.0 => 0.6198 within 5e-5
    },
    spread! { "landmark.isotropic.ri.4", "sd of inclination / 4, palpation 4 mm an axis: linear within 1 %":
        PALPATED_4 0 times 0.25 => 0.3712 within 0.003_7
    },
    spread! { "landmark.isotropic.ra.4", "sd of anteversion / 4, palpation 4 mm an axis: linear within 1 %":
        PALPATED_4 1 times 0.25 => 0.6198 within 0.006_2
    },
];

const OTHERS: &[Check] = &[
    row(
        "landmark.cm.anteversion",
        "operative anteversion for 1 cm at the pubis, W 238 H 92.7",
        (6.0, 0.5),
        (HOHMANN, Published),
        || Ok(Found::exact(moved(MEAN, PUBIS, ANTERIOR, -10.0, Operative)?[1])),
    ),
    row(
        "landmark.cm.inclination",
        "inclination for 1 cm along the body at one spine, W 238 H 92.7",
        (2.5, 0.1),
        (HOHMANN, Published),
        || Ok(Found::exact(moved(MEAN, OTHER, CRANIAL, 10.0, Radiographic)?[0])),
    ),
    row(
        "landmark.cm.plane-tilt",
        "operative anteversion for 1 cm at the pubis, W 238 H 92.7",
        (6.157, 5e-4),
        ("atan(10/92.7)", Derived),
        || Ok(Found::exact(moved(MEAN, PUBIS, ANTERIOR, -10.0, Operative)?[1])),
    ),
    row(
        "landmark.cm.roll",
        "inclination for 1 cm along the body at one spine, W 238 H 92.7",
        (2.406, 5e-4),
        ("atan(10/238)", Derived),
        || Ok(Found::exact(moved(MEAN, OTHER, CRANIAL, 10.0, Radiographic)?[0])),
    ),
    row(
        "landmark.unseen",
        "largest error by errors sideways anywhere and within the plane at the pubis",
        (0.0, 1e-9),
        ("such errors leave the plane and the line between the spines where they are", Derived),
        unseen,
    ),
    row(
        "landmark.tissue.ra",
        "mean error of anteversion by soft tissue alone, default magnitudes",
        (-2.8, 1.8),
        (RICHOLT, Published),
        || Ok(moments::mean(&Chain::of(TISSUE)?.errors(2_000, 1)?)),
    ),
    row(
        "level.turned.ri",
        "inclination stated in the level plane less the bony one, 40/15, pelvis turned 1.8 about Y",
        (-0.39, 5e-3),
        ("the cup turned about Y", Derived),
        || Ok(Found::exact(level_less_bony()?[0])),
    ),
    row(
        "level.turned.ra",
        "anteversion stated in the level plane less the bony one, 40/15, pelvis turned 1.8 about Y",
        (1.15, 5e-3),
        ("the cup turned about Y", Derived),
        || Ok(Found::exact(level_less_bony()?[1])),
    ),
    Check {
        unit: "mm",
        ..row(
            "level.tilted.leg",
            "leg length of 5 mm in bony axes, stated in a level plane tilted 5 degrees",
            (4.98, 5e-3),
            ("5 cos 5°", Derived),
            || Ok(Found::exact(tilted_change()?[0])),
        )
    },
    Check {
        unit: "mm",
        ..row(
            "level.tilted.offset",
            "offset of 3 mm in bony axes, stated in a level plane tilted 5 degrees",
            (3.0, 5e-3),
            ("the tilt is about the offset's own axis", Derived),
            || Ok(Found::exact(tilted_change()?[1])),
        )
    },
    Check {
        unit: "mm",
        ..row(
            "level.tilted.anterior",
            "antero-posterior part of the same change, size",
            (0.44, 5e-3),
            ("5 sin 5°", Derived),
            || Ok(Found::exact(tilted_change()?[2].abs())),
        )
    },
];

fn unseen() -> Result<Found, String> {
    let sideways = [0.0, 0.0, 7.0];
    let mut most = 0.0_f64;
    for errors in [
        [sideways, [0.0; 3], [0.0; 3]],
        [[0.0; 3], sideways, [0.0; 3]],
        [[0.0; 3], [0.0; 3], sideways],
        [[0.0; 3], [0.0; 3], [0.0, -7.0, 3.0]],
    ] {
        let found = touched_beside(MEAN, errors, Radiographic)?;
        most = found.iter().fold(most, |most, error| if error.abs() <= most { most } else { error.abs() });
    }
    Ok(Found::exact(most))
}

/// A right hip with cup 40/15 in a pelvis of given width and drop, everything else by default; frames that only
/// noise would need are left out.
fn fixed_patient([width, drop]: [f64; 2], rest: &str) -> String {
    format!(
        "seed = 3\ntrials = 1\n[anatomy]\nasis_width_mm = {width}\npubis_drop_mm = {drop}\n\
         [implant]\ninclination_deg = 40\nanteversion_deg = 15\n\
         [protocol]\ntip_pivot_frames = 6\nlandmark_frames = 1\ntrace_frames = 12\n\
         centre_frames = 6\ncup_frames = 1\n\
         {rest}"
    )
}

/// Palpation of both spines and of the pubis, each axis a quantity as an experiment file writes it.
fn palpation(asis: [&str; 3], pubis: [&str; 3]) -> String {
    let section = |name: &str, [anterior, superior, lateral]: [&str; 3]| {
        format!(
            "[noise.landmark.palpation.{name}]\nanterior_mm = {anterior}\nsuperior_mm = {superior}\n\
             lateral_mm = {lateral}\nbasis = {{ kind = \"assumed\", note = \"a check\" }}\n"
        )
    };
    format!("[noise]\nonly = [\"landmark.palpation\"]\n{}{}", section("asis", asis), section("pubis", pubis))
}

fn palpated_beside(pelvis: [f64; 2], asis_mm: f64, pubis_mm: f64) -> Result<Scored, String> {
    let (asis, pubis) = (asis_mm.to_string(), pubis_mm.to_string());
    let noise = palpation([&asis, "0", "0"], [&pubis, "0", "0"]);
    Chain::of(&fixed_patient(pelvis, &noise))?.case(0)
}

/// 20,000 cases of isotropic palpation.
type Sample = LazyLock<Result<Vec<Scored>, String>>;
static PALPATED_1: Sample = LazyLock::new(|| palpated_isotropically(1.0));
static PALPATED_4: Sample = LazyLock::new(|| palpated_isotropically(4.0));

fn palpated_isotropically(sd_mm: f64) -> Result<Vec<Scored>, String> {
    let normal = format!("{{ normal = {{ sd = {sd_mm:.1} }} }}");
    let axes = [normal.as_str(); 3];
    Chain::of(&fixed_patient(MEAN, &palpation(axes, axes)))?.cases(20_000)
}

/// Default patients and cups, soft tissue alone.
const TISSUE: &str = r#"
seed = 4
trials = 2000
[protocol]
tip_pivot_frames = 6
landmark_frames = 1
trace_frames = 12
centre_frames = 6
cup_frames = 1
[noise]
only = ["landmark.tissue"]
"#;

fn level_less_bony() -> Result<[f64; 2], String> {
    let patient = fixed_patient(MEAN, "[noise]\nonly = []\n");
    let patient = patient.replace("[implant]", "tilt_deg = 0\nobliquity_deg = 0\nrotation_deg = 1.8\n[implant]");
    let truth = Chain::of(&patient)?.truth(0);
    let [level, bony] = [Plane::Level, Plane::Bony].map(|plane| truth.reading(0, plane, Radiographic));
    Ok([level[0] - bony[0], level[1] - bony[1]])
}

/// `[leg length, offset, anterior]` in the level plane of a tilted patient.
fn tilted_change() -> Result<[f64; 3], String> {
    let patient = fixed_patient(MEAN, "[noise]\nonly = []\n");
    let patient = patient.replace(
        "[implant]",
        "tilt_deg = 5\nobliquity_deg = 0\nrotation_deg = 0\n[implant]\nleg_length_mm = 5\noffset_mm = 3",
    );
    let truth = Chain::of(&patient)?.truth(0);
    let stated = truth.reading(0, Plane::Level, Radiographic);
    // Up is the anterior axis of the level plane.
    let shift = truth.reductions.first().ok_or("no reduction")?.shift;
    Ok([stated[2], stated[3], shift.along(truth.scene.up)])
}
