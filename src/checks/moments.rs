//! Sample moments with their own standard errors, from the sample's higher moments: no distribution is assumed.

use super::Found;

/// Mean of a sample.
pub fn mean(sample: &[f64]) -> Found {
    let (centre, moments) = central(sample);
    found(centre, moments[0] / sample.len() as f64, sample)
}

/// Standard deviation of a sample (divisor n - 1).
pub fn sd(sample: &[f64]) -> Found {
    root(variance(sample))
}

/// Variance of a sample (divisor n - 1).
pub fn variance(sample: &[f64]) -> Found {
    let n = sample.len() as f64;
    let (_, [second, fourth]) = central(sample);
    found(second * n / (n - 1.0), (fourth - second * second) / n, sample)
}

/// Root mean square of a sample.
pub fn rms(sample: &[f64]) -> Found {
    let squares: Vec<_> = sample.iter().map(|value| value * value).collect();
    root(mean(&squares))
}

/// Mean product of two samples' deviations from their means.
pub fn covariance(first: &[f64], second: &[f64]) -> Found {
    let (a, b) = (mean(first).value, mean(second).value);
    let products: Vec<_> = first.iter().zip(second).map(|(x, y)| (x - a) * (y - b)).collect();
    mean(&products)
}

/// Correlation of two samples. The standard error is that of independent ones.
pub fn correlation(first: &[f64], second: &[f64]) -> Found {
    let scale = variance(first).value * variance(second).value;
    let value = covariance(first, second).value / scale.sqrt();
    found(value, 1.0 / first.len() as f64, first)
}

/// The value that a proportion of a sample stays below; the standard error from its neighbours in order.
pub fn quantile(sample: &[f64], proportion: f64) -> Found {
    let mut sorted = sample.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let n = sample.len() as f64;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a rank, cut off at the last
    let at = |p: f64| sorted[((p * n) as usize).min(sorted.len() - 1)];
    let step = (proportion * (1.0 - proportion) / n).sqrt();
    let half_width = 0.5 * (at(proportion + step) - at(proportion - step));
    found(at(proportion), half_width * half_width, sample)
}

/// The square root of a found value, its standard error by the delta method.
pub fn root(square: Found) -> Found {
    let value = square.value.sqrt();
    Found { value, standard_error: square.standard_error.map(|error| 0.5 * error / value), ..square }
}

/// Mean, and second and fourth central moments.
fn central(sample: &[f64]) -> (f64, [f64; 2]) {
    let share = 1.0 / sample.len() as f64;
    let mean = share * sample.iter().sum::<f64>();
    let squares = sample.iter().map(|value| (value - mean) * (value - mean));
    let [second, fourth] = squares.fold([0.0, 0.0], |[s, f], square| [s + square, f + square * square]);
    (mean, [share * second, share * fourth])
}

fn found(value: f64, error_variance: f64, sample: &[f64]) -> Found {
    Found { value, standard_error: Some(error_variance.max(0.0).sqrt()), count: sample.len() as u64 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sample 1, 2, 3, 4 by hand: mean 2.5, variance 5/3, central moments 1.25 and 2.5625.
    #[test]
    fn outside_moments_by_hand() {
        let sample = [1.0, 2.0, 3.0, 4.0];
        let near = |a: f64, b: f64| (a - b).abs() < 1e-14;
        assert!(near(mean(&sample).value, 2.5));
        assert!(near(mean(&sample).standard_error.unwrap(), (1.25_f64 / 4.0).sqrt()));
        assert!(near(variance(&sample).value, 5.0 / 3.0));
        assert!(near(variance(&sample).standard_error.unwrap(), 0.5));
        assert!(near(rms(&sample).value, 7.5_f64.sqrt()));
        assert!(near(correlation(&sample, &[2.0, 4.0, 6.0, 8.0]).value, 0.75));
        assert!(near(quantile(&sample, 0.5).value, 3.0));
    }
}
