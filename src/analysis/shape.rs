//! The shape of a distribution of errors: skewness, kurtosis, and tests of whether it may be normal.

use super::invert::normal_above;
use super::moments::{Moments, moments};

/// Most values that the Shapiro-Wilk test takes.
pub const SHAPIRO_WILK_MOST: usize = 2000;
/// Most values that the Anderson-Darling test takes: with more, any departure at all is found.
pub const ANDERSON_DARLING_MOST: usize = 100_000;

/// What the shape of the errors is. `None` where nothing can be said: too few values, or no spread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shape {
    /// Skewness, the adjusted Fisher-Pearson coefficient; 0 for symmetric errors.
    pub skewness: Option<Deviation>,
    /// Excess kurtosis, likewise adjusted; 0 for normal errors.
    pub kurtosis: Option<Deviation>,
    /// Correlation of each value with the next one; near 0 for independent trials.
    pub lag_one: Option<f64>,
    /// Anderson-Darling test of normality, mean and standard deviation estimated.
    pub anderson_darling: Option<Test>,
    /// Shapiro-Wilk test of normality.
    pub shapiro_wilk: Option<Test>,
}

/// A coefficient that is 0 for normal errors, with the standard error that it then has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deviation {
    /// The coefficient.
    pub value: f64,
    /// Its standard error if the errors are normal.
    pub standard_error: f64,
}

/// A test of normality.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Test {
    /// The statistic.
    pub statistic: f64,
    /// How probable a statistic at least as extreme is for normal errors.
    pub p_value: f64,
    /// Number of values that it rests on.
    pub count: u64,
}

/// The shape of errors in the order of their trials. Of more values than a test takes, evenly spaced ones are taken.
#[must_use]
pub fn shape(values: &[f64]) -> Shape {
    let of_all = moments(values);
    let few: Vec<f64> = thinned(values, ANDERSON_DARLING_MOST);
    let sorted = sorted(few);
    Shape {
        skewness: of_all.and_then(|moments| skewness(&moments)),
        kurtosis: of_all.and_then(|moments| kurtosis(&moments)),
        lag_one: lag_one(values),
        anderson_darling: anderson_darling(&sorted),
        shapiro_wilk: (values.len() <= SHAPIRO_WILK_MOST).then(|| shapiro_wilk(&sorted)).flatten(),
    }
}

/// At most so many values, evenly spaced.
fn thinned(values: &[f64], most: usize) -> Vec<f64> {
    values.iter().step_by(values.len().div_ceil(most).max(1)).copied().collect()
}

fn sorted(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_unstable_by(f64::total_cmp);
    values
}

/// Standard errors under normality: Joanes DN, Gill CA. The Statistician 1998;47:183-189.
fn skewness(moments: &Moments) -> Option<Deviation> {
    let n = moments.count as f64;
    let spread = moments.squares / n;
    (moments.count > 2 && spread > 0.0).then(|| Deviation {
        value: (n * (n - 1.0)).sqrt() / (n - 2.0) * (moments.cubes / n) / (spread * spread.sqrt()),
        standard_error: (6.0 * n * (n - 1.0) / ((n - 2.0) * (n + 1.0) * (n + 3.0))).sqrt(),
    })
}

fn kurtosis(moments: &Moments) -> Option<Deviation> {
    let n = moments.count as f64;
    let spread = moments.squares / n;
    let of_skewness = skewness(moments)?.standard_error;
    (moments.count > 3).then(|| Deviation {
        value: (n - 1.0) / ((n - 2.0) * (n - 3.0))
            * ((n + 1.0) * (moments.fourth_powers / n / spread / spread - 3.0) + 6.0),
        standard_error: 2.0 * of_skewness * ((n * n - 1.0) / ((n - 3.0) * (n + 5.0))).sqrt(),
    })
}

/// Autocorrelation of successive values, about the mean of all; `None` without spread.
#[must_use]
pub fn lag_one(values: &[f64]) -> Option<f64> {
    let moments = moments(values).filter(|moments| moments.squares > 0.0)?;
    let product = |pair: &[f64]| (pair[0] - moments.mean) * (pair[1] - moments.mean);
    Some(values.windows(2).map(product).sum::<f64>() / moments.squares)
}

