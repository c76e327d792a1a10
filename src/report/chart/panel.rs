//! A plot with its two axes: room for words first, then the picture.

use super::canvas::{Anchor, Canvas, Letters, Pen, Place, SMALL, WORDS};
use super::ink::{Dash, Ink};
use super::range::Range;
use super::ticks::{self, Ticks};
use super::{Alternative, Axis, words};

/// Height of a line of words.
pub(super) const LINE: f64 = 12.0;
/// Least gap between labels and between a label and the rim.
const GAP: f64 = 4.0;
const TICK: f64 = 3.0;

/// A rectangle of the layout.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rect {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

/// Which values an axis shows and whether it counts in powers of ten.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scale {
    pub range: Range,
    pub logarithmic: bool,
}

impl Scale {
    pub fn linear(range: Range) -> Self {
        Self { range, logarithmic: false }
    }

    /// Logarithmic where the values allow it.
    pub fn logarithmic(range: Range) -> Self {
        Self { range, logarithmic: range.low() > 0.0 }
    }

    /// How far along the axis a value stands, 0 at its low and 1 at its high end.
    fn share(self, value: f64) -> f64 {
        let (low, high) = (self.range.low(), self.range.high());
        let share = if self.logarithmic {
            libm::log(value.max(low) / low) / libm::log(high / low)
        } else {
            (value - low) / (high - low)
        };
        share.clamp(0.0, 1.0)
    }

    /// No more than `most` ticks, and the power of ten their labels share.
    fn ticks(self, most: usize) -> (Vec<(f64, String)>, i32) {
        if self.logarithmic {
            return (ticks::logarithmic(self.range), 0);
        }
        let ticks = Ticks::at_most(most, self.range);
        let shared = ticks.shared_power();
        (ticks.labelled(shared).collect(), shared)
    }

    /// As many ticks as fit side by side.
    fn ticks_across(self, room: f64) -> (Vec<(f64, String)>, i32) {
        let mut most = 7;
        loop {
            let found = self.ticks(most);
            let widest = words::longest(found.0.iter().map(|tick| tick.1.as_str()), SMALL);
            let apart = match (found.0.first(), found.0.get(1)) {
                (Some(first), Some(second)) => (self.share(second.0) - self.share(first.0)) * room,
                _ => room,
            };
            if most <= 2 || self.logarithmic || widest + 1.5 * GAP <= apart {
                return found;
            }
            most -= 1;
        }
    }
}

/// One axis: what it is and which values it shows.
#[derive(Clone, Copy)]
pub(super) struct Side<'a> {
    pub axis: Axis<'a>,
    pub scale: Scale,
}

/// A reference value on the horizontal axis, named above the plot.
pub(super) struct Mark {
    pub value: f64,
    pub label: String,
    pub pen: Pen,
}

/// A plot before it is drawn: its axes and the room it keeps around them.
pub(super) struct Frame<'a> {
    pub outer: Rect,
    pub x: Side<'a>,
    pub y: Side<'a>,
    /// Room kept right of the plot for labels.
    pub right: f64,
    /// Lines of words kept between the name of the vertical axis and the plot.
    pub lanes: usize,
    /// Labels of rows instead of ticks on the vertical axis take this much room.
    pub rows: Option<f64>,
}

impl<'a> Frame<'a> {
    pub fn new(outer: Rect, x: Side<'a>, y: Side<'a>) -> Self {
        Self { outer, x, y, right: 0.0, lanes: 0, rows: None }
    }

    /// Height that is not plot, for a frame with this many lanes.
    pub fn height_around(lanes: usize, rows: bool) -> f64 {
        let name_above = if rows { 0.0 } else { LINE + 2.0 };
        name_above + lanes as f64 * LINE + GAP + TICK + 2.0 * LINE + 2.0
    }

