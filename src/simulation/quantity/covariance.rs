//! Covariance of two quantities whose scores are correlated.

use super::{Quantity, Shape};
use crate::simulation::normal;

/// Distance of the points of the integral in score; beyond 8 on either side is 1 part in 10^15.
const STEP: f64 = 0.1;
const POINTS: i32 = 80;

impl Quantity {
    /// Covariance with another quantity, in the product of their units, where the two standard normal scores have this
    /// correlation: exact for normal distributions, else by the trapezoidal rule over both scores.
    #[must_use]
    pub fn covariance(&self, other: &Self, correlation: f64) -> f64 {
        if let (
            Self::Drawn(Shape::Normal { sd: one, .. }, None),
            Self::Drawn(Shape::Normal { sd: other, .. }, None),
        ) = (self, other)
        {
            return correlation * one * other;
        }
        let points: Vec<(f64, f64)> = (-POINTS..=POINTS)
            .map(|i| STEP * f64::from(i))
            .map(|score| (score, STEP * normal::density(score)))
            .collect();
        let mean: f64 = points.iter().map(|&(score, weight)| weight * self.value(score)).sum();
        let rest = (1.0 - correlation * correlation).max(0.0).sqrt();
        let given = |score: f64| -> f64 {
            points.iter().map(|&(z, weight)| weight * other.value(correlation * score + rest * z)).sum()
        };
        // With this value from its mean, the mean of the other drops out.
        points.iter().map(|&(score, weight)| weight * (self.value(score) - mean) * given(score)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two lognormal quantities of standard normal scores with correlation r have the covariance
    /// `m1 m2 exp((s1^2 + s2^2)/2) (exp(r s1 s2) - 1)`; a normal and a lognormal one, by Stein's lemma, `r sd s m exp(s^2/2)`.
    #[test]
    fn outside_covariance_of_lognormal_quantities() {
        let lognormal = |median, log_sd| Quantity::Drawn(Shape::Lognormal { median, log_sd }, None);
        for r in [-0.8, 0.0, 0.3, 1.0] {
            let found = lognormal(2.0, 0.3).covariance(&lognormal(5.0, 0.4), r);
            let expected = 10.0 * libm::exp(0.5 * (0.09 + 0.16)) * (libm::exp(r * 0.12) - 1.0);
            assert!((found - expected).abs() < 1e-9, "{r}: {found} for {expected}");
            let found = Quantity::normal(1.5).covariance(&lognormal(5.0, 0.4), r);
            let expected = r * 1.5 * 0.4 * 5.0 * libm::exp(0.08);
            assert!((found - expected).abs() < 1e-9, "{r}: {found} for {expected}");
            assert!((Quantity::normal(1.5).covariance(&Quantity::normal(2.0), r) - r * 3.0).abs() < 1e-15);
        }
    }
}
