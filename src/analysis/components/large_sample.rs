//! Intervals of weighted sums of mean squares.

use super::anova::MeanSquare;
use crate::analysis::interval::Interval;
use crate::analysis::invert::{chi_squared_around, fisher_above};

/// Interval of a weighted sum of mean squares by the modified large-sample method, exact for a single one and for normal
/// errors (Graybill FA, Wang CM. J Am Stat Assoc 1980;75:869-873, all weights positive; Ting N et al. J Stat Comput Simul
/// 1990;35:135-143, some negative). It keeps its confidence where Satterthwaite's does not: with few devices and with
/// differences.
pub(super) fn interval(weights: [f64; 3], squares: &[MeanSquare; 3], raw: f64, confidence: f64) -> Option<Interval> {
    let tail = 0.5 * (1.0 - confidence);
    let used: Vec<(f64, f64, f64)> = weights
        .iter()
        .zip(squares)
        .filter(|(weight, square)| **weight != 0.0 && square.degrees_of_freedom > 0.0)
        .map(|(&weight, square)| (weight, weight.abs() * square.value, square.shown))
        .collect();
    if used.is_empty() {
        return None;
    }
    // How far each mean square may lie above and below its expectation, as parts of itself.
    let reach = |n: f64| {
        let (below, above) = chi_squared_around(tail, n);
        (1.0 - n / above, n / below - 1.0)
    };
    let (mut down, mut up) = (0.0, 0.0);
    for &(weight, size, n) in &used {
        let (g, h) = reach(n);
        let (lower, upper) = if weight > 0.0 { (g, h) } else { (h, g) };
        down += lower * lower * size * size;
        up += upper * upper * size * size;
        for &(_, other_size, m) in used.iter().filter(|other| weight > 0.0 && other.0 < 0.0) {
            let (g_other, h_other) = reach(m);
            let large = fisher_above(tail, n, m);
            let small = 1.0 / fisher_above(tail, m, n);
            let cross =
                |f: f64, mine: f64, theirs: f64| ((f - 1.0) * (f - 1.0) - mine * mine * f * f - theirs * theirs) / f;
            down += cross(large, g, h_other) * size * other_size;
            up += cross(small, h, g_other) * size * other_size;
        }
    }
    let ends = Interval {
        low: (raw - down.max(0.0).sqrt()).max(0.0),
        high: (raw + up.max(0.0).sqrt()).max(0.0),
        confidence,
    };
    (ends.low.is_finite() && ends.high.is_finite()).then_some(ends)
}
