//! Room that words take, and how values and axes are put into words.

use super::Axis;
use super::ticks;

/// Width of words in layout units.
///
/// The reader's font is not known, so the widths are those of a wide one (`DejaVu Sans`, from memory) in em: room
/// that is too large does no harm, room that is too small cuts words.
pub(super) fn width(words: &str, size: f64) -> f64 {
    let em: f64 = words
        .chars()
        .map(|letter| match letter {
            'i' | 'j' | 'l' | '\'' | '|' => 0.28,
            ' ' | '\u{a0}' | '.' | ',' | ':' | ';' | 'I' | '!' => 0.32,
            'f' | 't' | 'r' | '(' | ')' | '/' | '-' | '⁻' | '°' | '¹' | '²' | '³' | '⁰' | '⁴'..='⁹' => {
                0.41
            }
            'm' | 'w' | 'M' | 'W' | '%' | '−' | '±' | '×' | '→' | '←' | '↑' | '↓' => 0.95,
            letter if letter.is_uppercase() => 0.7,
            letter if letter.is_ascii() => 0.62,
            // Accented Latin letters are narrower, ideographs are one em wide.
            letter if letter < '\u{2e80}' => 0.7,
            _ => 1.0,
        })
        .sum();
    em * size
}

/// Width of the longest of several.
pub(super) fn longest<'a>(all: impl IntoIterator<Item = &'a str>, size: f64) -> f64 {
    all.into_iter().map(|words| width(words, size)).fold(0.0, f64::max)
}

/// Words in lines no wider than `room`; a single word that is too long is cut and ends in an ellipsis.
pub(super) fn wrapped(words: &str, size: f64, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split(' ').filter(|word| !word.is_empty()) {
        let word = cut(word, size, room);
        match lines.last_mut() {
            Some(line) if width(line, size) + width(" ", size) + width(&word, size) <= room => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}

/// Words cut to the room, ending in an ellipsis if anything is missing.
pub(super) fn cut(words: &str, size: f64, room: f64) -> String {
    if width(words, size) <= room {
        return words.to_owned();
    }
    let mut kept = String::new();
    for letter in words.chars() {
        if width(&kept, size) + width("m…", size) > room {
            break;
        }
        kept.push(letter);
    }
    format!("{}…", kept.trim_end())
}

/// A unit as print has it.
pub(super) fn unit(unit: &str) -> &str {
    if unit == "deg" { "°" } else { unit }
}

/// A value with its unit; the two are never parted.
pub(super) fn value(value: f64, in_unit: &str) -> String {
    let (number, unit) = (ticks::number(value), unit(in_unit));
    match unit {
        "" | "°" => format!("{number}{unit}"),
        _ => format!("{number}\u{a0}{unit}"),
    }
}

/// The name of an axis with its unit and the power of ten its ticks share.
pub(super) fn axis(axis: Axis, shared_power: i32) -> String {
    let unit = unit(axis.unit);
    match (shared_power, unit) {
        (0, "") => axis.label.to_owned(),
        (0, unit) => format!("{} ({unit})", axis.label),
        (power, "") => format!("{} ({})", axis.label, ticks::power(power)),
        (power, unit) => format!("{} ({}\u{a0}{unit})", axis.label, ticks::power(power)),
    }
}
