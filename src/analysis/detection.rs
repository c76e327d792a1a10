//! What a random sample finds: the share of bad cases of which it holds at least one with a stated probability.

/// The smallest share of bad cases among `all` of which a sample of `sampled`, drawn without replacement, holds at least one
/// with this probability; `None` where no share does (nothing is sampled).
///
/// With K bad cases of N and n sampled, none is found with the probability `C(N - K, n) / C(N, n)`, the product of
/// `(N - n - j) / (N - j)` over `j < K` (hypergeometric distribution).
#[must_use]
pub fn share_found(sampled: u64, all: u64, probability: f64) -> Option<f64> {
    let mut missed = 1.0;
    for bad in 0..all {
        missed *= all.saturating_sub(sampled + bad) as f64 / (all - bad) as f64;
        if missed <= 1.0 - probability {
            return Some((bad + 1) as f64 / all as f64);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of very many cases the sample is binomial: (1 - f)^n = 1 - p (Wilks SS. Ann Math Stat 1941;12:91-96, from memory: 59
    /// cases for 5 % with 95 %, 299 for 1 %).
    #[test]
    fn table_of_very_many_cases() {
        let share = |sampled| share_found(sampled, 10_000_000, 0.95).unwrap();
        assert!(share(59) <= 0.05 && share(58) > 0.05);
        assert!(share(299) <= 0.01 && share(298) > 0.01);
        let closed = 1.0 - libm::pow(0.01, 1.0 / 500.0);
        assert!((share_found(500, 10_000_000, 0.99).unwrap() - closed).abs() < 1e-6);
    }

    /// Every sample of three of seven cases, counted one by one.
    #[test]
    fn outside_brute_force_of_few_cases() {
        for bad in 1..=7_u32 {
            let samples: Vec<u32> = (0_u32..128).filter(|set| set.count_ones() == 3).collect();
            let holds = samples.iter().filter(|set| *set & ((1 << bad) - 1) != 0).count();
            let probability = holds as f64 / samples.len() as f64;
            let found = share_found(3, 7, probability - 1e-12).unwrap();
            assert!(found <= f64::from(bad) / 7.0 + 1e-12, "{bad}: {found}");
            if probability < 1.0 {
                assert!(share_found(3, 7, probability + 1e-12).unwrap() > f64::from(bad) / 7.0, "{bad}");
            }
        }
        assert_eq!(share_found(7, 7, 0.99), Some(1.0 / 7.0));
        assert_eq!(share_found(0, 7, 0.99), None);
    }
}
