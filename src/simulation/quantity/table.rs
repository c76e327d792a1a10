//! A quantile that is costly, tabulated over the score once and then read off.

/// Scores that are tabulated; a draw beyond has a probability of 2 in 10^19 and takes the value at the end.
pub(super) const LARGEST_SCORE: f64 = 9.0;

/// Width of the cells that are divided further only where they must be.
const CELL: f64 = 1.0 / 16.0;

/// Cells are not divided beyond this width: a step of the quantile is spread over no more than this.
const NARROWEST: f64 = 1.0 / 1_048_576.0;

/// How far the curve may be off, in units of [`Table::coordinate`]: a value `x` is right to
/// `1e-7 sqrt(unit^2 + (x - centre)^2)`, but within [`NARROWEST`] of a score at which the quantile steps or bends.
pub(super) const ACCURACY: f64 = 1e-7;

/// A quantile as a rising curve of cubic pieces.
///
/// What is interpolated is `asinh((x - centre)/unit)`, so that heavy tails stay as accurate as the middle. Each piece
/// is a cubic Hermite polynomial whose slopes are kept within the limits that make it rise (Fritsch FN, Carlson RE.
/// SIAM J Numer Anal 1980;17:238-246: at most three times the slope of the chord, from memory).
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Table {
    from: f64,
    centre: f64,
    unit: f64,
    pieces: Vec<Piece>,
    /// First piece of each cell, and the number of all pieces behind the last.
    first: Vec<usize>,
}

/// One cubic piece: powers of the distance from where it starts.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Piece {
    start: f64,
    powers: [f64; 4],
}

impl Piece {
    fn at(&self, score: f64) -> f64 {
        let distance = score - self.start;
        self.powers.iter().rev().fold(0.0, |sum, power| sum * distance + power)
    }
}

impl Table {
    /// Tabulates a quantile that never falls with the score, from `from`, a whole number, to [`LARGEST_SCORE`].
    /// `centre` and `unit`, above 0, are a typical value and a typical distance from it.
    pub fn of(from: f64, centre: f64, unit: f64, quantile: impl Fn(f64) -> f64) -> Self {
        let mut table = Self { from, centre, unit, pieces: Vec::new(), first: Vec::new() };
        let coordinate = |score: f64| libm::asinh((quantile(score) - centre) / unit);
        let mut start = (from, coordinate(from));
        while start.0 < LARGEST_SCORE {
            table.first.push(table.pieces.len());
            let end = (start.0 + CELL, coordinate(start.0 + CELL));
            table.divide(start, end, &coordinate);
            start = end;
        }
        table.first.push(table.pieces.len());
        table
    }

    fn divide(&mut self, start: (f64, f64), end: (f64, f64), coordinate: &impl Fn(f64) -> f64) {
        let width = end.0 - start.0;
        let piece = Piece::between(start, end, coordinate);
        let fits = |part: f64| {
            let score = start.0 + part * width;
            (piece.at(score) - coordinate(score)).abs() <= ACCURACY
        };
        if width <= NARROWEST || (fits(0.5) && fits(0.25) && fits(0.75)) {
            self.pieces.push(piece);
        } else {
            let middle = start.0 + 0.5 * width;
            let middle = (middle, coordinate(middle));
            self.divide(start, middle, coordinate);
            self.divide(middle, end, coordinate);
        }
    }

    /// The quantile at a score.
    pub fn value(&self, score: f64) -> f64 {
        let score = score.clamp(self.from, LARGEST_SCORE);
        // Not negative and not beyond the last cell; a score that is no number falls into the first.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let cell = (((score - self.from) / CELL) as usize).min(self.first.len() - 2);
        let pieces = &self.pieces[self.first[cell]..self.first[cell + 1]];
        let piece = match pieces {
            [piece] => piece,
            _ => &pieces[pieces.partition_point(|piece| piece.start <= score).saturating_sub(1)],
        };
        self.centre + self.unit * libm::sinh(piece.at(score))
    }
}

impl Piece {
    fn between(start: (f64, f64), end: (f64, f64), coordinate: &impl Fn(f64) -> f64) -> Self {
        let width = end.0 - start.0;
        let chord = (end.1 - start.1) / width;
        // One-sided differences of second order, so that a bend at an end does not reach into the piece.
        let step = width / 64.0;
        let inwards = |at: (f64, f64), step: f64| {
            (-3.0 * at.1 + 4.0 * coordinate(at.0 + step) - coordinate(at.0 + 2.0 * step)) / (2.0 * step)
        };
        let rising = |slope: f64| slope.clamp(0.0, (3.0 * chord).max(0.0));
        let (first, last) = (rising(inwards(start, step)), rising(inwards(end, -step)));
        let powers = [
            start.1,
            first,
            (3.0 * chord - 2.0 * first - last) / width,
            (first + last - 2.0 * chord) / (width * width),
        ];
        Self { start: start.0, powers }
    }
}
