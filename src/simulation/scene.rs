//! Where everything truly is in one case, in true bony axes, before any noise.

use super::model::{Model, Mount, Tools};
use super::patient::{Change, Patient, PatientVector};
use super::{Femur, TruePelvis, truth};
use crate::geometry::{Direction, Displacement, Point, Pose, Rotation};
use crate::measurement::{Camera, Feature, Side};

/// The true scene.
#[derive(Clone, Copy, Debug)]
pub struct Scene {
    /// Operated side.
    pub side: Side,
    /// Left anterior superior iliac spine.
    pub asis_left: Point<TruePelvis>,
    /// Right anterior superior iliac spine.
    pub asis_right: Point<TruePelvis>,
    /// Midpoint of the pubis.
    pub pubis: Point<TruePelvis>,
    /// Geometric centre of the native head, H0.
    pub native_centre: Point<TruePelvis>,
    /// Geometric centre of the new pair, H1.
    pub renewed_centre: Point<TruePelvis>,
    /// Cup axis when it is read, out of the opening.
    pub cup_axis: Direction<TruePelvis>,
    /// Cup axis in the end.
    pub final_cup_axis: Direction<TruePelvis>,
    /// The table's normal when the level is read.
    pub up: Direction<TruePelvis>,
    /// The pelvis in camera axes, before the camera is taken off.
    pub camera: Pose<TruePelvis, Camera>,
    /// The pelvis in the axes of what it carries, before that is taken off: the camera, or the tracker that the camera
    /// on its stand sees.
    pub carried: Pose<TruePelvis, Camera>,
    /// The camera's origin.
    pub camera_origin: Point<TruePelvis>,
    /// The feature on the femur at baseline.
    pub feature: Pose<Feature, Femur>,
}

impl Scene {
    /// The scene of a patient to whom a change is made; the cup stays as it was read.
    #[must_use]
    pub fn of(model: &Model, patient: &Patient, change: &Change) -> Self {
        let side = model.side;
        let at = |anterior, superior, lateral| Point::ORIGIN + PatientVector { anterior, superior, lateral }.on(side);
        let half = 0.5 * patient.asis_width_mm;
        let operated = at(0.0, 0.0, half);
        let native_centre = at(
            patient.hip_anterior_ratio * patient.asis_width_mm + patient.hip_anterior_mm,
            patient.hip_superior_ratio * patient.asis_width_mm + patient.hip_superior_mm,
            patient.hip_lateral_ratio * patient.asis_width_mm + patient.hip_lateral_mm,
        );
        let centre_shift = PatientVector {
            anterior: change.centre_anterior_mm,
            superior: change.centre_superior_mm,
            lateral: change.centre_lateral_mm,
        };
        let cup_axis = truth::cup_axis(change.inclination_deg, change.anteversion_deg, side);
        let camera_origin = operated + PatientVector::from(model.camera.position_mm).on(side);
        let camera = looking(camera_origin, native_centre + PatientVector::from(model.camera.aim_mm).on(side));
        let carried = match model.camera.mount {
            Mount::Pelvis => camera,
            Mount::Stand => {
                let tracker = operated + PatientVector::from(model.camera.pelvis_tracker_mm).on(side);
                looking(tracker, camera_origin)
            }
        };
        Self {
            side,
            asis_left: Point::new(0.0, 0.0, -half),
            asis_right: Point::new(0.0, 0.0, half),
            pubis: at(0.0, -patient.pubis_drop_mm, 0.0),
            native_centre,
            renewed_centre: native_centre + centre_shift.on(side),
            cup_axis,
            final_cup_axis: cup_axis,
            up: truth::up(patient, side),
            camera,
            carried,
            camera_origin,
            feature: feature_on_femur(&model.tools, patient, side),
        }
    }

    /// Direction from a place to the camera.
    #[must_use]
    pub fn towards_camera(&self, place: Point<TruePelvis>) -> Direction<TruePelvis> {
        (self.camera_origin - place).direction().unwrap_or(Direction::X)
    }
}

/// A camera, or a tracker, at a place that looks at a target: Z along the optical axis, Y as near to downwards (inferior) as
/// can be.
fn looking(origin: Point<TruePelvis>, target: Point<TruePelvis>) -> Pose<TruePelvis, Camera> {
    let z = (target - origin).direction().unwrap_or(-Direction::X);
    let across = (-Direction::<TruePelvis>::Y).as_displacement().cross(z.as_displacement());
    let x = across.direction().unwrap_or(Direction::Z);
    Pose::new(Rotation::<Camera, TruePelvis>::from_axes(x, z.third(x), z), origin).inverse()
}

/// Where the feature is on the femur: on its lateral side, set from the point where neck and shaft axes meet.
fn feature_on_femur(tools: &Tools, patient: &Patient, side: Side) -> Pose<Feature, Femur> {
    let in_femur = |v: Displacement<TruePelvis>| Displacement::<Femur>::from_vector(*v.vector());
    let version = patient.femoral_version_deg.to_radians();
    let neck_rise = (patient.neck_shaft_angle_deg - 90.0).to_radians();
    // From the head centre to the meeting point: outwards, backwards by the version, and down the neck.
    let meeting = PatientVector {
        anterior: -patient.femoral_offset_mm * libm::sin(version),
        superior: -patient.femoral_offset_mm * libm::tan(neck_rise),
        lateral: patient.femoral_offset_mm * libm::cos(version),
    };
    let position = meeting.on(side) + PatientVector::from(tools.feature_position_mm).on(side);
    let normal = in_femur(PatientVector::from(tools.feature_normal).on(side));
    let x = normal.direction().unwrap_or(Direction::X);
    // The major axis runs along the femur.
    let along = Direction::<Femur>::Y.as_displacement();
    let y = (along - along.along(x) * x).direction().unwrap_or(Direction::Z);
    Pose::new(Rotation::from_axes(x, y, x.third(y)), Point::ORIGIN + in_femur(position))
}
