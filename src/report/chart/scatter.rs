//! An error against something that was drawn: anatomy or implant.

use super::canvas::{Anchor, Canvas, Letters, NARROW, Pen, Place, SMALL, WIDE, WORDS};
use super::ink::{Dash, Ink};
use super::panel::{Figure, Frame, LINE, Panel, Rect, Room, Scale, Side, limit_pen, picture, spread};
use super::range::{Extent, Range, drawable, quantile, sorted, thinned};
use super::{Alternative, Axis, NO_VALUES, about_count, about_left_out, words};

/// Points drawn in one plot, and in all small ones together.
const POINTS: usize = 800;
const POINTS_IN_ALL: usize = 1800;
/// A limit farther out than this many times the largest error is an arrow.
const REACH: f64 = 3.0;
/// Trials in a running bin at least, and bins at most.
const LEAST_IN_BIN: usize = 40;
const BINS: usize = 20;
/// Small plots side by side.
const COLUMNS: usize = 4;

/// A drawn value of every trial.
#[derive(Clone, Copy, Debug)]
pub struct Drawn<'a> {
    /// What was drawn and its unit.
    pub axis: Axis<'a>,
    /// One value a trial, in the order of the errors.
    pub values: &'a [f64],
}

/// The error of one output, to be set against drawn values.
#[derive(Clone, Copy, Debug)]
pub struct Against<'a> {
    /// The output's error and its unit.
    pub axis: Axis<'a>,
    /// Errors, one a trial.
    pub errors: &'a [f64],
    /// Limit of the absolute error.
    pub limit: Option<f64>,
}

/// Error against one drawn value: scatter, thinned evenly by trial, with the running median and the running 5 and
/// 95 % quantiles in bins of equally many trials.
#[must_use]
pub fn against(alternative: Alternative, error: &Against, drawn: &Drawn) -> String {
    let cloud = Cloud::of(error, drawn);
    let y = error_scale(error);
    let notes = vec![cloud.note(y.range)];
    let names = ["95 %", "median", "5 %"];
    let right = if cloud.running.len() > 1 { words::longest(names, SMALL) + 8.0 } else { 0.0 };
    let figure = Figure { alternative, width: NARROW, plot_height: 130.0, notes };
    let sides = (Side { axis: drawn.axis, scale: cloud.scale() }, Side { axis: error.axis, scale: y });
    figure.draw(sides, Room { right, ..Room::default() }, &[], |canvas, panel| {
        cloud.draw(canvas, panel, POINTS);
        draw_limit(canvas, panel, error, true);
        if let (true, Some(last)) = (cloud.running.len() > 1, cloud.running.last()) {
            let ends = [last.high, last.median, last.low].map(|value| panel.y_at(value));
            let heights = spread(&ends, (panel.plot.top, panel.plot.bottom - 4.0));
            for (name, height) in names.iter().zip(heights) {
                let place = (panel.plot.right + 4.0, height);
                canvas.text(place, name, Letters::new(Ink::Text, SMALL, Anchor::Left));
            }
        }
    })
}

