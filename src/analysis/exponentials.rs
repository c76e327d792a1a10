//! The sign of a weighted sum of independent exponential variables.

use super::invert::bisect;

/// Number of equally weighted exponential variables and their common weight.
pub(super) type Term = (f64, u64);

/// First step of the trapezoid rule; halved until two results agree.
const STEP: f64 = 0.1;
/// Relative difference at which two results agree.
const AGREEMENT: f64 = 1e-10;
/// First step where only the side of a level is asked for.
const COARSE: f64 = 0.4;
/// A change by halving the step that is this many times smaller than the distance to a level decides on which side of it the
/// value is: the rule converges faster than its step, so what is left is smaller than that change.
const CLEAR: f64 = 20.0;
/// The step is halved this often at most.
const HALVINGS: u32 = 12;
/// Part of the integrand at the saddle point below which the integral is cut off.
const NEGLIGIBLE: f64 = 1e-17;

/// Probability that the sum of weight times variable is above 0, the variables having mean 1. 0 if no weight is above 0.
pub(super) fn probability_positive(terms: &[Term]) -> f64 {
    probability(terms, STEP, &|_, _| false)
}

/// Whether that probability is at most a level, with no more digits than it takes to tell.
pub(super) fn positive_at_most(terms: &[Term], level: f64) -> bool {
    probability(terms, COARSE, &|found, change| CLEAR * change <= (found - level).abs()) <= level
}

/// The probability by steps that are halved until two results agree, or until `enough` of a result and its change.
fn probability(terms: &[Term], step: f64, enough: &dyn Fn(f64, f64) -> bool) -> f64 {
    if !terms.iter().any(|&(weight, count)| weight > 0.0 && count > 0) {
        return 0.0;
    }
    if !terms.iter().any(|&(weight, count)| weight < 0.0 && count > 0) {
        return 1.0;
    }
    let mean: f64 = terms.iter().map(|&(weight, count)| weight * count as f64).sum();
    // The tail on the far side of the mean: there the integrand does not oscillate before it is small.
    if mean <= 0.0 {
        inverted(terms, step, enough)
    } else {
        let turned: Vec<Term> = terms.iter().map(|&(weight, count)| (-weight, count)).collect();
        1.0 - inverted(&turned, step, &|found, change| enough(1.0 - found, change))
    }
}

