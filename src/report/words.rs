//! Numbers in words: digits that follow the standard error, and bounds that never cross what they are compared with.

use crate::analysis::{Estimate, Interval};
use crate::measurement::RESOLUTION;

/// Which way a bound is rounded: away from the values it bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// "At most": rounded up.
    Upper,
    /// "At least": rounded down.
    Lower,
}

/// Half the width of a normal 95 % interval in standard errors.
const NORMAL_95: f64 = 1.96;
/// More digits than this behind the point are not shown; a value below [`LEAST_FIXED`] is then a power of ten.
const MOST_DECIMALS: usize = 6;
/// From here on a value keeps three digits with [`MOST_DECIMALS`].
const LEAST_FIXED: f64 = 1e-4;

/// A proportion as a percentage, without trailing zeros, for the round numbers of requirements.
#[must_use]
pub fn percent(proportion: f64) -> String {
    (libm::round(proportion * 1e8) / 1e6).to_string()
}

/// A bound of a proportion as a percentage that stays on its side of the allowed proportion.
#[must_use]
pub fn bounded_percent(proportion: f64, allowed: f64, bound: Bound) -> String {
    bounded(100.0 * proportion, 100.0 * allowed, bound)
}

/// A bound with two digits behind the point, or with as many more as keep it on its side of `limit`: what is within
/// the limit is never shown beyond it, nor the other way about.
#[must_use]
pub fn bounded(value: f64, limit: f64, bound: Bound) -> String {
    for decimals in 2..=12_usize {
        let unit = libm::exp10(decimals as f64);
        let rounded = match bound {
            Bound::Upper => libm::ceil(value * unit) / unit,
            Bound::Lower => libm::floor(value * unit) / unit,
        };
        if (rounded > limit) == (value > limit) {
            return fixed(rounded, decimals);
        }
    }
    value.to_string()
}

/// How many digits behind the point make the last one worth at most a third of the standard error.
#[must_use]
pub fn decimals(standard_error: Option<f64>) -> usize {
    match standard_error {
        Some(error) if error > 0.0 && error.is_finite() => {
            let digits = libm::ceil(-libm::log10(error / 3.0)).clamp(0.0, 20.0);
            // Between 0 and 20.
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let digits = digits as usize;
            digits
        }
        _ => 3,
    }
}

/// A number with so many digits behind the point; a small one as a power of ten. Nothing for what is no number.
#[must_use]
pub fn number(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return String::new();
    }
    if decimals <= MOST_DECIMALS || value == 0.0 || value.abs() >= LEAST_FIXED {
        return fixed(value, decimals.min(MOST_DECIMALS));
    }
    let text = format!("{value:.1e}");
    let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    format!("{}\u{a0}×\u{a0}10{}", signed(digits), raised(exponent))
}

/// A number in mm or degrees, or a coefficient of such: 0 below the numerical resolution of a reading.
#[must_use]
pub fn measured(value: f64, decimals: usize) -> String {
    if value.abs() < RESOLUTION { "0".to_owned() } else { number(value, decimals) }
}

/// A value with its interval and digits that follow the standard error, such as `−0.60 (−0.73 to −0.48)`.
#[must_use]
pub fn estimate(estimate: Option<Estimate>) -> String {
    let Some(Estimate { value, interval, standard_error, .. }) = estimate else { return "none".to_owned() };
    with_interval(value, interval.map(|Interval { low, high, .. }| (low, high)), decimals(standard_error))
}

/// A quantile with its interval; the interval's width stands for the standard error.
#[must_use]
pub fn quantile(value: Option<f64>, low: Option<f64>, high: Option<f64>) -> String {
    let Some(value) = value else { return "none".to_owned() };
    let ends = low.zip(high);
    with_interval(value, ends, quantile_decimals(low, high))
}

/// Digits behind the point of a quantile with this 95 % interval.
#[must_use]
pub fn quantile_decimals(low: Option<f64>, high: Option<f64>) -> usize {
    decimals(low.zip(high).map(|(low, high)| (high - low) / (2.0 * NORMAL_95)))
}

fn with_interval(value: f64, interval: Option<(f64, f64)>, decimals: usize) -> String {
    let number = |value| measured(value, decimals);
    match interval {
        Some((low, high)) => format!("{} ({}\u{a0}to\u{a0}{})", number(value), number(low), number(high)),
        None => format!("{} (no\u{a0}interval)", number(value)),
    }
}

/// A count with its thousands set apart.
#[must_use]
pub fn count(count: u64) -> String {
    let digits = count.to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

/// A number as it was written by the user, with its unit; the two are never parted.
#[must_use]
pub fn with_unit(number: &str, unit: &str) -> String {
    match unit {
        "" | "°" => format!("{number}{unit}"),
        _ => format!("{number}\u{a0}{unit}"),
    }
}

/// A number of the experiment with a true minus sign, in its shortest form but with no more than six digits.
#[must_use]
pub fn short(value: f64) -> String {
    let six: f64 = format!("{value:.5e}").parse().unwrap_or(value);
    if six != 0.0 && !(1e-4..1e9).contains(&six.abs()) {
        let text = format!("{six:e}");
        let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        return format!("{}\u{a0}×\u{a0}10{}", signed(digits), raised(exponent));
    }
    signed(&(six + 0.0).to_string())
}

/// A word as a shell takes it.
#[must_use]
pub fn quoted(word: &str) -> String {
    let plain = |letter: char| letter.is_ascii_alphanumeric() || "-_./".contains(letter);
    let is_plain = !word.is_empty() && word.chars().all(plain);
    if is_plain { word.to_owned() } else { format!("'{}'", word.replace('\'', "'\\''")) }
}

/// A key in words, without its unit: `asis_width_mm` is `ASIS width`.
#[must_use]
pub fn key_in_words(key: &str) -> String {
    let words = UNITS.iter().find_map(|(end, _)| key.strip_suffix(end)).unwrap_or(key).replace('_', " ");
    let words = words.replace("asis", "ASIS");
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The unit that a key ends in, as it is written behind a number.
#[must_use]
pub fn unit_of_key(key: &str) -> &'static str {
    UNITS.iter().find(|(end, _)| key.ends_with(end)).map_or("", |(_, unit)| unit)
}

const UNITS: [(&str, &str); 7] =
    [("_mm", "mm"), ("_mm2", "mm²"), ("_deg", "°"), ("_deg2", "°²"), ("_hz", "Hz"), ("_s", "s"), ("_px", "px")];

fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // No sign on a rounded zero.
    if text.chars().all(|letter| matches!(letter, '-' | '0' | '.')) {
        return text.trim_start_matches('-').to_owned();
    }
    signed(&text)
}

