//! Cup angles by three definitions, read through the measured bony axes of a pelvis that lies askew.

use super::Mark::{Derived, Published};
use super::{Check, Found, Tolerance};
use crate::geometry::{Direction, Displacement, Point, Pose, Rotation, Vector3};
use crate::measurement::AngleDefinition::{Anatomic, Operative, Radiographic};
use crate::measurement::{AngleDefinition, Camera, CupAngles, Pelvis, Side, bony_axes, cup_angles};

/// Three definitions, after which all conversions are identities.
const MURRAY: &str = "definitions: Murray DW. J Bone Joint Surg Br 1993;75-B:228-232, \
                      doi 10.1302/0301-620X.75B2.8444942; conversions between them";

/// An orientation of the pelvis in the camera that no formula is at home in.
pub fn askew() -> Pose<Pelvis, Camera> {
    Pose::new(Rotation::from_rotation_vector(Displacement::new(0.7, -1.1, 0.4)), Point::new(31.0, -64.0, 270.0))
}

/// A cup axis from its angles, as components: each definition says which projections the angles are of.
pub fn axis(definition: AngleDefinition, [inclination, anteversion]: [f64; 2], side: Side) -> Direction<Pelvis> {
    let (si, ci) = libm::sincos(inclination.to_radians());
    let (sa, ca) = libm::sincos(anteversion.to_radians());
    let [anterior, inferior, lateral] = match definition {
        Radiographic => [sa, ci * ca, si * ca],
        Operative => [ci * sa, ci * ca, si],
        Anatomic => [si * sa, ci, si * ca],
    };
    let direction = Displacement::<Pelvis>::new(anterior, -inferior, side.sign() * lateral).direction();
    direction.unwrap_or(Direction::X)
}

/// Angles as the program reads them: landmarks and cup axis seen by the camera, bony axes built, angles taken.
pub fn read(cup: Direction<Pelvis>, side: Side, definition: AngleDefinition) -> Result<CupAngles, String> {
    let camera = askew();
    let [left, right, pubis] =
        [[0.0, 0.0, -120.0], [0.0, 0.0, 120.0], [0.0, -90.0, 0.0]].map(|[x, y, z]| camera * Point::new(x, y, z));
    let axes = bony_axes(left, right, pubis).ok_or("no bony axes")?;
    Ok(cup_angles(axes * (camera.rotation * cup), side, definition))
}

/// One angle of a pair.
#[derive(Clone, Copy)]
enum Angle {
    Inclination,
    Anteversion,
}
use Angle::{Anteversion, Inclination};

/// An angle by another definition, which must come out the same on both sides.
fn converted(from: AngleDefinition, given: [f64; 2], to: AngleDefinition, angle: Angle) -> Result<Found, String> {
    let of = |side| {
        let read = read(axis(from, given, side), side, to)?;
        Ok::<_, String>(match angle {
            Inclination => read.inclination.0,
            Anteversion => read.anteversion.0,
        })
    };
    let (right, left) = (of(Side::Right)?, of(Side::Left)?);
    if (right - left).abs() > 1e-9 {
        return Err(format!("right {right} and left {left} differ"));
    }
    Ok(Found::exact(right))
}

macro_rules! conversion {
    ($which:literal $cup:literal: $from:ident $given:expr
     => $to:ident $inclination:literal, $anteversion:literal) => {
        [
            conversion! { ".inclination." $which $cup: $from $given => $to Inclination $inclination },
            conversion! { ".anteversion." $which $cup: $from $given => $to Anteversion $anteversion },
        ]
    };
    ($part:literal $which:literal $cup:literal: $from:ident $given:expr
     => $to:ident $angle:ident $expected:literal) => {
        Check {
            id: concat!("cup.", $which, $part, $cup),
            quantity: concat!(
                stringify!($to),
                " ",
                stringify!($angle),
                " of a cup given as ",
                stringify!($from),
                " ",
                stringify!($given)
            ),
            unit: "deg",
            expected: $expected,
            tolerance: Tolerance::Absolute(5e-5),
            source: MURRAY,
            mark: Derived,
            function: || converted($from, $given, $to, $angle),
        }
    };
}

