//! Quantiles of borrowed distributions: their cumulative functions inverted by bisection, so that the round trip
//! holds by construction.
//!
//! The inverses that come with the libraries lose digits where large runs need them; the cumulative functions do
//! not (TOMS 708: `DiDonato` AR, Morris AH. ACM Trans Math Softw 1992;18:360-373).

use cdflib::traits::ContinuousCdf;
use cdflib::{ChiSquared, FisherSnedecor, Normal, StudentsT};

/// Relative width at which a bisection stops, 9e-13: twelve digits for a reader, and coarse enough that the last
/// bits of a cumulative function, which may differ between processors, almost never move the result.
const WIDTH: f64 = 1.0 / (1_u64 << 40) as f64;

/// Narrows `[low, high]`, both positive or zero, around the place from which on `reached` holds.
pub(super) fn bisect(mut low: f64, mut high: f64, reached: impl Fn(f64) -> bool) -> (f64, f64) {
    while high - low > WIDTH * high {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if reached(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    (low, high)
}

/// The place from which on `reached` holds, anywhere above 0; infinity if nowhere.
fn first(reached: impl Fn(f64) -> bool) -> f64 {
    let mut high = 1.0;
    while !reached(high) {
        high *= 2.0;
        if high == f64::INFINITY {
            return high;
        }
    }
    bisect(0.0, high, reached).1
}

/// The standard normal score that `tail` (at most one half) lies above.
pub(super) fn normal_above(tail: f64) -> f64 {
    let Ok(normal) = Normal::try_new(0.0, 1.0) else { return f64::INFINITY };
    first(|score| normal.ccdf(score) <= tail)
}

/// Student's t that `tail` (at most one half) lies above; infinity without a degree of freedom.
pub(super) fn student_above(tail: f64, degrees_of_freedom: f64) -> f64 {
    let Ok(student) = StudentsT::try_new(degrees_of_freedom) else { return f64::INFINITY };
    first(|t| student.ccdf(t) <= tail)
}

/// Probability that Student's t lies above a value that is not negative; one half without a degree of freedom.
pub(super) fn student_tail(t: f64, degrees_of_freedom: f64) -> f64 {
    if t == f64::INFINITY {
        return 0.0;
    }
    StudentsT::try_new(degrees_of_freedom).map_or(0.5, |student| student.ccdf(t))
}

/// The values of chi-squared with `tail` below and with `tail` above; 0 and infinity without a degree of freedom.
pub(super) fn chi_squared_around(tail: f64, degrees_of_freedom: f64) -> (f64, f64) {
    let Ok(chi_squared) = ChiSquared::try_new(degrees_of_freedom) else { return (0.0, f64::INFINITY) };
    (first(|x| chi_squared.cdf(x) >= tail), first(|x| chi_squared.ccdf(x) <= tail))
}

/// Fisher's F that `tail` lies above; infinity without degrees of freedom.
pub(super) fn fisher_above(tail: f64, numerator: f64, denominator: f64) -> f64 {
    let Ok(fisher) = FisherSnedecor::try_new(numerator, denominator) else { return f64::INFINITY };
    first(|f| fisher.ccdf(f) <= tail)
}

/// Probability that a standard normal score is at most `score`.
pub(super) fn normal_below(score: f64) -> f64 {
    0.5 * libm::erfc(-score * std::f64::consts::FRAC_1_SQRT_2)
}

/// The size within which a proportion of normal errors with this mean and standard deviation lie.
#[must_use]
pub fn normal_size(mean: f64, sd: f64, proportion: f64) -> f64 {
    if !(sd > 0.0) {
        return mean.abs();
    }
    let inside = |size: f64| normal_below((size - mean) / sd) - normal_below((-size - mean) / sd);
    first(|size| inside(size) >= proportion)
}

/// The standard normal score below which a probability lies.
pub(super) fn normal_quantile(probability: f64) -> f64 {
    if probability < 0.5 { -normal_above(probability) } else { normal_above(1.0 - probability) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ChiSquared as OtherChiSquared, ContinuousCDF, StudentsT as OtherStudent};

    fn close(got: f64, expected: f64, relative: f64) {
        assert!((got - expected).abs() <= relative * expected.abs(), "{got} against {expected}");
    }

    /// Two-sided and one-sided 95 % points of the standard normal distribution, 1.959964 and 1.644854 (NIST/SEMATECH
    /// e-Handbook of Statistical Methods, 1.3.6.7.1): without a mean, and with one that leaves one side alone.
    #[test]
    fn table_size_of_normal_errors() {
        assert!((normal_size(0.0, 2.0, 0.95) - 2.0 * 1.959_964).abs() < 2e-6);
        assert!((normal_size(10.0, 1.0, 0.95) - 11.644_854).abs() < 1e-6);
        assert!((normal_size(-0.3, 1.0, 0.95) - normal_size(0.3, 1.0, 0.95)).abs() < 1e-12);
        assert_eq!((normal_size(-1.5, 0.0, 0.95), normal_size(0.0, 0.0, 0.95)), (1.5, 0.0));
    }

    /// Table of Student's t and of chi-squared, NIST/SEMATECH e-Handbook of Statistical Methods 1.3.6.7.2 and
    /// 1.3.6.7.4 (three decimals), as recalled; the other library below is the independent witness.
    #[test]
    fn table_student_and_chi_squared() {
        for (df, expected) in [(1.0, 12.706), (5.0, 2.571), (10.0, 2.228), (30.0, 2.042), (100.0, 1.984)] {
            assert!((student_above(0.025, df) - expected).abs() <= 5.1e-4);
        }
        let (low, high) = chi_squared_around(0.025, 10.0);
        assert!((low - 3.247).abs() <= 5.1e-4 && (high - 20.483).abs() <= 5.1e-4);
    }

    #[test]
    fn outside_another_library_agrees_where_it_is_sound() {
        for df in [1.0, 2.0, 7.0, 59.0, 999.0, 99_999.0] {
            let student = OtherStudent::new(0.0, 1.0, df).unwrap();
            close(student.sf(student_above(0.025, df)), 0.025, 1e-9);
            let chi_squared = OtherChiSquared::new(df).unwrap();
            let (low, high) = chi_squared_around(0.025, df);
            close(chi_squared.cdf(low), 0.025, 1e-9);
            close(chi_squared.sf(high), 0.025, 1e-9);
        }
    }

    /// F with one degree of freedom above is the square of t; its other tail is the inverse with both exchanged.
    #[test]
    fn identity_fisher_and_normal() {
        close(fisher_above(0.05, 1.0, 10.0), student_above(0.025, 10.0) * student_above(0.025, 10.0), 1e-10);
        close(fisher_above(0.975, 4.0, 9.0), 1.0 / fisher_above(0.025, 9.0, 4.0), 1e-10);
        for probability in [0.001, 0.3, 0.5, 0.975] {
            close(normal_below(normal_quantile(probability)), probability, 1e-11);
        }
    }

    /// Beyond a million degrees of freedom t is normal but for `(z^3 + z) / (4 df)` (Abramowitz M, Stegun IA.
    /// Handbook of Mathematical Functions, 26.7.5).
    #[test]
    fn identity_student_becomes_normal() {
        let z = normal_above(0.025);
        close(z, 1.959_963_984_540_054, 2e-12); // tabulated to this digit; from memory
        for df in [1e6, 1e7, 1e9] {
            close(student_above(0.025, df), z + (z * z * z + z) / (4.0 * df), 1e-11);
        }
    }
}
