//! Estimators of a pivot: the point of a tool that stays in one place while the tool is turned about it. Each stands in a
//! file of its own; the fits have no trade meaning and stand in `geometry`.

mod one_step;
mod robust;
mod sphere;

use super::frames::{Camera, Tracker};
use crate::geometry::{FitError, Pivot, Pose};

/// A pivot, or why there is none.
pub type Pivoted = Result<Pivot<Tracker, Camera>, FitError>;

/// How a pivot is estimated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PivotEstimator {
    /// Linear least squares in one step.
    OneStep,
    /// Centre of the spheres on which points of the tool move.
    Sphere,
    /// Least squares with less weight for poses that miss by much.
    Robust,
}

/// What an estimator is and does.
#[derive(Debug)]
pub struct PivotStrategy {
    /// The word for it in files.
    pub word: &'static str,
    /// What it is.
    pub meaning: &'static str,
    /// Where it was published.
    pub source: &'static str,
    /// The fit.
    pub fit: fn(&[Pose<Tracker, Camera>], &mut PivotMemory) -> Pivoted,
}

/// Memory that is used again from fit to fit.
#[derive(Clone, Debug, Default)]
pub struct PivotMemory {
    lengths: Vec<f64>,
    sorted: Vec<f64>,
}

impl PivotEstimator {
    /// Every estimator.
    pub const ALL: [Self; 3] = [Self::OneStep, Self::Sphere, Self::Robust];

    /// What it is and does: here a new estimator is registered.
    #[must_use]
    pub const fn strategy(self) -> &'static PivotStrategy {
        match self {
            Self::OneStep => &one_step::STRATEGY,
            Self::Sphere => &sphere::STRATEGY,
            Self::Robust => &robust::STRATEGY,
        }
    }

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        self.strategy().word
    }

    /// The pivot of poses.
    ///
    /// # Errors
    /// If the poses do not determine it, or an iteration does not settle.
    pub fn fit(self, poses: &[Pose<Tracker, Camera>], memory: &mut PivotMemory) -> Pivoted {
        (self.strategy().fit)(poses, memory)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Displacement, Point, Rotation};

    /// Every estimator finds an exact pivot, and none answers from two poses.
    #[test]
    fn identity_every_estimator_finds_an_exact_pivot() {
        let place = Point::<Camera>::new(40.0, -12.0, 260.0);
        let poses: Vec<Pose<Tracker, Camera>> = (0..30)
            .map(|i| {
                let phase = 0.7 * f64::from(i);
                let turn = Displacement::new(
                    0.4 * libm::sin(phase),
                    0.3 * libm::cos(1.3 * phase),
                    0.2 * libm::sin(2.1 * phase),
                );
                Pose::placing(
                    Rotation::<Tracker, Camera>::from_rotation_vector(turn),
                    Point::new(2.0, -150.0, 9.0),
                    place,
                )
            })
            .collect();
        let mut memory = PivotMemory::default();
        for estimator in PivotEstimator::ALL {
            let found = estimator.fit(&poses, &mut memory).unwrap();
            assert!((found.in_space - place).length() < 1e-8, "{estimator:?}: {found:?}");
            assert_eq!(estimator.fit(&poses[..2], &mut memory), Err(FitError::TooFewPoints), "{estimator:?}");
            assert!(!estimator.strategy().meaning.is_empty() && !estimator.strategy().source.is_empty());
            assert_eq!(PivotEstimator::ALL.iter().filter(|other| other.word() == estimator.word()).count(), 1);
        }
    }
}
