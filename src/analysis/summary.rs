//! One line on the errors of one output.

use super::interval::{Estimate, Interval};
use super::moments::moments;
use super::order::{at_rank, interval, quantile, quantile_rank};
use super::rare_events::{EventCount, RareEvents, rms_of, spread_of};
use super::sample::Errors;

/// Level of every interval in a summary.
pub const CONFIDENCE: f64 = 0.95;
/// Proportions whose quantiles of the absolute error a summary holds.
pub const ABSOLUTE_QUANTILES: [f64; 4] = [0.50, 0.90, 0.95, 0.99];

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
    /// Standard deviation of the errors; no interval where too few rare events happened.
    pub sd: Option<Estimate>,
    /// Root mean square of the errors, likewise.
    pub rms: Option<Estimate>,
    /// Rare events that the two rest on.
    pub events: EventCount,
    /// Half of the errors are within this; intervals of quantiles are from order statistics, none if an end is beyond the
    /// data.
    pub p50_abs: Option<Estimate>,
    /// 90 of 100 errors are within this.
    pub p90_abs: Option<Estimate>,
    /// 95 of 100 errors are within this.
    pub p95_abs: Option<Estimate>,
    /// Lower confidence bound of `p95_abs`, from order statistics; `None` if beyond the data.
    pub p95_abs_low: Option<f64>,
    /// Upper confidence bound of `p95_abs`, likewise.
    pub p95_abs_high: Option<f64>,
    /// 99 of 100 errors are within this.
    pub p99_abs: Option<Estimate>,
    /// The largest absolute error.
    pub max_abs: Option<f64>,
}

/// Sums up the errors of one output.
#[must_use]
pub fn summarise(errors: &Errors, rare: &RareEvents) -> Summary {
    let mut sorted = errors.absolute();
    sorted.sort_unstable_by(f64::total_cmp);
    summarise_sorted(errors, &sorted, rare)
}

/// The same where the absolute errors are at hand in ascending order.
#[must_use]
pub fn summarise_sorted(errors: &Errors, sorted: &[f64], rare: &RareEvents) -> Summary {
    let moments = moments(errors.values());
    let [p50_abs, p90_abs, p95_abs, p99_abs] = ABSOLUTE_QUANTILES.map(|p| quantile_estimate(sorted, p));
    let (p95_abs_low, p95_abs_high) = interval(sorted, 0.95, CONFIDENCE);
    Summary {
        n: errors.attempted(),
        failed: errors.failed(),
        bias: moments.map(|moments| moments.bias(CONFIDENCE)),
        sd: spread_of(errors.values(), rare, CONFIDENCE),
        rms: rms_of(errors.values(), rare, CONFIDENCE),
        events: rare.count(),
        p50_abs,
        p90_abs,
        p95_abs,
        p95_abs_low,
        p95_abs_high,
        p99_abs,
        max_abs: sorted.last().copied(),
    }
}

