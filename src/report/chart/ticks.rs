//! Where the ticks of an axis stand and what they say.
//!
//! A step is 1, 2 or 5 times a power of ten and a tick an integer multiple of it, so labels are written from
//! integers: no rounding noise, no negative zero, no more digits than the step has.

use super::range::Range;

/// The minus sign of print.
const MINUS: char = '\u{2212}';

/// Ticks of an axis: `index × mantissa × 10^exponent` for every index of a range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Ticks {
    first: i64,
    last: i64,
    mantissa: i64,
    exponent: i32,
}

impl Ticks {
    /// The ticks within the range with the smallest step that gives no more than `most` of them.
    pub fn at_most(most: usize, range: Range) -> Self {
        let most = i64::try_from(most.max(1)).unwrap_or(i64::MAX);
        let rough = range.width() / most as f64;
        let mut exponent = power_of_ten(rough) - 1;
        loop {
            for mantissa in [1, 2, 5] {
                let ticks = Self::within(range, mantissa, exponent);
                if ticks.last.saturating_sub(ticks.first) < most {
                    return ticks;
                }
            }
            exponent += 1;
        }
    }

    fn within(range: Range, mantissa: i64, exponent: i32) -> Self {
        let step = scaled(mantissa, exponent);
        // A tick that misses an end by rounding alone still counts.
        let first = index((range.low() / step - 1e-9).ceil());
        let last = index((range.high() / step + 1e-9).floor());
        Self { first, last, mantissa, exponent }
    }

    pub fn step(&self) -> f64 {
        scaled(self.mantissa, self.exponent)
    }

    /// The power of ten that is written beside the axis instead of at every tick: a multiple of three, 0 for
    /// ordinary numbers.
    pub fn shared_power(&self) -> i32 {
        let largest = self.first.abs().max(self.last.abs()).max(1);
        let power = power_of_ten(scaled(largest.saturating_mul(self.mantissa), self.exponent));
        if (-2..5).contains(&power) { 0 } else { power.div_euclid(3) * 3 }
    }

    /// Value and label of every tick; the label is in units of `10^power`.
    pub fn labelled(&self, power: i32) -> impl Iterator<Item = (f64, String)> + use<> {
        let Self { mantissa, exponent, .. } = *self;
        (self.first..=self.last).map(move |index| {
            let integer = index.saturating_mul(mantissa);
            (scaled(integer, exponent), decimal(integer, exponent - power))
        })
    }
}

/// Ticks of a logarithmic axis: the powers of ten within it, or 1-2-5 multiples if there are fewer than two.
pub(super) fn logarithmic(range: Range) -> Vec<(f64, String)> {
    let (low, high) = (range.low() * (1.0 - 1e-9), range.high() * (1.0 + 1e-9));
    let exponents = power_of_ten(range.low())..=power_of_ten(range.high());
    let pick = |mantissas: &'static [i64]| {
        let all = exponents.clone().flat_map(move |e| mantissas.iter().map(move |&m| (m, e)));
        all.filter(move |&(m, e)| (low..=high).contains(&scaled(m, e)))
    };
    if pick(&[1]).count() >= 2 {
        pick(&[1]).map(|(m, e)| (scaled(m, e), if (-2..4).contains(&e) { decimal(1, e) } else { power(e) })).collect()
    } else {
        pick(&[1, 2, 5]).map(|(m, e)| (scaled(m, e), decimal(m, e))).collect()
    }
}

/// A number for a label: three significant digits, a power of ten only where it must be.
pub(super) fn number(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".to_owned();
    }
    let power_of_value = power_of_ten(value);
    let (integer, exponent) = significant(value, power_of_value);
    if (-4..6).contains(&power_of_value) {
        decimal(integer, exponent)
    } else {
        format!("{}×{}", decimal(integer, exponent - power_of_value), power(power_of_value))
    }
}

