//! `[planning]`: what the number of trials is planned for.

use super::spec::Reader;
use serde::{Deserialize, Serialize};

/// Assumptions about the truth under which the probability of a pass is stated, and the precision that is aimed at. They
/// move no draw and no verdict.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Assumptions {
    /// True proportions outside a limit, each as a share of the allowed proportion: 0 or more and less than 1, ascending.
    pub outside_of_allowed: Vec<f64>,
    /// Shares of the variance that is between devices, for a nested design: 0 to 1, ascending.
    pub device_share: Vec<f64>,
    /// Monte Carlo standard error that is aimed at, for angles in degrees.
    pub mcse_deg: f64,
    /// The same for lengths in mm.
    pub mcse_mm: f64,
}

impl Reader<'_, '_> {
    /// The assumptions; `None` with faults.
    pub fn planning(&mut self) -> Option<Assumptions> {
        let written: Assumptions = self.value("planning")?;
        let Assumptions { outside_of_allowed, device_share, .. } = &written;
        for (key, shares, one, expected) in [
            ("outside_of_allowed", outside_of_allowed, false, "0 or more and less than 1, the smallest first"),
            ("device_share", device_share, true, "0 to 1, the smallest first"),
        ] {
            let path = format!("planning.{key}");
            self.demand(!shares.is_empty(), &path, "no number", "at least one");
            let within = |share: &f64| *share >= 0.0 && (*share < 1.0 || (one && *share == 1.0));
            let sound = shares.iter().all(within) && shares.windows(2).all(|pair| pair[0] < pair[1]);
            self.demand(sound, &path, format_args!("{shares:?}"), expected);
        }
        for (key, value) in [("mcse_deg", written.mcse_deg), ("mcse_mm", written.mcse_mm)] {
            self.demand(value > 0.0, &format!("planning.{key}"), value, "more than 0");
        }
        Some(written)
    }
}

#[cfg(test)]
mod tests {
    use crate::experiment::Plan;

    #[test]
    fn identity_what_may_be_assumed() {
        let plan = |text: &str| Plan::parse("planning.toml", &format!("seed = 1\n[planning]\n{text}\n"));
        let stated = plan("outside_of_allowed = [0.0, 0.3]").unwrap();
        assert_eq!(
            (stated.planning.outside_of_allowed, stated.planning.device_share),
            (vec![0.0, 0.3], vec![0.0, 0.5])
        );
        for text in [
            "outside_of_allowed = []",
            "outside_of_allowed = [1.0]",
            "outside_of_allowed = [-0.1]",
            "outside_of_allowed = [0.5, 0.2]",
            "device_share = [1.1]",
            "mcse_deg = 0.0",
            "mcse_mm = -1.0",
            "probability = 0.8",
        ] {
            assert!(plan(text).is_err(), "{text}");
        }
        assert!(plan("device_share = [1.0]").is_ok());
    }
}