/// The same for weights of both signs whose sum is not above 0: the Bromwich integral of `e^K(s) / s`, with
/// `K(s) = -sum count ln(1 - weight s)`, along the line through the saddle point.
fn inverted(terms: &[Term], mut step: f64, enough: &dyn Fn(f64, f64) -> bool) -> f64 {
    let largest = terms.iter().fold(0.0_f64, |largest, &(weight, _)| largest.max(weight));
    // Weights in units of the largest; the saddle point s is in (0, 1), and y = 1 - s keeps its digits near the pole.
    let scaled: Vec<(f64, f64)> =
        terms.iter().filter(|term| term.1 > 0).map(|&(weight, count)| (weight / largest, count as f64)).collect();
    let gap = |weight: f64, y: f64| (1.0 - weight) + weight * y;
    let slope = |y: f64| scaled.iter().map(|&(weight, count)| count * weight / gap(weight, y)).sum::<f64>();
    let y = bisect(0.0, 1.0, |y| slope(y) * (1.0 - y) <= 1.0).1;
    let s = 1.0 - y;
    let cumulant: f64 = scaled
        .iter()
        .map(|&(weight, count)| {
            let near_pole = weight * s > 0.5;
            -count * if near_pole { libm::log(gap(weight, y)) } else { libm::log1p(-weight * s) }
        })
        .sum();
    let ratios: Vec<(f64, f64)> =
        scaled.iter().map(|&(weight, count)| (weight / gap(weight, y), count)).chain([(1.0 / s, 1.0)]).collect();
    let curvature: f64 = ratios.iter().map(|&(ratio, count)| count * ratio * ratio).sum();
    let sigma = 1.0 / curvature.sqrt();
    let (of_variables, of_pole) = ratios.split_at(ratios.len() - 1);
    // Along the line, in units of the value at the saddle point: the size, and its part along the real axis.
    let integrand = |v: f64| {
        let t = sigma * libm::sinh(v);
        let log_size: f64 =
            -0.5 * ratios.iter().map(|&(ratio, count)| count * libm::log1p(ratio * ratio * t * t)).sum::<f64>();
        let angle =
            |ratios: &[(f64, f64)]| ratios.iter().map(|&(ratio, count)| count * libm::atan(ratio * t)).sum::<f64>();
        let size = libm::exp(log_size) * libm::cosh(v);
        (size, size * libm::cos(angle(of_variables) - angle(of_pole)))
    };
    let scale = libm::exp(cumulant - libm::log(s)) * sigma / std::f64::consts::PI;
    // Sum at first, first + spacing, ... until what is left is negligible.
    let sum = |first: f64, spacing: f64| {
        let mut total = 0.0;
        for index in 0_u32.. {
            let (size, part) = integrand(first + f64::from(index) * spacing);
            total += part;
            if size < NEGLIGIBLE {
                break;
            }
        }
        total
    };
    let mut total = 0.5 + sum(step, step);
    let mut found = scale * step * total;
    for _ in 0..HALVINGS {
        total += sum(0.5 * step, step);
        step *= 0.5;
        let finer = scale * step * total;
        let change = (finer - found).abs();
        found = finer;
        if change <= AGREEMENT * finer.abs() || enough(finer, change) {
            break;
        }
    }
    found.clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    fn close(got: f64, expected: f64, what: &dyn std::fmt::Debug) {
        assert!((got - expected).abs() <= 1e-9, "{got} against {expected}: {what:?}");
    }

    /// With one variable of each weight the density is a sum of exponentials (partial fractions): the probability is the
    /// sum over positive weights `a` of the product over the others `b` of `1 / (1 - b / a)`.
    #[test]
    fn outside_partial_fractions_of_different_weights() {
        let sets: [&[f64]; 5] = [
            &[1.0, -1.0],
            &[3.0, 1.0, -0.2, -1.5],
            &[14.3, 0.3, -0.7, -1.7, -2.7, -3.7],
            &[0.001, -5.0],
            &[900.0, 250.0, 80.0, -1.0, -2.0, -3.0],
        ];
        for weights in sets {
            let of = |j: usize, a: f64| -> f64 {
                let others = weights.iter().enumerate().filter(|&(i, _)| i != j);
                others.map(|(_, b)| 1.0 / (1.0 - b / a)).product()
            };
            let expected: f64 = weights.iter().enumerate().filter(|w| *w.1 > 0.0).map(|(j, &a)| of(j, a)).sum();
            let terms: Vec<Term> = weights.iter().map(|&weight| (weight, 1)).collect();
            close(probability_positive(&terms), expected, &weights);
        }
    }

    /// One positive weight `a`: the sum is positive with probability `prod (1 - b / a)^-count`.
    #[test]
    fn identity_one_positive_weight_among_many() {
        for (below, count) in [(-0.7, 3_u64), (-0.01, 300), (-0.003, 20_000), (-1e-7, 20_000_000)] {
            let expected = libm::exp(-(count as f64) * libm::log1p(-below / 14.0));
            close(probability_positive(&[(14.0, 1), (below, count)]), expected, &count);
            close(probability_positive(&[(-14.0, 1), (-below, count)]), 1.0 - expected, &count);
            // Equal weights count together.
            close(probability_positive(&[(below, 1), (14.0, 1), (below, count - 1)]), expected, &count);
        }
    }

    #[test]
    fn outside_variables_drawn() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(101);
        let repeats = 100_000;
        for terms in
            [vec![(2.0, 2), (-1.0, 3)], vec![(9.5, 1), (1.5, 1), (-0.5, 4), (-0.3, 2)], vec![(0.2, 5), (-3.0, 1)]]
        {
            let mut above = 0_u32;
            for _ in 0..repeats {
                let mut sum = 0.0;
                for &(weight, count) in &terms {
                    sum -= (0..count).map(|_| weight * libm::log(1.0 - random.random::<f64>())).sum::<f64>();
                }
                above += u32::from(sum > 0.0);
            }
            let (share, found) = (f64::from(above) / f64::from(repeats), probability_positive(&terms));
            let standard_error = (found * (1.0 - found) / f64::from(repeats)).sqrt();
            assert!((share - found).abs() < 3.5 * standard_error, "{terms:?}: {found}, drawn {share}");
        }
    }

    /// The side of a level, found with few digits, is that of the probability found with all of them.
    #[test]
    fn identity_the_side_of_a_level() {
        for devices in [5_u64, 60, 300, 4000] {
            for (outside, share) in [(0.5, 3_u64), (2.0, 1), (0.1, 40), (7.0, 2)] {
                for below in [-0.01, -0.05, -0.3, -0.9] {
                    let terms: [Term; 3] = [(10.0 + below, 1), (outside, share), (below, devices)];
                    let found = probability_positive(&terms);
                    for off in [-0.3, -0.01, -1e-4, -1e-7, 1e-7, 1e-4, 0.01, 0.3] {
                        let level = found + off;
                        assert_eq!(positive_at_most(&terms, level), off > 0.0, "{terms:?}: {found}, {off}");
                    }
                    assert_eq!(positive_at_most(&terms, 0.05), found <= 0.05, "{terms:?}");
                }
            }
        }
    }

    #[test]
    fn identity_one_sign_and_the_other_sign() {
        assert_eq!(probability_positive(&[]), 0.0);
        assert_eq!(probability_positive(&[(0.0, 4), (-1.0, 2), (3.0, 0)]), 0.0);
        assert_eq!(probability_positive(&[(0.0, 4), (1.0, 2)]), 1.0);
        for terms in [[(2.0, 30), (-1.0, 65), (0.0, 9)], [(1e-9, 1), (-1e9, 1), (0.5, 2)]] {
            let turned = terms.map(|(weight, count)| (-weight, count));
            close(probability_positive(&terms) + probability_positive(&turned), 1.0, &terms);
        }
    }
}
