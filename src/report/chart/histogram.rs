//! How the errors of one output are spread.

use super::canvas::{NARROW, Pen, Place};
use super::ink::Ink;
use super::panel::{Figure, Mark, Panel, Room, Scale, Side, limit_pen};
use super::range::{Extent, Range, drawable, sorted};
use super::ticks::Ticks;
use super::{Alternative, Axis, NO_VALUES, about_count, about_left_out, words};

/// Bins across the data, at most; fewer with few trials.
const BINS: f64 = 60.0;
/// A limit farther out than this many times the largest error is an arrow.
const REACH: f64 = 4.0;

/// The errors of one output.
#[derive(Clone, Copy, Debug)]
pub struct Histogram<'a> {
    /// The output and its unit.
    pub axis: Axis<'a>,
    /// Errors, one a trial, in any order.
    pub errors: &'a [f64],
    /// Limit of the absolute error, if there is one; drawn at plus and minus its value.
    pub limit: Option<f64>,
    /// Mean error, if it is to be marked.
    pub bias: Option<f64>,
}

/// Histogram of errors: proportion of all drawn trials in each bin, limits and bias marked, what lies beyond a limit
/// in another colour. Bins are equally wide and one begins at 0; with a limit in the picture one begins there too.
#[must_use]
pub fn histogram(alternative: Alternative, data: &Histogram) -> String {
    let Binned { sorted, limit, extent, range, bins } = Binned::of(data);
    let tallest = bins.shares.iter().map(|bin| bin.1).fold(0.0, f64::max);
    let y = Scale::linear(Range::between(0.0, if tallest > 0.0 { tallest } else { 1.0 }).with_headroom(0.06));

    let outside = sorted.iter().filter(|&&error| !range.holds(error)).count();
    let mut about = vec![about_count(sorted.len())];
    if let (&[first, ..], Extent::OneValue(_)) = (&sorted[..], extent) {
        let all = if sorted.len() == 1 { "value" } else { "all equal" };
        about.push(format!("{all} {}", words::value(first, data.axis.unit)));
    }
    about.extend(about_left_out(outside, data.errors.len() - sorted.len()));
    if let (true, &[least, .., largest]) = (outside > 0, &sorted[..]) {
        let [least, largest] = [least, largest].map(|error| words::value(error, data.axis.unit));
        about.push(format!("all within {least} to {largest}"));
    }
    let figure = Figure { alternative, width: NARROW, plot_height: 120.0, notes: vec![about.join("; ")] };
    let x = Side { axis: data.axis, scale: Scale::linear(range) };
    let y = Side { axis: Axis { label: "Proportion of trials in each bin", unit: "%" }, scale: y };
    figure.draw((x, y), Room::default(), &marks_of(data, limit), |canvas, panel| {
        if sorted.is_empty() {
            panel.say(canvas, NO_VALUES);
        }
        for (outline, beyond) in bins.outlines(panel, limit) {
            if beyond {
                canvas.face(&outline, Ink::Second, 0.85);
            } else {
                canvas.face(&outline, Ink::First, 0.5);
            }
            canvas.line(&outline, Pen::new(if beyond { Ink::Second } else { Ink::First }, 0.9));
        }
    })
}

/// The bins of a histogram that hold anything, as drawn: lower edge, upper edge, percentage of all drawn trials.
#[must_use]
pub fn histogram_bins(data: &Histogram) -> Vec<[f64; 3]> {
    let Bins { edges: (start, width), shares } = Binned::of(data).bins;
    let edge = |index: i64| start + index as f64 * width;
    shares.into_iter().map(|(index, share)| [edge(index), edge(index + 1), share]).collect()
}

/// Errors in their bins.
struct Binned {
    sorted: Vec<f64>,
    limit: Option<f64>,
    extent: Extent,
    range: Range,
    bins: Bins,
}

