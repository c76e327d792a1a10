//! How stable an order of arms is: whole trials drawn again, and the arms put in order each time.

use super::bootstrap::{dot, weights};
use rayon::prelude::*;

/// Resamples of a ranking.
pub const RESAMPLES: u64 = 2000;
/// Seed of the stream of rankings; the same for every run, and part of none.
const SEED: u64 = 0x7261_6e6b_696e_6773; // "rankings"
/// Blocks that are drawn again, at most.
const MOST_BLOCKS: usize = 2000;

/// Errors of one arm, summed over blocks of trials: how many have a reading, and the sum of their squares.
///
/// Blocks hold the same trials in every arm. Trials are independent, so whole blocks of them are as good to draw as single
/// ones, and the memory does not grow with the run; where devices measure several cases, a block holds whole devices.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BlockSums {
    count: Vec<f64>,
    squares: Vec<f64>,
}

impl BlockSums {
    /// Sums of errors, NaN where there is no reading; `devices` as in [`Paired`](super::paired::Paired).
    #[must_use]
    pub fn of(errors: &[f64], devices: Option<&[usize]>) -> Self {
        let units = devices.map_or(errors.len(), <[usize]>::len);
        let units_in_a_block = units.div_ceil(MOST_BLOCKS).max(1);
        let mut sums = Self::default();
        let mut add = |block: &[f64]| {
            let read = || block.iter().filter(|error| error.is_finite());
            sums.count.push(read().count() as f64);
            sums.squares.push(read().map(|error| error * error).sum());
        };
        match devices {
            None => errors.chunks(units_in_a_block).for_each(add),
            Some(devices) => {
                let mut rest = errors;
                for block in devices.chunks(units_in_a_block) {
                    let (mine, others) = rest.split_at(block.iter().sum());
                    rest = others;
                    add(mine);
                }
            }
        }
        sums
    }

    /// Mean square of the errors with these weights of the blocks; infinite without a reading.
    fn mean_square(&self, weights: &[f64]) -> f64 {
        let count = dot(weights, &self.count);
        if count > 0.0 { dot(weights, &self.squares) / count } else { f64::INFINITY }
    }
}

/// In how many of the resamples each arm has each rank by the root mean square of its errors: for each arm, from the first
/// rank (the smallest) on, proportions that add up to 1. Arms that are equal share their ranks.
#[must_use]
pub fn rank_proportions(arms: &[BlockSums]) -> Vec<Vec<f64>> {
    let blocks = arms.first().map_or(0, |arm| arm.count.len());
    let of_one = |resample: u64| -> Vec<Vec<f64>> {
        let weights = weights(blocks, SEED, resample);
        let sizes: Vec<f64> = arms.iter().map(|arm| arm.mean_square(&weights)).collect();
        sizes.iter().map(|size| shares_of_ranks(*size, &sizes)).collect()
    };
    let mut sums = vec![vec![0.0; arms.len()]; arms.len()];
    // Summed in the order of the resamples, so that the number of threads means nothing.
    for drawn in (0..RESAMPLES).into_par_iter().map(of_one).collect::<Vec<_>>() {
        sums.iter_mut().flatten().zip(drawn.iter().flatten()).for_each(|(sum, share)| *sum += share);
    }
    sums.iter_mut().flatten().for_each(|sum| *sum /= RESAMPLES as f64);
    sums
}

/// The part that a size has of each rank: those of its equals are shared out evenly.
fn shares_of_ranks(size: f64, sizes: &[f64]) -> Vec<f64> {
    let before = sizes.iter().filter(|other| **other < size).count();
    let equal = sizes.iter().filter(|other| **other == size).count();
    (0..sizes.len())
        .map(|rank| if (before..before + equal).contains(&rank) { 1.0 / equal as f64 } else { 0.0 })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn identity_clear_orders_and_ties() {
        let errors: Vec<f64> = (0..100).map(|i| f64::from(i % 7) - 3.0).collect();
        let scaled = |factor: f64| -> Vec<f64> { errors.iter().map(|error| factor * error).collect() };
        let arms = [scaled(2.0), scaled(1.0), scaled(1.0), vec![f64::NAN; 100]].map(|e| BlockSums::of(&e, None));
        let expected = [[0.0, 0.0, 1.0, 0.0], [0.5, 0.5, 0.0, 0.0], [0.5, 0.5, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]];
        for (found, expected) in rank_proportions(&arms).iter().zip(expected) {
            assert_eq!(found.as_slice(), expected);
        }
        assert!(rank_proportions(&[]).is_empty());
        let devices = [30, 30, 40];
        let blocks = BlockSums::of(&errors, Some(&devices));
        assert_eq!(
            (blocks.count.clone(), blocks.squares.iter().sum::<f64>()),
            (vec![30.0, 30.0, 40.0], { errors.iter().map(|error| error * error).sum() })
        );
    }

    /// With independent normal errors of sd 1 and 1.05 in 1000 trials, the difference of the sample mean squares has a known
    /// mean (from the sample) and a standard deviation of sqrt(2 (1 + 1.05^4) / n): the proportion of first ranks is that of
    /// a normal distribution beyond 0.
    #[test]
    fn outside_two_close_arms() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(61);
        let mut normal = |sd: f64| -> Vec<f64> {
            (0..5000).map(|_| -> f64 { StandardNormal.sample(&mut random) }).map(|score| sd * score).collect()
        };
        let (a, b) = (normal(1.0), normal(1.02));
        let mean_square = |errors: &[f64]| errors.iter().map(|error| error * error).sum::<f64>() / 5000.0;
        let apart = mean_square(&b) - mean_square(&a);
        let sd = (2.0 * (1.0 + libm::pow(1.02, 4.0)) / 5000.0).sqrt();
        let expected = crate::analysis::invert::normal_below(apart / sd);
        let found = rank_proportions(&[BlockSums::of(&a, None), BlockSums::of(&b, None)]);
        // 2,000 resamples, and the standard deviation known to some percent of the score.
        let allowed = 3.5 * (expected * (1.0 - expected) / RESAMPLES as f64).sqrt() + 0.02;
        assert!((found[0][0] - expected).abs() < allowed, "{found:?} {expected}");
        assert!((found[0][0] + found[1][0] - 1.0).abs() < 1e-12);
    }
}
