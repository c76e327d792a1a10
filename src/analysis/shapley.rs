//! Shapley effects of groups of inputs that may depend on each other: shares of the variance that always add up to 1.
//!
//! The cost of a set of groups is what the output still varies when all others are held fixed, on average; a group's effect
//! is what it adds to the cost, averaged over all orders in which the groups may be added. Song E, Nelson BL, Staum J.
//! SIAM/ASA J Uncertainty Quantification 2016;4:1060-1083. Every set is looked at, so no order is left to chance. Nothing is
//! clipped: an effect near 0 may be estimated below 0.

use super::bootstrap::{dot, percentile, weights};
use super::indices::RESAMPLES;
use super::interval::Estimate;
use rayon::prelude::*;

/// More groups than this have too many sets.
pub const MOST_GROUPS: usize = 6;

/// The effects of all groups on one output.
#[derive(Clone, Debug, PartialEq)]
pub struct Shapley {
    /// Variance of the output.
    pub variance: f64,
    /// Share of the variance of each group; empty where the output does not vary.
    pub effects: Vec<Estimate>,
    /// Rows without a reading missing.
    pub rows: u64,
    /// Rows dropped, because one of their cases gave no reading.
    pub dropped: u64,
}

/// The effects of so many groups, with percentile intervals from whole resampled rows. For each set of groups but the empty
/// one, by its bits (group 0 the lowest), `pairs` holds the outputs row by row and those with the set drawn anew, given all
/// others. A row in which any case gave no reading is dropped and counted.
///
/// # Panics
/// If there are not 2^groups - 1 pairs.
#[must_use]
pub fn shapley(groups: usize, pairs: &[[&[f64]; 2]], confidence: f64, seed: u64) -> Shapley {
    assert_eq!(pairs.len() + 1, 1 << groups, "one pair for each set of groups");
    let all = pairs.first().map_or(0, |[one, _]| one.len());
    let whole: Vec<usize> =
        (0..all).filter(|&row| pairs.iter().flatten().all(|column| column[row].is_finite())).collect();
    // Half the squared difference has the mean of the variance that is left (Jansen MJW. Comput Phys Commun 1999).
    let left: Vec<Vec<f64>> = pairs
        .iter()
        .map(|[one, other]| {
            whole.iter().map(|&row| 0.5 * (one[row] - other[row]) * (one[row] - other[row])).collect()
        })
        .collect();
    let effects = |weights: &[f64]| -> Vec<f64> {
        let cost: Vec<f64> = std::iter::once(0.0)
            .chain(left.iter().map(|squares| dot(weights, squares) / weights.len() as f64))
            .collect();
        (0..groups).map(|group| added(group, groups, &cost)).collect()
    };
    let (rows, dropped) = (whole.len() as u64, (all - whole.len()) as u64);
    let found = effects(&vec![1.0; whole.len()]);
    let variance: f64 = found.iter().sum();
    if !(variance > 0.0) || rows < 2 {
        return Shapley { variance: 0.0, effects: Vec::new(), rows, dropped };
    }
    let share = |values: &[f64], group: usize| values[group] / values.iter().sum::<f64>();
    let resampled: Vec<Vec<f64>> =
        (0..RESAMPLES).into_par_iter().map(|resample| effects(&weights(whole.len(), seed, resample))).collect();
    let estimate = |group: usize| {
        let values = resampled.iter().map(|values| share(values, group)).collect();
        percentile(share(&found, group), values, confidence, rows)
    };
    Shapley { variance, effects: (0..groups).map(estimate).collect(), rows, dropped }
}

/// What a group adds to the cost of the groups before it, averaged over all orders.
fn added(group: usize, groups: usize, cost: &[f64]) -> f64 {
    let bit = 1 << group;
    let sets = (0..cost.len()).filter(|set| set & bit == 0);
    // Orders in which just these groups come before: |S|! (d - |S| - 1)! of d!.
    let weight = |set: usize| {
        let before = set.count_ones() as usize;
        let choices = (0..before).fold(1.0, |choices, i| choices * (groups - 1 - i) as f64 / (i + 1) as f64);
        1.0 / (groups as f64 * choices)
    };
    sets.map(|set| weight(set) * (cost[set | bit] - cost[set])).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    /// Two correlated normal inputs in a sum: the effect of the first is `b1^2 (1 - r^2 / 2) + r b1 b2 + b2^2 r^2 / 2` of the
    /// variance (Owen AB, Prieur C. SIAM/ASA J Uncertainty Quantification 2017;5:986-1002, section 4), and a third input that
    /// is independent has its share of the variance.
    #[test]
    fn outside_correlated_normal_inputs() {
        let (r, b) = (0.6_f64, [1.0, 2.0, 1.5]);
        let mut random = Xoshiro256PlusPlus::seed_from_u64(5);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let rows = 20_000;
        let mut pairs = vec![[Vec::new(), Vec::new()]; 7];
        for _ in 0..rows {
            for (set, [one, other]) in (1..).zip(&mut pairs) {
                let (free, scale) = (|group: usize| set & (1 << group) != 0, (1.0 - r * r).sqrt());
                // What is held comes first, what is drawn anew follows given it.
                let (first, second) = if free(0) { (1, 0) } else { (0, 1) };
                let draw = normal();
                let start = [draw, if free(first) { normal() } else { draw }];
                let (mut x, mut y) = ([[0.0; 3]; 2], 0);
                let rest = [normal(), normal()];
                let third = [normal(), normal()];
                for case in &mut x {
                    case[first] = start[y];
                    case[second] = r * start[y] + scale * if free(second) { rest[y] } else { rest[0] };
                    case[2] = if free(2) { third[y] } else { third[0] };
                    y += 1;
                }
                let output = |x: &[f64; 3]| x.iter().zip(b).map(|(x, b)| x * b).sum::<f64>();
                one.push(output(&x[0]));
                other.push(output(&x[1]));
            }
        }
        let columns: Vec<[&[f64]; 2]> = pairs.iter().map(|[one, other]| [&one[..], &other[..]]).collect();
        let found = shapley(3, &columns, 0.95, 7);
        let variance = b[0] * b[0] + b[1] * b[1] + 2.0 * r * b[0] * b[1] + b[2] * b[2];
        let of =
            |one: f64, other: f64| one * one * (1.0 - 0.5 * r * r) + r * one * other + 0.5 * other * other * r * r;
        let expected = [of(b[0], b[1]), of(b[1], b[0]), b[2] * b[2]].map(|part| part / variance);
        for (effect, expected) in found.effects.iter().zip(expected) {
            let allowed = 3.5 * effect.standard_error.unwrap();
            assert!((effect.value - expected).abs() < allowed && allowed < 0.03, "{} for {expected}", effect.value);
        }
        assert!((found.effects.iter().map(|effect| effect.value).sum::<f64>() - 1.0).abs() < 1e-12);
        assert!((found.variance / variance - 1.0).abs() < 0.05);
    }

    #[test]
    fn identity_no_variance_and_rows_dropped() {
        let (zero, gap) = ([0.0; 4], [0.0, f64::NAN, 1.0, 2.0]);
        let none = shapley(1, &[[&zero, &zero]], 0.95, 1);
        assert_eq!((none.variance, none.effects.len(), none.rows), (0.0, 0, 4));
        let found = shapley(1, &[[&zero, &gap]], 0.95, 1);
        assert_eq!((found.rows, found.dropped, found.effects[0].value), (3, 1, 1.0));
    }
}
