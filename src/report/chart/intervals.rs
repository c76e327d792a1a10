//! Points with their intervals, one a row.

use super::canvas::{Anchor, Letters, Marker, NARROW, Pen, SMALL, WORDS};
use super::ink::{Dash, Ink};
use super::panel::{Figure, Mark, Room, Scale, Side};
use super::range::{Extent, Range, drawable, sorted};
use super::{Alternative, Axis, words};

/// Height of a row.
const ROW: f64 = 17.0;
/// Height of a further line of a row's label.
const NEXT_LINE: f64 = 10.5;
/// Room for the labels of rows, at most.
const LABEL: f64 = 130.0;
/// A reference farther out than this many times the largest value is an arrow.
const REACH: f64 = 4.0;

/// One row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IntervalRow<'a> {
    /// Its name.
    pub label: &'a str,
    /// The estimate.
    pub point: f64,
    /// Lower end of its interval; minus infinity if it is open, NaN if there is none.
    pub low: f64,
    /// Upper end of its interval; infinity if it is open, NaN if there is none.
    pub high: f64,
}

/// Rows of points and intervals over one axis.
#[derive(Clone, Copy, Debug)]
pub struct Intervals<'a> {
    /// The quantity and its unit.
    pub axis: Axis<'a>,
    /// The rows, from top to bottom.
    pub rows: &'a [IntervalRow<'a>],
    /// A value to compare with, and what it is.
    pub reference: Option<(f64, &'a str)>,
}

/// Horizontal intervals, one a row, with the estimate as a dot; an open end is an arrow to the rim.
#[must_use]
pub fn intervals(alternative: Alternative, data: &Intervals) -> String {
    let sorted = sorted(data.rows.iter().flat_map(|row| [row.point, row.low, row.high]));
    let reference = data.reference.filter(|reference| drawable(reference.0));
    // Few numbers, all of them wanted: never trimmed.
    let extent = match (sorted.first(), sorted.last()) {
        (Some(&least), Some(&largest)) if least < largest => Extent::Spread(Range::between(least, largest)),
        _ => Extent::of(&sorted),
    };
    let range = extent.with_marks(reference.map(|reference| reference.0), REACH).padded(0.06);
    let names: Vec<Vec<String>> = data.rows.iter().map(|row| words::wrapped(row.label, WORDS, LABEL)).collect();
    let widest = words::longest(names.iter().flatten().map(String::as_str), WORDS);
    let most_lines = names.iter().map(Vec::len).max().unwrap_or(1).max(1);
    let row_height = ROW + (most_lines - 1) as f64 * NEXT_LINE;
    let count = data.rows.len().max(2);
    let figure = Figure { alternative, width: NARROW, plot_height: row_height * count as f64, notes: Vec::new() };
    let y = Side { axis: Axis { label: "", unit: "" }, scale: Scale::linear(Range::between(0.0, count as f64)) };
    let marks: Vec<Mark> = reference
        .into_iter()
        .map(|(value, label)| Mark {
            value,
            label: format!("{label} {}", words::value(value, data.axis.unit)),
            pen: Pen::new(Ink::Second, 1.2).dashed(Dash::Long),
        })
        .collect();
    let room = Room { rows: Some(widest.max(10.0) + 8.0), ..Room::default() };
    let x = Side { axis: data.axis, scale: Scale::linear(range) };
    figure.draw((x, y), room, &marks, |canvas, panel| {
        if data.rows.is_empty() {
            panel.say(canvas, "no rows");
        }
        for (row, (interval, name)) in data.rows.iter().zip(&names).enumerate() {
            let y = panel.y_at(count as f64 - row as f64 - 0.5);
            for (line, words) in name.iter().enumerate() {
                let above = 0.5 * (name.len() - 1) as f64;
                let place = (panel.plot.left - 6.0, y + (line as f64 - above) * NEXT_LINE);
                canvas.text(place, words, Letters::new(Ink::Text, WORDS, Anchor::Right));
            }
            if !drawable(interval.point) {
                let place = (0.5 * (panel.plot.left + panel.plot.right), y);
                canvas.text(place, "no value", Letters::new(Ink::Muted, SMALL, Anchor::Middle).with_halo());
                continue;
            }
            let pen = Pen::new(Ink::First, 1.6);
            let middle = panel.x_at(interval.point);
            for end in [interval.low, interval.high].into_iter().filter(|end| !end.is_nan()) {
                let x = panel.x_at(end);
                if drawable(end) {
                    canvas.line(&[(middle, y), (x, y)], pen);
                    canvas.line(&[(x, y - 3.0), (x, y + 3.0)], pen);
                } else {
                    canvas.arrow((middle, y), (x, y), pen);
                }
            }
            canvas.marker((middle, y), 2.6, Marker::Disc, Ink::First);
        }
    })
}
