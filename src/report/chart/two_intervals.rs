//! Two points with their intervals a row, such as the two indices of a group.

use super::canvas::{Anchor, Canvas, Letters, Marker, NARROW, Pen, SMALL, WORDS};
use super::ink::{Dash, Ink};
use super::panel::{Figure, Mark, Panel, Room, Scale, Side};
use super::range::{Extent, Range, drawable, sorted};
use super::{Alternative, Axis, words};

/// Height of a row.
const ROW: f64 = 19.0;
/// Distance of the two points of a row from its middle.
const APART: f64 = 3.6;
/// Room for the labels of rows, at most.
const LABEL: f64 = 130.0;

/// One row: each a point and the ends of its interval; NaN for an end that is not there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoIntervalsRow<'a> {
    /// Its name.
    pub label: &'a str,
    /// The upper point: a disc.
    pub one: [f64; 3],
    /// The lower point: a diamond.
    pub other: [f64; 3],
}

/// Rows of two points over one axis.
#[derive(Clone, Copy, Debug)]
pub struct TwoIntervals<'a> {
    /// The quantity and its unit.
    pub axis: Axis<'a>,
    /// What the disc and the diamond are.
    pub names: [&'a str; 2],
    /// The rows, from top to bottom.
    pub rows: &'a [TwoIntervalsRow<'a>],
    /// A value to compare with, and what it is.
    pub reference: Option<(f64, &'a str)>,
}

/// Two horizontal intervals a row with their points.
#[must_use]
pub fn two_intervals(alternative: Alternative, data: &TwoIntervals) -> String {
    let sorted = sorted(data.rows.iter().flat_map(|row| row.one.into_iter().chain(row.other)));
    // Few numbers, all of them wanted: never trimmed.
    let extent = match (sorted.first(), sorted.last()) {
        (Some(&least), Some(&largest)) if least < largest => Extent::Spread(Range::between(least, largest)),
        _ => Extent::of(&sorted),
    };
    let reference = data.reference.filter(|reference| drawable(reference.0));
    let range = extent.with_marks(reference.map(|reference| reference.0), f64::INFINITY).padded(0.06);
    let names: Vec<String> = data.rows.iter().map(|row| words::cut(row.label, WORDS, LABEL)).collect();
    let widest = words::longest(names.iter().map(String::as_str), WORDS);
    let count = data.rows.len().max(2);
    let notes = vec![format!("Disc: {}. Diamond: {}.", data.names[0], data.names[1])];
    let figure = Figure { alternative, width: NARROW, plot_height: ROW * count as f64, notes };
    let y = Side { axis: Axis { label: "", unit: "" }, scale: Scale::linear(Range::between(0.0, count as f64)) };
    let pen = Pen::new(Ink::Muted, 1.0).dashed(Dash::Short);
    let marks: Vec<Mark> =
        reference.into_iter().map(|(value, label)| Mark { value, label: label.to_owned(), pen }).collect();
    let room = Room { rows: Some(widest.max(10.0) + 8.0), ..Room::default() };
    let x = Side { axis: data.axis, scale: Scale::linear(range) };
    figure.draw((x, y), room, &marks, |canvas, panel| {
        if data.rows.is_empty() {
            panel.say(canvas, "no rows");
        }
        for (row, (both, name)) in data.rows.iter().zip(&names).enumerate() {
            let y = panel.y_at(count as f64 - row as f64 - 0.5);
            let place = (panel.plot.left - 6.0, y);
            canvas.text(place, name, Letters::new(Ink::Text, WORDS, Anchor::Right));
            draw(canvas, panel, y - APART, both.one, (Ink::First, Marker::Disc));
            draw(canvas, panel, y + APART, both.other, (Ink::Second, Marker::Diamond));
        }
    })
}

fn draw(canvas: &Canvas, panel: &Panel, y: f64, [point, low, high]: [f64; 3], (ink, marker): (Ink, Marker)) {
    if !drawable(point) {
        let place = (0.5 * (panel.plot.left + panel.plot.right), y);
        canvas.text(place, "no value", Letters::new(Ink::Muted, SMALL, Anchor::Middle).with_halo());
        return;
    }
    let middle = panel.x_at(point);
    for end in [low, high].into_iter().filter(|&end| drawable(end)) {
        let x = panel.x_at(end);
        canvas.line(&[(middle, y), (x, y)], Pen::new(ink, 1.4));
        canvas.line(&[(x, y - 2.4), (x, y + 2.4)], Pen::new(ink, 1.2));
    }
    canvas.marker((middle, y), 2.3, marker, ink);
}
