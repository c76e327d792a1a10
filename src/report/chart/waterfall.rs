//! Parts that add up: bars one behind the other, from nothing to the whole.

use super::canvas::{Anchor, Letters, NARROW, Pen, SMALL, WORDS};
use super::ink::{Dash, Ink};
use super::panel::{Figure, Room, Scale, Side};
use super::range::{Range, drawable};
use super::{Alternative, Axis, words};

/// Height of a row.
const ROW: f64 = 16.0;
/// Half the height of a bar.
const HALF: f64 = 5.0;
/// Room for the labels of rows, at most.
const LABEL: f64 = 140.0;

/// One part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WaterfallRow<'a> {
    /// Its name.
    pub label: &'a str,
    /// What it adds; may be below 0.
    pub adds: f64,
}

/// Parts and their whole.
#[derive(Clone, Copy, Debug)]
pub struct Waterfall<'a> {
    /// The quantity and its unit.
    pub axis: Axis<'a>,
    /// The parts, from top to bottom.
    pub rows: &'a [WaterfallRow<'a>],
    /// Name of the whole, drawn as the last bar.
    pub whole: &'a str,
}

/// Horizontal bars, each beginning where the one above ends; the last one is their sum.
#[must_use]
pub fn waterfall(alternative: Alternative, data: &Waterfall) -> String {
    let parts: Vec<&WaterfallRow> = data.rows.iter().filter(|row| drawable(row.adds)).collect();
    let mut ends = vec![0.0];
    for part in &parts {
        ends.push(ends[ends.len() - 1] + part.adds);
    }
    let whole = ends[ends.len() - 1];
    let (least, most) = ends.iter().fold((0.0_f64, 0.0_f64), |(low, high), &end| (low.min(end), high.max(end)));
    // Bars begin at 0: room is kept on the other side only.
    let range = if least < 0.0 {
        Range::between(least, most).padded(0.04)
    } else {
        Range::between(0.0, most).with_headroom(0.12)
    };
    let names: Vec<String> =
        parts.iter().map(|row| row.label).chain([data.whole]).map(|name| words::cut(name, WORDS, LABEL)).collect();
    let widest = words::longest(names.iter().map(String::as_str), WORDS);
    let count = names.len().max(2);
    let missing = data.rows.len() - parts.len();
    let notes = if missing > 0 { vec![format!("{missing} without a value, not drawn.")] } else { Vec::new() };
    let figure = Figure { alternative, width: NARROW, plot_height: ROW * count as f64, notes };
    let y = Side { axis: Axis { label: "", unit: "" }, scale: Scale::linear(Range::between(0.0, count as f64)) };
    let x = Side { axis: data.axis, scale: Scale::linear(range) };
    let room = Room { rows: Some(widest.max(10.0) + 8.0), ..Room::default() };
    figure.draw((x, y), room, &[], |canvas, panel| {
        for (row, name) in names.iter().enumerate() {
            let y = panel.y_at(count as f64 - row as f64 - 0.5);
            canvas.text((panel.plot.left - 6.0, y), name, Letters::new(Ink::Text, WORDS, Anchor::Right));
            let is_whole = row == parts.len();
            let (from, to) = if is_whole { (0.0, whole) } else { (ends[row], ends[row + 1]) };
            let (left, right) = (panel.x_at(from.min(to)), panel.x_at(from.max(to)));
            let ink = match (is_whole, to < from) {
                (true, _) => Ink::Muted,
                (false, true) => Ink::Second,
                (false, false) => Ink::First,
            };
            let outline =
                [(left, y - HALF), (right, y - HALF), (right, y + HALF), (left, y + HALF), (left, y - HALF)];
            canvas.face(&outline, ink, 0.55);
            canvas.line(&outline, Pen::new(ink, 0.9));
            if row + 1 < names.len() {
                let end = panel.x_at(to);
                let below = (end, y + ROW - HALF);
                canvas.line(&[(end, y + HALF), below], Pen::new(Ink::Muted, 0.7).dashed(Dash::Short));
            }
            let share =
                if whole > 0.0 { format!("{:.0}\u{a0}%", 100.0 * (to - from) / whole) } else { String::new() };
            let share = share.replace('-', "−");
            // Behind its bar, else before it, else in it.
            let room = 4.0 + words::width(&share, SMALL);
            let (spot, anchor) = if right + room < panel.plot.right + 8.0 {
                (right + 4.0, Anchor::Left)
            } else if !is_whole && left - room > panel.plot.left {
                (left - 4.0, Anchor::Right)
            } else {
                (right - 4.0, Anchor::Right)
            };
            canvas.text((spot, y), &share, Letters::new(Ink::Text, SMALL, anchor).with_halo());
        }
    })
}
