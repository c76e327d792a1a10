//! Pelvic planes: ways to get pelvic axes from what was touched, read and turned. Each stands in a file of its own.

mod bony;
mod level;
mod template;

pub use bony::bony_axes;
pub use level::level_axes;
pub use template::{Template, TemplateError, TemplateShape};

use super::failure::Failure;
use super::frames::{Camera, Pelvis};
use super::observation::Step;
use crate::geometry::{Direction, Point, Rotation};

/// Orientation of the camera in the measured pelvic axes: takes camera components to pelvic ones.
pub type PelvicAxes = Rotation<Camera, Pelvis>;

/// The pelvic plane that is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Plane {
    /// Anterior pelvic plane through both anterior superior iliac spines and the pubis.
    Bony,
    /// Supine coronal plane from a level reading and both anterior superior iliac spines.
    Level,
    /// Bony plane of a population template, fitted to the landmarks and the native hip centre.
    Template,
}

/// What a plane is and how its axes are found.
#[derive(Debug)]
pub struct PlaneStrategy {
    /// The word for it in files.
    pub word: &'static str,
    /// What it is, to follow "the plane is".
    pub meaning: &'static str,
    /// How its axes are built.
    pub built: &'static str,
    /// The same as a formula: x, y, z its axes, l, r and p the points touched on spines and pubis, u the level reading.
    pub formula: &'static str,
    /// Where it was published; `None` for this program's own.
    pub source: Option<&'static str>,
    /// Steps that it needs beside the two spines, which every case has.
    pub needs: &'static [Step],
    /// Its axes.
    pub axes: fn(&Touched, &Template) -> Result<PelvicAxes, Failure>,
}

/// What a plane may be built from, each standing or failing by itself.
#[derive(Clone, Copy, Debug)]
pub struct Touched {
    /// Left ASIS.
    pub left: Result<Point<Camera>, Failure>,
    /// Right ASIS.
    pub right: Result<Point<Camera>, Failure>,
    /// Midpoint of the pubis.
    pub pubis: Result<Point<Camera>, Failure>,
    /// Up, as read from the level.
    pub up: Result<Direction<Camera>, Failure>,
    /// Native hip centre.
    pub native: Result<Point<Camera>, Failure>,
}

impl Plane {
    /// Every plane.
    pub const ALL: [Self; 3] = [Self::Bony, Self::Level, Self::Template];

    /// Planes in which truth can be stated: those that the patient has, whoever measures.
    pub const MEANT: [Self; 2] = [Self::Bony, Self::Level];

    /// What it is and does: here a new plane is registered.
    #[must_use]
    pub const fn strategy(self) -> &'static PlaneStrategy {
        match self {
            Self::Bony => &bony::STRATEGY,
            Self::Level => &level::STRATEGY,
            Self::Template => &template::STRATEGY,
        }
    }

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        self.strategy().word
    }

    /// Whether it needs a step of the procedure beside those that every case has.
    #[must_use]
    pub fn needs(self, step: Step) -> bool {
        self.strategy().needs.contains(&step)
    }

    /// The plane in which truth is stated unless the file says otherwise: a template's is the bony one.
    #[must_use]
    pub const fn meant(self) -> Self {
        match self {
            Self::Level => Self::Level,
            Self::Bony | Self::Template => Self::Bony,
        }
    }
}

fn from_x_and_z(x: Direction<Camera>, z: Direction<Camera>) -> Option<PelvicAxes> {
    let y = z.as_displacement().cross(x.as_displacement()).direction()?;
    Some(Rotation::<Pelvis, Camera>::from_axes(x, y, z).inverse())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The registry names every plane once, and a plane that truth may be stated in means itself.
    #[test]
    fn identity_every_plane_is_registered() {
        for (index, plane) in Plane::ALL.into_iter().enumerate() {
            let strategy = plane.strategy();
            assert!(Plane::ALL[..index].iter().all(|other| other.word() != plane.word()), "{plane:?}");
            assert!(!strategy.meaning.is_empty() && !strategy.built.is_empty(), "{plane:?}");
            let optional = [Step::Level, Step::Pubis, Step::CentreNative];
            assert!(strategy.needs.iter().all(|step| optional.contains(step)), "{plane:?}");
            assert!(Plane::MEANT.contains(&plane.meant()), "{plane:?}");
        }
        assert!(Plane::MEANT.into_iter().all(|plane| plane.meant() == plane));
    }
}
