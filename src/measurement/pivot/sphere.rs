//! The centre of spheres.

use super::PivotStrategy;
use crate::geometry::fit_pivot_spheres;

pub(super) const STRATEGY: PivotStrategy = PivotStrategy {
    word: "sphere",
    meaning: "the common centre of the spheres on which four points of the tracker move; where the range is small, noise pulls \
              it towards the tracker",
    source: "Gamage SSHU, Lasenby J. J Biomech 2002;35:87-93",
    fit: |poses, _| fit_pivot_spheres(poses),
};
