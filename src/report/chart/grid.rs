//! A grid of shaded cells with words in them: one thing over two.

use super::canvas::{Anchor, Letters, Marker, NARROW, Pen, SMALL, WORDS};
use super::ink::{Ink, series};
use super::panel::{LINE, picture};
use super::words;
use super::{Alternative, NO_VALUES};

/// Height of a cell.
const CELL: f64 = 24.0;
/// Room for the labels of rows, at most.
const LABEL: f64 = 110.0;
/// The deepest shade.
const DEEPEST: f64 = 0.5;

/// One cell.
#[derive(Clone, Debug, PartialEq)]
pub struct GridCell {
    /// Which hue, counted as series are.
    pub hue: usize,
    /// How deep its shade is, 0 to 1.
    pub depth: f64,
    /// What stands in it.
    pub words: String,
    /// Whether it has a mark in its corner.
    pub marked: bool,
}

/// Rows of cells.
#[derive(Clone, Copy, Debug)]
pub struct Grid<'a> {
    /// What the columns are.
    pub columns_are: &'a str,
    /// Name of each column.
    pub columns: &'a [String],
    /// Name of each row.
    pub rows: &'a [String],
    /// Cells of each row, from top to bottom; `None` leaves a cell empty.
    pub cells: &'a [Vec<Option<GridCell>>],
    /// What the hues and the mark mean, below the picture.
    pub notes: &'a [String],
}

/// Cells in rows, the names of columns below them and those of rows on the left.
#[must_use]
pub fn grid(alternative: Alternative, data: &Grid) -> String {
    let names: Vec<Vec<String>> = data.rows.iter().map(|row| words::wrapped(row, WORDS, LABEL)).collect();
    let widest = words::longest(names.iter().flatten().map(String::as_str), WORDS);
    let (left, top, right) = (widest + 10.0, 4.0, NARROW - 4.0);
    let count = data.columns.len().max(1) as f64;
    let width = (right - left) / count;
    let lines = names.iter().map(Vec::len).max().unwrap_or(1) as f64;
    let cell = CELL.max(lines * (LINE - 1.0) + 4.0);
    let bottom = top + cell * data.rows.len().max(1) as f64;
    picture(alternative, (NARROW, bottom + 2.0 * LINE + 4.0), data.notes, |canvas| {
        for (row, cells) in data.cells.iter().enumerate() {
            let y = top + cell * row as f64;
            for (line, text) in names.get(row).into_iter().flatten().enumerate() {
                let above = 0.5 * (names[row].len() - 1) as f64;
                let place = (left - 6.0, y + 0.5 * cell + (line as f64 - above) * (LINE - 1.0));
                canvas.text(place, text, Letters::new(Ink::Text, WORDS, Anchor::Right));
            }
            for (column, found) in cells.iter().enumerate() {
                let x = left + width * column as f64;
                let corners = [(x, y), (x + width, y), (x + width, y + cell), (x, y + cell)];
                if let Some(found) = found {
                    let depth = if found.depth.is_finite() { found.depth.clamp(0.0, 1.0) } else { 0.0 };
                    canvas.face(&corners, series(found.hue).0, DEEPEST * depth);
                    let place = (x + 0.5 * width, y + 0.5 * cell);
                    let text = words::cut(&found.words, SMALL, width - 2.0);
                    canvas.text(place, &text, Letters::new(Ink::Text, SMALL, Anchor::Middle));
                    if found.marked {
                        canvas.marker((x + width - 5.0, y + 5.0), 1.8, Marker::Disc, Ink::Text);
                    }
                }
                let [a, b, c, d] = corners;
                canvas.line(&[a, b, c, d, a], Pen::new(Ink::Grid, 0.6));
            }
        }
        for (column, name) in data.columns.iter().enumerate() {
            let place = (left + width * (column as f64 + 0.5), bottom + 0.5 * LINE + 2.0);
            canvas.text(place, &words::cut(name, SMALL, width), Letters::new(Ink::Text, SMALL, Anchor::Middle));
        }
        if data.rows.is_empty() || data.columns.is_empty() {
            let place = (0.5 * (left + right), 0.5 * (top + bottom));
            canvas.text(place, NO_VALUES, Letters::new(Ink::Muted, SMALL, Anchor::Middle));
        }
        let place = (0.5 * (left + right), bottom + 1.5 * LINE + 2.0);
        canvas.text(
            place,
            &words::cut(data.columns_are, WORDS, NARROW),
            Letters::new(Ink::Text, WORDS, Anchor::Middle),
        );
    })
}
