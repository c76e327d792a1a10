//! The truth of a case, sealed until its readings are in.
//!
//! Truth is stated by the definitions of the angles as geometry (angles to planes, angles of projections), not
//! by the component formulas that the measurement uses: a wrong definition on one side does not cancel.

use super::TruePelvis;
use super::events::Happened;
use super::patient::{Change, Patient};
use super::scene::Scene;
use crate::geometry::{Direction, Displacement, Point, Pose, Radians, Rotation};
use crate::measurement::{AngleDefinition, Feature, OUTPUTS, Plane, Side, Tracker};

/// The truth of a simulated case. It can be spent once: scoring consumes it, after the readings are in.
#[derive(Debug)]
pub struct SealedTruth(Truth);

impl SealedTruth {
    pub(super) fn seal(truth: Truth) -> Self {
        Self(truth)
    }

    /// Opens the seal.
    #[must_use]
    pub fn unseal(self) -> Truth {
        self.0
    }
}

/// What was true in a case.
#[derive(Clone, Debug)]
pub struct Truth {
    /// The patient.
    pub patient: Patient,
    /// The change drawn for the hip.
    pub change: Change,
    /// Places and directions.
    pub scene: Scene,
    /// The probe's tip in its tracker's axes: as seated before it was calibrated, and before the first reduction.
    pub tips: [Point<Tracker>; 2],
    /// The feature where it was located at baseline, in the posture of that moment.
    pub baseline: Pose<Feature, TruePelvis>,
    /// Each reduction.
    pub reductions: Vec<TrueReduction>,
    /// Rare events that happened.
    pub happened: Happened,
}

/// What was true at a reduction.
#[derive(Clone, Copy, Debug)]
pub struct TrueReduction {
    /// The shift of the femur, in true bony axes: `(H1 - H0) - g`.
    pub shift: Displacement<TruePelvis>,
    /// The feature where it was located, in the posture of that moment; `None` where nothing that is asked needs it.
    pub feature: Option<Pose<Feature, TruePelvis>>,
    /// Holds in whose first try the probe's tip slipped.
    pub slips: u32,
}

/// The true values of the outputs, in the order of [`OUTPUTS`] and in their units.
pub type TrueReading = [f64; OUTPUTS.len()];

impl Truth {
    /// The outputs at one reduction, stated in a plane and by a definition.
    #[must_use]
    pub fn reading(&self, reduction: usize, plane: Plane, definition: AngleDefinition) -> TrueReading {
        self.scene.reading(self.reductions[reduction].shift, plane, definition)
    }
}

impl Scene {
    /// The outputs where the femur is shifted so, stated in a plane and by a definition.
    #[must_use]
    pub fn reading(&self, shift: Displacement<TruePelvis>, plane: Plane, definition: AngleDefinition) -> TrueReading {
        let axes = match plane {
            Plane::Bony | Plane::Template => Triad::BONY,
            Plane::Level => Triad::level(self.up),
        };
        let side = self.side;
        let (inclination, anteversion) = axes.cup_angles(self.final_cup_axis, side, definition);
        let centre = self.renewed_centre - self.native_centre;
        let lateral = side.sign();
        [
            inclination.0.to_degrees(),
            anteversion.0.to_degrees(),
            -shift.along(axes.superior),
            lateral * shift.along(axes.right),
            centre.along(axes.superior),
            lateral * centre.along(axes.right),
            centre.along(axes.anterior),
        ]
    }
}

/// Axes of a true plane, in true bony axes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Triad {
    anterior: Direction<TruePelvis>,
    superior: Direction<TruePelvis>,
    right: Direction<TruePelvis>,
}

impl Triad {
    const BONY: Self = Self { anterior: Direction::X, superior: Direction::Y, right: Direction::Z };

    /// The true level plane: up, and the line between the spines (Z) brought level.
    pub(super) fn level(up: Direction<TruePelvis>) -> Self {
        // Up is never along the line between the spines: the pelvis lies on its back.
        let cross = Direction::<TruePelvis>::Z.as_displacement().cross(up.as_displacement());
        let superior = cross.direction().unwrap_or(Direction::Y);
        let right = up.as_displacement().cross(superior.as_displacement()).direction().unwrap_or(Direction::Z);
        Self { anterior: up, superior, right }
    }

    /// Up turned about the plane's Y and Z, degrees.
    pub(super) fn turned_up(&self, about_y_deg: f64, about_z_deg: f64) -> Direction<TruePelvis> {
        let turn = about_y_deg.to_radians() * self.superior + about_z_deg.to_radians() * self.right;
        Rotation::<TruePelvis, TruePelvis>::from_rotation_vector(turn) * self.anterior
    }

