//! What there is to know of each source beside its numbers, which are in the defaults.

use super::component;
use super::entry::{CovarianceEntry, Parameter, SourceEntry};
use crate::measurement::Step;
use crate::simulation::source::Stratum;

const COVARIANCE_OF_AXES: &[CovarianceEntry] =
    &[CovarianceEntry { key: "covariance_mm2", in_place_of: &["anterior_mm", "superior_mm", "lateral_mm"] }];
const COVARIANCE_OF_EACH: &[CovarianceEntry] =
    &[CovarianceEntry { key: "covariance_mm2", in_place_of: &["each_axis_mm"] }];
const COVARIANCE_OF_TURN: &[CovarianceEntry] = &[CovarianceEntry {
    key: "covariance_deg2",
    in_place_of: &["flexion_deg", "adduction_deg", "internal_rotation_deg"],
}];
const COVARIANCE_OF_EACH_TURN: &[CovarianceEntry] =
    &[CovarianceEntry { key: "covariance_deg2", in_place_of: &["each_axis_deg"] }];
const COVARIANCES_OF_POSE: &[CovarianceEntry] = &[
    CovarianceEntry { key: "rotation_covariance_deg2", in_place_of: &["rotation_deg"] },
    CovarianceEntry { key: "translation_covariance_mm2", in_place_of: &["translation_mm"] },
];

const fn parameter(key: &'static str, meaning: &'static str) -> Parameter {
    Parameter { key, meaning, plausible: None }
}

impl Parameter {
    const fn within(self, low: f64, high: f64) -> Self {
        Self { plausible: Some([low, high]), ..self }
    }
}

use Stratum::{Capture, Case, Device, Frame};

const CASE_SHARE: Parameter = parameter("case_share", "proportion of the variance that repeats within a case");
const PROBABILITY: &str = "probability that it happens";

