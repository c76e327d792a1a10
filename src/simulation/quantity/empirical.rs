//! The distribution of measured values.

use super::tail::Tail;
use crate::simulation::normal;

/// The user's own values as a distribution: the `i`-th smallest of `n` stands at the probability `(i - 1/2)/n`,
/// straight lines between them, and nothing beyond the smallest and the largest (after the approximation of a
/// distribution function from a sample in JCGM 101:2008, 7.5). Its mean is the mean of the values.
#[derive(Clone, Debug, PartialEq)]
pub struct Empirical {
    /// The file they were read from, as written.
    pub(super) csv: Option<String>,
    /// Its column.
    pub(super) column: Option<String>,
    /// Ascending, at least one.
    pub(super) values: Vec<f64>,
}

impl Empirical {
    /// `values` must not be empty.
    pub(super) fn new(csv: Option<String>, column: Option<String>, mut values: Vec<f64>) -> Self {
        values.sort_by(f64::total_cmp);
        Self { csv, column, values }
    }

    pub(super) fn value(&self, score: f64) -> f64 {
        let values = &self.values;
        let last = values.len() - 1;
        // From the nearer end, so that both tails keep their digits.
        let probability = normal::cumulative(-score.abs());
        let place = (probability * values.len() as f64 - 0.5).clamp(0.0, last as f64);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // between 0 and the last index
        let index = place as usize;
        let (part, next) = (place - index as f64, (index + 1).min(last));
        let (from, to) =
            if score < 0.0 { (values[index], values[next]) } else { (values[last - index], values[last - next]) };
        from + part * (to - from)
    }

    pub(super) fn tails(&self, value: f64) -> Tail {
        let n = self.values.len();
        let reached = self.values.partition_point(|&known| known <= value);
        if reached == 0 {
            return Tail::NONE;
        }
        if reached == n {
            return Tail::ALL;
        }
        let (from, to) = (self.values[reached - 1], self.values[reached]);
        let place = (reached as f64 - 0.5) + (value - from) / (to - from);
        Tail { lower: place / n as f64, upper: (n as f64 - place) / n as f64 }
    }

    pub(super) fn mean_and_sd(&self) -> (f64, f64) {
        let n = self.values.len() as f64;
        let (first, last) = (self.values[0], self.values[self.values.len() - 1]);
        let mean = self.values.iter().sum::<f64>() / n;
        let squared = |value: f64| (value - mean) * (value - mean);
        let ends = 0.5 * (squared(first) + squared(last));
        let between = |pair: &[f64]| {
            let (a, b) = (pair[0] - mean, pair[1] - mean);
            (a * a + a * b + b * b) / 3.0
        };
        (mean, ((ends + self.values.windows(2).map(between).sum::<f64>()) / n).sqrt())
    }
}
