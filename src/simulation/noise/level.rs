//! The level reading.

use crate::geometry::{Displacement, Rotation};
use crate::measurement::Side;
use crate::simulation::source::{Basis, CaptureKey, Source};
use crate::simulation::streams::CaseKey;
use crate::simulation::{Quantity, TruePelvis};
use serde::{Deserialize, Serialize};

/// Sources `level.*`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LevelNoise {
    /// `level.table`.
    pub table: Source<LevelTable>,
    /// `level.sensor`.
    pub sensor: Source<LevelSensor>,
}

/// The table's normal is not along gravity.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LevelTable {
    /// Turn about Y of the true level plane.
    pub about_y_deg: Quantity,
    /// Turn about Z of the true level plane.
    pub about_z_deg: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// The inclinometer's offset, axes and noise.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LevelSensor {
    /// Offset of the device, turn about Y of the true level plane.
    pub offset_about_y_deg: Quantity,
    /// Offset of the device, turn about Z of the true level plane.
    pub offset_about_z_deg: Quantity,
    /// The sensor's axes turned in their housing about X of the true bony axes; the housing is level where these are.
    pub axes_about_x_deg: Quantity,
    /// Noise of a reading, turn about Y.
    pub noise_about_y_deg: Quantity,
    /// Noise of a reading, turn about Z.
    pub noise_about_z_deg: Quantity,
    /// Where the numbers come from.
    pub basis: Basis,
}

/// A small turn of the up direction, components about Y and Z of the true level plane, degrees.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LevelTurn {
    /// About Y.
    pub about_y_deg: f64,
    /// About Z.
    pub about_z_deg: f64,
}

impl Source<LevelTable> {
    /// From the table's normal to gravity.
    #[must_use]
    pub fn turn(&self, key: &CaseKey, side: Side) -> LevelTurn {
        if self.is_off() {
            return LevelTurn::default();
        }
        let mut scores = self.case_stream(key);
        LevelTurn {
            about_y_deg: side.sign() * self.value(&self.model.about_y_deg, scores.next_score()),
            about_z_deg: self.value(&self.model.about_z_deg, scores.next_score()),
        }
    }
}

impl Source<LevelSensor> {
    /// From gravity to what one reading says.
    #[must_use]
    pub fn turn(&self, key: &CaseKey, side: Side, capture: CaptureKey) -> LevelTurn {
        if self.is_off() {
            return LevelTurn::default();
        }
        let mut device = self.device_stream(key);
        let mut reading = self.capture_stream(key, capture);
        let offset_y = self.value(&self.model.offset_about_y_deg, device.next_score());
        let offset_z = self.value(&self.model.offset_about_z_deg, device.next_score());
        let noise_y = self.value(&self.model.noise_about_y_deg, reading.next_score());
        let noise_z = self.value(&self.model.noise_about_z_deg, reading.next_score());
        LevelTurn { about_y_deg: side.sign() * (offset_y + noise_y), about_z_deg: offset_z + noise_z }
    }

    /// How the sensor's axes sit in their housing: whatever inclination they read is turned by this about the
    /// direction that is up where the housing is level, X of the true bony axes. With the two offsets it makes up
    /// the whole misalignment of a device.
    #[must_use]
    pub fn axes(&self, key: &CaseKey, side: Side) -> Rotation<TruePelvis, TruePelvis> {
        if self.is_off() || self.model.axes_about_x_deg == Quantity::ZERO {
            return Rotation::identity();
        }
        let mut device = self.device_stream(key);
        let _offsets = [device.next_score(), device.next_score()];
        let turn_deg = side.sign() * self.value(&self.model.axes_about_x_deg, device.next_score());
        Rotation::from_rotation_vector(Displacement::new(turn_deg.to_radians(), 0.0, 0.0))
    }
}
