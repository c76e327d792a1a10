//! A rare event: one distribution, and now and then another.

use super::Quantity;
use super::table::Table;
use super::tail::Tail;

/// A main distribution and, with a probability, another: the quantile of their mixture, so that it takes one score
/// like any other.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixture {
    pub(super) main: Quantity,
    pub(super) event: Quantity,
    pub(super) probability: f64,
    table: Table,
}

impl Mixture {
    /// `probability` must be 0 to 1.
    pub(super) fn new(main: Quantity, event: Quantity, probability: f64) -> Self {
        let exact = |score| quantile(&main, &event, probability, score);
        let (centre, reach) = (exact(0.0), exact(1.0) - exact(-1.0));
        // Where the main distribution is a constant, the whole range is the measure.
        let unit = [0.5 * reach, (exact(6.0) - exact(-6.0)) / 12.0].into_iter().find(|&unit| unit > 0.0);
        let table = Table::of(-super::table::LARGEST_SCORE, centre, unit.unwrap_or(1.0), exact);
        Self { main, event, probability, table }
    }

    pub(super) fn value(&self, score: f64) -> f64 {
        self.table.value(score)
    }

    pub(super) fn tails(&self, value: f64) -> Tail {
        self.main.tails(value).mixed(self.event.tails(value), self.probability)
    }

    pub(super) fn mean_and_sd(&self) -> (f64, f64) {
        let (main, event) = (self.main.mean_and_sd(), self.event.mean_and_sd());
        let (p, apart) = (self.probability, event.0 - main.0);
        let variance = (1.0 - p) * main.1 * main.1 + p * event.1 * event.1 + p * (1.0 - p) * apart * apart;
        (main.0 + p * apart, variance.sqrt())
    }

    /// The quantile itself, without the table.
    #[cfg(test)]
    pub(super) fn exact(&self, score: f64) -> f64 {
        quantile(&self.main, &self.event, self.probability, score)
    }
}

/// The smallest value up to which the mixture has the probability of a score: it lies between the quantiles of the two.
fn quantile(main: &Quantity, event: &Quantity, probability: f64, score: f64) -> f64 {
    let (one, other) = (main.value(score), event.value(score));
    let (mut low, mut high) = (one.min(other), one.max(other));
    let span = high - low;
    let excess = |value: f64| main.tails(value).mixed(event.tails(value), probability).excess(score);
    let mut off = (excess(low), excess(high));
    if off.0 >= 0.0 {
        return low;
    }
    // A step of the distribution function, such as a constant has, stands at one of the two ends.
    if excess(high.next_down()) < 0.0 {
        return high;
    }
    // False position after Illinois (Dowell M, Jarratt P. BIT 1971;11:168-174), every third time the middle.
    for turn in 1.. {
        let middle = low + 0.5 * (high - low);
        let between = |value: f64| low < value && value < high;
        if !between(middle) || high - low <= 1e-13 * (low.abs() + high.abs()) + 1e-16 * span {
            break;
        }
        let crossing = (low * off.1 - high * off.0) / (off.1 - off.0);
        let next = if turn % 3 == 0 || !between(crossing) { middle } else { crossing };
        let found = excess(next);
        if found.abs() <= 1e-14 {
            return next;
        }
        if found > 0.0 {
            (high, off) = (next, (0.5 * off.0, found));
        } else {
            (low, off) = (next, (found, 0.5 * off.1));
        }
    }
    high
}
