//! One line on the errors of one output.

use super::interval::Estimate;
use super::moments::{moments, rms};
use super::order::{interval, quantile};
use super::sample::Errors;

/// Level of every interval in a summary.
pub const CONFIDENCE: f64 = 0.95;

/// The errors of one output in one line. Values are in its unit and rest on the measured trials; failed ones are
/// counted beside them. `None` where nothing can be said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summary {
    /// Number of trials, failed ones included.
    pub n: u64,
    /// Number of trials without a reading.
    pub failed: u64,
    /// Mean error, Student's interval.
    pub bias: Option<Estimate>,
    /// Standard deviation of the errors.
    pub sd: Option<Estimate>,
    /// Root mean square of the errors.
    pub rms: Option<f64>,
    /// Half of the errors are within this.
    pub p50_abs: Option<f64>,
    /// 90 of 100 errors are within this.
    pub p90_abs: Option<f64>,
    /// 95 of 100 errors are within this.
    pub p95_abs: Option<f64>,
    /// Lower confidence bound of `p95_abs`, from order statistics; `None` if beyond the data.
    pub p95_abs_low: Option<f64>,
    /// Upper confidence bound of `p95_abs`, likewise.
    pub p95_abs_high: Option<f64>,
    /// 99 of 100 errors are within this.
    pub p99_abs: Option<f64>,
    /// The largest absolute error.
    pub max_abs: Option<f64>,
}

/// Sums up the errors of one output.
#[must_use]
pub fn summarise(errors: &Errors) -> Summary {
    let moments = moments(errors.values());
    let mut sorted = errors.absolute();
    sorted.sort_unstable_by(f64::total_cmp);
    let (p95_abs_low, p95_abs_high) = interval(&sorted, 0.95, CONFIDENCE);
    Summary {
        n: errors.attempted(),
        failed: errors.failed(),
        bias: moments.map(|moments| moments.bias(CONFIDENCE)),
        sd: moments.and_then(|moments| moments.spread(CONFIDENCE)),
        rms: rms(errors.values()),
        p50_abs: quantile(&sorted, 0.50),
        p90_abs: quantile(&sorted, 0.90),
        p95_abs: quantile(&sorted, 0.95),
        p95_abs_low,
        p95_abs_high,
        p99_abs: quantile(&sorted, 0.99),
        max_abs: sorted.last().copied(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn identity_few_values() {
        let none = summarise(&Errors::new(Vec::new(), 4));
        assert_eq!((none.n, none.failed, none.bias, none.sd), (4, 4, None, None));
        assert_eq!((none.rms, none.p50_abs, none.p95_abs_high, none.max_abs), (None, None, None, None));

        let one = summarise(&Errors::new(vec![-2.0], 0));
        assert_eq!(
            (one.n, one.rms, one.p50_abs, one.p99_abs, one.max_abs),
            (1, Some(2.0), Some(2.0), Some(2.0), Some(2.0))
        );
        assert_eq!((one.bias.unwrap().value, one.bias.unwrap().interval, one.sd), (-2.0, None, None));
        assert_eq!((one.p95_abs_low, one.p95_abs_high), (None, None));

        let same = summarise(&Errors::new(vec![0.0; 1000], 0));
        assert_eq!((same.sd.unwrap().value, same.p95_abs, same.p95_abs_high), (0.0, Some(0.0), Some(0.0)));
    }

    /// Of standard normal errors: half within 0.67449, 90 of 100 within 1.64485, 95 within 1.95996, 99 within
    /// 2.57583 (tables of the normal distribution). The standard error of a quantile is
    /// `sqrt(p (1 - p) / n) / density`, the density of the absolute error twice the normal one.
    #[test]
    fn outside_normal_errors() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(31);
        let n = 200_000;
        let errors = Errors::new((0..n).map(|_| StandardNormal.sample(&mut random)).collect(), 0);
        let got = summarise(&errors);
        for (p, quantile, expected) in [
            (0.50, got.p50_abs, 0.67449),
            (0.90, got.p90_abs, 1.64485),
            (0.95, got.p95_abs, 1.95996),
            (0.99, got.p99_abs, 2.57583),
        ] {
            let density = 2.0 * libm::exp(-0.5 * expected * expected) / libm::sqrt(2.0 * std::f64::consts::PI);
            let standard_error = libm::sqrt(p * (1.0 - p) / f64::from(n)) / density;
            assert!((quantile.unwrap() - expected).abs() < 3.5 * standard_error, "{p}: {quantile:?}");
        }
        assert!((got.p95_abs_low.unwrap()..=got.p95_abs_high.unwrap()).contains(&got.p95_abs.unwrap()));
        let se = 1.0 / f64::from(n).sqrt();
        assert!((got.bias.unwrap().value).abs() < 3.5 * se && (got.rms.unwrap() - 1.0).abs() < 3.5 * se);
        assert!((got.sd.unwrap().standard_error.unwrap() / (se / 2.0_f64.sqrt()) - 1.0).abs() < 0.02);
    }
}
