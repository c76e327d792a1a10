//! How large the error is in a given proportion of cases.

use super::canvas::{Anchor, Letters, Marker, NARROW, Pen, SMALL};
use super::ink::Ink;
use super::lines::{BandPoint, draw_band, draw_line};
use super::panel::{Figure, LINE, Mark, Room, Scale, Side, limit_pen};
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
/// proportion a line up, and the curve's value there a dot with its number.
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
    let marks: Vec<Mark> = data
        .required
        .filter(|required| (0.0..=1.0).contains(required))
        .map(|required| Mark {
            value: 100.0 * required,
            label: format!("required {}", words::value(100.0 * required, "%")),
            pen: Pen::new(Ink::Text, 0.9),
        })
        .into_iter()
        .collect();
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
        for mark in &marks {
            if let Some(error) = value_at(&points, mark.value).filter(|&error| y.range.holds(error)) {
                let (x, y) = panel.at((mark.value, error));
                canvas.marker((x, y), 2.4, Marker::Disc, Ink::Text);
                let letters = Letters::new(Ink::Text, SMALL, Anchor::Right).with_halo();
                // Left of the dot the curve is lower: above it is free, unless the limit's line is there.
                let crowded = limit.is_some_and(|limit| (panel.y_at(limit) - (y - 6.0)).abs() < 5.0);
                let above = if crowded { y + LINE } else { y - 6.0 };
                canvas.text(
                    (x - 4.0, above.max(panel.plot.top + 5.0)),
                    &words::value(error, data.axis.unit),
                    letters,
                );
            }
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
