//! Strokes, faces, dots and words on a canvas measured in layout units: 300 across are 80 mm on paper.

use super::Alternative;
use super::finish::{FINENESS, finish};
use super::ink::{Dash, Ink, sentinel};
use plotters::backend::SVGBackend;
use plotters::coord::Shift;
use plotters::drawing::{DrawingArea, IntoDrawingArea};
use plotters::element::{Circle, PathElement, Polygon, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontStyle, ShapeStyle, TextStyle};

/// A place in layout units, y downwards.
pub(super) type Place = (f64, f64);

/// Half a page, 80 mm.
pub(super) const NARROW: f64 = 300.0;
/// The width of the page, 165 mm.
pub(super) const WIDE: f64 = 620.0;
/// Size of ordinary words, about 7 pt on paper.
pub(super) const WORDS: f64 = 9.5;
/// Size of tick labels and notes.
pub(super) const SMALL: f64 = 8.5;

/// The backend's way of writing a font size; it divides by this factor again.
const BACKEND_FONT_FACTOR: f64 = 1.24;

#[derive(Clone, Copy)]
pub(super) struct Pen {
    pub ink: Ink,
    pub width: f64,
    pub dash: Dash,
    pub alpha: f64,
}

impl Pen {
    pub fn new(ink: Ink, width: f64) -> Self {
        Self { ink, width, dash: Dash::Solid, alpha: 1.0 }
    }

    pub fn dashed(self, dash: Dash) -> Self {
        Self { dash, ..self }
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Left,
    Middle,
    Right,
}

#[derive(Clone, Copy)]
pub(super) struct Letters {
    pub ink: Ink,
    pub size: f64,
    pub anchor: Anchor,
    pub bold: bool,
    pub halo: bool,
}

impl Letters {
    pub fn new(ink: Ink, size: f64, anchor: Anchor) -> Self {
        Self { ink, size, anchor, bold: false, halo: false }
    }

    pub fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    pub fn with_halo(self) -> Self {
        Self { halo: true, ..self }
    }
}

/// The shape of a marker.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Marker {
    Disc,
    Square,
    Diamond,
    Triangle,
}

pub(super) struct Canvas<'a> {
    area: DrawingArea<SVGBackend<'a>, Shift>,
}

impl Canvas<'_> {
    /// A finished picture of the given width and height, painted by `paint`.
    pub fn svg((width, height): (f64, f64), alternative: Alternative, paint: impl FnOnce(&Canvas)) -> String {
        let units = |length: f64| unit(length).unsigned_abs();
        let size = (units(width), units(height));
        let mut raw = String::new();
        let canvas = Canvas { area: SVGBackend::with_string(&mut raw, size).into_drawing_area() };
        paint(&canvas);
        // The backend writes into a string here, which cannot fail; so for every drawing call below.
        let _ = canvas.area.present();
        drop(canvas);
        finish(&raw, size, alternative)
    }

    pub fn line(&self, path: &[Place], pen: Pen) {
        let mut path: Vec<_> = path.iter().map(|&place| on_canvas(place)).collect();
        path.dedup();
        if path.len() == 1 {
            return;
        }
        let _ = self.area.draw(&PathElement::new(path, stroke(pen)));
    }

    pub fn face(&self, outline: &[Place], ink: Ink, alpha: f64) {
        let mut outline: Vec<_> = outline.iter().map(|&place| on_canvas(place)).collect();
        outline.dedup();
        let style = ShapeStyle::from(sentinel(ink, Dash::Solid, alpha)).filled();
        let _ = self.area.draw(&Polygon::new(outline, style));
    }

    pub fn dot(&self, place: Place, radius: f64, ink: Ink, alpha: f64) {
        let style = ShapeStyle::from(sentinel(ink, Dash::Solid, alpha)).filled();
        let _ = self.area.draw(&Circle::new(on_canvas(place), unit(radius), style));
    }

    /// A marker with an edge of paper, so that it stands out from what lies below.
    pub fn marker(&self, (x, y): Place, radius: f64, marker: Marker, ink: Ink) {
        let r = radius;
        if marker == Marker::Disc {
            self.dot((x, y), r + 0.8, Ink::Paper, 1.0);
            self.dot((x, y), r, ink, 1.0);
            return;
        }
        let outline = |r: f64| match marker {
            Marker::Square => vec![(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)],
            Marker::Triangle => vec![(x, y - 1.2 * r), (x + 1.1 * r, y + 0.8 * r), (x - 1.1 * r, y + 0.8 * r)],
            Marker::Diamond | Marker::Disc => {
                vec![(x, y - 1.3 * r), (x + 1.3 * r, y), (x, y + 1.3 * r), (x - 1.3 * r, y)]
            }
        };
        self.face(&outline(r + 0.8), Ink::Paper, 1.0);
        self.face(&outline(r), ink, 1.0);
    }

    /// A line with a head at its end.
    pub fn arrow(&self, from: Place, to: Place, pen: Pen) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = (dx * dx + dy * dy).sqrt();
        if length < 1e-6 {
            return;
        }
        let (ux, uy) = (dx / length, dy / length);
        let head = 5.0_f64.min(length);
        let back = (to.0 - head * ux, to.1 - head * uy);
        self.line(&[from, back], pen);
        let half = 0.4 * head;
        self.face(
            &[to, (back.0 - half * uy, back.1 + half * ux), (back.0 + half * uy, back.1 - half * ux)],
            pen.ink,
            1.0,
        );
    }

    /// Words whose middle height is at `place`.
    pub fn text(&self, place: Place, words: &str, letters: Letters) {
        let horizontal = match letters.anchor {
            Anchor::Left => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::Right => HPos::Right,
        };
        let dash = if letters.halo { Dash::Long } else { Dash::Solid };
        let font = ("sans-serif", letters.size * FINENESS * BACKEND_FONT_FACTOR);
        let colour = sentinel(letters.ink, dash, 1.0);
        let style = TextStyle::from(font).color(&colour).pos(Pos::new(horizontal, VPos::Center));
        let style = if letters.bold { TextStyle { font: style.font.style(FontStyle::Bold), ..style } } else { style };
        let words: String = words.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
        let _ = self.area.draw(&Text::new(words, on_canvas(place), style));
    }
}

fn stroke(pen: Pen) -> ShapeStyle {
    ShapeStyle::from(sentinel(pen.ink, pen.dash, pen.alpha)).stroke_width(unit(pen.width).unsigned_abs())
}

fn on_canvas((x, y): Place) -> (i32, i32) {
    (unit(x), unit(y))
}

fn unit(length: f64) -> i32 {
    // Layout lengths are within a few thousand; the cast rounds nothing away and saturates.
    #[allow(clippy::cast_possible_truncation)]
    let units = (length * FINENESS).round() as i32;
    units
}
