//! Bounds of a proportion of trials where the trials of one device depend on each other.
//!
//! Devices are independent; nothing is assumed about the trials of one device. Device `d` has `n_d` trials, `k_d` of them
//! outside. With independent exponential variables `E_d` of mean 1 and the largest size `m`,
//!
//! ```text
//! T(u) = P(sum_d E_d (k_d - u n_d) + E_0 m (1 - u) > 0)
//! ```
//!
//! falls in `u`, and the upper bound with confidence `C` is where `T(u) = 1 - C`: the data and one more device that is
//! wholly outside, with random weights on devices. Where each device has one trial this is the bound of Clopper and Pearson
//! 1934. The bound never falls when one more trial is outside.
//!
//! The confidence is proved where the trials of each device are all outside or all within; in general it is a conjecture of
//! which no exception is known (Learned-Miller E, Thomas PS. arXiv:1905.06208; Phan M, Thomas PS, Learned-Miller E.
//! arXiv:2106.03163).

use super::exponentials::{Term, positive_at_most, probability_positive};
use super::interval::{Estimate, Interval};
use super::invert::bisect;
use super::order::{round_up, smallest};
use std::collections::BTreeMap;

/// More devices than this are not looked for.
const MOST_DEVICES: u64 = 1_000_000_000;

/// The trials of one device.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct DeviceCount {
    /// Number of trials outside, at most `trials`.
    pub outside: u64,
    /// Number of trials.
    pub trials: u64,
}

/// The trials of many devices, devices with equal counts together.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DeviceCounts {
    /// Counts, and the number of devices that have them.
    groups: Vec<(DeviceCount, u64)>,
}

impl FromIterator<DeviceCount> for DeviceCounts {
    /// Devices without trials are left out.
    fn from_iter<I: IntoIterator<Item = DeviceCount>>(devices: I) -> Self {
        let mut groups = BTreeMap::new();
        for DeviceCount { outside, trials } in devices.into_iter().filter(|device| device.trials > 0) {
            *groups.entry(DeviceCount { outside: outside.min(trials), trials }).or_insert(0) += 1;
        }
        Self { groups: groups.into_iter().collect() }
    }
}

impl DeviceCounts {
    /// Devices with equal counts together: each count with the number of devices that have it.
    #[must_use]
    pub fn of_groups(groups: impl IntoIterator<Item = (DeviceCount, u64)>) -> Self {
        Self { groups: groups.into_iter().filter(|(count, devices)| count.trials > 0 && *devices > 0).collect() }
    }

    /// Equal devices with no trial outside: a planned design at its best.
    #[must_use]
    pub fn none_outside(devices: u64, trials_each: u64) -> Self {
        Self::of_groups([(DeviceCount { outside: 0, trials: trials_each }, devices)])
    }

    /// Number of devices.
    #[must_use]
    pub fn devices(&self) -> u64 {
        self.groups.iter().map(|group| group.1).sum()
    }

    /// Number of trials.
    #[must_use]
    pub fn trials(&self) -> u64 {
        self.groups.iter().map(|(count, devices)| count.trials * devices).sum()
    }

    /// Number of trials outside.
    #[must_use]
    pub fn outside(&self) -> u64 {
        self.groups.iter().map(|(count, devices)| count.outside * devices).sum()
    }

    fn largest(&self) -> u64 {
        self.groups.iter().map(|(count, _)| count.trials).max().unwrap_or(0)
    }

    /// The same devices with outside and within exchanged.
    fn exchanged(&self) -> Self {
        let turn = |&(DeviceCount { outside, trials }, devices): &(DeviceCount, u64)| {
            (DeviceCount { outside: trials - outside, trials }, devices)
        };
        Self { groups: self.groups.iter().map(turn).collect() }
    }

    /// `T` at a proportion outside: how plausible it is that the true proportion is as large. Falls from 1 at 0 to 0 at 1.
    #[must_use]
    pub fn plausibility(&self, proportion_outside: f64) -> f64 {
        probability_positive(&self.terms(proportion_outside))
    }