/// The same for many drawn values: small plots side by side with one vertical axis.
#[must_use]
pub fn against_many(alternative: Alternative, error: &Against, drawn: &[Drawn]) -> String {
    let clouds: Vec<Cloud> = drawn.iter().map(|drawn| Cloud::of(error, drawn)).collect();
    let y = error_scale(error);
    let columns = drawn.len().clamp(1, COLUMNS);
    let (gap, plot_height) = (10.0, 92.0);
    let across = (WIDE - 4.0 + gap) / COLUMNS as f64;
    let down = Frame::height_around(0, false) + plot_height + 6.0;
    let rows = drawn.len().div_ceil(columns).max(1);
    let width = 4.0 - gap + across * columns as f64;
    let mut notes = clouds.first().map(|cloud| cloud.note(y.range)).into_iter().collect::<Vec<_>>();
    if !notes.is_empty() {
        notes.push("Solid line: running median. Dashed lines: running 5 and 95 %.".to_owned());
    }
    picture(alternative, (width.max(NARROW), rows as f64 * down), &notes, |canvas| {
        if drawn.is_empty() {
            let place = (0.5 * NARROW, 0.5 * down);
            canvas.text(place, "no drawn values", Letters::new(Ink::Muted, WORDS, Anchor::Middle));
        }
        for (which, (cloud, shown)) in clouds.iter().zip(drawn).enumerate() {
            let (left, top) = (2.0 + (which % columns) as f64 * across, 2.0 + (which / columns) as f64 * down);
            let outer = Rect { left, top, right: left + across - gap, bottom: top + down - 6.0 };
            let frame = Frame::new(
                outer,
                Side { axis: shown.axis, scale: cloud.scale() },
                Side { axis: error.axis, scale: y },
            );
            let panel = frame.draw(canvas);
            cloud.draw(canvas, &panel, (POINTS_IN_ALL / drawn.len()).min(POINTS));
            draw_limit(canvas, &panel, error, which == 0);
        }
    })
}

fn error_scale(error: &Against) -> Scale {
    let marks = error.limit.into_iter().flat_map(|limit| [-limit, limit]);
    let extent = Extent::of(&sorted(error.errors.iter().copied()));
    Scale::linear(extent.with_marks(marks, REACH).padded(0.08))
}

fn draw_limit(canvas: &Canvas, panel: &Panel, error: &Against, named: bool) {
    let Some(limit) = error.limit.filter(|&limit| drawable(limit) && limit > 0.0) else { return };
    let seen = panel.y.range.holds(limit) && panel.y.range.holds(-limit);
    if seen {
        let y = panel.y_at(-limit);
        canvas.line(&[(panel.plot.left, y), (panel.plot.right, y)], limit_pen());
    }
    if seen || named {
        let name = if named { format!("limit ±{}", words::value(limit, error.axis.unit)) } else { String::new() };
        panel.level(canvas, limit, &name, limit_pen());
    }
}

/// Running quantiles at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Running {
    x: f64,
    low: f64,
    median: f64,
    high: f64,
}

/// Pairs of drawn value and error.
struct Cloud {
    pairs: Vec<(f64, f64)>,
    missing: usize,
    extent: Extent,
    running: Vec<Running>,
}

impl Cloud {
    fn of(error: &Against, drawn: &Drawn) -> Self {
        let all = || drawn.values.iter().copied().zip(error.errors.iter().copied());
        let pairs: Vec<(f64, f64)> = all().filter(|pair| drawable(pair.0) && drawable(pair.1)).collect();
        let missing = drawn.values.len().max(error.errors.len()) - pairs.len();
        let extent = Extent::of(&sorted(pairs.iter().map(|pair| pair.0)));
        let running = running(&pairs);
        Self { pairs, missing, extent, running }
    }

    fn scale(&self) -> Scale {
        match self.extent {
            Extent::Nothing => Scale::linear(Range::between(0.0, 1.0)),
            extent => Scale::linear(extent.with_marks([], 1.0).padded(0.04)),
        }
    }

    fn note(&self, y: Range) -> String {
        let x = self.scale().range;
        let outside = self.pairs.iter().filter(|pair| !(x.holds(pair.0) && y.holds(pair.1))).count();
        let mut about = vec![about_count(self.pairs.len())];
        if self.pairs.len() > POINTS {
            about.push("thinned evenly".to_owned());
        }
        about.extend(about_left_out(outside, self.missing));
        about.join("; ")
    }