/// All noise sources, in the order of the procedure's parts.
pub const SOURCES: [SourceEntry; 23] = [
    SourceEntry {
        id: "tracker.jitter",
        strata: &[Frame],
        meaning: "noise of a marker in one camera frame. Camera model marker: of its position; across the ray it grows \
                  with r/250 mm, along the ray with (r/250 mm) squared, r the distance from the camera. Camera model \
                  pixel: of its image",
        axes: "marker: across and along the ray from the camera to the marker; pixel: both axes of the image",
        parameters: &[
            parameter("across_mm", "camera model marker: one marker, each axis across the ray, at 250 mm")
                .within(0.02, 0.15),
            parameter("along_mm", "camera model marker: one marker, along the ray, at 250 mm"),
            parameter("pixel_px", "camera model pixel: the image of one marker, each coordinate").within(0.02, 0.3),
        ],
        covariances: &[],
        items: &[],
        disturbs_only: None,
        plausible: "across 0.02 to 0.15 mm; along 2 to 6 times across; image 0.02 to 0.3 px",
        on_by_default: true,
    },
    SourceEntry {
        id: "tracker.lens",
        strata: &[Device],
        meaning: "what calibration leaves of the camera's distortion: every marker displaced by a quadratic \
                  polynomial of its position, the same for a device, before it is seen or projected; stated over a cube of 300 mm that begins at the \
                  camera, without the shift and the turn that cancel in every reading",
        axes: "camera axes",
        parameters: &[
            parameter("rms_mm", "root mean square length of the displacement over the volume").within(0.1, 0.4)
        ],
        covariances: &[],
        items: &[],
        disturbs_only: None,
        plausible: "0.1 to 0.4 mm",
        on_by_default: true,
    },
    SourceEntry {
        id: "tracker.build",
        strata: &[Device],
        meaning: "markers off their drawing, each tool's by itself; the head's tracker serves both centres",
        axes: "tracker axes",
        parameters: &[parameter("each_axis_mm", "one marker, each axis").within(0.02, 0.15)],
        covariances: &[],
        items: &[],
        disturbs_only: None,
        plausible: "0.02 to 0.15 mm",
        on_by_default: true,
    },
    SourceEntry {
        id: "camera.remount",
        strata: &[Capture],
        meaning: "the camera taken off and put back before the cup step: every later pose is turned about the \
                  camera's origin and shifted",
        axes: "camera axes",
        parameters: &[
            parameter("rotation_deg", "each component of the rotation vector").within(0.01, 0.2),
            parameter("translation_mm", "each component of the translation").within(0.01, 0.2),
        ],
        covariances: COVARIANCES_OF_POSE,
        items: component::REMOUNT,
        disturbs_only: None,
        plausible: "0.01 to 0.2 mm and degrees",
        on_by_default: true,
    },
    SourceEntry {
        id: "camera.drift",
        strata: &[Case],
        meaning: "the camera's mount creeping on the pelvis, from nothing at step 2 to the drawn value at step 9, evenly \
                  from step to step; and rarely a knock, at a random moment between the two",
        axes: "camera axes, about the camera's origin",
        parameters: &[
            parameter("rotation_deg", "each component of the rotation vector at step 9"),
            parameter("translation_mm", "each component of the translation at step 9"),
            parameter("knock_probability", "probability that the mount is knocked in a case"),
            parameter("knock_rotation_deg", "each component of the rotation vector of a knock"),
            parameter("knock_translation_mm", "each component of the translation of a knock"),
        ],
        covariances: COVARIANCES_OF_POSE,
        items: component::DRIFT,
        disturbs_only: None,
        plausible: "a knock in 0.2 to 5 % of cases",
        on_by_default: true,
    },
    SourceEntry {
        id: "level.table",
        strata: &[Case],
        meaning: "angle from the table's normal to gravity when the level is read",
        axes: "Y and Z of the true level plane; the turn about Y changes sign for a left hip",
        parameters: &[
            parameter("about_y_deg", "turn about Y").within(0.2, 1.5),
            parameter("about_z_deg", "turn about Z").within(0.2, 1.5),
        ],
        covariances: &[],
        items: component::TABLE,
        disturbs_only: Some(Step::Level),
        plausible: "0.2 to 1.5 degrees",
        on_by_default: true,
    },
    SourceEntry {
        id: "level.sensor",
        strata: &[Device, Capture],
        meaning: "offset of the inclinometer and misalignment of its axes, the same for a device, and noise of each \
                  reading. Misaligned axes cost in proportion to how far the bony plane lies from level",
        axes: "offset and noise about Y and Z of the true level plane, axes about X of the true bony axes; turns about \
               X and Y change sign for a left hip",
        parameters: &[
            parameter("offset_about_y_deg", "offset, turn about Y").within(0.05, 1.0),
            parameter("offset_about_z_deg", "offset, turn about Z").within(0.05, 1.0),
            parameter(
                "axes_about_x_deg",
                "the sensor's axes turned in their housing, which is level where the bony plane is",
            ),
            parameter("noise_about_y_deg", "noise of a reading, turn about Y").within(0.05, 1.0),
            parameter("noise_about_z_deg", "noise of a reading, turn about Z").within(0.05, 1.0),
        ],
        covariances: &[],
        items: component::SENSOR,
        disturbs_only: Some(Step::Level),
        plausible: "0.05 to 1 degree",
        on_by_default: true,
    },
    SourceEntry {
        id: "landmark.palpation.asis",
        strata: &[Case, Capture],
        meaning: "how far the touched point lies from the anterior superior iliac spine",
        axes: "anterior, superior, lateral in true bony axes",
        parameters: &[
            parameter("anterior_mm", "forwards").within(1.5, 5.0),
            parameter("superior_mm", "upwards").within(1.5, 5.0),
            parameter("lateral_mm", "towards the operated side").within(1.5, 5.0),
            CASE_SHARE,
        ],
        covariances: COVARIANCE_OF_AXES,
        items: component::ASIS,
        disturbs_only: None,
        plausible: "1.5 to 5 mm an axis",
        on_by_default: true,
    },
    SourceEntry {
        id: "landmark.palpation.pubis",
        strata: &[Case, Capture],
        meaning: "how far the touched point lies from the midpoint of the pubis",
        axes: "anterior, superior, lateral in true bony axes",
        parameters: &[
            parameter("anterior_mm", "forwards").within(2.0, 6.0),
            parameter("superior_mm", "upwards").within(2.0, 6.0),
            parameter("lateral_mm", "towards the operated side").within(2.0, 6.0),
            CASE_SHARE,
        ],
        covariances: COVARIANCE_OF_AXES,
        items: component::PUBIS,
        disturbs_only: Some(Step::Pubis),
        plausible: "2 to 6 mm an axis",
        on_by_default: true,
    },
    SourceEntry {
        id: "landmark.tissue",
        strata: &[Case],
        meaning: "soft tissue between the finger and the bone: a bias with a spread, one factor a patient times a \
                  thickness for each landmark",
        axes: "anterior in true bony axes",
        parameters: &[
            parameter("factor", "the patient's factor, 1 is the typical patient"),
            parameter("asis_mm", "thickness over each anterior superior iliac spine").within(0.0, 10.0),
            parameter("pubis_mm", "thickness over the pubis").within(3.0, 25.0),
        ],
        covariances: &[],
        items: component::TISSUE,
        disturbs_only: None,
        plausible: "spine 0 to 10 mm, pubis 3 to 25 mm",
        on_by_default: true,
    },
    SourceEntry {
        id: "probe.tremor",
        strata: &[Frame],
        meaning: "motion of the hand while a landmark is touched: each axis a first-order Gauss-Markov process",
        axes: "anterior, superior, lateral in true bony axes",
        parameters: &[
            parameter("each_axis_mm", "displacement of the tip on each axis").within(0.1, 1.0),
            parameter("time_constant_s", "time after which the correlation has fallen to 1/e"),
        ],
        covariances: COVARIANCE_OF_EACH,
        items: &[],
        disturbs_only: None,
        plausible: "0.1 to 1 mm",
        on_by_default: true,
    },
    SourceEntry {
        id: "probe.attach",
        strata: &[Capture],
        meaning: "how the tracker sits on the probe; seated before the tip is calibrated and again before the \
                  first reduction",
        axes: "probe tracker axes",
        parameters: &[
            parameter("rotation_deg", "each component of the rotation vector about the tracker's origin")
                .within(0.02, 0.3),
            parameter("translation_mm", "each component of the translation").within(0.02, 0.3),
        ],
        covariances: COVARIANCES_OF_POSE,
        items: &[],
        disturbs_only: None,
        plausible: "0.02 to 0.3 mm and degrees",
        on_by_default: true,
    },
    SourceEntry {
        id: "probe.slip",
        strata: &[Capture, Frame],
        meaning: "the tip moving in its pivot point in every frame, and the tip slipping once in a hold",
        axes: "anterior, superior, lateral in true bony axes",
        parameters: &[
            parameter("in_pivot_mm", "each axis, each frame of the tip pivot").within(0.02, 0.3),
            parameter("in_hold_mm", "each axis, from a random frame of the hold on"),
            parameter("in_hold_probability", "probability that the tip slips in a hold"),
        ],
        covariances: &[],
        items: &[],
        disturbs_only: None,
        plausible: "in the pivot point 0.02 to 0.3 mm",
        on_by_default: true,
    },
    SourceEntry {
        id: "femur.groove",
        strata: &[Frame],
        meaning: "clearance of the tip in the groove or divot of the femoral feature",
        axes: "anterior, superior, lateral in true bony axes",
        parameters: &[parameter("each_axis_mm", "displacement of the tip on each axis").within(0.05, 0.5)],
        covariances: COVARIANCE_OF_EACH,
        items: &[],
        disturbs_only: Some(Step::FemurReduction),
        plausible: "0.05 to 0.5 mm",
        on_by_default: true,
    },
    SourceEntry {
        id: "femur.motion",
        strata: &[Capture],
        meaning: "the femur moving evenly while its groove is traced; a hold in a divot is too short for it",
        axes: "anterior, superior, lateral in true bony axes",
        parameters: &[
            parameter("each_axis_mm", "displacement on each axis from the first to the last frame").within(0.0, 2.0)
        ],
        covariances: COVARIANCE_OF_EACH,
        items: &[],
        disturbs_only: Some(Step::FemurReduction),
        plausible: "0 to 2 mm over a trace",
        on_by_default: true,
    },
    SourceEntry {
        id: "femur.loosening",
        strata: &[Case],
        meaning: "the feature moving on the bone, at once after the baseline",
        axes: "femoral axes, about the feature's own origin",
        parameters: &[
            parameter("probability", PROBABILITY),
            parameter("rotation_deg", "each component of the rotation vector"),
            parameter("translation_mm", "each component of the translation"),
        ],
        covariances: &[],
        items: &[],
        disturbs_only: Some(Step::FemurReduction),
        plausible: "0 to 5 % of cases",
        on_by_default: true,
    },
    SourceEntry {
        id: "posture.baseline",
        strata: &[Case],
        meaning: "the leg not in neutral when the baseline is taken",
        axes: "rotation vector in true bony axes about the head centre",
        parameters: &[
            parameter("flexion_deg", "flexion").within(1.0, 5.0),
            parameter("adduction_deg", "adduction").within(1.0, 5.0),
            parameter("internal_rotation_deg", "internal rotation").within(1.0, 5.0),
        ],
        covariances: COVARIANCE_OF_TURN,
        items: component::BASELINE,
        disturbs_only: Some(Step::FemurReduction),
        plausible: "1 to 5 degrees an axis",
        on_by_default: true,
    },
    SourceEntry {
        id: "posture.reduction",
        strata: &[Capture],
        meaning: "the leg at a reduction not where it was at baseline",
        axes: "rotation vector in true bony axes about the head centre",
        parameters: &[
            parameter("flexion_deg", "flexion").within(1.0, 5.0),
            parameter("adduction_deg", "adduction").within(1.0, 5.0),
            parameter("internal_rotation_deg", "internal rotation").within(1.0, 5.0),
        ],
        covariances: COVARIANCE_OF_TURN,
        items: component::REDUCTION,
        disturbs_only: Some(Step::FemurReduction),
        plausible: "1 to 5 degrees an axis",
        on_by_default: true,
    },
    SourceEntry {
        id: "centre.native",
        strata: &[Case, Frame],
        meaning: "head not round and socket worn: the turning point is off the geometric centre and wanders",
        axes: "anterior, superior, lateral in true bony axes",
        parameters: &[
            parameter("anterior_mm", "forwards").within(0.5, 4.0),
            parameter("superior_mm", "upwards").within(0.5, 4.0),
            parameter("lateral_mm", "towards the operated side").within(0.5, 4.0),
            CASE_SHARE,
        ],
        covariances: COVARIANCE_OF_AXES,
        items: &[],
        disturbs_only: Some(Step::CentreNative),
        plausible: "0.5 to 4 mm an axis",
        on_by_default: true,
    },
    SourceEntry {
        id: "centre.liner",
        strata: &[Frame],
        meaning: "clearance of the new pair: the head's centre anywhere in a small ball",
        axes: "uniform in a ball about the new centre",
        parameters: &[parameter("radial_clearance_mm", "radius of the ball").within(0.03, 0.3)],
        covariances: &[],
        items: &[],
        disturbs_only: Some(Step::CentreNew),
        plausible: "0.03 to 0.3 mm",
        on_by_default: true,
    },
    SourceEntry {
        id: "cup.attach",
        strata: &[Capture],
        meaning: "how the tracker sits on the inserter",
        axes: "about each of the inserter's two transverse axes",
        parameters: &[parameter("transverse_deg", "turn about each transverse axis").within(0.1, 1.0)],
        covariances: &[],
        items: component::ATTACH,
        disturbs_only: Some(Step::Cup),
        plausible: "0.1 to 1 degree",
        on_by_default: true,
    },
    SourceEntry {
        id: "cup.runout",
        strata: &[Device],
        meaning: "the inserter's axis off its drawing",
        axes: "about each of the inserter's two transverse axes",
        parameters: &[parameter("transverse_deg", "turn about each transverse axis").within(0.1, 1.0)],
        covariances: &[],
        items: component::RUNOUT,
        disturbs_only: Some(Step::Cup),
        plausible: "0.1 to 1 degree",
        on_by_default: true,
    },
    SourceEntry {
        id: "cup.seating",
        strata: &[Case],
        meaning: "the cup moving after it was read; truth is the final cup. Drawn only where the file names it",
        axes: "rotation vector in true bony axes about the new centre",
        parameters: &[parameter("each_axis_deg", "each of flexion, adduction, internal rotation").within(0.5, 3.0)],
        covariances: COVARIANCE_OF_EACH_TURN,
        items: component::SEATING,
        disturbs_only: Some(Step::Cup),
        plausible: "0.5 to 3 degrees",
        on_by_default: false,
    },
];

#[cfg(test)]
mod tests {
    use super::SOURCES;

    #[test]
    fn identity_ranges_of_parameters_are_those_in_words() {
        let mut ranges = 0;
        for source in &SOURCES {
            let numbers: Vec<f64> = source.plausible.split(' ').filter_map(|word| word.parse().ok()).collect();
            for (key, [low, high]) in
                source.parameters.iter().filter_map(|parameter| Some((parameter.key, parameter.plausible?)))
            {
                ranges += 1;
                assert!(low < high && numbers.chunks(2).any(|pair| pair == [low, high]), "{}.{key}", source.id);
            }
        }
        assert!(ranges > 30, "{ranges}");
    }
}
