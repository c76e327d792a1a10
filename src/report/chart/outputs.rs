//! All outputs side by side, each in units of its own limit.

use super::canvas::{Anchor, Canvas, Letters, Marker, NARROW, Pen, SMALL, WORDS};
use super::ink::{Dash, Ink};
use super::panel::{Figure, Mark, Panel, Room, Scale, Side, limit_pen};
use super::range::{Extent, Range, drawable, sorted};
use super::{Alternative, Axis, words};

/// Height of a row.
const ROW: f64 = 25.0;
/// Limits farther out than this many times the largest error are arrows.
const REACH: f64 = 6.0;

/// The errors of one output in a few numbers, in its own unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutputRow<'a> {
    /// Its name.
    pub label: &'a str,
    /// Its unit, `deg` for degrees.
    pub unit: &'a str,
    /// Limit of the absolute error; without one the output is left out of the picture and named below it.
    pub limit: Option<f64>,
    /// Quantiles of the error at 5, 25, 50, 75 and 95 %.
    pub quantiles: [f64; 5],
    /// Mean error.
    pub bias: f64,
}

impl OutputRow<'_> {
    fn has_values(&self) -> bool {
        self.quantiles.iter().all(|&value| drawable(value)) && drawable(self.bias)
    }
}

/// One row an output: box over the middle half, whiskers from 5 to 95 %, a stroke at the median, a diamond at the bias,
/// lines at plus and minus the limit. An output without a limit cannot be put on this axis; it is named below.
#[must_use]
pub fn side_by_side(alternative: Alternative, outputs: &[OutputRow]) -> String {
    let limited: Vec<(&OutputRow, f64)> = outputs
        .iter()
        .filter_map(|output| Some((output, output.limit.filter(|&limit| drawable(limit) && limit > 0.0)?)))
        .collect();
    let values = limited.iter().filter(|(output, _)| output.has_values()).flat_map(|&(output, limit)| {
        output.quantiles.into_iter().chain([output.bias]).map(move |value| value / limit)
    });
    let sorted = sorted(values);
    // Few numbers, all of them wanted: never trimmed.
    let extent = match (sorted.first(), sorted.last()) {
        (Some(&least), Some(&largest)) if least < largest => Extent::Spread(Range::between(least, largest)),
        _ => Extent::of(&sorted),
    };
    let range = extent.with_marks([-1.0, 1.0], REACH).padded(0.05);

    let mut notes = Vec::new();
    if !limited.is_empty() {
        notes.push("Box: quartiles and median. Whiskers: 5 to 95 %. Diamond: bias.".to_owned());
    }
    let unlimited: Vec<&str> = outputs
        .iter()
        .filter(|output| !limited.iter().any(|(other, _)| std::ptr::eq(*other, *output)))
        .map(|output| output.label)
        .collect();
    if !unlimited.is_empty() {
        notes.push(format!("Without a limit, not drawn: {}.", unlimited.join(", ")));
    }
    let rows = limited.len().max(1);
    let limit_of = |output: &OutputRow, limit: f64| format!("limit {}", words::value(limit, output.unit));
    let names: Vec<String> = limited.iter().map(|(output, _)| words::cut(output.label, WORDS, 110.0)).collect();
    let widest = words::longest(names.iter().map(String::as_str), WORDS).max(
        limited.iter().map(|&(output, limit)| words::width(&limit_of(output, limit), SMALL)).fold(0.0, f64::max),
    );
    let figure = Figure { alternative, width: NARROW, plot_height: ROW * rows as f64, notes };
    let y = Side { axis: Axis { label: "", unit: "" }, scale: Scale::linear(Range::between(0.0, rows as f64)) };
    let x = Side { axis: Axis { label: "Error in units of its limit", unit: "" }, scale: Scale::linear(range) };
    let mark = |value: f64, label: &str| Mark { value, label: label.to_owned(), pen: limit_pen() };
    let marks = if limited.is_empty() { Vec::new() } else { vec![mark(-1.0, "−limit"), mark(1.0, "limit")] };
    let room = Room { rows: Some(widest.max(10.0) + 8.0), ..Room::default() };
    figure.draw((x, y), room, &marks, |canvas, panel| {
        if limited.is_empty() {
            panel.say(canvas, if outputs.is_empty() { "no outputs" } else { "no output has a limit" });
        }
        for (row, (&(output, limit), name)) in limited.iter().zip(&names).enumerate() {
            let y = panel.y_at(rows as f64 - row as f64 - 0.5);
            let edge = panel.plot.left - 6.0;
            canvas.text((edge, y - 5.0), name, Letters::new(Ink::Text, WORDS, Anchor::Right));
            canvas.text((edge, y + 5.5), &limit_of(output, limit), Letters::new(Ink::Muted, SMALL, Anchor::Right));
            if output.has_values() {
                draw_box(canvas, panel, y, output, limit);
            } else {
                let place = (0.5 * (panel.plot.left + panel.plot.right), y);
                canvas.text(place, "no values", Letters::new(Ink::Muted, SMALL, Anchor::Middle).with_halo());
            }
        }
    })
}

fn draw_box(canvas: &Canvas, panel: &Panel, y: f64, output: &OutputRow, limit: f64) {
    let [low, lower, median, upper, high] = output.quantiles.map(|value| panel.x_at(value / limit));
    let pen = Pen::new(Ink::First, 1.1);
    let half = 6.0;
    canvas.line(&[(low, y), (lower, y)], pen);
    canvas.line(&[(upper, y), (high, y)], pen);
    for end in [low, high] {
        canvas.line(&[(end, y - 3.5), (end, y + 3.5)], pen);
    }
    let outline = [(lower, y - half), (upper, y - half), (upper, y + half), (lower, y + half), (lower, y - half)];
    canvas.face(&outline, Ink::First, 0.3);
    canvas.line(&outline, pen);
    canvas.line(&[(median, y - half), (median, y + half)], Pen::new(Ink::First, 2.2).dashed(Dash::Solid));
    canvas.marker((panel.x_at(output.bias / limit), y), 2.3, Marker::Diamond, Ink::Text);
}
