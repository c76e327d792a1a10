//! The markers of each tool as drawn: face on and edge on.

use super::Alternative;
use super::canvas::{Anchor, Canvas, Letters, Marker, Pen, SMALL, WIDE, WORDS};
use super::ink::Ink;
use super::panel::{LINE, picture};
use super::range::{Range, drawable};
use super::scene::draw_bar;

/// Room kept beside the markers of a tool for their numbers and normals.
const RIM: f64 = 34.0;
/// Height of the face-on view, at most.
const HEIGHT: f64 = 150.0;
/// Room for the name of an axis.
const NAME: f64 = 12.0;
/// How long a marker's normal is drawn, in units of the layout.
const NORMAL: f64 = 20.0;
/// A normal that seems shorter points at the reader and is not drawn.
const LEAST_SEEN: f64 = 3.0;

/// The markers of one tool in the axes of its tracker, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MarkerLayout<'a> {
    /// The tool's name.
    pub name: &'a str,
    /// Where its markers are.
    pub markers: &'a [[f64; 3]],
    /// In which direction each looks, of any length.
    pub normals: &'a [[f64; 3]],
}

/// Each tool in a column, all at one scale with a scale bar: above face on (X to the right, Y up), below edge on (X to
/// the right, Z up). Markers are numbered in the order of the file.
#[must_use]
pub fn marker_layouts(alternative: Alternative, layouts: &[MarkerLayout]) -> String {
    let column = WIDE / layouts.len().max(1) as f64;
    let spans: Vec<[Range; 3]> = layouts.iter().map(|layout| [0, 1, 2].map(|axis| extent(layout, axis))).collect();
    let widest = |axis: usize| spans.iter().map(|span| span[axis].width()).fold(1e-9, f64::max);
    let zoom = ((column - 2.0 * RIM) / widest(0)).min(HEIGHT / widest(1));
    let face_on = 2.0 * LINE + zoom * widest(1) + 2.0 * RIM;
    // The name of its axis stands below the numbers of its markers.
    let edge_on = zoom * widest(2) + 2.0 * RIM + NAME;
    let bottom = face_on + edge_on;
    picture(alternative, (WIDE, bottom + 2.0 * LINE), &[], |canvas| {
        for (which, (layout, span)) in layouts.iter().zip(&spans).enumerate() {
            let middle = column * (which as f64 + 0.5);
            let heading = Letters::new(Ink::Text, WORDS, Anchor::Middle).bold();
            canvas.text((middle, 0.5 * LINE + 2.0), layout.name, heading);
            let centre = |axis: usize| 0.5 * (span[axis].low() + span[axis].high());
            for (up, name, height) in
                [(1, "Y", 0.5 * (2.0 * LINE + face_on)), (2, "Z, to the camera", face_on + 0.5 * (edge_on - NAME))]
            {
                let at = |point: [f64; 3]| {
                    (middle + zoom * (point[0] - centre(0)), height - zoom * (point[up] - centre(up)))
                };
                let corner = (middle - 0.5 * column + 10.0, height + 0.5 * zoom * widest(up) + RIM);
                draw_axes(canvas, corner, name);
                draw_markers(canvas, layout, up, at);
            }
        }
        draw_bar(canvas, zoom, bottom + LINE);
    })
}

fn extent(layout: &MarkerLayout, axis: usize) -> Range {
    let all = layout.markers.iter().map(|marker| marker[axis]).filter(|&value| drawable(value));
    let (low, high) = all.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)));
    // Markers in one plane have a width of none, which is drawn as such.
    if low < high { Range::between(low, high) } else { Range::between(low.min(high) - 0.5, low.min(high) + 0.5) }
}

fn draw_markers(canvas: &Canvas, layout: &MarkerLayout, up: usize, at: impl Fn([f64; 3]) -> (f64, f64)) {
    for (i, (&marker, normal)) in layout.markers.iter().zip(layout.normals).enumerate() {
        if !marker.iter().all(|&value| drawable(value)) {
            continue;
        }
        let (x, y) = at(marker);
        let length = normal.iter().map(|v| v * v).sum::<f64>().sqrt().max(f64::MIN_POSITIVE);
        let (dx, dy) = (NORMAL * normal[0] / length, -NORMAL * normal[up] / length);
        if dx.abs().max(dy.abs()) > LEAST_SEEN {
            canvas.arrow((x, y), (x + dx, y + dy), Pen::new(Ink::Fourth, 1.2));
        }
        canvas.marker((x, y), 3.0, Marker::Disc, Ink::First);
        // On the side away from the normal.
        let below = if dy < -LEAST_SEEN { y + 10.0 } else { y - 9.0 };
        let letters = Letters::new(Ink::Text, SMALL, Anchor::Middle).with_halo();
        canvas.text((x, below), &(i + 1).to_string(), letters);
    }
}

/// Two arrows with the names of the axes, from a corner to the right and up.
fn draw_axes(canvas: &Canvas, (x, y): (f64, f64), up: &str) {
    let (pen, letters) = (Pen::new(Ink::Muted, 0.8), Letters::new(Ink::Muted, SMALL, Anchor::Left));
    canvas.arrow((x, y), (x + 16.0, y), pen);
    canvas.text((x + 19.0, y), "X", letters);
    canvas.arrow((x, y), (x, y - 16.0), pen);
    canvas.text((x + 4.0, y - 14.0), up, letters);
}