macro_rules! largest {
    ($id:literal, $quantity:literal, $unit:literal, $within:literal, $source:expr, $mark:ident, $function:expr) => {
        Check {
            id: $id,
            quantity: $quantity,
            unit: $unit,
            expected: 0.0,
            tolerance: Tolerance::Absolute($within),
            source: $source,
            mark: $mark,
            function: $function,
        }
    };
}

/// Checks of the cup angles.
pub const CHECKS: &[&[Check]] = &[CONVERSIONS.as_flattened(), PROPERTIES];

/// From which definition to which, the cup, and its inclination and anteversion by the other definition.
const CONVERSIONS: &[[Check; 2]] = &[
    conversion! { "r2r" "40-15": Radiographic [40.0, 15.0] => Radiographic 40.0, 15.0 },
    conversion! { "r2o" "40-15": Radiographic [40.0, 15.0] => Operative 38.3808, 19.2790 },
    conversion! { "r2a" "40-15": Radiographic [40.0, 15.0] => Anatomic 42.2735, 22.6291 },
    conversion! { "r2o" "30-5": Radiographic [30.0, 5.0] => Operative 29.8742, 5.7686 },
    conversion! { "r2a" "30-5": Radiographic [30.0, 5.0] => Anatomic 30.3755, 9.9250 },
    conversion! { "r2o" "50-5": Radiographic [50.0, 5.0] => Operative 49.7409, 7.7508 },
    conversion! { "r2a" "50-5": Radiographic [50.0, 5.0] => Anatomic 50.1827, 6.5154 },
    conversion! { "r2o" "45-15": Radiographic [45.0, 15.0] => Operative 43.0795, 20.7536 },
    conversion! { "r2a" "45-15": Radiographic [45.0, 15.0] => Anatomic 46.9205, 20.7536 },
    conversion! { "o2o" "40-20": Operative [40.0, 20.0] => Operative 40.0, 20.0 },
    conversion! { "o2r" "40-20": Operative [40.0, 20.0] => Radiographic 41.7633, 15.1889 },
    conversion! { "o2a" "40-20": Operative [40.0, 20.0] => Anatomic 43.9582, 22.1760 },
    conversion! { "a2a" "45-20": Anatomic [45.0, 20.0] => Anatomic 45.0, 20.0 },
    conversion! { "a2r" "45-20": Anatomic [45.0, 20.0] => Radiographic 43.2192, 13.9954 },
    conversion! { "a2o" "45-20": Anatomic [45.0, 20.0] => Operative 41.6411, 18.8817 },
];

const PROPERTIES: &[Check] = &[
    largest!(
        "cup.identities",
        "largest miss of Murray's twelve conversion formulas over a grid of cups",
        "",
        1e-12,
        MURRAY,
        Derived,
        identities
    ),
    largest!(
        "cup.no-anteversion",
        "largest difference of inclinations, and largest anteversion, of cups without anteversion",
        "deg",
        1e-9,
        MURRAY,
        Derived,
        without_anteversion
    ),
    largest!(
        "cup.order",
        "cups in a grid that break OI < RI < AI, RA < OA or RA < AA",
        "cups",
        0.0,
        MURRAY,
        Derived,
        out_of_order
    ),
    largest!(
        "cup.anatomic-radiographic",
        "largest miss of tan RA = tan AA sin RI over a grid of cups",
        "",
        1e-12,
        "J Orthop Surg 2018, doi 10.1177/2309499018780755",
        Published,
        anatomic_and_radiographic
    ),
    largest!(
        "cup.axes-isb",
        "largest component by which bony axes miss X anterior, Y superior, Z right",
        "",
        1e-14,
        "Wu G et al. J Biomech 2002;35:543-548",
        Published,
        isb_axes
    ),
];