    /// The weights of the exponential variables whose sum is above 0 with that probability.
    fn terms(&self, proportion_outside: f64) -> Vec<Term> {
        let of_group = |&(DeviceCount { outside, trials }, devices): &(DeviceCount, u64)| -> Term {
            (outside as f64 - proportion_outside * trials as f64, devices)
        };
        let one_more = (self.largest().max(1) as f64 * (1.0 - proportion_outside), 1);
        self.groups.iter().map(of_group).chain([one_more]).collect()
    }

    /// One-sided upper bound of the proportion outside; 1 if nothing bounds it.
    #[must_use]
    pub fn upper_bound(&self, confidence: f64) -> f64 {
        if self.outside() == self.trials() || !(confidence < 1.0) {
            return 1.0;
        }
        bisect(0.0, 1.0, |proportion| self.plausibility(proportion) <= 1.0 - confidence).1
    }

    /// One-sided lower bound of the proportion outside: 1 less the upper bound of the proportion within.
    #[must_use]
    pub fn lower_bound(&self, confidence: f64) -> f64 {
        1.0 - self.exchanged().upper_bound(confidence)
    }

    /// The proportion outside with its two-sided interval: each bound at half of what the confidence leaves. `None` without
    /// trials.
    #[must_use]
    pub fn proportion(&self, confidence: f64) -> Option<Estimate> {
        let each = 0.5 * (1.0 + confidence);
        let found = self.estimate()?;
        let interval = Interval { low: self.lower_bound(each), high: self.upper_bound(each), confidence };
        Some(Estimate { interval: Some(interval), ..found })
    }

    /// The proportion outside with the standard error of a ratio of totals of devices (Cochran WG. Sampling Techniques, 6.3
    /// and 9.3), without an interval.
    fn estimate(&self) -> Option<Estimate> {
        let (devices, trials) = (self.devices() as f64, self.trials());
        if trials == 0 {
            return None;
        }
        let value = self.outside() as f64 / trials as f64;
        let off = |count: &DeviceCount| count.outside as f64 - value * count.trials as f64;
        let squares: f64 = self.groups.iter().map(|(count, same)| *same as f64 * off(count) * off(count)).sum();
        let standard_error = (devices > 1.0).then(|| (squares * devices / (devices - 1.0)).sqrt() / trials as f64);
        Some(Estimate { value, interval: None, standard_error, count: trials })
    }

    /// Number of independent trials with the same standard error of the proportion outside; `None` without one.
    #[must_use]
    pub fn effective_number(&self) -> Option<f64> {
        let found = self.estimate()?;
        let standard_error = found.standard_error.filter(|&error| error > 0.0)?;
        Some(found.value * (1.0 - found.value) / (standard_error * standard_error))
    }

    /// Whether the devices show that at least `proportion` of all trials are within: the upper bound of the proportion
    /// outside is at most `1 - proportion`.
    #[must_use]
    pub fn passes(&self, proportion: f64, confidence: f64) -> bool {
        if self.outside() == self.trials() || !(proportion < 1.0 && confidence < 1.0) {
            return false;
        }
        if self.outside() == 0 {
            return self.fewest_devices(proportion, confidence) == Some(self.devices());
        }
        positive_at_most(&self.terms(1.0 - proportion), 1.0 - confidence)
    }

    /// Whether the devices show that fewer than `proportion` of all trials are within: the lower bound of the proportion
    /// outside is above `1 - proportion`.
    #[must_use]
    pub fn fails(&self, proportion: f64, confidence: f64) -> bool {
        // With all required, one trial outside is enough.
        self.outside() > 0 && self.exchanged().plausibility(proportion) < 1.0 - confidence
    }

