//! Lines with bands: traces of convergence, sweeps, anything over a number.

use super::canvas::{Anchor, Canvas, Letters, Marker, NARROW, Pen, Place, SMALL};
use super::ink::{Dash, Ink, series};
use super::panel::{Figure, Panel, Room, Scale, Side, limit_pen, spread};
use super::range::{Extent, Range, drawable, sorted, thinned};
use super::{Alternative, Axis, NO_VALUES, words};

/// Points of a line that are drawn, at most.
const POINTS: usize = 300;
/// A level farther out than this many times the largest value is an arrow.
const REACH: f64 = 3.0;
/// Room for the label at the end of a line, at most.
const LABEL: f64 = 100.0;

/// A point of a line with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandPoint {
    /// Place along the horizontal axis.
    pub x: f64,
    /// Value.
    pub y: f64,
    /// Lower end of the interval; minus infinity if it is open, NaN if there is none.
    pub low: f64,
    /// Upper end of the interval; infinity if it is open, NaN if there is none.
    pub high: f64,
}

impl BandPoint {
    fn drawable(&self) -> bool {
        drawable(self.x) && drawable(self.y)
    }
}

/// One line.
#[derive(Clone, Copy, Debug)]
pub struct Series<'a> {
    /// Written at its end; empty for a single line that needs no name.
    pub label: &'a str,
    /// Points, ascending along the horizontal axis.
    pub points: &'a [BandPoint],
}

/// A reference value on the vertical axis.
#[derive(Clone, Copy, Debug)]
pub struct Level<'a> {
    /// Its value.
    pub value: f64,
    /// What it is; the value is written after it.
    pub label: &'a str,
}

/// Lines over one axis.
#[derive(Clone, Copy, Debug)]
pub struct Lines<'a> {
    /// Horizontal axis.
    pub x: Axis<'a>,
    /// Whether the horizontal axis counts in powers of ten (ignored unless all of it is positive).
    pub logarithmic: bool,
    /// Vertical axis.
    pub y: Axis<'a>,
    /// The lines.
    pub series: &'a [Series<'a>],
    /// Reference values, such as a limit.
    pub levels: &'a [Level<'a>],
}

/// Lines with their intervals as bands and their names at their ends.
#[must_use]
pub fn lines(alternative: Alternative, data: &Lines) -> String {
    let all = || data.series.iter().flat_map(|series| series.points).filter(|point| point.drawable());
    let xs = sorted(all().map(|point| point.x));
    let ys = sorted(all().flat_map(|point| [point.y, point.low, point.high]));
    let full = |sorted: &[f64]| match (sorted.first(), sorted.last()) {
        (Some(&least), Some(&largest)) => Some(Range::between(least, largest)),
        _ => None,
    };
    let x = full(&xs).unwrap_or(Range::between(0.0, 1.0));
    let levels: Vec<&Level> = data.levels.iter().filter(|level| drawable(level.value)).collect();
    // Unlike for errors, nothing of a line may fall outside: its extent is the full one.
    let extent = match Extent::of(&ys) {
        Extent::Spread(range) => Extent::Spread(full(&ys).unwrap_or(range)),
        other => other,
    };
    let y = extent.with_marks(levels.iter().map(|level| level.value), REACH).padded(0.06);
    let x = if data.logarithmic { Scale::logarithmic(x) } else { Scale::linear(x) };

    let missing = data.series.iter().flat_map(|series| series.points).count() - all().count();
    let mut notes = Vec::new();
    if missing > 0 {
        notes.push(format!("{missing} points without a value, not drawn"));
    }
    let (names, right) = room_for_names(data.series);
    let room = Room { right, ..Room::default() };
    let figure = Figure { alternative, width: NARROW, plot_height: 130.0, notes };
    let sides = (Side { axis: data.x, scale: x }, Side { axis: data.y, scale: Scale::linear(y) });
    figure.draw(sides, room, &[], |canvas, panel| {
        if xs.is_empty() {
            panel.say(canvas, NO_VALUES);
        }
        for (which, series_data) in data.series.iter().enumerate() {
            draw_band(canvas, panel, series_data.points, series(which).0);
        }
        for level in &levels {
            let label = format!("{} {}", level.label, words::value(level.value, data.y.unit));
            panel.level(canvas, level.value, &label, limit_pen());
        }
        for (which, series_data) in data.series.iter().enumerate() {
            let (ink, dash) = series(which);
            draw_line(canvas, panel, series_data.points, Pen::new(ink, 1.5).dashed(dash));
        }
        name_ends(canvas, panel, data.series, &names);
    })
}

