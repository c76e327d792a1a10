//! Several tests at once: Holm's step-down correction (Holm S. Scand J Stat 1979;6:65-70).

/// Adjusted probabilities in the order given: the family of tests whose adjusted probability is below alpha contains a
/// wrong one with a probability of at most alpha, whatever the tests have in common.
#[must_use]
pub fn holm(probabilities: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..probabilities.len()).collect();
    order.sort_by(|&one, &other| probabilities[one].total_cmp(&probabilities[other]));
    let mut adjusted = vec![0.0; probabilities.len()];
    let mut largest: f64 = 0.0;
    for (rank, &which) in order.iter().enumerate() {
        let left = (probabilities.len() - rank) as f64;
        largest = largest.max((left * probabilities[which]).min(1.0));
        adjusted[which] = largest;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By the definition: the smallest times 4, the next times 3, never below the one before, never above 1.
    #[test]
    fn table_by_hand() {
        let found = holm(&[0.01, 0.04, 0.03, 0.005]);
        for (got, expected) in found.iter().zip([0.03, 0.06, 0.06, 0.02]) {
            assert!((got - expected).abs() < 1e-15, "{found:?}");
        }
        assert_eq!(holm(&[0.7]), [0.7]);
        assert_eq!(holm(&[0.7, 0.9]), [1.0, 1.0]);
        assert!(holm(&[]).is_empty());
    }
}
