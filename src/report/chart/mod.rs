//! Every chart of a report, as pure functions from plain data to SVG text.
//!
//! One look for all: readable at half a page's width (80 mm), units on every axis, labels at the things they name,
//! colours that follow the page's theme ([`stylesheet`]) and differ in lightness, dash or marker too. Nothing is
//! estimated here beyond what is drawn: bins, running quantiles, an ellipse from a covariance. Values without a
//! finite number are left out and counted below the picture; data without width, single values and no values at
//! all are drawn and named.
//!
//! The same data give the same bytes. A picture has no ids, so that many fit in one page.

mod agreement;
mod canvas;
mod characteristic;
mod curve;
mod finish;
mod grid;
mod histogram;
mod ink;
mod intervals;
mod joint;
mod layouts;
mod lines;
mod outputs;
mod panel;
mod range;
mod scatter;
mod scene;
#[cfg(test)]
mod tests;
mod ticks;
mod tornado;
mod two_intervals;
mod waterfall;
mod words;

pub use agreement::{AgreementLine, AgreementPlot, agreement_plot};
pub use characteristic::{Characteristic, operating_characteristic};
pub use curve::{ErrorCurve, error_curve};
pub use grid::{Grid, GridCell, grid};
pub use histogram::{Histogram, histogram, histogram_bins};
pub use ink::{stylesheet, with_plain_colours};
pub use intervals::{IntervalRow, Intervals, intervals};
pub use joint::{CovarianceEllipse, Joint, joint};
pub use layouts::{MarkerLayout, marker_layouts};
pub use lines::{BandPoint, Level, Lines, Series, lines};
pub use outputs::{OutputRow, side_by_side};
pub use scatter::{Against, Drawn, against, against_many};
pub use scene::{PlaneNormal, Scene, scene};
pub use tornado::{Tornado, TornadoRow, tornado};
pub use two_intervals::{TwoIntervals, TwoIntervalsRow, two_intervals};
pub use waterfall::{Waterfall, WaterfallRow, waterfall};

/// Words for those who do not see the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Alternative<'a> {
    /// What the picture is, in a few words.
    pub title: &'a str,
    /// What it shows, in a sentence or two.
    pub description: &'a str,
}

/// What an axis shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Axis<'a> {
    /// Its name.
    pub label: &'a str,
    /// Its unit, `deg` for degrees; empty for a pure number.
    pub unit: &'a str,
}

/// Said in an empty plot.
const NO_VALUES: &str = "no values to draw";

/// How many trials the picture is about.
fn about_count(count: usize) -> String {
    format!("n\u{a0}=\u{a0}{}", ticks::count(count))
}

/// What the picture does not show.
fn about_left_out(outside: usize, missing: usize) -> impl Iterator<Item = String> {
    let outside = (outside > 0).then(|| format!("{} beyond the axes", ticks::count(outside)));
    let missing = (missing > 0).then(|| format!("{} without a value, not drawn", ticks::count(missing)));
    outside.into_iter().chain(missing)
}