/// Anderson-Darling test of normality with estimated mean and standard deviation, for ascending values (Stephens MA. J Am
/// Stat Assoc 1974;69:730-737; p-value: D'Agostino RB, Stephens MA. Goodness-of-Fit Techniques, 1986, table 4.9).
/// `None` for fewer than 8 values or without spread.
#[must_use]
pub fn anderson_darling(sorted: &[f64]) -> Option<Test> {
    let moments = moments(sorted).filter(|moments| moments.count >= 8)?;
    let sd = moments.sd().filter(|&sd| sd > 0.0)?;
    let log_below = |value: f64| {
        let tail = 0.5 * libm::erfc(-(value - moments.mean) / sd * std::f64::consts::FRAC_1_SQRT_2);
        libm::log(tail.max(f64::MIN_POSITIVE))
    };
    let n = moments.count as f64;
    let weight = |rank: usize| (2 * rank + 1) as f64;
    let terms = sorted.iter().zip(sorted.iter().rev()).enumerate();
    let sum: f64 = terms
        .map(|(rank, (low, high))| weight(rank) * (log_below(*low) + log_below(2.0 * moments.mean - high)))
        .sum();
    let statistic = -n - sum / n;
    let a = statistic * (1.0 + 0.75 / n + 2.25 / (n * n));
    let p_value = if a < 0.2 {
        1.0 - libm::exp(-13.436 + 101.14 * a - 223.73 * a * a)
    } else if a < 0.34 {
        1.0 - libm::exp(-8.318 + 42.796 * a - 59.938 * a * a)
    } else if a < 0.6 {
        libm::exp(0.9177 - 4.279 * a - 1.38 * a * a)
    } else {
        libm::exp(1.2937 - 5.709 * a + 0.0186 * a * a.min(100.0))
    };
    Some(Test { statistic, p_value: p_value.clamp(0.0, 1.0), count: moments.count })
}

/// Shapiro-Wilk test of normality for ascending values (Shapiro SS, Wilk MB. Biometrika 1965;52:591-611, by the
/// approximation of Royston P. Appl Stat 1995;44:547-551, algorithm AS R94). `None` for fewer than 3 values, more than
/// [`SHAPIRO_WILK_MOST`], or without spread.
#[must_use]
pub fn shapiro_wilk(sorted: &[f64]) -> Option<Test> {
    let count = sorted.len();
    let moments = moments(sorted).filter(|moments| count >= 3 && moments.squares > 0.0)?;
    if count > SHAPIRO_WILK_MOST {
        return None;
    }
    let weights = shapiro_wilk_weights(count);
    let pairs = weights.iter().zip(sorted).zip(sorted.iter().rev());
    let spread: f64 = pairs.map(|((weight, low), high)| weight * (high - low)).sum();
    let statistic = (spread * spread / moments.squares).min(1.0);
    Some(Test { statistic, p_value: shapiro_wilk_p(statistic, count), count: count as u64 })
}

/// Weights of the differences between largest and smallest, second largest and second smallest, and so on.
fn shapiro_wilk_weights(count: usize) -> Vec<f64> {
    if count == 3 {
        return vec![std::f64::consts::FRAC_1_SQRT_2];
    }
    let n = count as f64;
    let expected: Vec<f64> =
        (0..count / 2).map(|rank| normal_above((rank as f64 + 1.0 - 0.375) / (n + 0.25))).collect();
    let squares = 2.0 * expected.iter().map(|m| m * m).sum::<f64>();
    let u = 1.0 / n.sqrt();
    let first =
        polynomial(&[0.0, 0.221_157, -0.147_981, -2.071_19, 4.434_685, -2.706_056], u) + expected[0] / squares.sqrt();
    let (m0, m1) = (expected[0], expected.get(1).copied().unwrap_or_default());
    let mut weights: Vec<f64>;
    if count > 5 {
        let second =
            polynomial(&[0.0, 0.042_981, -0.293_762, -1.752_461, 5.682_633, -3.582_633], u) + m1 / squares.sqrt();
        let rest = (squares - 2.0 * (m0 * m0 + m1 * m1)) / (1.0 - 2.0 * (first * first + second * second));
        weights = expected.iter().map(|m| m / rest.sqrt()).collect();
        weights[1] = second;
    } else {
        let rest = (squares - 2.0 * m0 * m0) / (1.0 - 2.0 * first * first);
        weights = expected.iter().map(|m| m / rest.sqrt()).collect();
    }
    weights[0] = first;
    weights
}

