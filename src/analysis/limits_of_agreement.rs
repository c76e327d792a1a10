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

impl LimitsOfAgreement {
    /// The values alone.
    #[must_use]
    pub fn without_intervals(self) -> Self {
        let bare = |estimate: Estimate| Estimate { interval: None, standard_error: None, ..estimate };
        Self { bias: bare(self.bias), lower: bare(self.lower), upper: bare(self.upper), ..self }
    }
}

/// Devices below which limits of agreement of a nested design have no interval in a report.
pub const DEVICES_FOR_AN_INTERVAL: usize = 30;

/// Limits `factor` standard deviations from the mean of differences, each with its interval: the variance of a limit is
/// `s²/n (1 + factor²/2)`, which is the authors' `3 s²/n` for their factor 2. `None` for fewer than two differences.
///
/// The limits take the differences as normal and as independent of the size of what is measured.
#[must_use]
pub fn limits_of_agreement(differences: &[f64], factor: f64, confidence: f64) -> Option<LimitsOfAgreement> {
    let moments = moments(differences)?;
    let sd = moments.sd()?;
    let standard_error = sd * ((1.0 + 0.5 * factor * factor) / moments.count as f64).sqrt();
    let bias = moments.bias(confidence);
    let limit = |value| around(value, standard_error, moments.count, moments.count - 1, confidence);
    Some(LimitsOfAgreement {
        bias,
        sd,
        lower: limit(bias.value - factor * sd),
        upper: limit(bias.value + factor * sd),
    })
}

/// The same limits of differences of a nested design, those of one device side by side, `trials` of each device in turn. The
/// standard errors rest on the sums over each device of the influence `(x - m) ± factor ((x - m)² - s²) / (2 s)` of a
/// difference; Student's t has one degree of freedom less than devices. Missing differences are NaN. `None` for fewer than two
/// devices.
#[must_use]
pub fn limits_of_agreement_of_devices(
    differences: &[f64],
    trials: &[usize],
    factor: f64,
    confidence: f64,
) -> Option<LimitsOfAgreement> {
    let mut rest = differences;
    let devices: Vec<Vec<f64>> = trials
        .iter()
        .map(|&trials| {
            let (device, others) = rest.split_at(trials.min(rest.len()));
            rest = others;
            device.iter().copied().filter(|difference| difference.is_finite()).collect()
        })
        .filter(|device: &Vec<f64>| !device.is_empty())
        .collect();
    let moments = moments(&devices.concat())?;
    let (mean, sd, count) = (moments.mean, moments.sd()?, devices.len() as u64);
    let limit = |factor: f64| {
        let influence = |x: &f64| {
            let off = x - mean;
            off + if sd > 0.0 { 0.5 * factor * (off * off - sd * sd) / sd } else { 0.0 }
        };
        let square = |device: &Vec<f64>| {
            let sum: f64 = device.iter().map(influence).sum();
            sum * sum
        };
        let squares: f64 = devices.iter().map(square).sum();
        let standard_error = (squares * count as f64 / (count - 1) as f64).sqrt() / moments.count as f64;
        around(mean + factor * sd, standard_error, moments.count, count - 1, confidence)
    };
    (count > 1).then(|| LimitsOfAgreement { bias: limit(0.0), sd, lower: limit(-factor), upper: limit(factor) })
}

/// A value with Student's interval.
fn around(value: f64, standard_error: f64, count: u64, degrees_of_freedom: u64, confidence: f64) -> Estimate {
    let reach = if standard_error == 0.0 {
        0.0
    } else {
        student_above(0.5 * (1.0 - confidence), degrees_of_freedom as f64) * standard_error
    };
    let interval = Interval { low: value - reach, high: value + reach, confidence };
    Estimate { value, interval: Some(interval), standard_error: Some(standard_error), count }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

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

    /// A check value computed independently: x = sin 1.7i + sin 2.9(i div 5) for i from 0 to 59, 5 for each of 12 devices.
    #[test]
    fn outside_limits_over_devices() {
        let x = |i: u32| libm::sin(1.7 * f64::from(i)) + libm::sin(2.9 * f64::from(i / 5));
        let differences: Vec<f64> = (0..60).map(x).collect();
        let found = limits_of_agreement_of_devices(&differences, &[5; 12], FACTOR, 0.95).unwrap();
        let interval = found.upper.interval.unwrap();
        for (got, expected) in
            [(found.upper.value, 2.044_050_597), (interval.low, 1.508_629_049), (interval.high, 2.579_472_146)]
        {
            assert!((got - expected).abs() < 1e-9, "{got} against {expected}");
        }
        // Missing differences are left out; a device of missing ones counts for nothing.
        let mut gaps = differences.clone();
        gaps.splice(30..30, [f64::NAN; 7]);
        let trials = [5, 5, 5, 5, 5, 5, 7, 5, 5, 5, 5, 5, 5];
        assert_eq!(limits_of_agreement_of_devices(&gaps, &trials, FACTOR, 0.95), Some(found));
    }

    /// One trial a device: the mean and its standard error are those of independent differences, and so nearly are the
    /// limits' of normal ones, whose influences give the authors' variance.
    #[test]
    fn identity_devices_of_one_trial() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(107);
        let differences: Vec<f64> = (0..4000).map(|_| StandardNormal.sample(&mut random)).collect();
        let one = limits_of_agreement_of_devices(&differences, &vec![1; 4000], FACTOR, 0.95).unwrap();
        let other = limits_of_agreement(&differences, FACTOR, 0.95).unwrap();
        let error = |estimate: Estimate| estimate.standard_error.unwrap();
        assert!((error(one.bias) / error(other.bias) - 1.0).abs() < 1e-12);
        // The variance of s has a relative standard error of about sqrt(10 / n) / 2 for normal differences.
        assert!((error(one.upper) / error(other.upper) - 1.0).abs() < 3.0 * 0.5 * (10.0_f64 / 4000.0).sqrt());
        assert_eq!((one.lower.value, one.sd), (other.lower.value, other.sd));
        assert_eq!(limits_of_agreement_of_devices(&[1.0, 2.0, 3.0], &[3], FACTOR, 0.95), None);
        let same = limits_of_agreement_of_devices(&[0.5; 9], &[3; 3], FACTOR, 0.95).unwrap();
        assert_eq!((same.upper.value, same.upper.interval.unwrap().high), (0.5, 0.5));
    }
}