/// A quantile of ascending values with its interval. The standard error is half the distance between the values whose
/// ranks are one standard deviation of the binomial away (Woodruff RS. J Am Stat Assoc 1952;47:635-646).
#[must_use]
pub fn quantile_estimate(sorted: &[f64], p: f64) -> Option<Estimate> {
    let value = quantile(sorted, p)?;
    let count = sorted.len() as u64;
    let step = (p * (1.0 - p) / count as f64).sqrt();
    let at = |p: f64| quantile_rank(count, p).and_then(|rank| at_rank(sorted, rank));
    let around = at(p - step).zip(at(p + step));
    let (low, high) = interval(sorted, p, CONFIDENCE);
    let interval = low.zip(high).map(|(low, high)| Interval { low, high, confidence: CONFIDENCE });
    let standard_error = around.map(|(below, above)| 0.5 * (above - below)).filter(|_| count > 1);
    Some(Estimate { value, interval, standard_error, count })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    fn summarised(errors: &Errors) -> Summary {
        summarise(errors, &RareEvents::default())
    }

    fn value(estimate: Option<Estimate>) -> Option<f64> {
        estimate.map(|estimate| estimate.value)
    }

    #[test]
    fn identity_few_values() {
        let none = summarised(&Errors::new(Vec::new(), 4));
        assert_eq!((none.n, none.failed, none.bias, none.sd), (4, 4, None, None));
        assert_eq!((none.rms, none.p50_abs, none.p95_abs_high, none.max_abs), (None, None, None, None));

        let one = summarised(&Errors::new(vec![-2.0], 0));
        assert_eq!(
            (one.n, value(one.rms), value(one.p50_abs), value(one.p99_abs), one.max_abs),
            (1, Some(2.0), Some(2.0), Some(2.0), Some(2.0))
        );
        assert_eq!((one.bias.unwrap().value, one.bias.unwrap().interval, one.sd), (-2.0, None, None));
        assert_eq!((one.p95_abs_low, one.p95_abs_high), (None, None));

        let same = summarised(&Errors::new(vec![0.0; 1000], 0));
        assert_eq!((same.sd.unwrap().value, value(same.p95_abs), same.p95_abs_high), (0.0, Some(0.0), Some(0.0)));
    }

    /// Of standard normal errors: half within 0.67449, 90 of 100 within 1.64485, 95 within 1.95996, 99 within
    /// 2.57583 (tables of the normal distribution). The standard error of a quantile is
    /// `sqrt(p (1 - p) / n) / density`, the density of the absolute error twice the normal one.
    #[test]
    fn outside_normal_errors() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(31);
        let n = 200_000;
        let errors = Errors::new((0..n).map(|_| StandardNormal.sample(&mut random)).collect(), 0);
        let got = summarised(&errors);
        for (p, quantile, expected) in [
            (0.50, got.p50_abs, 0.67449),
            (0.90, got.p90_abs, 1.64485),
            (0.95, got.p95_abs, 1.95996),
            (0.99, got.p99_abs, 2.57583),
        ] {
            let density = 2.0 * libm::exp(-0.5 * expected * expected) / libm::sqrt(2.0 * std::f64::consts::PI);
            let standard_error = libm::sqrt(p * (1.0 - p) / f64::from(n)) / density;
            let found = quantile.unwrap().standard_error.unwrap();
            assert!((found / standard_error - 1.0).abs() < 0.1, "{p}: {found} against {standard_error}");
            assert!((quantile.unwrap().value - expected).abs() < 3.5 * standard_error, "{p}: {quantile:?}");
        }
        assert!((got.p95_abs_low.unwrap()..=got.p95_abs_high.unwrap()).contains(&got.p95_abs.unwrap().value));
        let se = 1.0 / f64::from(n).sqrt();
        assert!((got.bias.unwrap().value).abs() < 3.5 * se && (got.rms.unwrap().value - 1.0).abs() < 3.5 * se);
        assert!((got.sd.unwrap().standard_error.unwrap() / (se / 2.0_f64.sqrt()) - 1.0).abs() < 0.02);
    }

    /// How often the intervals of the 95th percentile and of the proportion beyond the true one hold what is true, for normal
    /// errors and for lognormal ones with log-sd 0.25. Exact intervals never hold it too seldom.
    fn coverage(count: usize, repeats: u32) {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(103);
        let truths = [1.959_963_984_540_054, libm::exp(0.25 * 1.644_853_626_951_472)];
        let mut covered = [[0_u32; 2]; 2];
        for _ in 0..repeats {
            let normal: Vec<f64> = (0..count).map(|_| StandardNormal.sample(&mut random)).collect();
            let lognormal = normal.iter().map(|score| libm::exp(0.25 * score)).collect();
            for ((values, truth), covered) in [normal, lognormal].into_iter().zip(truths).zip(&mut covered) {
                let summary = summarised(&Errors::new(values.clone(), 0));
                let beyond = values.iter().filter(|value| value.abs() > truth).count() as u64;
                let exceed = super::super::joint::proportion(beyond, count as u64, CONFIDENCE).unwrap();
                covered[0] += u32::from(summary.p95_abs.unwrap().interval.unwrap().contains(truth));
                covered[1] += u32::from(exceed.interval.unwrap().contains(0.05));
            }
        }
        let standard_error = (0.95_f64 * 0.05 / f64::from(repeats)).sqrt();
        let shares = covered.map(|covered| covered.map(|covered| f64::from(covered) / f64::from(repeats)));
        println!("{count}: P95 and exceedance, normal {:?}, lognormal {:?}", shares[0], shares[1]);
        assert!(shares.iter().flatten().all(|&share| share >= 0.95 - 3.0 * standard_error), "{count}: {shares:?}");
    }

    #[test]
    fn coverage_of_percentile_and_exceedance() {
        coverage(200, 1000);
    }

    #[test]
    #[ignore = "long: 2,000 repeats with 1,000 and with 10,000 values"]
    fn coverage_of_percentile_and_exceedance_in_full() {
        coverage(1000, 2000);
        coverage(10_000, 2000);
    }
}
