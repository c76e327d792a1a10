//! Tables of statistics: tolerance factors, needed numbers, exact intervals of proportions, reference data sets.

use super::Mark::{Derived, Published};
use super::{Check, Found, Mark, Tolerance};
use crate::analysis::normal_limits::{one_sided_factor, two_sided_factor};
use crate::analysis::order::{needed_one_sided, needed_two_sided};
use crate::analysis::shape::{anderson_darling, lag_one, shapiro_wilk};
use crate::analysis::{binomial, moments};

const NIST_LIMITS: &str = "NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3";
const ISO_16269: &str = "ISO 16269-6, exact factors for 95 % with 95 % confidence";
const WILKS: &str = "Wilks SS. Ann Math Stat 1941;12:91-96, widely tabulated";
const INEQUALITY: &str = "Wilks SS. Ann Math Stat 1941;12:91-96, by its inequality";
const CLOSED: &str = "1 - (1 - confidence)^(1/n)";
const NEWCOMBE: &str = "Newcombe RG. Stat Med 1998;17:857-872, Table I";
const STRD: &str = "NIST Statistical Reference Datasets, univariate summary statistics";
const SHAPIRO: &str =
    "Shapiro SS, Wilk MB. Biometrika 1965;52:591-611 (data); p-value by Royston P. Appl Stat 1995;44:547-551";

/// Checks of estimates and intervals.
pub const CHECKS: &[&[Check]] = &[FACTORS, NUMBERS, PROPORTIONS, DATASETS, NORMALITY];

