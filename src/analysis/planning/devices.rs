//! Nested designs: the probability of a pass by simulation, and how many devices give a stated one.
//!
//! What is assumed of a device: its cases are outside with a probability of its own, and independently of each other given
//! the device. That probability is the one at which a normal score, of which the stated share of variance is between
//! devices, exceeds the threshold that gives the stated proportion over all devices. Repeats of one case agree, so they add
//! nothing: the bound depends on the proportions of the devices alone.

use super::independent::trials_needed;
use crate::analysis::Rule;
use crate::analysis::device_bound::{DeviceCount, DeviceCounts};
use crate::analysis::invert::{normal_below, normal_quantile};
use crate::analysis::order::round_up;
use crate::analysis::quadrature;
use rand::rngs::Xoshiro256PlusPlus;
use rand::{Rng, SeedableRng};
use rayon::prelude::*;

/// Simulated runs behind each probability; its standard error is at most 2.5 %.
const RUNS: u64 = 400;
/// The largest number of devices that is looked for.
pub const MOST_DEVICES: u64 = 5000;
/// More cases of a device than this tell no more of its proportion than is needed here.
const MOST_CASES: u64 = 1000;
/// Seed of the simulated runs; each run has a stream of its own.
const SEED: u64 = 0x706c_616e_6e65_6473;
/// Panels of the integral over devices, from -9 to 9 standard deviations.
const PANELS: u32 = 24;

/// A nested design under an assumption about the truth.
#[derive(Clone, Debug)]
pub struct AssumedDevices {
    rule: Rule,
    cases: u64,
    outside: f64,
    /// Probability that at most so many cases of a device are outside, for 0, 1, ... cases.
    cumulative: Vec<f64>,
}

impl AssumedDevices {
    /// Devices with so many cases each, if truly the proportion `outside` of all cases is outside the acceptance limit and
    /// the share `device_share` of the variance is between devices; both 0 to 1.
    #[must_use]
    pub fn new(rule: &Rule, cases: u64, outside: f64, device_share: f64) -> Self {
        let cases = cases.clamp(1, MOST_CASES);
        Self { rule: *rule, cases, outside, cumulative: cumulative(cases, outside, device_share) }
    }

    /// Probability that a run of so many devices passes.
    #[must_use]
    pub fn probability(&self, devices: u64) -> f64 {
        if devices < fewest_devices(&self.rule).unwrap_or(u64::MAX) {
            return 0.0;
        }
        let passed = (0..RUNS).into_par_iter().filter(|&run| self.passes(run, devices)).count();
        passed as f64 / RUNS as f64
    }

    /// About the smallest number of devices that passes with the probability, to 2 %; `None` beyond [`MOST_DEVICES`].
    #[must_use]
    pub fn devices_needed(&self, probability: f64) -> Option<u64> {
        let fewest = fewest_devices(&self.rule)?;
        let near = self.near(probability)?.max(fewest);
        if fewest > MOST_DEVICES || near > 2 * MOST_DEVICES {
            return None;
        }
        let reached = |devices: u64| self.probability(devices) >= probability;
        let mut high = near.min(MOST_DEVICES);
        let mut low;
        if reached(high) {
            loop {
                if high == fewest {
                    return Some(high);
                }
                low = high.saturating_sub(high / 5 + 1).max(fewest);
                if !reached(low) {
                    break;
                }
                high = low;
            }
        } else {
            loop {
                if high == MOST_DEVICES {
                    return None;
                }
                (low, high) = (high, (high + high / 4 + 1).min(MOST_DEVICES));
                if reached(high) {
                    break;
                }
            }
        }
        while high - low > (high / 50).max(1) {
            let middle = low + (high - low) / 2;
            if reached(middle) {
                high = middle;
            } else {
                low = middle;
            }
        }
        Some(high)
    }

