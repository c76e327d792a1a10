//! How far a figure moves to either side when one input after the other is changed.

use super::canvas::{Anchor, Canvas, Letters, NARROW, Pen, WORDS};
use super::ink::Ink;
use super::panel::{Figure, Mark, Panel, Room, Scale, Side, limit_pen};
use super::range::{Extent, Range, drawable, sorted};
use super::{Alternative, Axis, words};

/// Height of a row.
const ROW: f64 = 17.0;
/// Half the height of a bar.
const HALF: f64 = 5.0;
/// Room for the labels of rows, at most.
const LABEL: f64 = 140.0;
/// A limit farther out than this many times the largest value is an arrow.
const REACH: f64 = 2.0;

/// One input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TornadoRow<'a> {
    /// Its name.
    pub label: &'a str,
    /// The figure after the first change, and the ends of the interval of the difference from the middle.
    pub one: [f64; 3],
    /// The same after the second change.
    pub other: [f64; 3],
}

/// Bars to either side of a middle.
#[derive(Clone, Copy, Debug)]
pub struct Tornado<'a> {
    /// The figure and its unit.
    pub axis: Axis<'a>,
    /// The figure without any change.
    pub middle: f64,
    /// What the two changes are.
    pub names: [&'a str; 2],
    /// The inputs, from top to bottom.
    pub rows: &'a [TornadoRow<'a>],
    /// A limit of the figure.
    pub limit: Option<f64>,
}

/// A bar from the middle to each changed figure, with the interval of the difference at its end.
#[must_use]
pub fn tornado(alternative: Alternative, data: &Tornado) -> String {
    let all = data.rows.iter().flat_map(|row| row.one.into_iter().chain(row.other)).chain([data.middle]);
    let sorted = sorted(all);
    // Few numbers, all of them wanted: never trimmed.
    let extent = match (sorted.first(), sorted.last()) {
        (Some(&least), Some(&largest)) if least < largest => Extent::Spread(Range::between(least, largest)),
        _ => Extent::of(&sorted),
    };
    let limit = data.limit.filter(|&limit| drawable(limit));
    let range = extent.with_marks(limit, REACH).padded(0.06);
    let names: Vec<String> = data.rows.iter().map(|row| words::cut(row.label, WORDS, LABEL)).collect();
    let widest = words::longest(names.iter().map(String::as_str), WORDS);
    let count = data.rows.len().max(2);
    let notes = vec![format!("Blue, filled: {}. Open: {}.", data.names[0], data.names[1])];
    let figure = Figure { alternative, width: NARROW, plot_height: ROW * count as f64, notes };
    let y = Side { axis: Axis { label: "", unit: "" }, scale: Scale::linear(Range::between(0.0, count as f64)) };
    let x = Side { axis: data.axis, scale: Scale::linear(range) };
    let mut marks = vec![Mark {
        value: data.middle,
        label: format!("as it is {}", words::value(data.middle, data.axis.unit)),
        pen: Pen::new(Ink::Text, 1.0),
    }];
    marks.extend(limit.map(|value| Mark {
        value,
        label: format!("limit {}", words::value(value, data.axis.unit)),
        pen: limit_pen(),
    }));
    marks.retain(|mark| drawable(mark.value));
    let room = Room { rows: Some(widest.max(10.0) + 8.0), ..Room::default() };
    figure.draw((x, y), room, &marks, |canvas, panel| {
        if data.rows.is_empty() {
            panel.say(canvas, "no rows");
        }
        for (row, (both, name)) in data.rows.iter().zip(&names).enumerate() {
            let y = panel.y_at(count as f64 - row as f64 - 0.5);
            canvas.text((panel.plot.left - 6.0, y), name, Letters::new(Ink::Text, WORDS, Anchor::Right));
            for (values, filled) in [(both.one, true), (both.other, false)] {
                draw(canvas, panel, y, data.middle, values, filled);
            }
        }
    })
}

fn draw(canvas: &Canvas, panel: &Panel, y: f64, middle: f64, [value, low, high]: [f64; 3], filled: bool) {
    if !drawable(value) || !drawable(middle) {
        return;
    }
    let (start, end) = (panel.x_at(middle), panel.x_at(value));
    let outline = [(start, y - HALF), (end, y - HALF), (end, y + HALF), (start, y + HALF), (start, y - HALF)];
    let ink = if filled { Ink::First } else { Ink::Third };
    canvas.face(&outline, ink, if filled { 0.55 } else { 0.12 });
    canvas.line(&outline, Pen::new(ink, 0.9));
    if drawable(low) && drawable(high) {
        let pen = Pen::new(Ink::Text, 0.9);
        let (left, right) = (panel.x_at(low), panel.x_at(high));
        canvas.line(&[(left, y), (right, y)], pen);
        for x in [left, right] {
            canvas.line(&[(x, y - 2.0), (x, y + 2.0)], pen);
        }
    }
}