    fn draw(&self, canvas: &Canvas, panel: &Panel, most: usize) {
        let drawn = thinned(&self.pairs, most);
        if drawn.is_empty() {
            panel.say(canvas, NO_VALUES);
        }
        let few = drawn.len() < 20;
        for pair in drawn.into_iter().filter(|&pair| panel.holds(pair)) {
            let (radius, alpha) = if few { (2.0, 1.0) } else { (1.1, 0.4) };
            canvas.dot(panel.at(pair), radius, Ink::First, alpha);
        }
        if let (Extent::OneValue(_), true) = (self.extent, self.pairs.len() > 1) {
            let place = (0.5 * (panel.plot.left + panel.plot.right), panel.plot.bottom - 0.6 * LINE);
            canvas.text(place, "never varied", Letters::new(Ink::Muted, SMALL, Anchor::Middle).with_halo());
        }
        let path = |value: fn(&Running) -> f64| -> Vec<Place> {
            self.running.iter().map(|at| panel.at((at.x, value(at)))).collect()
        };
        if let [only] = self.running[..] {
            // One place only: the quantiles are strokes across it.
            let x = panel.x_at(only.x);
            for (value, half, width) in [(only.low, 6.0, 1.0), (only.median, 9.0, 1.8), (only.high, 6.0, 1.0)] {
                let y = panel.y_at(value);
                canvas.line(&[(x - half, y), (x + half, y)], Pen::new(Ink::Text, width));
            }
            return;
        }
        for edge in [path(|at| at.low), path(|at| at.high)] {
            canvas.line(&edge, Pen::new(Ink::Paper, 2.4));
            canvas.line(&edge, Pen::new(Ink::Text, 1.1).dashed(Dash::Short));
        }
        let median = path(|at| at.median);
        canvas.line(&median, Pen::new(Ink::Paper, 3.2));
        canvas.line(&median, Pen::new(Ink::Text, 1.7));
    }
}

/// Running quantiles in bins of about equally many trials; equal drawn values are never parted.
fn running(pairs: &[(f64, f64)]) -> Vec<Running> {
    if pairs.len() < LEAST_IN_BIN {
        return Vec::new();
    }
    let mut pairs = pairs.to_vec();
    pairs.sort_by(|one, other| one.0.total_cmp(&other.0).then(one.1.total_cmp(&other.1)));
    let bins = (pairs.len() / LEAST_IN_BIN).clamp(1, BINS);
    let size = pairs.len().div_ceil(bins);
    let mut running = Vec::new();
    let mut rest = &pairs[..];
    while !rest.is_empty() {
        let mut end = size.min(rest.len());
        while end < rest.len() && rest[end].0 == rest[end - 1].0 {
            end += 1;
        }
        // What is left at the end and too few for a bin of its own joins this one.
        if rest.len() - end < size / 2 {
            end = rest.len();
        }
        let (bin, left) = rest.split_at(end);
        let errors = sorted(bin.iter().map(|pair| pair.1));
        running.push(Running {
            x: bin[bin.len() / 2].0,
            low: quantile(&errors, 0.05),
            median: quantile(&errors, 0.5),
            high: quantile(&errors, 0.95),
        });
        rest = left;
    }
    running
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_running_quantiles_of_a_line_lie_on_it() {
        let pairs: Vec<(f64, f64)> = (0..2000).rev().map(|i| (f64::from(i), 3.0 * f64::from(i))).collect();
        let running = running(&pairs);
        assert_eq!(running.len(), BINS);
        for at in running {
            assert!((at.median - 3.0 * at.x).abs() <= 3.0, "{at:?}");
            // 90 % of a bin of 100 neighbours, three a step.
            assert!((at.high - at.low - 0.9 * 99.0 * 3.0).abs() < 1e-9, "{at:?}");
        }
    }

    #[test]
    fn identity_equal_drawn_values_share_a_bin() {
        let pairs: Vec<(f64, f64)> = (0..900).map(|i| (f64::from(i % 2), f64::from(i))).collect();
        assert_eq!(running(&pairs).iter().map(|at| at.x).collect::<Vec<_>>(), [0.0, 1.0]);
        assert!(running(&pairs[..LEAST_IN_BIN - 1]).is_empty());
    }
}
