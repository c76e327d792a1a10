//! The few colours of every chart, in a light and a dark theme.
//!
//! Okabe M, Ito K, Color Universal Design, 2008: a palette that people with any common kind of colour vision tell
//! apart. Its hues also differ in lightness, and every chart varies dash or marker beside colour. On white, vermilion
//! and green are darkened until words in them have a contrast of 4.5 (WCAG 2.2, success criterion 1.4.3).

use plotters::style::{Color, RGBAColor, RGBColor};
use std::fmt::Write;

/// What a stroke, a face or a letter is, rather than how it is coloured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    /// Axes and words.
    Text,
    /// Words of second rank.
    Muted,
    /// Grid.
    Grid,
    /// What lies behind: the halo of a label, the face of an open marker.
    Paper,
    /// The data.
    First,
    /// Limits, and what lies beyond them.
    Second,
    /// A third hue.
    Third,
    /// A fourth hue.
    Fourth,
}

/// How a stroke is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Dash {
    /// Not at all.
    Solid,
    /// Long strokes.
    Long,
    /// Short strokes.
    Short,
    /// A long and a short one in turn.
    Mixed,
}

/// The CSS custom property of an ink, with its colours in the light and in the dark theme.
struct Property {
    ink: Ink,
    name: &'static str,
    light: &'static str,
    dark: &'static str,
}

const PROPERTIES: [Property; 8] = [
    Property { ink: Ink::Text, name: "--chart-text", light: "#1f1f1f", dark: "#e8e8e8" },
    Property { ink: Ink::Muted, name: "--chart-muted", light: "#555555", dark: "#b0b0b0" },
    Property { ink: Ink::Grid, name: "--chart-grid", light: "#dddddd", dark: "#3d3d3d" },
    Property { ink: Ink::Paper, name: "--chart-paper", light: "#ffffff", dark: "#181818" },
    Property { ink: Ink::First, name: "--chart-first", light: "#0072b2", dark: "#56b4e9" },
    Property { ink: Ink::Second, name: "--chart-second", light: "#b84d00", dark: "#e69f00" },
    Property { ink: Ink::Third, name: "--chart-third", light: "#007f5c", dark: "#009e73" },
    Property { ink: Ink::Fourth, name: "--chart-fourth", light: "#a8558a", dark: "#cc79a7" },
];

const DASHES: [(Dash, &str); 4] =
    [(Dash::Solid, ""), (Dash::Long, "60 30"), (Dash::Short, "25 20"), (Dash::Mixed, "70 25 15 25")];

/// The hue and dash of the n-th of several series, starting again after the last.
pub(super) fn series(index: usize) -> (Ink, Dash) {
    let inks = [Ink::First, Ink::Second, Ink::Third, Ink::Fourth];
    let dashes = [Dash::Solid, Dash::Long, Dash::Short, Dash::Mixed];
    // After each round the dashes move on by one, so that sixteen series differ.
    let round = index / inks.len();
    (inks[index % inks.len()], dashes[(index + round) % dashes.len()])
}

/// A colour that stands for an ink and a dash until the picture is finished.
pub(super) fn sentinel(ink: Ink, dash: Dash, alpha: f64) -> RGBAColor {
    let place = |found: Option<usize>| found.and_then(|place| u8::try_from(place).ok()).unwrap_or(0);
    let ink = place(PROPERTIES.iter().position(|property| property.ink == ink));
    let dash = place(DASHES.iter().position(|entry| entry.0 == dash));
    RGBColor(0xA0 + ink, 0xD0 + dash, 0).mix(alpha)
}

/// What a sentinel colour, written as `#A0D000`, stands for: a paint that follows the page's theme and shows its
/// light colour where there is no page, and the pattern of the dash.
pub(super) fn paint(sentinel: &str) -> Option<(String, &'static str)> {
    let ink = usize::from_str_radix(sentinel.get(1..3)?, 16).ok()?.checked_sub(0xA0)?;
    let dash = usize::from_str_radix(sentinel.get(3..5)?, 16).ok()?.checked_sub(0xD0)?;
    let property = PROPERTIES.get(ink)?;
    Some((format!("var({},{})", property.name, property.light), DASHES.get(dash)?.1))
}

/// The paint behind a label.
pub(super) fn paper() -> String {
    format!("var({},{})", PROPERTIES[3].name, PROPERTIES[3].light)
}

/// The style rules that give a page's charts their colours: light; dark on a dark screen or below an element with
/// `data-theme="dark"`; light again below `data-theme="light"` and always on paper.
#[must_use]
pub fn stylesheet() -> String {
    let block = |colour: fn(&Property) -> &'static str| {
        PROPERTIES.iter().fold(String::new(), |mut text, property| {
            // Writing into a string cannot fail.
            let _ = write!(text, "{}:{};", property.name, colour(property));
            text
        })
    };
    let (light, dark) = (block(|property| property.light), block(|property| property.dark));
    format!(
        ":root,[data-theme=light]{{{light}}}\n\
         @media screen and (prefers-color-scheme:dark){{:root:not([data-theme=light]){{{dark}}}}}\n\
         @media screen{{[data-theme=dark]{{{dark}}}}}\n"
    )
}

/// The same picture with its light colours written out, for readers of SVG that know no custom properties (word
/// processors, converters to pixels).
#[must_use]
pub fn with_plain_colours(svg: &str) -> String {
    PROPERTIES.iter().fold(svg.to_owned(), |text, property| {
        text.replace(&format!("var({},{})", property.name, property.light), property.light)
    })
}