    /// The fewest devices with which the requirement can pass, with no trial outside: these devices and as many more of the
    /// largest size as it takes; without any, equal devices. `None` if a billion are not enough.
    #[must_use]
    pub fn fewest_devices(&self, proportion: f64, confidence: f64) -> Option<u64> {
        // Only the device added is above 0 in `T`: T(u) = prod_d 1 / (1 + u n_d / (m (1 - u))); of equal devices
        // (1 - u)^devices. In logarithms, so that the answer for a thousand devices does not depend on rounding.
        let odds = (1.0 - proportion) / proportion;
        let of_group = |(count, devices): &(DeviceCount, u64)| {
            *devices as f64 * libm::log1p(odds * count.trials as f64 / self.largest() as f64)
        };
        let found: f64 = self.groups.iter().map(of_group).sum();
        let needed = -libm::log(1.0 - confidence) * (1.0 - 1e-12);
        let shown = |more: u64| found + more as f64 * libm::log1p(odds) >= needed;
        shown(MOST_DEVICES).then(|| self.devices() + smallest(0, MOST_DEVICES, shown))
    }
}

/// Devices from which on the bounds are of practical use: ten times the fewest among which one outside is expected at the
/// limit, 10 / (1 - proportion).
#[must_use]
pub fn advised_devices(proportion: f64) -> u64 {
    // A quotient that is whole but for rounding is not rounded up.
    round_up(10.0 / (1.0 - proportion) - 1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::binomial;
    use crate::analysis::order::needed_one_sided;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};

    /// Devices of equal size: number of devices for each number of trials outside.
    fn equal(trials: u64, groups: &[(u64, usize)]) -> DeviceCounts {
        let of_group = |&(outside, devices): &(u64, usize)| vec![DeviceCount { outside, trials }; devices];
        groups.iter().flat_map(of_group).collect()
    }

    /// Check values computed independently, by another program, from the definition of `T` (Gaffke N. 2005, from memory,
    /// gave this bound for a mean of values between 0 and 1).
    #[test]
    fn outside_bounds_computed_independently() {
        let unequal = [(3, 15), (2, 15), (1, 15), (1, 15)].into_iter().chain([(0, 15); 46]).chain([(0, 12); 10]);
        let unequal: DeviceCounts = unequal.map(|(outside, trials)| DeviceCount { outside, trials }).collect();
        for (devices, expected) in [
            (equal(5, &[(0, 20), (1, 6), (2, 3), (3, 1)]), 0.201_245_157_3),
            (equal(15, &[(0, 320)]), 0.009_317_979_4),
            (equal(15, &[(0, 319), (1, 1)]), 0.009_531_550_1),
            (equal(15, &[(0, 315), (1, 5)]), 0.010_385_372_7),
            (equal(15, &[(0, 319), (5, 1)]), 0.010_571_430_0),
            (equal(20, &[(0, 90), (1, 5), (4, 3), (20, 2)]), 0.070_207_321_2),
            (unequal, 0.058_512_905_6),
        ] {
            let found = devices.upper_bound(0.95);
            assert!((found - expected).abs() < 1e-9, "{found} against {expected}");
        }
        let lower = equal(20, &[(0, 90), (1, 5), (4, 3), (20, 2)]).lower_bound(0.95);
        assert!((lower - 0.010_826_299_6).abs() < 1e-9, "{lower}");
    }

    /// One trial a device, or devices that are wholly outside or wholly within: Clopper and Pearson's bounds.
    #[test]
    fn identity_clopper_and_pearson() {
        for (outside, devices) in [(0, 1), (1, 1), (0, 59), (3, 59), (58, 59), (59, 59), (40, 1000), (990, 20_000)] {
            for trials in [1, 7] {
                let counts = equal(trials, &[(0, devices - outside), (trials, outside)]);
                let (outside, devices) = (outside as u64, devices as u64);
                let near = |got: f64, expected: f64| {
                    assert!((got - expected).abs() < 1e-9, "{outside} of {devices}: {got} against {expected}");
                };
                for confidence in [0.6, 0.95, 0.999] {
                    near(counts.upper_bound(confidence), binomial::upper_bound(outside, devices, confidence));
                    near(counts.lower_bound(confidence), binomial::lower_bound(outside, devices, confidence));
                }
                for proportion in [0.001, 0.05, 0.5, 0.98] {
                    near(counts.plausibility(proportion), binomial::cumulative(outside, devices, proportion));
                }
                let (found, expected) = (counts.proportion(0.95), binomial::interval(outside, devices, 0.95));
                let interval = found.and_then(|found| found.interval).unwrap();
                near(interval.low, expected.low);
                near(interval.high, expected.high);
            }
        }
    }

    /// `T` by drawing its variables: few devices of unequal size.
    #[test]
    fn outside_plausibility_drawn() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(103);
        let repeats = 100_000;
        let devices =
            [(2, 6), (0, 6), (1, 4), (0, 5), (3, 3)].map(|(outside, trials)| DeviceCount { outside, trials });
        let counts: DeviceCounts = devices.into_iter().collect();
        for proportion in [0.2, 0.4, 0.7] {
            let mut positive = 0_u32;
            for _ in 0..repeats {
                let mut exponential = || -libm::log(1.0 - random.random::<f64>());
                let of_device = |device: &DeviceCount| device.outside as f64 - proportion * device.trials as f64;
                let sum: f64 = devices.iter().map(|device| of_device(device) * exponential()).sum();
                positive += u32::from(sum + 6.0 * (1.0 - proportion) * exponential() > 0.0);
            }
            let (share, found) = (f64::from(positive) / f64::from(repeats), counts.plausibility(proportion));
            let standard_error = (found * (1.0 - found) / f64::from(repeats)).sqrt();
            assert!((share - found).abs() < 3.5 * standard_error, "{proportion}: {found}, drawn {share}");
        }
    }

    /// Cases, and so repeats, that are all counted twice say nothing new of the devices.
    #[test]
    fn identity_equal_trials_counted_again() {
        let groups = [(0, 40), (1, 5), (4, 1)];
        let once = equal(5, &groups);
        for times in [2, 3, 100] {
            let again = equal(5 * times, &groups.map(|(outside, devices)| (outside * times, devices)));
            for proportion in [0.01, 0.05, 0.2] {
                assert!((once.plausibility(proportion) - again.plausibility(proportion)).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn identity_without_trials_and_with_all_outside() {
        let none = DeviceCounts::from_iter([DeviceCount::default(); 4]);
        assert_eq!(none, DeviceCounts::default());
        assert_eq!((none.upper_bound(0.95), none.lower_bound(0.95), none.proportion(0.95)), (1.0, 0.0, None));
        assert!(!none.passes(0.95, 0.95) && !none.fails(0.95, 0.95));
        let all = equal(3, &[(3, 40)]);
        assert_eq!(all.upper_bound(0.95), 1.0);
        assert!((all.lower_bound(0.95) - binomial::lower_bound(40, 40, 0.95)).abs() < 1e-9);
        assert!(all.fails(0.95, 0.95) && !all.passes(0.0, 0.95));
        assert_eq!((all.devices(), all.trials(), all.outside()), (40, 120, 120));
        for confidence in [1.0, 1.5] {
            assert_eq!((all.lower_bound(confidence), none.upper_bound(confidence)), (0.0, 1.0));
        }
        // All required: never shown, refuted by one.
        let one = equal(10, &[(0, 5000), (1, 1)]);
        assert!(one.fails(1.0, 0.95) && !equal(10, &[(0, 5000)]).passes(1.0, 0.95));
        assert_eq!(one.fewest_devices(1.0, 0.95), None);
    }

    /// `P^D <= 1 - C`: 59, 299 and 598 devices at 95 % confidence, as many as independent trials with none out (ISO 16269-6).
    #[test]
    fn table_fewest_devices() {
        let fewest = |proportion| DeviceCounts::default().fewest_devices(proportion, 0.95);
        assert_eq!([0.95, 0.99, 0.995].map(fewest), [Some(59), Some(299), Some(598)]);
        for (proportion, confidence) in
            [(0.9, 0.95), (0.5, 0.75), (0.5, 0.5), (0.995, 0.99), (0.95, 1.0 - 0.05 / 7.0)]
        {
            let needed = needed_one_sided(0, proportion, confidence).unwrap();
            for trials in [1, 15] {
                for devices in [needed - 1, needed, needed + 1] {
                    let counts = DeviceCounts::none_outside(devices, trials);
                    assert_eq!(counts.fewest_devices(proportion, confidence), Some(needed.max(devices)));
                    assert_eq!(counts.passes(proportion, confidence), devices >= needed, "{devices}");
                }
            }
        }
        assert_eq!([0.9, 0.95, 0.99, 0.995].map(advised_devices), [100, 200, 1000, 2000]);
    }

    /// A device cut short counts for less: 57 of 15 trials and two of 12 are enough, one of these is not.
    #[test]
    fn identity_fewest_devices_of_unequal_size() {
        let counts = |short: usize| -> DeviceCounts {
            let sizes = [15; 57].into_iter().chain(vec![12; short]);
            sizes.map(|trials| DeviceCount { outside: 0, trials }).collect()
        };
        let at_limit = |counts: &DeviceCounts| counts.plausibility(0.05) <= 0.05;
        assert_eq!(counts(1).fewest_devices(0.95, 0.95), Some(59));
        assert!(!at_limit(&counts(1)) && !counts(1).passes(0.95, 0.95));
        assert!(at_limit(&counts(2)) && counts(2).passes(0.95, 0.95));
    }

    proptest! {
        #![proptest_config(ProptestConfig {
            cases: 48, rng_seed: RngSeed::Fixed(1), failure_persistence: None, ..ProptestConfig::default()
        })]

        /// One more trial outside in any device lowers no bound and makes no requirement pass; a verdict agrees with its
        /// bound.
        #[test]
        fn identity_one_more_outside_never_helps(
            sizes in prop::collection::vec((1_u64..12, 0.0..1.0_f64), 1..80),
            chosen in 0_usize..80,
            often in prop::sample::select(vec![0.0, 0.1, 0.5]),
            proportion in prop::sample::select(vec![0.5, 0.9, 0.95, 0.99]),
        ) {
            // Devices differ: some have no trial outside, some all.
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // below 12
            let outside = |trials: u64, uniform: f64| {
                if uniform < often { (trials as f64 * uniform / often) as u64 } else { 0 }
            };
            let of = |&(trials, uniform): &(u64, f64)| DeviceCount { outside: outside(trials, uniform), trials };
            let mut devices: Vec<DeviceCount> = sizes.iter().map(of).collect();
            let before: DeviceCounts = devices.iter().copied().collect();
            let chosen = chosen % devices.len();
            prop_assume!(devices[chosen].outside < devices[chosen].trials);
            devices[chosen].outside += 1;
            let after: DeviceCounts = devices.into_iter().collect();
            for confidence in [0.8, 0.95] {
                prop_assert!(after.upper_bound(confidence) >= before.upper_bound(confidence) - 1e-11);
                prop_assert!(after.lower_bound(confidence) >= before.lower_bound(confidence) - 1e-11);
                prop_assert!(before.passes(proportion, confidence) || !after.passes(proportion, confidence));
                prop_assert!(!before.fails(proportion, confidence) || after.fails(proportion, confidence));
                for counts in [&before, &after] {
                    let allowed = 1.0 - proportion;
                    let (low, high) = (counts.lower_bound(confidence), counts.upper_bound(confidence));
                    prop_assert_eq!(counts.passes(proportion, confidence), high <= allowed + 1e-9);
                    prop_assert!(!counts.fails(proportion, confidence) || low > allowed - 1e-9);
                    prop_assert!(low <= high);
                }
            }
        }
    }
}
