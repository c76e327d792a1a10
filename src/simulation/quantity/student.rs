//! Student's t distribution.

use super::table::Table;
use super::tail::Tail;
use crate::simulation::normal;
use std::f64::consts::PI;

/// Student's t with a location and a scale (JCGM 101:2008, 6.4.9: scaled and shifted t).
#[derive(Clone, Debug, PartialEq)]
pub struct StudentT {
    pub(super) location: f64,
    pub(super) scale: f64,
    pub(super) degrees_of_freedom: f64,
    /// Of the standard distribution, for scores from 0: it is symmetric.
    table: Table,
}

impl StudentT {
    /// The parameters must be sound.
    pub(super) fn new(location: f64, scale: f64, degrees_of_freedom: f64) -> Self {
        let table = Table::of(0.0, 0.0, 1.0, |score| quantile(score.abs(), degrees_of_freedom));
        Self { location, scale, degrees_of_freedom, table }
    }

    pub(super) fn value(&self, score: f64) -> f64 {
        self.location + self.scale * self.table.value(score.abs()).copysign(score)
    }

    pub(super) fn tails(&self, value: f64) -> Tail {
        let t = (value - self.location) / self.scale;
        let beyond = upper_tail(t.abs(), self.degrees_of_freedom);
        if t < 0.0 {
            Tail { lower: beyond, upper: 1.0 - beyond }
        } else {
            Tail { lower: 1.0 - beyond, upper: beyond }
        }
    }

    /// Mean and standard deviation, infinite up to 2 degrees of freedom; up to 1, where there is no mean, the
    /// location stands for it.
    pub(super) fn mean_and_sd(&self) -> (f64, f64) {
        let degrees = self.degrees_of_freedom;
        let sd = if degrees > 2.0 { self.scale * (degrees / (degrees - 2.0)).sqrt() } else { f64::INFINITY };
        (self.location, sd)
    }
}

/// Probability beyond `t`, which is not negative: half the regularised incomplete beta function
/// `I_x(n/2, 1/2)` at `x = n/(n + t^2)` (Abramowitz M, Stegun IA. Handbook of Mathematical Functions, 26.7.1).
fn upper_tail(t: f64, degrees: f64) -> f64 {
    let (a, square) = (0.5 * degrees, t * t);
    // x^a (1 - x)^(1/2) / B(a, 1/2), with logarithms that stay accurate for many degrees of freedom.
    let beside = (square / (degrees + square)).sqrt();
    let front = libm::exp(-a * libm::log1p(square / degrees)) * beside * gamma_ratio(a) / PI.sqrt();
    let x = degrees / (degrees + square);
    if x < (a + 1.0) / (a + 2.5) {
        0.5 * front * continued_fraction(x, a, 0.5) / a
    } else {
        // The function of the complement converges faster here.
        0.5 - front * continued_fraction(square / (degrees + square), 0.5, a)
    }
}

/// `Gamma(a + 1/2) / Gamma(a)`.
fn gamma_ratio(a: f64) -> f64 {
    if a < 30.0 {
        return libm::exp(libm::lgamma(a + 0.5) - libm::lgamma(a));
    }
    // The difference of two large logarithms would lose digits; this series is right to 1 part in 10^10 here
    // (Abramowitz and Stegun, 6.1.47, for a + 1/2 and a).
    let b = 1.0 / a;
    a.sqrt() * (1.0 + b * (-1.0 / 8.0 + b * (1.0 / 128.0 + b * (5.0 / 1024.0 - b * 21.0 / 32768.0))))
}

/// The continued fraction of the incomplete beta function (Abramowitz and Stegun, 26.5.8), by the modified method of
/// Lentz.
fn continued_fraction(x: f64, a: f64, b: f64) -> f64 {
    const TINY: f64 = 1e-300;
    const MOST_TERMS: u32 = 20_000;
    let away = |value: f64| if value.abs() < TINY { TINY } else { value };
    let mut d = 1.0 / away(1.0 - (a + b) * x / (a + 1.0));
    let (mut c, mut result) = (1.0, d);
    for term in 1..=MOST_TERMS {
        let m = f64::from(term);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut change = 1.0;
        for coefficient in [even, odd] {
            d = 1.0 / away(1.0 + coefficient * d);
            c = away(1.0 + coefficient / c);
            change *= c * d;
        }
        result *= change;
        if (change - 1.0).abs() < 1e-15 {
            break;
        }
    }
    result
}