    fn cup_angles(&self, cup: Direction<TruePelvis>, side: Side, definition: AngleDefinition) -> (Radians, Radians) {
        let inferior = -self.superior;
        let lateral = if side == Side::Right { self.right } else { -self.right };
        match definition {
            // Inclination of the projection on the coronal plane; angle out of that plane.
            AngleDefinition::Radiographic => {
                (projected_angle(cup, self.anterior, inferior, lateral), elevation(cup, self.anterior))
            }
            // Angle out of the sagittal plane; inclination of the projection on that plane.
            AngleDefinition::Operative => {
                (elevation(cup, lateral), projected_angle(cup, lateral, inferior, self.anterior))
            }
            // Angle to the longitudinal axis; direction of the projection on the transverse plane.
            AngleDefinition::Anatomic => (
                angle_between(cup.as_displacement(), inferior.as_displacement()),
                projected_angle(cup, inferior, lateral, self.anterior),
            ),
        }
    }
}

/// Angle of a direction out of the plane with this normal.
fn elevation(direction: Direction<TruePelvis>, normal: Direction<TruePelvis>) -> Radians {
    Radians(std::f64::consts::FRAC_PI_2 - angle_between(direction.as_displacement(), normal.as_displacement()).0)
}

/// Angle from `zero` to the projection of a direction on the plane with this normal, towards `positive`.
fn projected_angle(
    direction: Direction<TruePelvis>,
    normal: Direction<TruePelvis>,
    zero: Direction<TruePelvis>,
    positive: Direction<TruePelvis>,
) -> Radians {
    let direction = direction.as_displacement();
    let projection = direction - direction.along(normal) * normal;
    let angle = angle_between(projection, zero.as_displacement());
    Radians(angle.0.copysign(projection.along(positive)))
}

/// Angle between two displacements, accurate near 0 and pi: `2 atan2(|a/|a| - b/|b||, |a/|a| + b/|b||)`.
fn angle_between(a: Displacement<TruePelvis>, b: Displacement<TruePelvis>) -> Radians {
    let (a, b) = (b.length() * a, a.length() * b);
    Radians(2.0 * libm::atan2((a - b).length(), (a + b).length()))
}

/// The cup axis, out of the opening, built from prescribed radiographic angles by two turns: the axis first
/// points down, leans forwards by the anteversion, and is then swung outwards by the inclination.
pub(super) fn cup_axis(inclination_deg: f64, anteversion_deg: f64, side: Side) -> Direction<TruePelvis> {
    let turn = |axis: Direction<TruePelvis>, deg: f64| {
        Rotation::<TruePelvis, TruePelvis>::from_rotation_vector(deg.to_radians() * axis)
    };
    let leaning = turn(Direction::Z, anteversion_deg) * -Direction::Y;
    turn(Direction::X, -side.sign() * inclination_deg) * leaning
}

/// Up in true bony axes of a pelvis that lies on the table: `(Rx(o) Ry(r) Rz(t))' X`, the first row of that matrix, which the
/// obliquity leaves as it is.
pub(super) fn up(patient: &Patient, side: Side) -> Direction<TruePelvis> {
    let (rotation_sine, rotation_cosine) = libm::sincos((side.sign() * patient.rotation_deg).to_radians());
    let (tilt_sine, tilt_cosine) = libm::sincos(patient.tilt_deg.to_radians());
    let up = Displacement::new(rotation_cosine * tilt_cosine, -rotation_cosine * tilt_sine, rotation_sine);
    up.direction().unwrap_or(Direction::X)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::Plan;

    #[test]
    fn identity_up_is_that_of_the_turns_on_the_table() {
        let text = "seed = 1\n[anatomy]\ntilt_deg = 7.0\nrotation_deg = -4.0\nobliquity_deg = 9.0\n";
        let plan = Plan::parse("up", text).unwrap_or_else(|error| panic!("{error}"));
        let patient = plan.variants[0].model.anatomy.medians();
        for side in [Side::Right, Side::Left] {
            let turn = |axis: Direction<TruePelvis>, deg: f64| {
                Rotation::<TruePelvis, TruePelvis>::from_rotation_vector(deg.to_radians() * axis)
            };
            let on_table = turn(Direction::X, side.sign() * patient.obliquity_deg)
                * turn(Direction::Y, side.sign() * patient.rotation_deg)
                * turn(Direction::Z, patient.tilt_deg);
            let expected = on_table.inverse() * Direction::X;
            let off = up(&patient, side).as_displacement() - expected.as_displacement();
            assert!(off.length() < 1e-15, "{off:?}");
        }
    }
}