impl Binned {
    fn of(data: &Histogram) -> Self {
        let sorted = sorted(data.errors.iter().copied());
        let limit = data.limit.filter(|&limit| drawable(limit) && limit > 0.0);
        let extent = Extent::of(&sorted);
        let marks = limit.into_iter().flat_map(|limit| [-limit, limit]).chain(data.bias);
        let range = extent.with_marks(marks, REACH).padded(0.04);
        let bins = match extent {
            Extent::OneValue(value) => {
                Bins { edges: (value, range.width() / BINS), shares: vec![(0, 100.0)] }.centred()
            }
            Extent::Spread(data) => Bins::of(&sorted, data, range, limit),
            Extent::Nothing => Bins { edges: (0.0, 1.0), shares: Vec::new() },
        };
        Self { sorted, limit, extent, range, bins }
    }
}

fn marks_of(data: &Histogram, limit: Option<f64>) -> Vec<Mark> {
    let mut marks = Vec::new();
    if let Some(limit) = limit {
        for value in [-limit, limit] {
            marks.push(Mark {
                value,
                label: format!("limit {}", words::value(value, data.axis.unit)),
                pen: limit_pen(),
            });
        }
    }
    if let Some(value) = data.bias.filter(|&bias| drawable(bias)) {
        let label = format!("bias {}", words::value(value, data.axis.unit));
        marks.push(Mark { value, label, pen: Pen::new(Ink::Text, 1.2) });
    }
    marks
}

/// Bins that hold anything, ascending: index and percentage.
struct Bins {
    /// Where bin 0 begins and how wide a bin is.
    edges: (f64, f64),
    shares: Vec<(i64, f64)>,
}

impl Bins {
    /// Bins over the range of the axis, as fine as the range of the data asks for.
    fn of(sorted: &[f64], data: Range, range: Range, limit: Option<f64>) -> Self {
        // Twice Rice's rule of thumb (twice the cube root of the count) across the data, since a step of 1, 2 or 5 is up
        // to 2.5 times as wide as asked for. Lane DM et al., Online Statistics Education, "Histograms", from memory.
        let wanted = (4.0 * libm::cbrt(sorted.len() as f64)).clamp(8.0, BINS);
        // A whole number, at most sixty times the length of the axis over that of the data; the cast is exact enough.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let most = (wanted * (range.width() / data.width()).min(20.0)) as usize;
        let step = Ticks::at_most(most, range).step();
        let width = match limit {
            Some(limit) if range.holds(limit) && limit >= step => limit / (limit / step).round(),
            _ => step,
        };
        let mut shares: Vec<(i64, f64)> = Vec::new();
        let each = 100.0 / sorted.len().max(1) as f64;
        for &error in sorted.iter().filter(|&&error| range.holds(error)) {
            // An error on an edge belongs to the bin that begins there, whatever rounding says.
            // Some dozens of bins; the cast is exact.
            #[allow(clippy::cast_possible_truncation)]
            let index = (error / width + 1e-9).floor() as i64;
            match shares.last_mut() {
                Some(bin) if bin.0 == index => bin.1 += each,
                _ => shares.push((index, each)),
            }
        }
        Self { edges: (0.0, width), shares }
    }

    /// The one bin about its value instead of beginning there.
    fn centred(mut self) -> Self {
        self.edges.0 -= 0.5 * self.edges.1;
        self
    }

    /// Closed outlines of neighbouring bins on the same side of the limits, and whether they lie beyond.
    fn outlines(&self, panel: &Panel, limit: Option<f64>) -> Vec<(Vec<Place>, bool)> {
        let (start, width) = self.edges;
        let edge = |index: i64| panel.x_at(start + index as f64 * width);
        let beyond = |index: i64| {
            let middle = start + (index as f64 + 0.5) * width;
            limit.is_some_and(|limit| middle.abs() > limit)
        };
        let floor = panel.plot.bottom;
        let mut outlines = Vec::new();
        let runs = self.shares.chunk_by(|one, next| next.0 == one.0 + 1 && beyond(next.0) == beyond(one.0));
        for run in runs {
            let (first, last) = (run[0].0, run[run.len() - 1].0);
            let mut outline = vec![(edge(first), floor)];
            for &(index, share) in run {
                let y = panel.y_at(share);
                outline.extend([(edge(index), y), (edge(index + 1), y)]);
            }
            outline.extend([(edge(last + 1), floor), (edge(first), floor)]);
            outlines.push((outline, beyond(first)));
        }
        outlines
    }
}
