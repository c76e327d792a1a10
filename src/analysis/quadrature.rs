//! Integrals of smooth functions: Gauss-Legendre in panels of equal width.

/// Points in a panel.
const POINTS: usize = 16;

/// Places and weights over `low..high`, panel after panel.
pub(super) fn nodes(low: f64, high: f64, panels: u32) -> impl Iterator<Item = (f64, f64)> {
    let rule = legendre();
    let half = 0.5 * (high - low) / f64::from(panels);
    (0..panels).flat_map(move |panel| {
        let middle = low + half * f64::from(2 * panel + 1);
        rule.into_iter().map(move |(x, weight)| (middle + half * x, half * weight))
    })
}

/// Roots of the Legendre polynomial by Newton's iteration from their asymptotic places, and the weights (Abramowitz M,
/// Stegun IA. Handbook of Mathematical Functions, 25.4.29 and 22.16.6).
fn legendre() -> [(f64, f64); POINTS] {
    let n = POINTS as f64;
    std::array::from_fn(|i| {
        let mut x = libm::cos(std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5));
        let mut slope = 1.0;
        for _ in 0..8 {
            let (mut before, mut value) = (1.0, x);
            for degree in 1..POINTS {
                let degree = degree as f64;
                (before, value) = (value, ((2.0 * degree + 1.0) * x * value - degree * before) / (degree + 1.0));
            }
            slope = n * (x * value - before) / (x * x - 1.0);
            x -= value / slope;
        }
        (x, 2.0 / ((1.0 - x * x) * slope * slope))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// With 16 points every polynomial up to degree 31 is integrated exactly.
    #[test]
    fn identity_polynomials_and_a_bell() {
        for degree in [0, 1, 2, 17, 31] {
            let got: f64 = nodes(0.0, 1.0, 1).map(|(x, w)| w * libm::pow(x, f64::from(degree))).sum();
            assert!((got * f64::from(degree + 1) - 1.0).abs() < 1e-13, "{degree}: {got}");
        }
        let bell: f64 = nodes(-9.0, 9.0, 12).map(|(x, w)| w * libm::exp(-0.5 * x * x)).sum();
        assert!((bell / (2.0 * std::f64::consts::PI).sqrt() - 1.0).abs() < 1e-13);
    }
}
