//! Cup orientation read from the cup axis.

use super::frames::Pelvis;
use super::options::{AngleDefinition, Side};
use crate::geometry::{Degrees, Direction, Radians};

/// Inclination and anteversion by one definition.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CupAngles {
    /// Inclination (abduction).
    pub inclination: Degrees,
    /// Anteversion.
    pub anteversion: Degrees,
}

/// Angles of the cup axis (unit, out of the opening) in pelvic axes, after Murray DW. J Bone Joint Surg Br
/// 1993;75-B:228-232.
#[must_use]
pub fn cup_angles(axis: Direction<Pelvis>, side: Side, definition: AngleDefinition) -> CupAngles {
    let (anterior, inferior, lateral) = (axis.x(), -axis.y(), side.sign() * axis.z());
    let (inclination, anteversion) = match definition {
        AngleDefinition::Radiographic => (Radians::atan2(lateral, inferior), Radians::asin(anterior)),
        AngleDefinition::Operative => (Radians::asin(lateral), Radians::atan2(anterior, inferior)),
        AngleDefinition::Anatomic => (Radians::acos(inferior), Radians::atan2(anterior, lateral)),
    };
    CupAngles { inclination: inclination.into(), anteversion: anteversion.into() }
}
