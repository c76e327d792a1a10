//! Coverage intervals of a distribution that is known by its draws (JCGM 101:2008, 5.3 and 7.7).

/// An interval that holds a proportion of the draws.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoverageInterval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl CoverageInterval {
    /// Distance between its ends.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.high - self.low
    }
}

/// Probabilistically symmetric: as much beyond one end as beyond the other. `None` for fewer than two ascending values
/// or a proportion that leaves nothing.
#[must_use]
pub fn symmetric(sorted: &[f64], proportion: f64) -> Option<CoverageInterval> {
    let inside = steps(sorted, proportion)?;
    let first = (sorted.len() - 1 - inside).div_ceil(2);
    Some(CoverageInterval { low: sorted[first], high: sorted[first + inside] })
}

/// The shortest of all; the first one where several are. `None` likewise.
#[must_use]
pub fn shortest(sorted: &[f64], proportion: f64) -> Option<CoverageInterval> {
    let inside = steps(sorted, proportion)?;
    let candidates = sorted.iter().zip(&sorted[inside..]).map(|(&low, &high)| CoverageInterval { low, high });
    candidates.min_by(|one, other| one.length().total_cmp(&other.length()))
}

/// How many ranks lie between the ends.
fn steps(sorted: &[f64], proportion: f64) -> Option<usize> {
    let count = sorted.len();
    if count < 2 || !(0.0 < proportion && proportion < 1.0) {
        return None;
    }
    // Positive and at most the number of values.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let inside = (proportion * count as f64 + 0.5) as usize;
    Some(inside.clamp(1, count - 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_ends_of_known_draws() {
        let flat: Vec<f64> = (0..=100).map(f64::from).collect();
        assert_eq!(symmetric(&flat, 0.9), Some(CoverageInterval { low: 5.0, high: 96.0 }));
        let bent: Vec<f64> = flat.iter().map(|x| x * x).collect();
        assert_eq!(shortest(&bent, 0.9).unwrap().low, 0.0);
        assert!(shortest(&bent, 0.9).unwrap().length() <= symmetric(&bent, 0.9).unwrap().length());
        assert_eq!(symmetric(&[3.0, 3.0, 3.0], 0.95).unwrap().length(), 0.0);
        assert_eq!((symmetric(&[1.0], 0.5), shortest(&flat, 1.0), symmetric(&flat, f64::NAN)), (None, None, None));
    }
}
