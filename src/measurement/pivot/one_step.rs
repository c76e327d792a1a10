//! Linear least squares in one step.

use super::PivotStrategy;
use crate::geometry::fit_pivot;

pub(super) const STRATEGY: PivotStrategy = PivotStrategy {
    word: "one-step",
    meaning: "least squares over the point in the tool and its place at once; orientation noise shortens the tool vector",
    source: "Yaniv Z. Proc SPIE 9415:941527, 2015",
    fit: |poses, _| fit_pivot(poses),
};
