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

/// Probabilistically symmetric: as much beyond one end as beyond the other (JCGM 101:2008, 7.7.2). Of `M` values with `q`
/// ranks between the ends the lower rank is `(M - q)/2`, or `(M - q + 1)/2` where that is no whole number. `None` for fewer
/// than two ascending values or a proportion that leaves nothing.
#[must_use]
pub fn symmetric(sorted: &[f64], proportion: f64) -> Option<CoverageInterval> {
    let inside = steps(sorted, proportion)?;
    // Ranks count from 1, places from 0.
    let first = (sorted.len() - inside).div_ceil(2) - 1;
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

    /// The clause's rule for 95 %: of 1,000 draws the 25th and the 975th, of 10,000 the 250th and the 9,750th; of 999, whose
    /// 949 ranks leave 50, the 25th and the 974th.
    #[test]
    fn table_ranks_of_the_symmetric_interval() {
        for (draws, low, high) in [(1000, 25.0, 975.0), (10_000, 250.0, 9750.0), (999, 25.0, 974.0)] {
            let ranks: Vec<f64> = (1..=draws).map(f64::from).collect();
            assert_eq!(symmetric(&ranks, 0.95), Some(CoverageInterval { low, high }), "{draws}");
        }
    }

    #[test]
    fn identity_ends_of_known_draws() {
        let flat: Vec<f64> = (0..=100).map(f64::from).collect();
        assert_eq!(symmetric(&flat, 0.9), Some(CoverageInterval { low: 4.0, high: 95.0 }));
        let bent: Vec<f64> = flat.iter().map(|x| x * x).collect();
        assert_eq!(shortest(&bent, 0.9).unwrap().low, 0.0);
        assert!(shortest(&bent, 0.9).unwrap().length() <= symmetric(&bent, 0.9).unwrap().length());
        assert_eq!(symmetric(&[3.0, 3.0, 3.0], 0.95).unwrap().length(), 0.0);
        assert_eq!((symmetric(&[1.0], 0.5), shortest(&flat, 1.0), symmetric(&flat, f64::NAN)), (None, None, None));
    }
}
