//! Two readings of the same thing: their difference against their mean, with the limits that hold most differences.

use super::canvas::{NARROW, Pen};
use super::ink::{Dash, Ink};
use super::panel::{Figure, Panel, Room, Scale, Side};
use super::range::{Extent, drawable, sorted, thinned};
use super::ticks::count;
use super::{Alternative, Axis, NO_VALUES, about_count, about_left_out, words};

/// Points drawn at most.
const POINTS: usize = 1000;
/// A limit farther out than this many times the largest difference is an arrow.
const REACH: f64 = 4.0;

/// A horizontal line with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AgreementLine<'a> {
    /// What it is; the value is written after it.
    pub label: &'a str,
    /// Its value.
    pub value: f64,
    /// Ends of its interval; NaN if there is none.
    pub interval: [f64; 2],
}

/// Differences of two readings over their means.
#[derive(Clone, Copy, Debug)]
pub struct AgreementPlot<'a> {
    /// The mean of both readings.
    pub x: Axis<'a>,
    /// The first reading minus the second.
    pub y: Axis<'a>,
    /// Mean and difference of each trial.
    pub pairs: &'a [[f64; 2]],
    /// The mean difference and the limits of agreement.
    pub lines: &'a [AgreementLine<'a>],
}

/// Scatter of differences over means, thinned evenly by trial, with lines and their intervals as bands.
#[must_use]
pub fn agreement_plot(alternative: Alternative, data: &AgreementPlot) -> String {
    let pairs: Vec<[f64; 2]> = data.pairs.iter().copied().filter(|pair| pair.iter().all(|&v| drawable(v))).collect();
    let lines: Vec<&AgreementLine> = data.lines.iter().filter(|line| drawable(line.value)).collect();
    let extent = |axis: usize| Extent::of(&sorted(pairs.iter().map(|pair| pair[axis])));
    let x = Scale::linear(extent(0).with_marks([], REACH).padded(0.05));
    let marks = lines.iter().flat_map(|line| [line.value, line.interval[0], line.interval[1]]);
    let y = Scale::linear(extent(1).with_marks(marks, REACH).padded(0.08));
    let drawn = thinned(&pairs, POINTS);
    let outside = pairs.iter().filter(|pair| !(x.range.holds(pair[0]) && y.range.holds(pair[1]))).count();
    let mut about = vec![about_count(pairs.len())];
    if drawn.len() < pairs.len() {
        about.push(format!("{} drawn", count(drawn.len())));
    }
    about.extend(about_left_out(outside, data.pairs.len() - pairs.len()));
    let figure = Figure { alternative, width: NARROW, plot_height: 150.0, notes: vec![about.join("; ")] };
    let sides = (Side { axis: data.x, scale: x }, Side { axis: data.y, scale: y });
    figure.draw(sides, Room::default(), &[], |canvas, panel| {
        if pairs.is_empty() {
            panel.say(canvas, NO_VALUES);
        }
        let radius = if drawn.len() < 20 { 2.0 } else { 1.1 };
        for pair in drawn.iter().map(|pair| (pair[0], pair[1])).filter(|&pair| panel.holds(pair)) {
            canvas.dot(panel.at(pair), radius, Ink::First, if drawn.len() < 20 { 1.0 } else { 0.45 });
        }
        for line in &lines {
            band(canvas, panel, line.interval);
            let label = format!("{} {}", line.label, words::value(line.value, data.y.unit));
            panel.level(canvas, line.value, &label, Pen::new(Ink::Second, 1.2).dashed(Dash::Long));
        }
    })
}

fn band(canvas: &super::canvas::Canvas, panel: &Panel, [low, high]: [f64; 2]) {
    if low.is_nan() || high.is_nan() || !panel.y.range.holds(low) || !panel.y.range.holds(high) {
        return;
    }
    let (left, right) = (panel.plot.left, panel.plot.right);
    let (low, high) = (panel.y_at(low), panel.y_at(high));
    canvas.face(&[(left, low), (right, low), (right, high), (left, high)], Ink::Second, 0.28);
}
