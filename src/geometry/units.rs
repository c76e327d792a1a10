//! Quantities with their unit in the type.

/// An angle in degrees, as files, command line and reports state it.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Degrees(pub f64);

/// An angle in radians, as computation uses it.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Radians(pub f64);

/// A length in mm.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Millimetres(pub f64);

impl From<Degrees> for Radians {
    fn from(angle: Degrees) -> Self {
        Self(angle.0.to_radians())
    }
}

impl From<Radians> for Degrees {
    fn from(angle: Radians) -> Self {
        Self(angle.0.to_degrees())
    }
}

impl Radians {
    /// Sine, the same bits on every processor.
    #[must_use]
    pub fn sin(self) -> f64 {
        libm::sin(self.0)
    }

    /// Cosine, the same bits on every processor.
    #[must_use]
    pub fn cos(self) -> f64 {
        libm::cos(self.0)
    }

    /// The angle whose tangent is `y / x`, in the quadrant of the point `(x, y)`.
    #[must_use]
    pub fn atan2(y: f64, x: f64) -> Self {
        Self(libm::atan2(y, x))
    }

    /// The angle whose sine is `sine`; values a rounding error outside ±1 count as ±1.
    #[must_use]
    pub fn asin(sine: f64) -> Self {
        Self(libm::asin(sine.clamp(-1.0, 1.0)))
    }

    /// The angle whose cosine is `cosine`; values a rounding error outside ±1 count as ±1.
    #[must_use]
    pub fn acos(cosine: f64) -> Self {
        Self(libm::acos(cosine.clamp(-1.0, 1.0)))
    }
}
