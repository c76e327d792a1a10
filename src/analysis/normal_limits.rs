//! Factors of statistical tolerance limits for normal errors: mean plus or minus so many standard deviations.
//!
//! One-sided by the noncentral t distribution, two-sided by integrating over the mean; both exact (ISO 16269-6; Krishnamoorthy
//! K, Mathew T. Statistical Tolerance Regions, 2.2 and 2.3). Each factor is found by bisection on the probability that
//! defines it, and is given only if putting it back returns the confidence.

use super::invert::{bisect, normal_above, normal_below as phi};
use super::quadrature::nodes;
use cdflib::ChiSquared;
use cdflib::traits::ContinuousCdf;

/// How near the round trip through a factor must come to the confidence.
const ROUND_TRIP: f64 = 1e-9;
/// The largest factor that is looked for.
const LARGEST: f64 = 1e6;

/// Probability that Student's t with a noncentrality is at most `t`: the mean of `phi(t s - noncentrality)` over the
/// scaled chi distribution of `s`, whose density is normalised by the same sum.
#[must_use]
pub fn noncentral_t(t: f64, degrees_of_freedom: f64, noncentrality: f64) -> f64 {
    let nu = degrees_of_freedom;
    let mode = ((nu - 1.0).max(0.0) / nu).sqrt();
    let reach = 12.0 / (2.0 * nu).sqrt();
    let height = |s: f64| if nu > 1.0 { (nu - 1.0) * libm::log(s) } else { 0.0 } - 0.5 * nu * s * s;
    let top = height(mode.max(f64::MIN_POSITIVE));
    let (mut sum, mut all) = (0.0, 0.0);
    for (s, weight) in nodes((mode - reach).max(0.0), mode + reach, 12) {
        let density = weight * libm::exp(height(s) - top);
        all += density;
        sum += density * phi(t * s - noncentrality);
    }
    sum / all
}

/// Factor of the one-sided limit below (or above) which the proportion of a normal distribution lies, with the
/// confidence, from `count` values; `None` for fewer than two, and for a proportion under one half.
#[must_use]
pub fn one_sided_factor(count: u64, proportion: f64, confidence: f64) -> Option<f64> {
    if count < 2 || !(0.5..1.0).contains(&proportion) || !(0.0 < confidence && confidence < 1.0) {
        return None;
    }
    let root = (count as f64).sqrt();
    let noncentrality = root * normal_above(1.0 - proportion);
    let covered = |factor: f64| noncentral_t(factor * root, (count - 1) as f64, noncentrality);
    guarded(covered, confidence)
}

/// Factor of the two-sided limits between which the proportion of a normal distribution lies, with the confidence,
/// from `count` values; `None` for fewer than two.
#[must_use]
pub fn two_sided_factor(count: u64, proportion: f64, confidence: f64) -> Option<f64> {
    if count < 2 || !(0.0 < proportion && proportion < 1.0) || !(0.0 < confidence && confidence < 1.0) {
        return None;
    }
    let degrees = (count - 1) as f64;
    let chi_squared = ChiSquared::try_new(degrees).ok()?;
    let root = (count as f64).sqrt();
    // For a mean that is off by `offset`, the half width that still holds the proportion.
    let radius = |offset: f64| {
        let held = |radius: f64| phi(radius - offset) - phi(-radius - offset);
        bisect(0.0, offset + 40.0, |radius| held(radius) >= proportion).1
    };
    let places: Vec<(f64, f64)> =
        nodes(0.0, 9.0, 8).map(|(z, weight)| (radius(z / root), weight * libm::exp(-0.5 * z * z))).collect();
    let all: f64 = places.iter().map(|place| place.1).sum();
    let covered = |factor: f64| {
        let above = |radius: f64| chi_squared.ccdf(degrees * (radius / factor) * (radius / factor));
        places.iter().map(|&(radius, weight)| weight * above(radius)).sum::<f64>() / all
    };
    guarded(covered, confidence)
}

