//! A leg that does not lie where it lay: what each femoral feature makes of it.

use super::Mark::{Derived, Recalled};
use super::chain::{Chain, Scored};
use super::{Check, Found, Mark, Tolerance, moments};
use std::sync::LazyLock;

const LEVER: &str = "distal' = b cos d - a sin d, lateral' = a cos d + b sin d";

const fn row(
    id: &'static str,
    quantity: &'static str,
    (expected, within): (f64, f64),
    (source, mark): (&'static str, Mark),
    function: fn() -> Result<Found, String>,
) -> Check {
    let tolerance = Tolerance::Absolute(within);
    Check { id, quantity, unit: "mm", expected, tolerance, source, mark, function }
}

macro_rules! abducted {
    ($id:literal: lateral $lateral:literal distal $distal:literal, abducted $abducted:literal
     => $output:ident $expected:literal) => {
        row(
            $id,
            concat!(
                stringify!($output),
                " read by a divot ",
                $lateral,
                " mm lateral and ",
                $distal,
                " mm distal, leg abducted ",
                $abducted,
                " degrees"
            ),
            ($expected, 5e-3),
            (LEVER, Derived),
            || {
                let patient = patient("divot", [$lateral, $distal], UNCHANGED, &posture(0.0, -$abducted, 0.0));
                Ok(Found::exact(Chain::of(&patient)?.case(0)?.error[$output]))
            },
        )
    };
}

const LEG_LENGTH: usize = 2;
const OFFSET: usize = 3;

/// Checks of leg posture.
pub const CHECKS: &[&[Check]] = &[DIVOT, OTHERS];

const DIVOT: &[Check] = &[
    abducted! { "posture.70-20.1": lateral 70.0 distal 20.0, abducted 1.0 => LEG_LENGTH -1.22 },
    abducted! { "posture.70-20.2": lateral 70.0 distal 20.0, abducted 2.0 => LEG_LENGTH -2.46 },
    abducted! { "posture.70-20.5": lateral 70.0 distal 20.0, abducted 5.0 => LEG_LENGTH -6.18 },
    abducted! { "posture.70-20.10": lateral 70.0 distal 20.0, abducted 10.0 => LEG_LENGTH -12.46 },
    abducted! { "posture.80-40.5.leg": lateral 80.0 distal 40.0, abducted 5.0 => LEG_LENGTH -7.12 },
    abducted! { "posture.80-40.5.offset": lateral 80.0 distal 40.0, abducted 5.0 => OFFSET 3.18 },
];

const OTHERS: &[Check] = &[
    row(
        "posture.order-of-size",
        "size of the leg length error by a divot 80 lateral 40 distal, 5 degrees abducted",
        (8.0, 1.0),
        ("Sarin VK et al. J Arthroplasty 2005;20:887-891, recalled from memory", Recalled),
        || {
            let patient = patient("divot", [80.0, 40.0], UNCHANGED, &posture(0.0, -5.0, 0.0));
            Ok(Found::exact(Chain::of(&patient)?.case(0)?.error[LEG_LENGTH].abs()))
        },
    ),
    row(
        "posture.full-pose.ellipse",
        "largest error of leg length and offset by an ellipse over five postures",
        (0.0, 1e-9),
        ("with the full pose of the femur known, posture cancels", Derived),
        || most_over_postures("ellipse"),
    ),
    row(
        "posture.full-pose.three-divots",
        "largest error of leg length and offset by three divots over five postures",
        (0.0, 1e-9),
        ("with the full pose of the femur known, posture cancels", Derived),
        || most_over_postures("three-divots"),
    ),
    row(
        "posture.circle.sd",
        "sd of leg length by an anterior circle 69 mm lateral of the new head, adduction 3 degrees sd",
        (3.6112, 0.0722),
        ("lever 69 mm x sin 3°, within 2 %", Derived),
        || {
            let sample = ADDUCTED_CIRCLE.as_ref()?;
            Ok(moments::sd(&sample.iter().map(|case| case.error[LEG_LENGTH]).collect::<Vec<_>>()))
        },
    ),
    row(
        "posture.circle.ellipse",
        "largest error of leg length by an ellipse in the same patient, 500 trials",
        (0.0, 1e-9),
        ("with the full pose of the femur known, posture cancels", Derived),
        || most_adducted("ellipse"),
    ),
    row(
        "posture.circle.three-divots",
        "largest error of leg length by three divots in the same patient, 500 trials",
        (0.0, 1e-9),
        ("with the full pose of the femur known, posture cancels", Derived),
        || most_adducted("three-divots"),
    ),
];

/// Changes made to the hip: none at all, and one with everything in it.
const UNCHANGED: [f64; 5] = [0.0; 5];
const CHANGED: [f64; 5] = [4.0, 2.0, 1.0, 3.0, -2.0];

/// A fixed patient whose feature lies so far lateral and distal of the centre of the native head: neck and shaft
/// meet 40 mm lateral and 40 mm distal of it. The change is leg length, offset, and the centre's shift: superior,
/// lateral, anterior.
fn patient(femur: &str, [lateral, distal]: [f64; 2], change: [f64; 5], rest: &str) -> String {
    let [leg, offset, superior, outwards, anterior] = change;
    format!(
        "seed = 5\ntrials = 20000\n\
         [anatomy]\nasis_width_mm = 240\npubis_drop_mm = 90\nhip_anterior_mm = 0\nhip_superior_mm = 0\n\
         hip_lateral_mm = 0\nfemoral_offset_mm = 40\nneck_shaft_angle_deg = 135\nfemoral_version_deg = 0\n\
         [implant]\ninclination_deg = 40\nanteversion_deg = 15\nleg_length_mm = {leg}\noffset_mm = {offset}\n\
         centre_superior_mm = {superior}\ncentre_lateral_mm = {outwards}\ncentre_anterior_mm = {anterior}\n\
         [protocol]\ntip_pivot_frames = 6\nlandmark_frames = 1\ndivot_frames = 1\ncentre_frames = 6\n\
         trace_frames = 12\ncup_frames = 1\n\
         [tools]\nfeature_normal = [1, 0, 0]\nfeature_position_mm = [0, {}, {}]\n\
         [measure]\nfemur = \"{femur}\"\n{rest}",
        40.0 - distal,
        lateral - 40.0,
    )
}

/// A reduction with the leg put so, and no noise.
fn posture(flexion: f64, adduction: f64, internal_rotation: f64) -> String {
    format!(
        "[noise]\nonly = []\n[[reduction]]\nname = \"put\"\nflexion_deg = {flexion}\n\
         adduction_deg = {adduction}\ninternal_rotation_deg = {internal_rotation}\n"
    )
}

fn most_over_postures(femur: &str) -> Result<Found, String> {
    let mut most = 0.0;
    for [flexion, adduction, rotation] in
        [[0.0, -5.0, 0.0], [12.0, 0.0, 0.0], [0.0, 0.0, 20.0], [-9.0, 8.0, -15.0], [25.0, -10.0, 30.0]]
    {
        let patient = patient(femur, [70.0, 20.0], CHANGED, &posture(flexion, adduction, rotation));
        most = largest(most, &Chain::of(&patient)?.case(0)?);
    }
    Ok(Found::exact(most))
}

/// Adduction alone, drawn. The new head lies 3 - 2 = 1 mm further lateral in the femur than the old one.
const ADDUCTION: &str = r#"
[noise]
only = ["posture.reduction"]
[noise.posture.reduction]
flexion_deg = 0
adduction_deg = { normal = { sd = 3.0 } }
internal_rotation_deg = 0
basis = { kind = "assumed", note = "a check" }
"#;

static ADDUCTED_CIRCLE: LazyLock<Result<Vec<Scored>, String>> =
    LazyLock::new(|| Chain::of(&patient("circle", [70.0, 20.0], CHANGED, ADDUCTION))?.cases(20_000));

fn most_adducted(femur: &str) -> Result<Found, String> {
    let cases = Chain::of(&patient(femur, [70.0, 20.0], CHANGED, ADDUCTION))?.cases(500)?;
    Ok(Found::exact(cases.iter().fold(0.0, largest)))
}

/// The larger of a value and a case's errors of leg length and offset; NaN once there is one.
fn largest(most: f64, case: &Scored) -> f64 {
    let errors = [case.error[LEG_LENGTH], case.error[OFFSET]];
    errors.iter().fold(most, |most, error| if error.abs() <= most { most } else { error.abs() })
}