/// Names of lines, cut to their room, and the room that they take right of the plot.
pub(super) fn room_for_names(all: &[Series]) -> (Vec<String>, f64) {
    let names: Vec<String> = all.iter().map(|series| words::cut(series.label, SMALL, LABEL)).collect();
    let widest = words::longest(names.iter().map(String::as_str), SMALL);
    (names, if widest > 0.0 { widest + 8.0 } else { 0.0 })
}

/// Names at the ends of lines, moved apart where ends meet.
pub(super) fn name_ends(canvas: &Canvas, panel: &Panel, all: &[Series], names: &[String]) {
    let ends: Vec<(usize, Place)> = all
        .iter()
        .enumerate()
        .filter_map(|(which, series)| {
            let last = series.points.iter().rfind(|point| point.drawable())?;
            Some((which, panel.at((last.x, last.y))))
        })
        .collect();
    let wanted: Vec<f64> = ends.iter().map(|end| end.1.1).collect();
    let heights = spread(&wanted, (panel.plot.top, panel.plot.bottom - 4.0));
    for (&(which, end), height) in ends.iter().zip(heights) {
        let ink = series(which).0;
        let label = (panel.plot.right + 6.0, height);
        if !names[which].is_empty() {
            canvas.line(&[end, (label.0 - 1.5, height)], Pen { alpha: 0.6, ..Pen::new(ink, 0.5) });
            canvas.text(label, &names[which], Letters::new(ink, SMALL, Anchor::Left).with_halo());
        }
    }
}

/// The band of a line; where an end is open it reaches to the rim of the plot.
pub(super) fn draw_band(canvas: &Canvas, panel: &Panel, points: &[BandPoint], ink: Ink) {
    let has_band = |point: &BandPoint| point.drawable() && !point.low.is_nan() && !point.high.is_nan();
    let points = with_last(points);
    for run in points.chunk_by(|one, next| has_band(one) == has_band(next)).filter(|run| has_band(&run[0])) {
        let upper = run.iter().map(|point| panel.at((point.x, point.high)));
        let lower = run.iter().rev().map(|point| panel.at((point.x, point.low)));
        match run {
            // A single point has no band to fill: its interval is a stroke.
            [_] => canvas.line(&upper.chain(lower).collect::<Vec<_>>(), Pen::new(ink, 1.0)),
            _ => canvas.face(&upper.chain(lower).collect::<Vec<_>>(), ink, 0.28),
        }
    }
}

/// The line through points, broken where a value is missing or beyond the axis.
pub(super) fn draw_line(canvas: &Canvas, panel: &Panel, points: &[BandPoint], pen: Pen) {
    let seen = |point: &BandPoint| point.drawable() && panel.holds((point.x, point.y));
    let points = with_last(points);
    for run in points.chunk_by(|one, next| seen(one) == seen(next)).filter(|run| seen(&run[0])) {
        let path: Vec<Place> = run.iter().map(|point| panel.at((point.x, point.y))).collect();
        if let [only] = path[..] {
            canvas.marker(only, 2.2, Marker::Disc, pen.ink);
            continue;
        }
        if pen.dash != Dash::Solid {
            // A faint line below, so that a dash is followed easily.
            canvas.line(&path, Pen { alpha: 0.25, ..pen }.dashed(Dash::Solid));
        }
        canvas.line(&path, pen);
    }
}

/// Thinned, with the last point kept.
fn with_last(points: &[BandPoint]) -> Vec<BandPoint> {
    let mut kept = thinned(points, POINTS);
    if let (true, Some(&last)) = (points.len() > POINTS, points.last()) {
        kept.push(last);
    }
    kept
}
