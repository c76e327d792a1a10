//! How large the error is in a given proportion of cases.

use super::canvas::{Marker, NARROW, Pen};
use super::ink::Ink;
use super::lines::{BandPoint, draw_band, draw_line};
use super::panel::{Figure, Mark, Room, Scale, Side, limit_pen};
use super::range::{Extent, Range, drawable, sorted};
use super::{Alternative, Axis, NO_VALUES, words};

/// A limit farther out than this many times the largest error is an arrow.
const REACH: f64 = 3.0;

/// The absolute error over the proportion of cases that stay within it.
#[derive(Clone, Copy, Debug)]
pub struct ErrorCurve<'a> {
    /// The absolute error and its unit.
    pub axis: Axis<'a>,
    /// Empirical quantiles of the absolute error, ascending: `x` the proportion (0 to 1), `y` the error, `low` and
    /// `high` its confidence interval, infinite where too few trials bound it.
    pub points: &'a [BandPoint],
    /// Limit of the absolute error.
    pub limit: Option<f64>,
    /// The proportion (0 to 1) that must stay within the limit.
    pub required: Option<f64>,
}

/// Curve of the absolute error against proportion with its confidence band; the limit is a line across, the required
/// proportion a line up that names the curve's value there, a dot.
#[must_use]
pub fn error_curve(alternative: Alternative, data: &ErrorCurve) -> String {
    let percent = |point: &BandPoint| BandPoint { x: 100.0 * point.x, ..*point };
    let points: Vec<BandPoint> = data.points.iter().map(percent).collect();
    let errors = sorted(points.iter().map(|point| point.y));
    let limit = data.limit.filter(|&limit| drawable(limit));
    let range = match Extent::of(&errors) {
        Extent::Nothing => Range::between(0.0, limit.unwrap_or(1.0)),
        extent => extent.with_marks(limit, REACH).with(0.0),
    };
    let y = Scale::linear(range.with_headroom(0.1));
    let mut notes = Vec::new();
    if let Some(&largest) = errors.last().filter(|&&largest| !y.range.holds(largest)) {
        notes.push(format!(
            "The curve leaves the axis; the largest error is {}.",
            words::value(largest, data.axis.unit)
        ));
    }
    if let (&[first, ..], Extent::OneValue(_)) = (&errors[..], Extent::of(&errors)) {
        notes.push(format!("All errors equal: {}.", words::value(first, data.axis.unit)));
    }
    let at = data.required.filter(|required| (0.0..=1.0).contains(required)).map(|required| 100.0 * required);
    let required = at.and_then(|x| Some((x, value_at(&points, x)?)));
    let label = |x: f64| {
        let reached = required.map(|(_, error)| format!(", reached at {}", words::value(error, data.axis.unit)));
        format!("required {}{}", words::value(x, "%"), reached.unwrap_or_default())
    };
    let marks: Vec<Mark> =
        at.into_iter().map(|x| Mark { value: x, label: label(x), pen: Pen::new(Ink::Text, 0.9) }).collect();
    let figure = Figure { alternative, width: NARROW, plot_height: 130.0, notes };
    let x = Side {
        axis: Axis { label: "Proportion of trials within the error", unit: "%" },
        scale: Scale::linear(Range::between(0.0, 100.0)),
    };
    figure.draw((x, Side { axis: data.axis, scale: y }), Room::default(), &marks, |canvas, panel| {
        if errors.is_empty() {
            panel.say(canvas, NO_VALUES);
        }
        draw_band(canvas, panel, &points, Ink::First);
        if let Some(limit) = limit {
            panel.level(canvas, limit, &format!("limit {}", words::value(limit, data.axis.unit)), limit_pen());
        }
        draw_line(canvas, panel, &points, Pen::new(Ink::First, 1.5));
        if let Some((x, error)) = required.filter(|&(_, error)| y.range.holds(error)) {
            canvas.marker(panel.at((x, error)), 2.4, Marker::Disc, Ink::Text);
        }
    })
}

/// The curve's height at a place, linear between its points.
fn value_at(points: &[BandPoint], x: f64) -> Option<f64> {
    let drawn = |point: &&BandPoint| drawable(point.x) && drawable(point.y);
    let before = points.iter().filter(drawn).rfind(|point| point.x <= x)?;
    let Some(after) = points.iter().filter(drawn).find(|point| point.x > x) else {
        // Only the end of the curve itself, not what lies beyond it.
        return (before.x == x).then_some(before.y);
    };
    Some(before.y + (x - before.x) / (after.x - before.x) * (after.y - before.y))
}