fn shapiro_wilk_p(w: f64, count: usize) -> f64 {
    let n = count as f64;
    if count == 3 {
        let least = libm::asin(0.75_f64.sqrt());
        return (6.0 / std::f64::consts::PI * (libm::asin(w.sqrt()) - least)).max(0.0);
    }
    let log = libm::log(1.0 - w);
    let (value, mean, sd) = if count <= 11 {
        let gamma = polynomial(&[-2.273, 0.459], n);
        if log >= gamma {
            return 0.0;
        }
        let mean = polynomial(&[0.544, -0.399_78, 0.025_054, -6.714e-4], n);
        let sd = libm::exp(polynomial(&[1.382_2, -0.778_57, 0.062_767, -0.002_032_2], n));
        (-libm::log(gamma - log), mean, sd)
    } else {
        let x = libm::log(n);
        let mean = polynomial(&[-1.586_1, -0.310_82, -0.083_751, 0.003_891_5], x);
        let sd = libm::exp(polynomial(&[-0.480_3, -0.082_676, 0.003_030_2], x));
        (log, mean, sd)
    };
    0.5 * libm::erfc((value - mean) / sd * std::f64::consts::FRAC_1_SQRT_2)
}

fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    /// Shapiro and Wilk's weights of 11 men, as the documentation of an independent library has them; the statistic and
    /// p-value of Royston's algorithm, and the Anderson-Darling statistic.
    #[test]
    fn table_weights_of_men() {
        let weights: Vec<f64> = include_str!("../../tests/data/shapiro_weights.csv")
            .lines()
            .filter_map(|line| line.parse().ok())
            .collect();
        assert_eq!(weights.len(), 11);
        let w = shapiro_wilk(&weights).unwrap();
        assert!((w.statistic - 0.788_814_7).abs() < 5e-7, "{w:?}");
        assert!((w.p_value - 0.006_703_8).abs() < 5e-7, "{w:?}");
        let a = anderson_darling(&weights).unwrap();
        assert!((a.statistic - 0.946_772).abs() < 5e-6, "{a:?}");
    }

    /// By hand for 1, 2, 3, 4, 10: deviations -3 -2 -1 0 6 give squares 50, cubes 180, fourth powers 1394.
    #[test]
    fn outside_coefficients_by_hand() {
        let shape = shape(&[1.0, 2.0, 3.0, 4.0, 10.0]);
        let skewness = 20.0_f64.sqrt() / 3.0 * 36.0 / libm::pow(10.0, 1.5);
        assert!((shape.skewness.unwrap().value - skewness).abs() < 1e-12);
        let kurtosis = 4.0 / 6.0 * (6.0 * (1394.0 / 5.0 / 100.0 - 3.0) + 6.0);
        assert!((shape.kurtosis.unwrap().value - kurtosis).abs() < 1e-12);
        assert!((shape.lag_one.unwrap() - 8.0 / 50.0).abs() < 1e-12);
    }

    #[test]
    fn identity_what_has_no_shape() {
        for values in [&[][..], &[1.0], &[2.0, 2.0, 2.0], &[0.5; 100]] {
            let shape = shape(values);
            assert_eq!((shape.skewness, shape.kurtosis, shape.lag_one), (None, None, None));
            assert_eq!((shape.anderson_darling, shape.shapiro_wilk), (None, None));
        }
        let long: Vec<f64> = (0..2001).map(f64::from).collect();
        assert_eq!(shape(&long).shapiro_wilk, None);
        // So far out that the normal probability is no number any more.
        let mut far = vec![0.0; 10_000];
        far[0] = 1.0;
        let test = anderson_darling(&sorted(far)).unwrap();
        assert!(test.statistic.is_finite() && test.p_value < 1e-6, "{test:?}");
    }

    /// Of normal samples a p-value under 5 % comes in 5 of 100; of flat ones far more often. The approximations of both
    /// p-values are good to about a tenth of themselves.
    #[test]
    fn coverage_of_the_tests() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(41);
        let repeats = 2000;
        for count in [10, 50, 500] {
            let mut refused = [0_u32; 4];
            for _ in 0..repeats {
                let normal: Vec<f64> = (0..count).map(|_| StandardNormal.sample(&mut random)).collect();
                let flat: Vec<f64> = (0..count).map(|_| random.random()).collect();
                let (normal, flat) = (shape(&normal), shape(&flat));
                let tests = [normal.anderson_darling, normal.shapiro_wilk, flat.anderson_darling, flat.shapiro_wilk];
                refused.iter_mut().zip(tests).for_each(|(n, test)| *n += u32::from(test.unwrap().p_value < 0.05));
            }
            let [a, w, flat_a, flat_w] = refused.map(|refused| f64::from(refused) / f64::from(repeats));
            let allowed = 3.0 * (0.05_f64 * 0.95 / f64::from(repeats)).sqrt() + 0.005;
            assert!((a - 0.05).abs() < allowed && (w - 0.05).abs() < allowed, "{count}: {a} {w}");
            assert!(count < 500 || (flat_a > 0.99 && flat_w > 0.99), "{flat_a} {flat_w}");
        }
    }
}