/// The quantile at a score that is not negative, by Newton's method on the logarithm of the tail over `asinh(t)`, kept
/// between bounds: in that plane the tail is nearly a straight line far out.
fn quantile(score: f64, degrees: f64) -> f64 {
    if score == 0.0 {
        return 0.0;
    }
    let wanted = libm::log(normal::complement(score));
    let excess = |s: f64| libm::log(upper_tail(libm::sinh(s), degrees)) - wanted;
    // Its tails are heavier than those of the normal distribution, so the quantile lies further out.
    let (mut low, mut high) = (0.999 * libm::asinh(score), libm::asinh(score) + 1.0);
    while excess(high) > 0.0 {
        (low, high) = (high, 2.0 * high);
    }
    let mut s = low;
    for _ in 0..100 {
        let off = excess(s);
        if off > 0.0 {
            low = s;
        } else {
            high = s;
        }
        let t = libm::sinh(s);
        let slope = -density(t, degrees) * libm::cosh(s) / upper_tail(t, degrees);
        let newton = s - off / slope;
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        let moved = (next - s).abs();
        s = next;
        if moved <= 1e-14 * (1.0 + s) || high - low <= 1e-14 * (1.0 + s) {
            break;
        }
    }
    libm::sinh(s)
}

fn density(t: f64, degrees: f64) -> f64 {
    let a = 0.5 * degrees;
    gamma_ratio(a) / (PI * degrees).sqrt() * libm::exp(-(a + 0.5) * libm::log1p(t * t / degrees))
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, StudentsT};

    /// Percentage points of Student's t, as commonly tabulated (NIST/SEMATECH e-Handbook of Statistical Methods,
    /// 1.3.6.7.2): probability up to the value, degrees of freedom, value.
    #[test]
    fn table_percentage_points() {
        for (p, degrees, expected) in [
            (0.975, 1.0, 12.706),
            (0.975, 4.0, 2.776),
            (0.95, 10.0, 1.812),
            (0.995, 30.0, 2.750),
            (0.999, 5.0, 5.893),
            (0.975, 100.0, 1.984),
        ] {
            let t = StudentT::new(0.0, 1.0, degrees).value(normal::quantile(p));
            assert!((t - expected).abs() <= 5e-4, "{p} {degrees}: {t}");
        }
    }

    /// Against statrs's distribution function; its own accuracy is about 1 part in 10^10.
    #[test]
    fn outside_tails_and_quantiles() {
        for degrees in [0.5, 1.0, 2.5, 4.0, 30.0, 59.0, 61.0, 400.0] {
            let drawn = StudentT::new(3.0, 2.0, degrees);
            let other = StudentsT::new(3.0, 2.0, degrees).expect("sound parameters");
            for value in [-40.0, -3.0, 0.0, 2.5, 3.0, 3.001, 4.0, 9.0, 30.0] {
                let (found, expected) = (drawn.tails(value), other.cdf(value));
                assert!((found.lower - expected).abs() < 1e-9, "{degrees} {value}: {found:?} for {expected}");
                assert!((found.lower + found.upper - 1.0).abs() < 1e-15);
            }
            for score in [-4.2, -1.0, 0.3, 2.0, 3.7] {
                let p = normal::cumulative(score);
                // The table is right to 1e-7, in the tails of the value itself.
                let back = other.cdf(drawn.value(score));
                assert!((back - p).abs() < 4e-7 * p.min(1.0 - p), "{degrees} {score}: {back} for {p}");
            }
        }
    }

    /// One degree of freedom is the Cauchy distribution, two have a closed form: exact quantiles far into the tail.
    #[test]
    fn identity_closed_forms() {
        let (one, two) = (StudentT::new(0.0, 1.0, 1.0), StudentT::new(0.0, 1.0, 2.0));
        for i in -80..=80 {
            let score = f64::from(i) / 10.0 + 0.013;
            let (p, q) = (normal::cumulative(score), normal::complement(score));
            let cauchy = -1.0 / libm::tan(PI * p.min(q)) * if score < 0.0 { 1.0 } else { -1.0 };
            let closed = (1.0 - 2.0 * p.min(q)) * (0.5 / (p * q)).sqrt() * score.signum();
            for (found, expected) in [(one.value(score), cauchy), (two.value(score), closed)] {
                let allowed = 2e-7 * libm::hypot(1.0, expected);
                assert!((found - expected).abs() <= allowed, "{score}: {found} for {expected}");
            }
        }
    }
}
