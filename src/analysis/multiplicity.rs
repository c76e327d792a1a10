//! Several tests at once: the chance of any wrong finding among them stays at alpha.

/// How the primary claims of a plan are tested together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Multiplicity {
    /// Holm's step-down correction, in whatever order.
    #[default]
    Holm,
    /// In the order of the plan, each at the full alpha, until one is not shown.
    FixedSequence,
}

impl Multiplicity {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Holm, Self::FixedSequence];

    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Holm => "holm",
            Self::FixedSequence => "fixed-sequence",
        }
    }

    /// Adjusted probabilities, in the order given: what is at most alpha is shown.
    #[must_use]
    pub fn adjusted(self, probabilities: &[f64]) -> Vec<f64> {
        match self {
            Self::Holm => holm(probabilities),
            Self::FixedSequence => fixed_sequence(probabilities),
        }
    }
}

/// The largest probability up to each place: a claim is shown only if all before it are (Maurer W, Hothorn LA, Lehmacher W.
/// 1995, from memory).
fn fixed_sequence(probabilities: &[f64]) -> Vec<f64> {
    let largest = |largest: &mut f64, p: &f64| {
        *largest = largest.max(*p);
        Some(*largest)
    };
    probabilities.iter().scan(0.0, largest).collect()
}

/// Holm's adjusted probabilities in the order given (Holm S. Scand J Stat 1979;6:65-70): the tests whose adjusted
/// probability is at most alpha contain a wrong one with a probability of at most alpha, whatever the tests have in common.
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
        assert_eq!(
            Multiplicity::FixedSequence.adjusted(&[0.01, 0.04, 0.03, 0.2, 0.01]),
            [0.01, 0.04, 0.04, 0.2, 0.2]
        );
    }
}
