//! Values of sweeps that are not written one by one: evenly over a range, or a Latin hypercube over several.
//!
//! `McKay` MD, Beckman RJ, Conover WJ. Technometrics 1979;21:239-245: with n points, each of n equal strata of each range is
//! met once; here by its midpoint, in an order drawn for each path by itself.

use crate::simulation::{StreamKey, continued_key, source_key};
use rand::rngs::Xoshiro256PlusPlus;
use rand::{Rng, SeedableRng};

/// `count` values at equal distances from the lower to the upper end, both included; the middle for one.
pub(super) fn evenly([low, high]: [f64; 2], count: usize) -> Vec<f64> {
    let last = count.saturating_sub(1);
    let value = |i: usize| if last == 0 { 0.5 * (low + high) } else { low + (high - low) * i as f64 / last as f64 };
    (0..count).map(value).collect()
}

/// `count` midpoints of equal strata of a range, in an order of their own for this key.
pub(super) fn strata([low, high]: [f64; 2], count: usize, key: u64) -> Vec<f64> {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(key);
    let mut order: Vec<usize> = (0..count).collect();
    for last in (1..count).rev() {
        // The upper half of a 128-bit product is uniform on 0 to `last` to 1 part in 2^64.
        let other = (u128::from(random.next_u64()) * (last as u128 + 1)) >> 64;
        order.swap(last, usize::try_from(other).unwrap_or(last));
    }
    order.into_iter().map(|stratum| low + (high - low) * (stratum as f64 + 0.5) / count as f64).collect()
}

/// The seed of the order of a path's strata.
pub(super) fn seed(seed: u64, path: &str) -> u64 {
    let source = continued_key(source_key("sweep."), path);
    StreamKey { seed, replicate: 0, source, device: 0, case: 0, capture: 0 }.mixed()
}

/// Under which key the values of a sweep stand.
pub(super) fn key(index: usize) -> String {
    format!("sweep{index}")
}

/// A list of values as TOML writes it.
pub(super) fn line(key: &str, values: &[f64]) -> String {
    let values: Vec<String> = values.iter().map(|&value| written(value)).collect();
    format!("{key} = [{}]\n", values.join(", "))
}

/// A number as TOML writes it.
fn written(value: f64) -> String {
    // Twelve digits: midpoints of a range read as people would write them.
    let short: f64 = format!("{value:.11e}").parse().unwrap_or(value);
    format!("{short:?}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_each_stratum_is_met_once() {
        let mut values = strata([2.0, 4.0], 8, 5);
        assert_ne!(values, strata([2.0, 4.0], 8, 6));
        values.sort_by(f64::total_cmp);
        assert_eq!(values, [2.125, 2.375, 2.625, 2.875, 3.125, 3.375, 3.625, 3.875]);
        assert_eq!(evenly([1.0, 3.0], 5), [1.0, 1.5, 2.0, 2.5, 3.0]);
        assert_eq!(evenly([1.0, 3.0], 1), [2.0]);
        assert_eq!((written(0.1 + 0.2), written(2.0)), ("0.3".to_owned(), "2.0".to_owned()));
    }
}
