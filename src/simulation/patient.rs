//! The patient and the true change made to the hip, drawn; vectors and turns in patient axes.

use super::Quantity;
use super::TruePelvis;
use super::source::Basis;
use super::streams::{CaseKey, StreamKey, source_key};
use crate::geometry::{Displacement, Rotation};
use crate::measurement::Side;
use serde::{Deserialize, Serialize};

/// A displacement as surgeons speak of it, mm; the same for both sides.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PatientVector {
    /// Forwards.
    pub anterior: f64,
    /// Upwards.
    pub superior: f64,
    /// Towards the operated side.
    pub lateral: f64,
}

impl PatientVector {
    /// No displacement.
    pub const ZERO: Self = Self { anterior: 0.0, superior: 0.0, lateral: 0.0 };

    /// In true bony axes.
    #[must_use]
    pub fn on(self, side: Side) -> Displacement<TruePelvis> {
        Displacement::new(self.anterior, self.superior, side.sign() * self.lateral)
    }
}

impl From<[f64; 3]> for PatientVector {
    fn from([anterior, superior, lateral]: [f64; 3]) -> Self {
        Self { anterior, superior, lateral }
    }
}

/// A turn as surgeons speak of it: components of one rotation vector, degrees; the same for both sides.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PatientTurn {
    /// About +Z.
    pub flexion_deg: f64,
    /// About +X for a right hip, -X for a left one.
    pub adduction_deg: f64,
    /// About +Y for a right hip, -Y for a left one.
    pub internal_rotation_deg: f64,
}

impl PatientTurn {
    /// No turn.
    pub const ZERO: Self = Self { flexion_deg: 0.0, adduction_deg: 0.0, internal_rotation_deg: 0.0 };

    /// In true bony axes.
    #[must_use]
    pub fn on(self, side: Side) -> Rotation<TruePelvis, TruePelvis> {
        Rotation::from_rotation_vector(Displacement::new(
            side.sign() * self.adduction_deg.to_radians(),
            side.sign() * self.internal_rotation_deg.to_radians(),
            self.flexion_deg.to_radians(),
        ))
    }
}

impl From<[f64; 3]> for PatientTurn {
    fn from([flexion_deg, adduction_deg, internal_rotation_deg]: [f64; 3]) -> Self {
        Self { flexion_deg, adduction_deg, internal_rotation_deg }
    }
}

impl std::ops::Add for PatientTurn {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self {
            flexion_deg: self.flexion_deg + other.flexion_deg,
            adduction_deg: self.adduction_deg + other.adduction_deg,
            internal_rotation_deg: self.internal_rotation_deg + other.internal_rotation_deg,
        }
    }
}

macro_rules! drawn_each_case {
    (
        $(#[$doc:meta])* $model:ident draws $(#[$values_doc:meta])* $values:ident as $prefix:literal;
        $(#[doc = $meaning:literal] $field:ident),+ $(,)?
    ) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct $model {
            $(#[doc = $meaning] pub $field: Quantity,)+
            /// Where the numbers come from.
            pub basis: Basis,
        }

        $(#[$values_doc])*
        #[derive(Clone, Copy, Debug, PartialEq)]
        pub struct $values {
            $(#[doc = $meaning] pub $field: f64,)+
        }

        impl $model {
            /// Keys of the quantities, in order.
            pub const KEYS: &'static [&'static str] = &[$(stringify!($field)),+];

            /// What each quantity is, in the order of [`Self::KEYS`].
            pub const MEANINGS: &'static [&'static str] = &[$($meaning),+];

            /// Draws a case from one of the sets of draws; each quantity on a stream of its own, so that adding one
            /// moves no other.
            #[must_use]
            pub fn draw(&self, key: &CaseKey, replicate: u64) -> $values {
                $values {
                    $($field: {
                        const SOURCE: u64 = source_key(concat!($prefix, ".", stringify!($field)));
                        draw(&self.$field, key, SOURCE, replicate)
                    },)+
                }
            }

            /// The case with every quantity at its median.
            #[must_use]
            pub fn medians(&self) -> $values {
                $values { $($field: self.$field.median(),)+ }
            }

            /// The quantities in the order of [`Self::KEYS`], to be changed.
            pub fn quantities_mut(&mut self) -> Vec<&mut Quantity> {
                vec![$(&mut self.$field),+]
            }

            /// The quantities in the order of [`Self::KEYS`].
            #[must_use]
            pub fn quantities(&self) -> Vec<(&'static str, &Quantity)> {
                vec![$((stringify!($field), &self.$field)),+]
            }
        }

        impl $values {
            /// The values in the order of the keys.
            #[must_use]
            pub const fn values(&self) -> [f64; $model::KEYS.len()] {
                [$(self.$field),+]
            }
        }
    };
}

drawn_each_case! {
    /// The population that patients are drawn from.
    Anatomy draws
    /// One patient.
    Patient as "anatomy";
    /// Distance between the anterior superior iliac spines.
    asis_width_mm,
    /// Distance from the line between the spines down to the midpoint of the pubis.
    pubis_drop_mm,
    /// Hip centre from the midpoint of the spines, forwards, as a ratio of the width.
    hip_anterior_ratio,
    /// Hip centre from the midpoint of the spines, upwards, as a ratio of the width.
    hip_superior_ratio,
    /// Hip centre from the midpoint of the spines, outwards, as a ratio of the width.
    hip_lateral_ratio,
    /// Individual deviation of the hip centre from its ratio, forwards.
    hip_anterior_mm,
    /// Individual deviation of the hip centre from its ratio, upwards.
    hip_superior_mm,
    /// Individual deviation of the hip centre from its ratio, outwards.
    hip_lateral_mm,
    /// Femoral offset: distance of the head centre from the shaft axis.
    femoral_offset_mm,
    /// Angle between femoral neck and shaft.
    neck_shaft_angle_deg,
    /// Femoral version: the neck turned forwards.
    femoral_version_deg,
    /// Pelvic tilt on the table about +Z, posterior is positive.
    tilt_deg,
    /// Pelvic obliquity on the table, about +X for a right hip and -X for a left one.
    obliquity_deg,
    /// Axial rotation of the pelvis on the table, about +Y for a right hip and -Y for a left one.
    rotation_deg,
}

drawn_each_case! {
    /// The true change made to the hip, in true bony axes.
    Implant draws
    /// The change made in one case.
    Change as "implant";
    /// Radiographic inclination of the cup as it is read.
    inclination_deg,
    /// Radiographic anteversion of the cup as it is read.
    anteversion_deg,
    /// Change of leg length, longer is positive.
    leg_length_mm,
    /// Change of offset, more lateral is positive.
    offset_mm,
    /// Shift of the hip centre, upwards.
    centre_superior_mm,
    /// Shift of the hip centre, outwards.
    centre_lateral_mm,
    /// Shift of the hip centre, forwards.
    centre_anterior_mm,
}

fn draw(quantity: &Quantity, key: &CaseKey, source: u64, replicate: u64) -> f64 {
    if let Quantity::Constant(value) = quantity {
        return *value;
    }
    let stream = StreamKey { seed: key.seed, replicate, source, device: key.device, case: key.case, capture: 0 };
    quantity.value(stream.open().next_score())
}