/// A count with its thousands set apart.
pub(super) fn count(count: usize) -> String {
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

/// `10³`, as text.
pub(super) fn power(exponent: i32) -> String {
    let digits = exponent.to_string();
    let raised = digits.chars().map(|digit| match digit {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '4' => '⁴',
        '5' => '⁵',
        '6' => '⁶',
        '7' => '⁷',
        '8' => '⁸',
        '9' => '⁹',
        _ => '⁰',
    });
    std::iter::once('1').chain(std::iter::once('0')).chain(raised).collect()
}

/// Three significant digits of a value as an integer times a power of ten, without trailing zeros.
fn significant(value: f64, power_of_value: i32) -> (i64, i32) {
    let mut exponent = power_of_value - 2;
    let mut integer = index((value / scaled(1, exponent)).round());
    while integer % 10 == 0 && integer != 0 {
        integer /= 10;
        exponent += 1;
    }
    (integer, exponent)
}

/// `integer × 10^exponent` in decimal notation.
fn decimal(integer: i64, exponent: i32) -> String {
    let digits = integer.unsigned_abs().to_string();
    let sign = if integer < 0 { MINUS.to_string() } else { String::new() };
    if integer == 0 {
        return "0".to_owned();
    }
    if exponent >= 0 {
        let zeros = usize::try_from(exponent).unwrap_or(0);
        return format!("{sign}{digits}{}", "0".repeat(zeros));
    }
    let places = usize::try_from(-exponent).unwrap_or(0);
    let padded = format!("{digits:0>width$}", width = places + 1);
    let (whole, part) = padded.split_at(padded.len() - places);
    format!("{sign}{whole}.{part}")
}

/// The power of ten of the leading digit; 0 for zero.
pub(super) fn power_of_ten(value: f64) -> i32 {
    // The scientific form is exact, a logarithm is not at powers of ten.
    let written = format!("{value:e}");
    written.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

/// `integer × 10^exponent`, the nearest number to it.
fn scaled(integer: i64, exponent: i32) -> f64 {
    // Parsing decimal text rounds once; multiplying by an inexact power would round twice.
    format!("{integer}e{exponent}").parse().unwrap_or(0.0)
}

fn index(value: f64) -> i64 {
    // Whole numbers, small by construction; the cast saturates.
    #[allow(clippy::cast_possible_truncation)]
    let index = value as i64;
    index
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(low: f64, high: f64, most: usize) -> Vec<String> {
        let ticks = Ticks::at_most(most, Range::between(low, high));
        ticks.labelled(ticks.shared_power()).map(|(_, label)| label).collect()
    }

    #[test]
    fn identity_ticks_are_multiples_of_a_one_two_five_step() {
        assert_eq!(labels(-0.31, 0.29, 7), ["−0.3", "−0.2", "−0.1", "0", "0.1", "0.2"]);
        assert_eq!(labels(0.0, 100.0, 6), ["0", "20", "40", "60", "80", "100"]);
        assert_eq!(labels(-12.0, 7.0, 5), ["−10", "−5", "0", "5"]);
        assert_eq!(labels(0.0, 3e7, 4), ["0", "10", "20", "30"]);
    }

    #[test]
    fn identity_labels_read_back_as_their_value() {
        let mut width = 1e-12;
        while width < 1e12 {
            for shift in [-3.3, -1.0, -0.5, 0.0, 0.2, 7.7] {
                let range = Range::between(shift * width, (shift + 1.0) * width);
                let ticks = Ticks::at_most(6, range);
                let shared = ticks.shared_power();
                let all: Vec<_> = ticks.labelled(shared).collect();
                assert!((2..=6).contains(&all.len()), "{range:?}: {all:?}");
                for (value, label) in all {
                    let read: f64 = format!("{}e{shared}", label.replace(MINUS, "-")).parse().unwrap();
                    assert_eq!(read, value);
                    assert!(range.low() - 1e-6 * width <= value && value <= range.high() + 1e-6 * width);
                    assert_ne!(label, "−0");
                    assert!(label.len() <= 8, "{label}");
                }
            }
            width *= 1.7;
        }
    }

    #[test]
    fn identity_numbers_have_three_digits_and_no_negative_zero() {
        let pairs = [
            (0.0, "0"),
            (-0.0, "0"),
            (0.3, "0.3"),
            (-1.0 / 3.0, "−0.333"),
            (12.345, "12.3"),
            (999.6, "1000"),
            (20_000.0, "20000"),
            (1e-9, "1×10⁻⁹"),
            (-2.5e12, "−2.5×10¹²"),
        ];
        for (value, text) in pairs {
            assert_eq!(number(value), text);
        }
        assert_eq!((count(7), count(20_000), count(1_234_567)), ("7".into(), "20,000".into(), "1,234,567".into()));
    }

    #[test]
    fn identity_logarithmic_ticks_are_powers_of_ten() {
        let labels =
            |low, high| logarithmic(Range::between(low, high)).into_iter().map(|tick| tick.1).collect::<Vec<_>>();
        assert_eq!(labels(90.0, 1e6), ["100", "1000", "10⁴", "10⁵", "10⁶"]);
        assert_eq!(labels(12.0, 60.0), ["20", "50"]);
    }
}