/// The factor at which the probability reaches the confidence, if the round trip holds.
fn guarded(covered: impl Fn(f64) -> f64, confidence: f64) -> Option<f64> {
    let factor = bisect(0.0, LARGEST, |factor| factor > 0.0 && covered(factor) >= confidence).1;
    ((covered(factor) - confidence).abs() <= ROUND_TRIP).then_some(factor)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    /// NIST/SEMATECH e-Handbook 7.2.6.3 (n 43, 90 % with 99 % confidence: one-sided 1.8740, two-sided by Howe 2.2173, of
    /// which the exact value is 2.2228); ISO 16269-6 for 95 % with 95 % confidence, confirmed by an independent
    /// calculation; the last digit is rounded.
    #[test]
    fn table_factors() {
        for (count, proportion, confidence, expected) in [
            (43, 0.90, 0.99, 1.87395),
            (10, 0.95, 0.95, 2.9110),
            (17, 0.95, 0.95, 2.4863),
            (20, 0.95, 0.95, 2.3960),
            (100, 0.95, 0.95, 1.9265),
        ] {
            let got = one_sided_factor(count, proportion, confidence).unwrap();
            assert!((got - expected).abs() < 6e-5, "{count}: {got} against {expected}");
        }
        for (count, proportion, confidence, expected) in
            [(43, 0.90, 0.99, 2.2228), (10, 0.95, 0.95, 3.3934), (20, 0.95, 0.95, 2.7603), (100, 0.95, 0.95, 2.2339)]
        {
            let got = two_sided_factor(count, proportion, confidence).unwrap();
            assert!((got - expected).abs() < 6e-5, "{count}: {got} against {expected}");
        }
    }

    /// Without noncentrality it is Student's t, whose function the library has; at 1e6 values the one-sided factor is that of
    /// an independent calculation with more digits (as is that of 10).
    #[test]
    fn outside_student_and_large_numbers() {
        for (t, nu) in [(-2.0, 1.0), (0.7, 2.0), (1.9, 9.0), (2.5, 500.0)] {
            let expected = cdflib::StudentsT::try_new(nu).unwrap().cdf(t);
            assert!((noncentral_t(t, nu, 0.0) - expected).abs() < 1e-9, "{t} {nu}");
        }
        assert!((one_sided_factor(10, 0.95, 0.95).unwrap() - 2.910_963_413).abs() < 1e-8);
        assert!((one_sided_factor(1_000_000, 0.95, 0.95).unwrap() - 1.647_379_132).abs() < 1e-8);
    }

    #[test]
    fn identity_more_values_need_less_and_nonsense_is_refused() {
        for factor in [one_sided_factor, two_sided_factor] {
            let factors: Vec<f64> = [2, 3, 5, 20, 1000].map(|n| factor(n, 0.95, 0.95).unwrap()).into();
            assert!(factors.is_sorted_by(|a, b| a > b), "{factors:?}");
            for (count, proportion, confidence) in [(1, 0.9, 0.9), (9, 1.0, 0.9), (9, 0.9, 1.0), (9, f64::NAN, 0.9)] {
                assert_eq!(factor(count, proportion, confidence), None);
            }
        }
    }

    /// By brute force: means and deviations of normal samples, and what the limits truly hold.
    #[test]
    fn coverage_of_the_factors() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(37);
        for count in [5_u32, 30] {
            let one = one_sided_factor(count.into(), 0.95, 0.95).unwrap();
            let two = two_sided_factor(count.into(), 0.95, 0.95).unwrap();
            let (repeats, mut covered) = (4000, [0_u32; 2]);
            for _ in 0..repeats {
                let values: Vec<f64> = (0..count).map(|_| StandardNormal.sample(&mut random)).collect();
                let mean = values.iter().sum::<f64>() / f64::from(count);
                let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
                let sd = (squares / f64::from(count - 1)).sqrt();
                covered[0] += u32::from(phi(mean + one * sd) >= 0.95);
                covered[1] += u32::from(phi(mean + two * sd) - phi(mean - two * sd) >= 0.95);
            }
            // Exact: neither below nor above.
            let allowed = 3.0 * (0.95_f64 * 0.05 / f64::from(repeats)).sqrt();
            for covered in covered {
                assert!((f64::from(covered) / f64::from(repeats) - 0.95).abs() < allowed, "{count}: {covered}");
            }
        }
    }
}