fn signed(text: &str) -> String {
    text.replace('-', "−")
}

fn raised(exponent: &str) -> String {
    let digits = ["⁰", "¹", "²", "³", "⁴", "⁵", "⁶", "⁷", "⁸", "⁹"];
    let digit = |letter: char| letter.to_digit(10).and_then(|value| digits.get(value as usize)).unwrap_or(&"⁻");
    exponent.chars().map(|letter| *digit(letter)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    #[test]
    fn identity_bounds_as_they_are_read() {
        let upper = |value, allowed| bounded_percent(value, allowed, Bound::Upper);
        let lower = |value, allowed| bounded_percent(value, allowed, Bound::Lower);
        assert_eq!(upper(0.012_341, 0.05), "1.24");
        assert_eq!(upper(0.049_999, 0.05), "5.00");
        assert_eq!(upper(0.050_001, 0.05), "5.01");
        assert_eq!(upper(0.049_949, 0.049_95), "4.995");
        assert_eq!(lower(0.050_015, 0.05), "5.001");
        assert_eq!(lower(0.063_29, 0.05), "6.32");
        assert_eq!(lower(0.0, 0.05), "0.00");
        assert_eq!(upper(1.0, 0.05), "100.00");
    }

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(1), failure_persistence: None, ..ProptestConfig::default() })]

        /// What is read has the verdict's own side of the limit, and the bound still bounds.
        #[test]
        fn identity_no_bound_crosses_what_is_allowed(value in 0.0..1.0_f64, allowed in 0.001..0.5_f64, near in -1e-6..1e-6_f64) {
            for value in [value, (allowed + near).clamp(0.0, 1.0)] {
                for bound in [Bound::Upper, Bound::Lower] {
                    let read: f64 = bounded(value, allowed, bound).parse().unwrap();
                    prop_assert_eq!(read > allowed, value > allowed);
                    let slack = 1e-12;
                    let bounds = match bound {
                        Bound::Upper => read >= value - slack,
                        Bound::Lower => read <= value + slack,
                    };
                    prop_assert!(bounds, "{} is no bound of {}", read, value);
                }
            }
        }
    }

    #[test]
    fn identity_digits_follow_the_standard_error() {
        assert_eq!([1.0, 0.062, 0.0076, 0.0012, 30.0].map(|error| decimals(Some(error))), [1, 2, 3, 4, 0]);
        let interval = Some(Interval { low: -0.7273, high: -0.4821, confidence: 0.95 });
        let found = Estimate { value: -0.6047, interval, standard_error: Some(0.062), count: 300 };
        assert_eq!(estimate(Some(found)), "−0.60 (−0.73\u{a0}to\u{a0}−0.48)");
        assert_eq!(quantile(Some(2.38), Some(2.16), Some(2.78)), "2.38 (2.16\u{a0}to\u{a0}2.78)");
        assert_eq!(quantile(Some(2.38), Some(2.16), None), "2.380 (no\u{a0}interval)");
        assert_eq!(number(-0.0004, 2), "0.00");
        assert_eq!([number(0.5, 14), number(3.1e-5, 14)], ["0.500000", "3.1\u{a0}×\u{a0}10⁻⁵"]);
        // Rounding of a chain without noise is 0, and so are its interval and digits.
        let rounding = Some(Interval { low: -3e-14, high: 1e-14, confidence: 0.95 });
        let found = Estimate { value: -1e-14, interval: rounding, standard_error: Some(1e-15), count: 300 };
        assert_eq!(estimate(Some(found)), "0 (0\u{a0}to\u{a0}0)");
        assert_eq!((measured(-9e-10, 3).as_str(), measured(1e-9, 12).as_str()), ("0", "1.0\u{a0}×\u{a0}10⁻⁹"));
        assert_eq!(number(-1.26e-12, 14), "−1.3\u{a0}×\u{a0}10⁻¹²");
        assert_eq!((count(1_234_567).as_str(), percent(0.95).as_str()), ("1,234,567", "95"));
    }

    #[test]
    fn identity_keys_and_values_in_words() {
        assert_eq!([2.0 / 3.0, -238.0, 0.0, 1e-6].map(short), ["0.666667", "−238", "0", "1\u{a0}×\u{a0}10⁻⁶"]);
        assert_eq!(key_in_words("asis_width_mm"), "ASIS width");
        assert_eq!(
            (key_in_words("time_constant_s").as_str(), unit_of_key("time_constant_s")),
            ("Time constant", "s")
        );
        assert_eq!(
            (key_in_words("tip_pivot_frames").as_str(), unit_of_key("tip_pivot_frames")),
            ("Tip pivot frames", "")
        );
        assert_eq!(unit_of_key("landmark_captures"), "");
    }
}
