//! The stretch of values an axis shows.

/// Larger magnitudes are treated as no value: a picture of them means nothing and its arithmetic would overflow.
const LARGEST_DRAWN: f64 = 1e100;
/// Data narrower than this, relative to their size, count as one value.
const NO_WIDTH: f64 = 1e-6;

/// Narrower than this nothing has a width: steps of an axis would underflow.
const LEAST_WIDTH: f64 = 1e-100;

fn has_width(low: f64, high: f64) -> bool {
    high - low > (NO_WIDTH * low.abs().max(high.abs())).max(LEAST_WIDTH)
}

/// A stretch of finite values with a positive width.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Range {
    low: f64,
    high: f64,
}

impl Range {
    /// From the smaller to the larger of two finite values, widened if they are equal.
    pub fn between(one: f64, other: f64) -> Self {
        let (low, high) = (one.min(other), one.max(other));
        if has_width(low, high) {
            return Self { low, high };
        }
        let size = low.abs().max(high.abs());
        let half = if 0.5 * size > LEAST_WIDTH { 0.5 * size } else { 1.0 };
        Self { low: low - half, high: high + half }
    }

    pub fn low(self) -> f64 {
        self.low
    }

    pub fn high(self) -> f64 {
        self.high
    }

    pub fn width(self) -> f64 {
        self.high - self.low
    }

    pub fn holds(self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    pub fn with(self, value: f64) -> Self {
        Self { low: self.low.min(value), high: self.high.max(value) }
    }

    /// With a margin of `share` of the width at both ends.
    pub fn padded(self, share: f64) -> Self {
        let margin = share * self.width();
        Self { low: self.low - margin, high: self.high + margin }
    }

    /// About the same middle, but at least this wide.
    pub fn at_least(self, width: f64) -> Self {
        let margin = (0.5 * (width - self.width())).max(0.0);
        Self { low: self.low - margin, high: self.high + margin }
    }

    /// With a margin at the upper end only.
    pub fn with_headroom(self, share: f64) -> Self {
        Self { high: self.high + share * self.width(), ..self }
    }
}

/// Whether a value can be drawn at all.
pub(super) fn drawable(value: f64) -> bool {
    value.abs() <= LARGEST_DRAWN
}

/// The values that can be drawn, ascending.
pub(super) fn sorted(values: impl IntoIterator<Item = f64>) -> Vec<f64> {
    let mut sorted: Vec<f64> = values.into_iter().filter(|&value| drawable(value)).collect();
    sorted.sort_by(f64::total_cmp);
    sorted
}

/// What a set of sorted values looks like to an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Extent {
    /// There are none.
    Nothing,
    /// All are equal (to six digits): this value.
    OneValue(f64),
    /// They spread over this range; single far values may lie outside.
    Spread(Range),
}

impl Extent {
    pub fn of(sorted: &[f64]) -> Self {
        let (Some(&least), Some(&largest)) = (sorted.first(), sorted.last()) else { return Self::Nothing };
        if !has_width(least, largest) {
            return Self::OneValue(least);
        }
        let full = Range { low: least, high: largest };
        // A few far values must not press the rest into one column: then the axis shows the central 99 % with half
        // as much again on either side, and the picture says what lies outside.
        let tail = sorted.len() / 200;
        let central = (sorted[tail], sorted[sorted.len() - 1 - tail]);
        let core = central.1 - central.0;
        if tail > 0 && core > 0.0 && full.width() > 4.0 * core {
            let low = full.low.max(central.0 - 0.5 * core);
            return Self::Spread(Range { low, high: full.high.min(central.1 + 0.5 * core) });
        }
        Self::Spread(full)
    }

    /// The range shown when the given marks (limits, bias) should be seen with the data: a mark farther out than
    /// `reach` times the data's largest magnitude is left to an arrow.
    pub fn with_marks(self, marks: impl IntoIterator<Item = f64>, reach: f64) -> Range {
        let marks = marks.into_iter().filter(|&mark| drawable(mark));
        match self {
            Self::Spread(range) => {
                let size = range.low.abs().max(range.high.abs());
                marks.filter(|mark| mark.abs() <= reach * size).fold(range, Range::with)
            }
            Self::OneValue(value) => {
                let all: Vec<f64> = marks.collect();
                let least = all.iter().copied().fold(value, f64::min);
                let largest = all.iter().copied().fold(value, f64::max);
                Range::between(least, largest)
            }
            Self::Nothing => {
                let largest = marks.map(f64::abs).fold(0.0, f64::max);
                if largest > 0.0 { Range::between(-largest, largest) } else { Range::between(-1.0, 1.0) }
            }
        }
    }
}

/// At most `most` of the values, evenly spaced by their place in the slice.
pub(super) fn thinned<T: Copy>(values: &[T], most: usize) -> Vec<T> {
    if values.len() <= most {
        return values.to_vec();
    }
    (0..most).map(|place| values[place * values.len() / most]).collect()
}

/// The value at a proportion of sorted values, linear between neighbours.
pub(super) fn quantile(sorted: &[f64], proportion: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return 0.0 };
    let at = proportion.clamp(0.0, 1.0) * last as f64;
    // A place in the slice: not negative, not beyond its end.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let below = (at.floor() as usize).min(last);
    let above = (below + 1).min(last);
    sorted[below] + (at - below as f64) * (sorted[above] - sorted[below])
}
