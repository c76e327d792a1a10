//! Agreement of two methods: the differences of their readings, and the limits that hold most of them.
//!
//! Bland JM, Altman DG. Lancet 1986;327:307-310; Stat Methods Med Res 1999;8:135-160.

use super::interval::{Estimate, Interval};
use super::invert::student_above;
use super::moments::moments;

/// Standard deviations between the mean difference and a limit: 95 of 100 normal differences lie within.
pub const FACTOR: f64 = 1.959_963_984_540_054;

/// The mean difference of two methods and the limits of agreement around it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimitsOfAgreement {
    /// Mean difference, Student's interval.
    pub bias: Estimate,
    /// Standard deviation of the differences.
    pub sd: f64,
    /// Lower limit of agreement.
    pub lower: Estimate,
    /// Upper limit of agreement.
    pub upper: Estimate,
}

/// Limits `factor` standard deviations from the mean of differences, each with its interval: the variance of a limit is
/// `s²/n (1 + factor²/2)`, which is the authors' `3 s²/n` for their factor 2. `None` for fewer than two differences.
///
/// The limits take the differences as normal and as independent of the size of what is measured.
#[must_use]
pub fn limits_of_agreement(differences: &[f64], factor: f64, confidence: f64) -> Option<LimitsOfAgreement> {
    let moments = moments(differences)?;
    let sd = moments.sd()?;
    let count = moments.count;
    let standard_error = sd * ((1.0 + 0.5 * factor * factor) / count as f64).sqrt();
    let reach =
        if sd == 0.0 { 0.0 } else { student_above(0.5 * (1.0 - confidence), (count - 1) as f64) * standard_error };
    let limit = |value: f64| Estimate {
        value,
        interval: Some(Interval { low: value - reach, high: value + reach, confidence }),
        standard_error: Some(standard_error),
        count,
    };
    let bias = moments.bias(confidence);
    Some(LimitsOfAgreement {
        bias,
        sd,
        lower: limit(bias.value - factor * sd),
        upper: limit(bias.value + factor * sd),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lancet 1986;327:307-310, Table 1 and text: first readings with the large and with the mini peak flow meter in 17
    /// subjects. Mean difference -2.1, sd 38.8; limits (two standard deviations) -79.7 and 75.5 from rounded figures, and
    /// from the data -79.65 and 75.41; their 95 % intervals -114.17 to -45.13 and 40.89 to 109.93.
    #[test]
    fn table_bland_altman_1986() {
        let table = include_str!("../../tests/data/bland_altman_1986_pefr.csv");
        let differences: Vec<f64> = table
            .lines()
            .filter(|line| line.starts_with(|letter: char| letter.is_ascii_digit()))
            .map(|line| {
                let cells: Vec<f64> = line.split(',').map(|cell| cell.trim().parse().unwrap()).collect();
                cells[1] - cells[3]
            })
            .collect();
        let found = limits_of_agreement(&differences, 2.0, 0.95).unwrap();
        let near = |got: f64, expected: f64, half_digit: f64| {
            assert!((got - expected).abs() <= half_digit, "{got} against {expected}");
        };
        assert_eq!(found.bias.count, 17);
        near(found.bias.value, -2.118, 5e-4);
        near(found.sd, 38.765, 5e-4);
        near(found.lower.value, -79.65, 5e-3);
        near(found.upper.value, 75.41, 5e-3);
        let (lower, upper) = (found.lower.interval.unwrap(), found.upper.interval.unwrap());
        for (got, expected) in [(lower.low, -114.17), (lower.high, -45.13), (upper.low, 40.89), (upper.high, 109.93)]
        {
            near(got, expected, 5.001e-3);
        }
    }

    #[test]
    fn identity_without_spread_and_of_few() {
        let same = limits_of_agreement(&[0.5; 9], FACTOR, 0.95).unwrap();
        assert_eq!((same.lower.value, same.upper.value, same.upper.interval.unwrap().high), (0.5, 0.5, 0.5));
        assert_eq!(limits_of_agreement(&[1.0], FACTOR, 0.95), None);
        assert_eq!(limits_of_agreement(&[], FACTOR, 0.95), None);
    }
}