/// Cups of radiographic inclination 20 to 65 and anteversion 1 to 40 degrees, read by the three definitions:
/// `[RI, RA, OI, OA, AI, AA]`, degrees.
fn grid() -> Result<Vec<[f64; 6]>, String> {
    let mut cups = Vec::new();
    for inclination in (20..=65).step_by(5) {
        for anteversion in (1..=40).step_by(3) {
            let cup = axis(Radiographic, [inclination, anteversion].map(f64::from), Side::Left);
            let [r, o, a] = [Radiographic, Operative, Anatomic].map(|definition| read(cup, Side::Left, definition));
            let (r, o, a) = (r?, o?, a?);
            cups.push([r, o, a].map(|pair| [pair.inclination.0, pair.anteversion.0]).as_flattened().to_vec());
        }
    }
    Ok(cups.into_iter().filter_map(|cup| cup.try_into().ok()).collect())
}

fn largest_of(misses: impl IntoIterator<Item = f64>) -> Found {
    // `max` would drop a NaN, which must fail.
    Found::exact(misses.into_iter().map(f64::abs).fold(0.0, |most, miss| if miss <= most { most } else { miss }))
}

fn identities() -> Result<Found, String> {
    let misses = grid()?.into_iter().flat_map(|degrees| {
        let [(sri, cri), (sra, cra), (soi, coi), (soa, coa), (sai, cai), (saa, caa)] =
            degrees.map(|angle| libm::sincos(angle.to_radians()));
        [
            soi - sri * cra,
            soa / coa - sra / cra / cri,
            cai - cri * cra,
            saa / caa - sra / cra / sri,
            sri / cri - soi / coi / coa,
            sra - soa * coi,
            cai - coi * coa,
            saa / caa - soa / (soi / coi),
            sri / cri - sai / cai * caa,
            sra - sai * saa,
            soi - sai * caa,
            soa / coa - sai / cai * saa,
        ]
    });
    Ok(largest_of(misses))
}

fn without_anteversion() -> Result<Found, String> {
    let mut misses = Vec::new();
    for inclination in [5.0, 30.0, 45.0, 62.0] {
        let cup = axis(Radiographic, [inclination, 0.0], Side::Right);
        for definition in [Radiographic, Operative, Anatomic] {
            let read = read(cup, Side::Right, definition)?;
            misses.extend([read.inclination.0 - inclination, read.anteversion.0]);
        }
    }
    Ok(largest_of(misses))
}

fn out_of_order() -> Result<Found, String> {
    let broken = grid()?.into_iter().filter(|&[ri, ra, oi, oa, ai, aa]| !(oi < ri && ri < ai && ra < oa && ra < aa));
    Ok(Found::exact(broken.count() as f64))
}

fn anatomic_and_radiographic() -> Result<Found, String> {
    let tangent = |degrees: f64| libm::tan(degrees.to_radians());
    let misses =
        grid()?.into_iter().map(|[ri, ra, _, _, _, aa]| tangent(ra) - tangent(aa) * libm::sin(ri.to_radians()));
    Ok(largest_of(misses))
}

fn isb_axes() -> Result<Found, String> {
    let camera = askew();
    let [left, right, pubis] =
        [[0.0, 0.0, -119.0], [0.0, 0.0, 119.0], [0.0, -92.7, 4.0]].map(|[x, y, z]| camera * Point::new(x, y, z));
    let axes = bony_axes(left, right, pubis).ok_or("no bony axes")?;
    let misses = [Vector3::x(), Vector3::y(), Vector3::z()].into_iter().flat_map(|unit| {
        let seen = axes * (camera.rotation * Displacement::from_vector(unit));
        (seen.vector() - unit).iter().copied().collect::<Vec<_>>()
    });
    Ok(largest_of(misses))
}