    /// The horizontal stretch of the plot.
    fn across(&self) -> (f64, f64) {
        let left = self.rows.unwrap_or_else(|| {
            let (ticks, _) = self.y_ticks();
            words::longest(ticks.iter().map(|tick| tick.1.as_str()), SMALL) + TICK + GAP
        });
        // Half a tick label may reach beyond the plot.
        (self.outer.left + left, self.outer.right - self.right.max(2.5 * GAP))
    }

    fn y_ticks(&self) -> (Vec<(f64, String)>, i32) {
        self.y.scale.ticks(6)
    }

    /// Where the labels of marks go: the lane of each and its horizontal box, and the number of lanes in all.
    fn placed_marks(&self, marks: &[Mark]) -> (Vec<(usize, f64, Anchor)>, usize) {
        let (left, right) = self.across();
        let mut order: Vec<usize> = (0..marks.len()).collect();
        order.sort_by(|&a, &b| marks[a].value.total_cmp(&marks[b].value));
        let spot = |mark: &Mark| left + self.x.scale.share(mark.value) * (right - left);
        let half = |mark: &Mark| 0.5 * words::width(&mark.label, SMALL);
        // Centred above its mark, but within the picture.
        let centred = |mark: &Mark| {
            let (least, most) = (self.outer.left + half(mark), self.outer.right - half(mark));
            spot(mark).min(most).max(least)
        };
        let fits = order.windows(2).all(|pair| {
            let (one, next) = (&marks[pair[0]], &marks[pair[1]]);
            centred(one) + half(one) + GAP <= centred(next) - half(next)
        });
        let mut placed = vec![(0, 0.0, Anchor::Middle); marks.len()];
        let mut lanes = usize::from(!marks.is_empty());
        for (rank, &which) in order.iter().enumerate() {
            let mark = &marks[which];
            placed[which] = if fits {
                (0, centred(mark), Anchor::Middle)
            } else if rank == 0 {
                let end = (spot(mark) - 1.0).max(self.outer.left + 2.0 * half(mark));
                (0, end, Anchor::Right)
            } else if rank + 1 == order.len() {
                let start = (spot(mark) + 1.0).min(self.outer.right - 2.0 * half(mark));
                (0, start, Anchor::Left)
            } else {
                lanes += 1;
                (lanes - 1, centred(mark), Anchor::Middle)
            };
        }
        (placed, lanes)
    }

    /// The lanes that marks need.
    pub fn lanes_for(&self, marks: &[Mark]) -> usize {
        self.placed_marks(marks).1
    }

    /// Reference lines with their labels above the plot. A mark outside the axis is an arrow at its end.
    pub fn draw_marks(&self, canvas: &Canvas, panel: &Panel, marks: &[Mark]) {
        let (placed, _) = self.placed_marks(marks);
        for (mark, (lane, x, anchor)) in marks.iter().zip(placed) {
            let y = panel.plot.top - GAP - (lane as f64 + 0.5) * LINE + 2.0;
            canvas.text((x, y), &mark.label, Letters::new(mark.pen.ink, SMALL, anchor));
            let spot = panel.x_at(mark.value);
            if self.x.scale.range.holds(mark.value) {
                canvas.line(&[(spot, panel.plot.bottom), (spot, y + 0.5 * LINE - 1.0)], mark.pen);
            } else {
                let y = panel.plot.top + 3.0;
                let inwards = if mark.value > self.x.scale.range.high() { -14.0 } else { 14.0 };
                canvas.arrow((spot + inwards, y), (spot, y), Pen::new(mark.pen.ink, 1.0));
            }
        }
    }