    /// Where the search begins: as many devices as have the independent trials that are needed, times the variance of the
    /// count of a device over that of independent cases (design effect; Kish L. Survey Sampling 1965, 8.2; from memory).
    fn near(&self, probability: f64) -> Option<u64> {
        let trials = trials_needed(&self.rule, self.outside, probability)?.least as f64;
        let n = self.cases as f64;
        let independent = n * self.outside * (1.0 - self.outside);
        if !(independent > 0.0) {
            return Some(0);
        }
        let mut below = 0.0;
        let mut squares = 0.0;
        for (k, &at_most) in self.cumulative.iter().chain([&1.0]).enumerate() {
            let off = k as f64 - n * self.outside;
            squares += off * off * (at_most - below);
            below = at_most;
        }
        Some(round_up((trials * (squares / independent).max(1.0) / n).min(1e12)))
    }

    /// Whether one simulated run passes. A run of more devices begins with that of fewer.
    fn passes(&self, run: u64, devices: u64) -> bool {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(SEED ^ run.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        // Number of devices with 0, 1, ... cases outside.
        let mut same = vec![0_u64; self.cumulative.len() + 1];
        for _ in 0..devices {
            // The upper 53 bits, between 0 and 1.
            let uniform = (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
            same[self.cumulative.partition_point(|&at_most| at_most <= uniform)] += 1;
        }
        let trials = self.cases;
        let counts = (0..).zip(same).map(|(outside, devices)| (DeviceCount { outside, trials }, devices));
        DeviceCounts::of_groups(counts).passes(self.rule.proportion, self.rule.confidence)
    }
}

/// The fewest devices with which a rule can be passed, none outside; `None` beyond a billion.
#[must_use]
pub fn fewest_devices(rule: &Rule) -> Option<u64> {
    DeviceCounts::default().fewest_devices(rule.proportion, rule.confidence)
}

/// Distribution function of the number of cases of a device that are outside: binomial given the device, integrated over
/// devices. The last value is that of all cases but one.
fn cumulative(cases: u64, outside: f64, device_share: f64) -> Vec<f64> {
    let n = cases as f64;
    let mut terms = vec![0.0; usize::try_from(cases + 1).unwrap_or(usize::MAX)];
    let mut add = |proportion: f64, weight: f64| {
        let logs = [libm::log(proportion), libm::log1p(-proportion)];
        for (k, term) in terms.iter_mut().enumerate() {
            let k = k as f64;
            // 0 times the logarithm of 0 is 0 here.
            let power = |times: f64, log: f64| if times == 0.0 { 0.0 } else { times * log };
            let ways = libm::lgamma(n + 1.0) - libm::lgamma(k + 1.0) - libm::lgamma(n - k + 1.0);
            *term += weight * libm::exp(ways + power(k, logs[0]) + power(n - k, logs[1]));
        }
    };
    if device_share <= 0.0 || outside <= 0.0 || outside >= 1.0 {
        add(outside.clamp(0.0, 1.0), 1.0);
    } else if device_share >= 1.0 {
        add(0.0, 1.0 - outside);
        add(1.0, outside);
    } else {
        let threshold = normal_quantile(outside);
        let density = |x: f64| libm::exp(-0.5 * x * x) / (2.0 * std::f64::consts::PI).sqrt();
        for (x, weight) in quadrature::nodes(-9.0, 9.0, PANELS) {
            let score = (threshold + device_share.sqrt() * x) / (1.0 - device_share).sqrt();
            add(normal_below(score), weight * density(x));
        }
    }
    let mut sum = 0.0;
    terms.pop();
    for term in &mut terms {
        sum += *term;
        *term = sum;
    }
    terms
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::binomial;
    use crate::analysis::planning::{probability_of_pass, trials_needed};
    use rand_distr::{Distribution, StandardNormal};

    const RULE: Rule = Rule::absolute(1.0, 0.95, 0.95);

    /// 59 and 299 devices at 95 % confidence, as many as independent trials (ISO 16269-6).
    #[test]
    fn table_fewest_devices() {
        assert_eq!(fewest_devices(&RULE), Some(59));
        assert_eq!(fewest_devices(&Rule { proportion: 0.99, ..RULE }), Some(299));
        assert_eq!(AssumedDevices::new(&RULE, 10, 0.0, 0.5).probability(58), 0.0);
        assert_eq!(AssumedDevices::new(&RULE, 10, 0.0, 0.5).probability(59), 1.0);
        assert_eq!(AssumedDevices::new(&RULE, 10, 0.0, 0.5).devices_needed(0.9), Some(59));
    }

    /// The distribution of counts keeps the stated proportion, and a share of 0 is binomial; with a share between, drawn
    /// scores give the same.
    #[test]
    fn outside_counts_of_a_device() {
        for share in [0.0, 0.1, 0.5, 0.9, 0.99, 1.0] {
            let cumulative = cumulative(20, 0.03, share);
            // The mean of a count is the sum of the probabilities that it is exceeded.
            let mean: f64 = cumulative.iter().map(|at_most| 1.0 - at_most).sum();
            assert!((mean / 20.0 - 0.03).abs() < 1e-6, "{share}: {mean}");
        }
        for (k, at_most) in (0_u64..).zip(cumulative(20, 0.03, 0.0)) {
            assert!((at_most - binomial::cumulative(k, 20, 0.03)).abs() < 1e-12, "{k}");
        }
        let mut random = Xoshiro256PlusPlus::seed_from_u64(71);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let (repeats, threshold) = (20_000, normal_quantile(0.97));
        let mut counts = [0_u32; 20];
        for _ in 0..repeats {
            let device = normal();
            let over = (0..20).filter(|_| 0.5_f64.sqrt() * (device + normal()) > threshold).count();
            (over..20).for_each(|k| counts[k] += 1);
        }
        for (k, at_most) in cumulative(20, 0.03, 0.5).into_iter().enumerate() {
            let share = f64::from(counts[k]) / f64::from(repeats);
            let standard_error = (at_most * (1.0 - at_most) / f64::from(repeats)).sqrt();
            assert!((share - at_most).abs() <= 3.5 * standard_error + 1e-9, "{k}: {share} of {at_most}");
        }
    }

    /// One case a device, or cases that all agree: devices are independent trials, whose probability is exact.
    #[test]
    fn outside_devices_as_independent_trials() {
        for (cases, share) in [(1, 0.0), (1, 0.5), (12, 1.0)] {
            let assumed = AssumedDevices::new(&RULE, cases, 0.025, share);
            for devices in [124, 361, 506] {
                let (found, exact) = (assumed.probability(devices), probability_of_pass(devices, &RULE, 0.025));
                let standard_error = (exact * (1.0 - exact) / RUNS as f64).sqrt();
                assert!(
                    (found - exact).abs() < 3.5 * standard_error,
                    "{cases} {share} {devices}: {found} of {exact}"
                );
            }
        }
        let found = AssumedDevices::new(&RULE, 1, 0.025, 0.0).devices_needed(0.8).unwrap();
        let exact = trials_needed(&RULE, 0.025, 0.8).unwrap();
        // The standard error of a probability of 0.8 from 400 runs is 0.02: these bounds have 0.74 and 0.86.
        let [low, high] = [0.74, 0.86].map(|probability| trials_needed(&RULE, 0.025, probability).unwrap());
        assert!(low.least <= found && found <= high.all_from, "{found}, exactly {exact:?}");
    }

    #[test]
    fn identity_more_between_devices_takes_more_devices() {
        let of = |share: f64| AssumedDevices::new(&RULE, 5, 0.025, share).devices_needed(0.8).unwrap();
        let found = [0.0, 0.5, 1.0].map(of);
        assert!(found[0] < found[1] && found[1] < found[2], "{found:?}");
        assert_eq!(found, [0.0, 0.5, 1.0].map(of), "the same streams again");
        assert_eq!(AssumedDevices::new(&RULE, 5, 0.05, 0.5).devices_needed(0.8), None);
    }
}
