//! The operating characteristic of a rule: how probable a pass is, over the truth.

use super::canvas::{Marker, NARROW, Pen};
use super::ink::{Ink, series};
use super::lines::{BandPoint, Series, draw_line, name_ends, room_for_names};
use super::panel::{Figure, Mark, Room, Scale, Side, limit_pen};
use super::range::{Range, drawable};
use super::{Alternative, Axis, NO_VALUES, words};

/// Probability of a pass over the true proportion outside.
#[derive(Clone, Copy, Debug)]
pub struct Characteristic<'a> {
    /// The true proportion outside, in percent.
    pub x: Axis<'a>,
    /// The probability, in percent.
    pub y: Axis<'a>,
    /// One curve for each rule.
    pub curves: &'a [Series<'a>],
    /// The proportion that the rules allow, in percent.
    pub allowed: f64,
    /// Points of the curves that are marked.
    pub assumed: &'a [BandPoint],
}

/// The curves, named at their ends if there are several; the allowed proportion is an upright line.
#[must_use]
pub fn operating_characteristic(alternative: Alternative, data: &Characteristic) -> String {
    let points = || data.curves.iter().flat_map(|curve| curve.points).filter(|point| drawable(point.x));
    let allowed = Some(data.allowed).filter(|&allowed| drawable(allowed));
    let end = points().map(|point| point.x).chain(allowed).fold(0.0, f64::max);
    let x = Side { axis: data.x, scale: Scale::linear(Range::between(0.0, end)) };
    let y = Side { axis: data.y, scale: Scale::linear(Range::between(0.0, 100.0)) };
    let named = data.curves.len() > 1;
    let names = if named { data.curves } else { &[] };
    let (names, right) = room_for_names(names);
    let label = |allowed: f64| format!("allowed {}", words::value(allowed, data.x.unit));
    let marks: Vec<Mark> =
        allowed.into_iter().map(|value| Mark { value, label: label(value), pen: limit_pen() }).collect();
    let figure = Figure { alternative, width: NARROW, plot_height: 130.0, notes: Vec::new() };
    figure.draw((x, y), Room { right, ..Room::default() }, &marks, |canvas, panel| {
        if points().next().is_none() {
            panel.say(canvas, NO_VALUES);
        }
        for (which, curve) in data.curves.iter().enumerate() {
            let (ink, dash) = series(which);
            draw_line(canvas, panel, curve.points, Pen::new(ink, 1.5).dashed(dash));
        }
        for point in data.assumed.iter().filter(|point| panel.holds((point.x, point.y))) {
            canvas.marker(panel.at((point.x, point.y)), 2.4, Marker::Disc, Ink::Text);
        }
        if named {
            name_ends(canvas, panel, data.curves, &names);
        }
    })
}
