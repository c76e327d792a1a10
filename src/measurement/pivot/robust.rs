//! Least squares that mistrusts poses which miss by much.

use super::PivotStrategy;
use crate::geometry::fit_pivot_robust;

pub(super) const STRATEGY: PivotStrategy = PivotStrategy {
    word: "robust",
    meaning: "the one-step fit with Huber's weights, reweighted until it settles; single wrong poses count little",
    source: "Huber PJ, Ronchetti EM. Robust Statistics, 2nd ed. 2009",
    fit: |poses, memory| fit_pivot_robust(poses, &mut memory.lengths, &mut memory.sorted),
};