const fn row(
    id: &'static str,
    quantity: &'static str,
    (expected, within): (f64, f64),
    (source, mark): (&'static str, Mark),
    function: fn() -> Result<Found, String>,
) -> Check {
    Check { id, quantity, unit: "", expected, tolerance: Tolerance::Absolute(within), source, mark, function }
}

fn exactly(value: Option<f64>) -> Result<Found, String> {
    value.map(Found::exact).ok_or_else(|| "no value".to_owned())
}

macro_rules! factor {
    ($sides:literal, $function:ident, $percent:literal with $confidence:literal, $n:literal: $expected:literal, $source:expr) => {
        row(
            concat!("statistics.tolerance.", $sides, ".", $percent, "-", $confidence, ".", $n),
            concat!(
                "factor of the ",
                $sides,
                " normal tolerance limit, ",
                $percent,
                " % with ",
                $confidence,
                " % confidence, ",
                $n,
                " values"
            ),
            ($expected, 6e-5),
            ($source, Derived),
            || exactly($function($n, 0.01 * f64::from($percent), 0.01 * f64::from($confidence))),
        )
    };
}

const FACTORS: &[Check] = &[
    factor! { "one-sided", one_sided_factor, 90 with 99, 43: 1.87395, NIST_LIMITS },
    factor! { "two-sided", two_sided_factor, 90 with 99, 43: 2.2228, NIST_LIMITS },
    factor! { "one-sided", one_sided_factor, 95 with 95, 10: 2.9110, ISO_16269 },
    factor! { "one-sided", one_sided_factor, 95 with 95, 17: 2.4863, ISO_16269 },
    factor! { "one-sided", one_sided_factor, 95 with 95, 20: 2.3960, ISO_16269 },
    factor! { "one-sided", one_sided_factor, 95 with 95, 100: 1.9265, ISO_16269 },
    factor! { "two-sided", two_sided_factor, 95 with 95, 10: 3.3934, ISO_16269 },
    factor! { "two-sided", two_sided_factor, 95 with 95, 20: 2.7603, ISO_16269 },
    factor! { "two-sided", two_sided_factor, 95 with 95, 100: 2.2339, ISO_16269 },
];

macro_rules! number {
    ($beyond:literal beyond, $percent:literal with $confidence:literal: $expected:literal) => {
        row(
            concat!("statistics.number.one-sided.", $percent, "-", $confidence, ".", $beyond),
            concat!(
                "values of which the largest but ",
                $beyond,
                " is a one-sided limit, ",
                $percent,
                " % with ",
                $confidence,
                " % confidence"
            ),
            ($expected, 0.0),
            (WILKS, Published),
            || {
                exactly(
                    needed_one_sided($beyond, 0.01 * f64::from($percent), 0.01 * f64::from($confidence))
                        .map(|n| n as f64),
                )
            },
        )
    };
    (both, $percent:literal with $confidence:literal: $expected:literal) => {
        row(
            concat!("statistics.number.two-sided.", $percent, "-", $confidence),
            concat!(
                "values between whose smallest and largest ",
                $percent,
                " % lie with ",
                $confidence,
                " % confidence"
            ),
            ($expected, 0.0),
            (INEQUALITY, Derived),
            || exactly(needed_two_sided(0.01 * f64::from($percent), 0.01 * f64::from($confidence)).map(|n| n as f64)),
        )
    };
}

const NUMBERS: &[Check] = &[
    number! { 0 beyond, 95 with 95: 59.0 },
    number! { 1 beyond, 95 with 95: 93.0 },
    number! { 2 beyond, 95 with 95: 124.0 },
    number! { 3 beyond, 95 with 95: 153.0 },
    number! { 4 beyond, 95 with 95: 181.0 },
    number! { 0 beyond, 99 with 95: 299.0 },
    number! { 1 beyond, 99 with 95: 473.0 },
    number! { 2 beyond, 99 with 95: 628.0 },
    number! { 0 beyond, 95 with 99: 90.0 },
    number! { 0 beyond, 90 with 95: 29.0 },
    number! { both, 95 with 95: 93.0 },
    number! { both, 99 with 95: 473.0 },
    number! { both, 90 with 95: 46.0 },
    number! { both, 95 with 99: 130.0 },
];

macro_rules! clopper_pearson {
    ($count:literal of $n:literal: $low:literal to $high:literal) => {
        [
            row(
                concat!("statistics.proportion.", $count, "-of-", $n, ".low"),
                concat!("lower end of the exact 95 % interval of ", $count, " of ", $n),
                ($low, 5.001e-5),
                (NEWCOMBE, Published),
                || exactly(Some(binomial::interval($count, $n, 0.95).low)),
            ),
            row(
                concat!("statistics.proportion.", $count, "-of-", $n, ".high"),
                concat!("upper end of the exact 95 % interval of ", $count, " of ", $n),
                ($high, 5.001e-5),
                (NEWCOMBE, Published),
                || exactly(Some(binomial::interval($count, $n, 0.95).high)),
            ),
        ]
    };
}

const OF_263: [Check; 2] = clopper_pearson!(81 of 263: 0.2527 to 0.3676);
const OF_148: [Check; 2] = clopper_pearson!(15 of 148: 0.0578 to 0.1617);
const OF_20: [Check; 2] = clopper_pearson!(0 of 20: 0.0 to 0.1684);
const OF_29: [Check; 2] = clopper_pearson!(1 of 29: 0.0009 to 0.1776);

const PROPORTIONS: &[Check] = &[
    OF_263[0],
    OF_263[1],
    OF_148[0],
    OF_148[1],
    OF_20[0],
    OF_20[1],
    OF_29[0],
    OF_29[1],
    row(
        "statistics.proportion.0-of-59.one-sided",
        "one-sided 95 % upper bound of 0 of 59",
        (0.0495, 5e-5),
        (CLOSED, Derived),
        || exactly(Some(binomial::upper_bound(0, 59, 0.95))),
    ),
    row(
        "statistics.proportion.0-of-59.two-sided",
        "upper end of the exact 95 % interval of 0 of 59",
        (0.0606, 5e-5),
        (CLOSED, Derived),
        || exactly(Some(binomial::interval(0, 59, 0.95).high)),
    ),
];

/// Allowed differences leave the digits that float64 has: the values of the last two sets are themselves rounded to 1 part
/// in 1e16 of a million and more, against a spread of 0.1.
macro_rules! dataset {
    ($name:literal, $values:expr, mean $mean:literal within $mean_within:literal, sd $sd:literal within $sd_within:literal, lag $lag:literal within $lag_within:literal) => {
        [
            row(
                concat!("statistics.", $name, ".mean"),
                concat!("mean of the data set ", $name),
                ($mean, $mean_within),
                (STRD, Published),
                || exactly(moments::moments(&$values).map(|moments| moments.mean)),
            ),
            row(
                concat!("statistics.", $name, ".sd"),
                concat!("standard deviation of the data set ", $name),
                ($sd, $sd_within),
                (STRD, Published),
                || exactly(moments::moments(&$values).and_then(|moments| moments.sd())),
            ),
            row(
                concat!("statistics.", $name, ".lag-1"),
                concat!("lag-1 autocorrelation of the data set ", $name),
                ($lag, $lag_within),
                (STRD, Published),
                || exactly(lag_one(&$values)),
            ),
        ]
    };
}

const LOTTERY: [Check; 3] = dataset!("lottery", numbers(include_str!("../../tests/data/nist_strd_lottery.csv")), mean 518.958_715_596_330 within 1e-11, sd 291.699_727_470_969 within 1e-11, lag -0.120_948_622_967_393 within 1e-14);
const LEW: [Check; 3] = dataset!("lew", numbers(include_str!("../../tests/data/nist_strd_lew.csv")), mean -177.435 within 1e-11, sd 277.332_168_044_316 within 1e-11, lag -0.307_304_800_605_679 within 1e-14);
const MAVRO: [Check; 3] = dataset!("mavro", numbers(include_str!("../../tests/data/nist_strd_mavro.csv")), mean 2.001_856 within 1e-14, sd 0.000_429_123_454_003_053 within 1e-15, lag 0.937_989_183_438_248 within 1e-11);
const MICHELSO: [Check; 3] = dataset!("michelso", numbers(include_str!("../../tests/data/nist_strd_michelso.csv")), mean 299.8524 within 1e-12, sd 0.079_010_547_819_051_8 within 1e-13, lag 0.535_199_668_621_283 within 1e-12);
const NUMACC_1: [Check; 3] = dataset!("numacc1", [10_000_001.0, 10_000_003.0, 10_000_002.0], mean 10_000_002.0 within 0.0, sd 1.0 within 0.0, lag -0.5 within 1e-15);
const NUMACC_2: [Check; 3] =
    dataset!("numacc2", alternating(1), mean 1.2 within 1e-14, sd 0.1 within 1e-14, lag -0.999 within 1e-13);
const NUMACC_3: [Check; 3] = dataset!("numacc3", alternating(1_000_000), mean 1_000_000.2 within 1e-9, sd 0.1 within 1e-9, lag -0.999 within 1e-8);
const NUMACC_4: [Check; 3] = dataset!("numacc4", alternating(10_000_000), mean 10_000_000.2 within 1e-8, sd 0.1 within 1e-8, lag -0.999 within 1e-7);

const DATASETS: &[Check] = &[
    LOTTERY[0],
    LOTTERY[1],
    LOTTERY[2],
    LEW[0],
    LEW[1],
    LEW[2],
    MAVRO[0],
    MAVRO[1],
    MAVRO[2],
    MICHELSO[0],
    MICHELSO[1],
    MICHELSO[2],
    NUMACC_1[0],
    NUMACC_1[1],
    NUMACC_1[2],
    NUMACC_2[0],
    NUMACC_2[1],
    NUMACC_2[2],
    NUMACC_3[0],
    NUMACC_3[1],
    NUMACC_3[2],
    NUMACC_4[0],
    NUMACC_4[1],
    NUMACC_4[2],
];

fn numbers(text: &str) -> Vec<f64> {
    text.lines().filter_map(|line| line.parse().ok()).collect()
}

/// Base + 0.2, then 500 pairs of base + 0.1 and base + 0.3, as the published set is described.
fn alternating(base: u32) -> Vec<f64> {
    // Read from digits, as the file would be: a sum would be rounded otherwise.
    let value = |tenth: u32| format!("{base}.{tenth}").parse().unwrap_or(f64::NAN);
    let pairs = (0..500).flat_map(|_| [value(1), value(3)]);
    std::iter::once(value(2)).chain(pairs).collect()
}

const NORMALITY: &[Check] = &[
    row(
        "statistics.shapiro-wilk.w",
        "Shapiro-Wilk statistic of the weights of 11 men",
        (0.788_814_7, 5e-7),
        (SHAPIRO, Published),
        || exactly(shapiro_wilk(&weights()).map(|test| test.statistic)),
    ),
    row("statistics.shapiro-wilk.p", "its p-value", (0.006_703_8, 5e-7), (SHAPIRO, Published), || {
        exactly(shapiro_wilk(&weights()).map(|test| test.p_value))
    }),
    row(
        "statistics.anderson-darling",
        "Anderson-Darling statistic of the same, mean and deviation estimated",
        (0.946_772, 5e-6),
        (SHAPIRO, Derived),
        || exactly(anderson_darling(&weights()).map(|test| test.statistic)),
    ),
];

fn weights() -> Vec<f64> {
    numbers(include_str!("../../tests/data/shapiro_weights.csv"))
}
