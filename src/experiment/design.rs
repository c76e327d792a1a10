//! How trials share devices and cases.

use crate::simulation::CaseKey;

/// A nested design: several cases on each device, several repeats of each case. The number of devices is that of the
/// trials over [`Design::trials_of_a_device`], so that a longer run adds devices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Design {
    /// Cases of each device.
    pub cases: u64,
    /// Repeats of each case.
    pub repeats: u32,
}

impl Design {
    /// Trials that one device takes.
    #[must_use]
    pub fn trials_of_a_device(&self) -> u64 {
        self.cases * u64::from(self.repeats)
    }

    /// Devices in so many trials, the last one perhaps in part.
    #[must_use]
    pub fn devices(&self, trials: u64) -> u64 {
        trials.div_ceil(self.trials_of_a_device().max(1))
    }

    /// Device, case and repeat of a trial: repeats of a case follow each other, then come the cases of a device. Cases are
    /// counted through all devices.
    #[must_use]
    pub fn key(&self, seed: u64, trial: u64) -> CaseKey {
        let repeats = u64::from(self.repeats.max(1));
        CaseKey {
            seed,
            device: trial / self.trials_of_a_device().max(1),
            case: trial / repeats,
            // Fewer than the repeats, which are 32 bits.
            repeat: u32::try_from(trial % repeats).unwrap_or(u32::MAX),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_trials_in_their_places() {
        let design = Design { cases: 3, repeats: 2 };
        let place = |trial| {
            let key = design.key(9, trial);
            (key.device, key.case, key.repeat)
        };
        let places: Vec<_> = (0..8).map(place).collect();
        let expected = [(0, 0, 0), (0, 0, 1), (0, 1, 0), (0, 1, 1), (0, 2, 0), (0, 2, 1), (1, 3, 0), (1, 3, 1)];
        assert_eq!(places, expected);
        assert_eq!((design.trials_of_a_device(), design.devices(12), design.devices(13)), (6, 2, 3));
    }
}