    /// Draws grid, axes, ticks and names, and hands back the plot.
    pub fn draw(&self, canvas: &Canvas) -> Panel {
        let (left, right) = self.across();
        let name_above = if self.rows.is_some() { 0.0 } else { LINE + 2.0 };
        let top = self.outer.top + name_above + self.lanes as f64 * LINE + GAP;
        let plot = Rect { left, top, right, bottom: self.outer.bottom - TICK - 2.0 * LINE - 2.0 };
        let panel = Panel { plot, x: self.x.scale, y: self.y.scale };
        let grid = Pen::new(Ink::Grid, 0.6);
        let axis = Pen::new(Ink::Text, 0.8);
        let small = |anchor| Letters::new(Ink::Text, SMALL, anchor);
        if self.rows.is_none() {
            let (y_ticks, y_power) = self.y_ticks();
            for (value, label) in y_ticks {
                let y = panel.y_at(value);
                canvas.line(&[(left, y), (right, y)], grid);
                canvas.line(&[(left - TICK, y), (left, y)], axis);
                canvas.text((left - TICK - 2.0, y), &label, small(Anchor::Right));
            }
            let name = words::axis(self.y.axis, y_power);
            let name = words::cut(&name, WORDS, self.outer.right - self.outer.left);
            let place = (self.outer.left, self.outer.top + 0.5 * LINE);
            canvas.text(place, &name, Letters::new(Ink::Text, WORDS, Anchor::Left));
        }
        let (x_ticks, x_power) = self.x.scale.ticks_across(right - left);
        for (value, label) in x_ticks {
            let x = panel.x_at(value);
            canvas.line(&[(x, plot.top), (x, plot.bottom)], grid);
            canvas.line(&[(x, plot.bottom), (x, plot.bottom + TICK)], axis);
            canvas.text((x, plot.bottom + TICK + 0.5 * LINE), &label, small(Anchor::Middle));
        }
        canvas.line(&[(left, plot.top), (left, plot.bottom), (right, plot.bottom)], axis);
        let name = words::cut(&words::axis(self.x.axis, x_power), WORDS, self.outer.right - self.outer.left);
        // Under the middle of the plot, but within the picture.
        let half = 0.5 * words::width(&name, WORDS);
        let middle = (0.5 * (left + right)).min(self.outer.right - half).max(self.outer.left + half);
        let place = (middle, plot.bottom + TICK + 1.5 * LINE + 1.0);
        canvas.text(place, &name, Letters::new(Ink::Text, WORDS, Anchor::Middle));
        panel
    }
}

/// A plot that stands: from values to places.
#[derive(Clone, Copy, Debug)]
pub(super) struct Panel {
    pub plot: Rect,
    pub x: Scale,
    pub y: Scale,
}

impl Panel {
    pub fn x_at(&self, value: f64) -> f64 {
        self.plot.left + self.x.share(value) * (self.plot.right - self.plot.left)
    }

    pub fn y_at(&self, value: f64) -> f64 {
        self.plot.bottom - self.y.share(value) * (self.plot.bottom - self.plot.top)
    }

    /// The place of a pair of values; what lies outside is drawn at the rim.
    pub fn at(&self, (x, y): (f64, f64)) -> Place {
        (self.x_at(x), self.y_at(y))
    }

    pub fn holds(&self, (x, y): (f64, f64)) -> bool {
        self.x.range.holds(x) && self.y.range.holds(y)
    }

    /// A reference line across the plot with its words above it at the left; outside the axis, an arrow at the left
    /// end with its words.
    pub fn level(&self, canvas: &Canvas, value: f64, label: &str, pen: Pen) {
        let Rect { left, right, top, bottom } = self.plot;
        let letters = Letters::new(pen.ink, SMALL, Anchor::Left).with_halo();
        if self.y.range.holds(value) {
            let y = self.y_at(value);
            canvas.line(&[(left, y), (right, y)], pen);
            let above = y - 0.5 * LINE;
            canvas.text((left + GAP, if above < top { y + 0.5 * LINE } else { above }), label, letters);
        } else {
            let (y, tail) = if value > self.y.range.high() { (top, top + 12.0) } else { (bottom, bottom - 12.0) };
            canvas.arrow((left + 6.0, tail), (left + 6.0, y), Pen::new(pen.ink, 1.0));
            canvas.text((left + 12.0, 0.5 * (y + tail)), label, letters);
        }
    }

