//! The numbers that the measurement reports.

use super::cup::CupAngles;
use super::failure::Failure;
use crate::geometry::Millimetres;

/// Numerical resolution of the chain from observations to readings, mm and degrees: a smaller error is rounding.
///
/// Without noise the chain closes to it (a test holds every plane, feature and side to it): lengths of up to 10^3 mm carry
/// 2e-13 mm of rounding, which pivots, planes and levers amplify by less than 10^3.
pub const RESOLUTION: f64 = 1e-9;

/// Unit of an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Degrees.
    Degrees,
    /// Millimetres.
    Millimetres,
}

impl Unit {
    /// The unit as a column suffix and in tables.
    #[must_use]
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Degrees => "deg",
            Self::Millimetres => "mm",
        }
    }

    /// The unit as written behind a number.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Degrees => "°",
            Self::Millimetres => "mm",
        }
    }
}

/// The seven outputs, everywhere in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Output {
    /// Cup inclination.
    Inclination,
    /// Cup anteversion.
    Anteversion,
    /// Change of leg length, longer is positive.
    LegLength,
    /// Change of offset, more lateral is positive.
    Offset,
    /// Shift of the hip centre upwards.
    CentreSuperior,
    /// Shift of the hip centre outwards.
    CentreLateral,
    /// Shift of the hip centre forwards.
    CentreAnterior,
}

/// All outputs in order.
pub const OUTPUTS: [Output; 7] = [
    Output::Inclination,
    Output::Anteversion,
    Output::LegLength,
    Output::Offset,
    Output::CentreSuperior,
    Output::CentreLateral,
    Output::CentreAnterior,
];

impl Output {
    /// Those of the cup.
    pub const CUP: [Self; 2] = [Self::Inclination, Self::Anteversion];
    /// Those of the femur.
    pub const LEG: [Self; 2] = [Self::LegLength, Self::Offset];
    /// Those of the hip centre.
    pub const CENTRE: [Self; 3] = [Self::CentreSuperior, Self::CentreLateral, Self::CentreAnterior];

    /// Its place in [`OUTPUTS`].
    #[must_use]
    pub const fn place(self) -> usize {
        self as usize
    }

    /// Its id in files.
    #[must_use]
    pub const fn id(self) -> &'static str {
        match self {
            Self::Inclination => "inclination",
            Self::Anteversion => "anteversion",
            Self::LegLength => "leg_length",
            Self::Offset => "offset",
            Self::CentreSuperior => "centre_superior",
            Self::CentreLateral => "centre_lateral",
            Self::CentreAnterior => "centre_anterior",
        }
    }

    /// Its name in text.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Inclination => "cup inclination",
            Self::Anteversion => "cup anteversion",
            Self::LegLength => "leg length change",
            Self::Offset => "offset change",
            Self::CentreSuperior => "hip centre shift, superior",
            Self::CentreLateral => "hip centre shift, lateral",
            Self::CentreAnterior => "hip centre shift, anterior",
        }
    }

    /// Its unit.
    #[must_use]
    pub const fn unit(self) -> Unit {
        match self {
            Self::Inclination | Self::Anteversion => Unit::Degrees,
            _ => Unit::Millimetres,
        }
    }

    /// The output with this id.
    #[must_use]
    pub fn from_id(id: &str) -> Option<Self> {
        OUTPUTS.into_iter().find(|output| output.id() == id)
    }
}

/// The outputs that a procedure is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked([bool; OUTPUTS.len()]);

impl Asked {
    /// All of them.
    pub const ALL: Self = Self([true; OUTPUTS.len()]);

    /// These.
    #[must_use]
    pub fn of(outputs: &[Output]) -> Self {
        Self(OUTPUTS.map(|output| outputs.contains(&output)))
    }

    /// Whether an output is asked for.
    #[must_use]
    pub const fn has(self, output: Output) -> bool {
        self.0[output.place()]
    }

    /// Whether one of these is.
    #[must_use]
    pub fn has_any(self, outputs: &[Output]) -> bool {
        outputs.iter().any(|&output| self.has(output))
    }

    /// Whether all of these are.
    #[must_use]
    pub fn has_all(self, outputs: &[Output]) -> bool {
        outputs.iter().all(|&output| self.has(output))
    }

    /// What both ask for.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self(OUTPUTS.map(|output| self.has(output) && other.has(output)))
    }

    /// The outputs asked for, in order.
    pub fn outputs(self) -> impl Iterator<Item = Output> + Clone {
        OUTPUTS.into_iter().filter(move |&output| self.has(output))
    }
}

/// Change of leg length and offset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LegChange {
    /// Longer is positive.
    pub leg_length: Millimetres,
    /// More lateral is positive.
    pub offset: Millimetres,
}

/// Shift of the hip centre in pelvic axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CentreShift {
    /// Upwards.
    pub superior: Millimetres,
    /// Outwards.
    pub lateral: Millimetres,
    /// Forwards.
    pub anterior: Millimetres,
}

/// Readings at one reduction; each group stands or fails by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    /// Inclination and anteversion.
    pub cup: Result<CupAngles, Failure>,
    /// Leg length and offset.
    pub leg: Result<LegChange, Failure>,
    /// Hip centre.
    pub centre: Result<CentreShift, Failure>,
}

impl Readings {
    /// One output, in its unit.
    ///
    /// # Errors
    /// The failure that left it without an answer.
    pub fn get(&self, output: Output) -> Result<f64, Failure> {
        match output {
            Output::Inclination => self.cup.map(|cup| cup.inclination.0),
            Output::Anteversion => self.cup.map(|cup| cup.anteversion.0),
            Output::LegLength => self.leg.map(|leg| leg.leg_length.0),
            Output::Offset => self.leg.map(|leg| leg.offset.0),
            Output::CentreSuperior => self.centre.map(|centre| centre.superior.0),
            Output::CentreLateral => self.centre.map(|centre| centre.lateral.0),
            Output::CentreAnterior => self.centre.map(|centre| centre.anterior.0),
        }
    }

    /// The earliest failure in the procedure of what was asked for, if there is one.
    #[must_use]
    pub fn failure(&self, asked: Asked) -> Option<Failure> {
        asked.outputs().filter_map(|output| self.get(output).err()).min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_every_output_is_in_its_place() {
        assert!(OUTPUTS.into_iter().enumerate().all(|(place, output)| output.place() == place));
    }
}