    /// Words in the middle of an empty plot.
    pub fn say(&self, canvas: &Canvas, words: &str) {
        let Rect { left, right, top, bottom } = self.plot;
        let lines = words::wrapped(words, WORDS, right - left - 2.0 * GAP);
        let start = 0.5 * (top + bottom) - 0.5 * LINE * (lines.len().saturating_sub(1)) as f64;
        for (line, text) in lines.iter().enumerate() {
            let place = (0.5 * (left + right), start + line as f64 * LINE);
            canvas.text(place, text, Letters::new(Ink::Muted, WORDS, Anchor::Middle).with_halo());
        }
    }
}

/// A picture of one plot with notes below it.
pub(super) struct Figure<'a> {
    pub alternative: Alternative<'a>,
    pub width: f64,
    pub plot_height: f64,
    pub notes: Vec<String>,
}

impl Figure<'_> {
    /// The rectangle for the plot and what belongs to it.
    fn outer(&self, lanes: usize, rows: bool) -> Rect {
        let bottom = 2.0 + Frame::height_around(lanes, rows) + self.plot_height;
        Rect { left: 2.0, top: 2.0, right: self.width - 2.0, bottom }
    }

    /// Draws the plot with its marks; `paint` adds the data below the marks.
    pub fn draw(
        &self,
        (x, y): (Side, Side),
        room: Room,
        marks: &[Mark],
        paint: impl FnOnce(&Canvas, &Panel),
    ) -> String {
        let mut frame = Frame::new(self.outer(0, room.rows.is_some()), x, y);
        frame.right = room.right;
        frame.rows = room.rows;
        frame.lanes = frame.lanes_for(marks) + room.lanes;
        frame.outer = self.outer(frame.lanes, room.rows.is_some());
        picture(self.alternative, (self.width, frame.outer.bottom), &self.notes, |canvas| {
            let panel = frame.draw(canvas);
            paint(canvas, &panel);
            frame.draw_marks(canvas, &panel, marks);
        })
    }
}

/// Room a plot keeps for labels.
#[derive(Clone, Copy, Default)]
pub(super) struct Room {
    pub right: f64,
    pub lanes: usize,
    pub rows: Option<f64>,
}

/// A picture of the given size with notes in small words below it.
pub(super) fn picture(
    alternative: Alternative,
    (width, height): (f64, f64),
    notes: &[String],
    paint: impl FnOnce(&Canvas),
) -> String {
    let notes: Vec<String> = notes.iter().flat_map(|note| words::wrapped(note, SMALL, width - 4.0)).collect();
    let below = if notes.is_empty() { 2.0 } else { GAP + notes.len() as f64 * (LINE - 1.0) + 2.0 };
    Canvas::svg((width, height + below), alternative, |canvas| {
        paint(canvas);
        for (line, note) in notes.iter().enumerate() {
            let place = (2.0, height + GAP + (line as f64 + 0.5) * (LINE - 1.0));
            canvas.text(place, note, Letters::new(Ink::Muted, SMALL, Anchor::Left));
        }
    })
}

/// Heights near the wanted ones that keep labels a line apart within top and bottom, in the order given.
pub(super) fn spread(wanted: &[f64], (top, bottom): (f64, f64)) -> Vec<f64> {
    let gap = (LINE - 1.5).min((bottom - top) / wanted.len().max(1) as f64);
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]));
    let mut heights = wanted.to_vec();
    let mut least = top;
    for &which in &order {
        heights[which] = heights[which].max(least);
        least = heights[which] + gap;
    }
    let mut most = bottom;
    for &which in order.iter().rev() {
        heights[which] = heights[which].min(most);
        most = heights[which] - gap;
    }
    heights
}

/// The pen of a limit.
pub(super) fn limit_pen() -> Pen {
    Pen::new(Ink::Second, 1.3).dashed(Dash::Long)
}
