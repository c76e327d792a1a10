//! What several outputs of one trial say together: the worst trials, the two angles of the cup, and what a reading says of
//! the truth. The parts are read one after the other, so memory does not grow with the run.

use super::assess::OutputAssessment;
use crate::analysis::CONFIDENCE;
use crate::analysis::Estimate;
use crate::analysis::around::{Around, around};
use crate::analysis::device_bound::{DeviceCount, DeviceCounts};
use crate::analysis::joint::{Bivariate, BoxCounts, Ellipse, TargetBox, proportion};
use crate::experiment::Plan;
use crate::measurement::{OUTPUTS, Output};
use crate::record::{Column, PartError, Parts, Rows, Schema};

/// Worst trials that are listed, and failed ones likewise.
pub const WORST: usize = 10;
/// Proportion that ellipse and intervals around a reading hold.
pub const HELD: f64 = 0.95;
/// Trials from which the intervals around a reading are taken, at most.
const AROUND_MOST: u64 = 200_000;

/// What several outputs of one trial say together.
#[derive(Clone, Debug, Default)]
pub struct Together {
    /// The worst trials, the worst first.
    pub worst: Vec<Worst>,
    /// The first failed trials, each with what failed.
    pub failed: Vec<(u64, String)>,
    /// Inclination and anteversion together, where both are asked for.
    pub cup: Cup,
    /// What readings say of the truth.
    pub around: Vec<(Output, Around)>,
}

/// A trial with a large error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worst {
    /// Its index.
    pub trial: u64,
    /// The output whose error is largest for its scale.
    pub output: Output,
    /// That error, in the unit of the output.
    pub error: f64,
    /// The error in units of its scale.
    pub size: f64,
}

/// The two angles of the cup.
#[derive(Clone, Debug, Default)]
pub struct Cup {
    /// Mean and covariance of their errors.
    pub errors: Bivariate,
    /// The ellipse that would hold [`HELD`] of normal errors.
    pub ellipse: Option<Ellipse>,
    /// The proportion of trials that it does hold.
    pub content: Option<Estimate>,
    /// How trials were read and truly lay in the target box.
    pub target: BoxCounts,
    /// The same of each device, in a nested design.
    pub target_of_devices: Option<Vec<BoxCounts>>,
}

impl Cup {
    /// A proportion of the counts of the target box, given as a count and of how many: in a nested design its interval rests
    /// on whole devices, else it is exact.
    #[must_use]
    pub fn target_proportion(&self, of: impl Fn(&BoxCounts) -> (u64, u64)) -> Option<Estimate> {
        let (outside, trials) = of(&self.target);
        let Some(devices) = &self.target_of_devices else { return proportion(outside, trials, CONFIDENCE) };
        let of_device = |counts: &BoxCounts| {
            let (outside, trials) = of(counts);
            DeviceCount { outside, trials }
        };
        devices.iter().map(of_device).collect::<DeviceCounts>().proportion(CONFIDENCE)
    }
}

/// What is counted of each device in turn; one entry where trials are independent.
#[derive(Default)]
struct ByDevice<T> {
    nested: bool,
    now: Option<f64>,
    counts: Vec<T>,
}

impl<T: Default> ByDevice<T> {
    fn new(plan: &Plan) -> Self {
        Self { nested: plan.design.is_some(), ..Self::default() }
    }

    /// The entry of the device of a trial; trials come device by device.
    fn of(&mut self, device: Option<f64>) -> &mut T {
        if self.counts.is_empty() || (self.nested && self.now != device) {
            self.counts.push(T::default());
            self.now = device;
        }
        let last = self.counts.len() - 1;
        &mut self.counts[last]
    }
}

/// Reads one variant.
///
/// # Errors
/// If a part cannot be read.
pub(super) fn read(
    plan: &Plan,
    parts: &Parts,
    variant: u32,
    outputs: &[OutputAssessment],
) -> Result<Together, PartError> {
    let names: Vec<String> = ["trial", "device"]
        .map(str::to_owned)
        .into_iter()
        .chain(OUTPUTS.map(Schema::error_column))
        .chain(OUTPUTS.map(|output| format!("{}_read_{}", output.id(), output.unit().suffix())))
        .collect();
    let mut scales = [f64::INFINITY; OUTPUTS.len()];
    for assessed in outputs {
        scales[assessed.output.place()] = scale(plan, assessed);
    }
    let target = TargetBox { first: plan.target_deg[0], second: plan.target_deg[1] };
    let step = plan.trials.div_ceil(AROUND_MOST).max(1);
    let has_cup = plan.asked().has_all(&Output::CUP);
    let mut found = Together::default();
    let mut pairs: Vec<Vec<[f64; 2]>> = vec![Vec::new(); OUTPUTS.len()];
    let mut boxes: ByDevice<BoxCounts> = ByDevice::new(plan);
    parts.each_part(variant, &names, Rows::LastReduction, |columns| {
        let [trials, devices, rest @ ..] = &columns[..] else { return };
        let (errors, reads) = rest.split_at(OUTPUTS.len());
        for row in 0..trials.len() {
            // Trials are counted far below 2^53.
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let trial = trials.get(row).unwrap_or_default() as u64;
            let error = |output: usize| errors[output].get(row);
            found.offer(worst_of(trial, errors, row, &scales));
            let cup = error(0).zip(error(1)).map(|(one, other)| [one, other]);
            if let Some(cup) = cup {
                found.cup.errors.add(cup);
            }
            let read = reads[0].get(row).zip(reads[1].get(row)).map(|(one, other)| [one, other]);
            let truth = read.zip(cup).map(|(read, error)| [read[0] - error[0], read[1] - error[1]]);
            if has_cup {
                let counts = boxes.of(devices.get(row));
                counts.add(&target, truth.unwrap_or_default(), read.filter(|_| truth.is_some()));
            }
            if trial.is_multiple_of(step) {
                for (output, pairs) in pairs.iter_mut().enumerate() {
                    pairs.extend(reads[output].get(row).zip(error(output)).map(|(read, error)| [read, error]));
                }
            }
        }
    })?;
    for (output, pairs) in OUTPUTS.into_iter().zip(&pairs) {
        let found_around = asked_readings(pairs).into_iter().filter_map(|reading| around(pairs, reading, HELD));
        found.around.extend(found_around.map(|around| (output, around)));
    }
    found.cup.target = boxes.counts.iter().copied().sum();
    found.cup.target_of_devices = boxes.nested.then_some(boxes.counts);
    found.failed = parts.failed_trials(variant, WORST)?;
    found.cup.ellipse = found.cup.errors.ellipse(HELD);
    if let Some(ellipse) = found.cup.ellipse {
        let mut held: ByDevice<DeviceCount> = ByDevice::new(plan);
        let names = ["device".to_owned(), Schema::error_column(OUTPUTS[0]), Schema::error_column(OUTPUTS[1])];
        parts.each_part(variant, &names, Rows::LastReduction, |columns| {
            let [devices, one, other] = &columns[..] else { return };
            for (device, pair) in devices.iter().zip(one.iter().zip(other.iter())) {
                let (Some(one), Some(other)) = pair else { continue };
                let counts = held.of(device);
                counts.trials += 1;
                counts.outside += u64::from(ellipse.holds([one, other]));
            }
        })?;
        found.cup.content = match held.counts[..] {
            [all] if !held.nested => proportion(all.outside, all.trials, CONFIDENCE),
            _ => held.counts.into_iter().collect::<DeviceCounts>().proportion(CONFIDENCE),
        };
    }
    Ok(found)
}

/// By what an error is divided to compare outputs: the smallest limit, or else the 95th percentile of the absolute error.
fn scale(plan: &Plan, assessed: &OutputAssessment) -> f64 {
    let limits = plan.requirements.iter().filter(|requirement| requirement.output == assessed.output);
    let limit = limits.map(|requirement| requirement.limit).min_by(f64::total_cmp);
    // Without any requirement all outputs count, else those that are limited.
    match limit {
        Some(limit) => limit,
        None if plan.requirements.is_empty() => assessed.summary.p95_abs.map_or(f64::INFINITY, |p95| p95.value),
        None => f64::INFINITY,
    }
}

fn worst_of(trial: u64, errors: &[Column], row: usize, scales: &[f64]) -> Option<Worst> {
    let of_output = |((output, column), scale): ((Output, &Column), &f64)| {
        let error = column.get(row)?;
        let size = error.abs() / scale;
        (size > 0.0 && size.is_finite()).then_some(Worst { trial, output, error, size })
    };
    let each = OUTPUTS.into_iter().zip(errors).zip(scales).filter_map(of_output);
    each.max_by(|one, other| one.size.total_cmp(&other.size))
}

/// Whole numbers near the readings that 5, 50 and 95 of 100 trials stay below.
fn asked_readings(pairs: &[[f64; 2]]) -> Vec<f64> {
    let mut reads: Vec<f64> = pairs.iter().map(|pair| pair[0]).collect();
    reads.sort_unstable_by(f64::total_cmp);
    let quantiles = [0.05, 0.5, 0.95].into_iter().filter_map(|p| crate::analysis::order::quantile(&reads, p));
    let mut asked: Vec<f64> = quantiles.map(|quantile| libm::round(quantile) + 0.0).collect();
    asked.dedup();
    asked
}

impl Together {
    /// What the errors of the two angles of the cup say, where nothing else is at hand.
    pub(super) fn of_cup(inclination: &[Option<f64>], anteversion: &[Option<f64>]) -> Self {
        let finite = |error: &Option<f64>| error.filter(|error| error.is_finite());
        let pairs = inclination.iter().zip(anteversion);
        let pairs: Vec<[f64; 2]> = pairs.filter_map(|(one, other)| Some([finite(one)?, finite(other)?])).collect();
        let mut cup = Cup::default();
        for pair in &pairs {
            cup.errors.add(*pair);
        }
        cup.ellipse = cup.errors.ellipse(HELD);
        cup.content = cup.ellipse.and_then(|ellipse| {
            let inside = pairs.iter().filter(|pair| ellipse.holds(**pair)).count();
            proportion(inside as u64, pairs.len() as u64, CONFIDENCE)
        });
        Self { cup, ..Self::default() }
    }

    /// Keeps a trial if it is among the worst so far.
    fn offer(&mut self, trial: Option<Worst>) {
        let Some(trial) = trial else { return };
        if self.worst.len() == WORST && self.worst.last().is_some_and(|last| last.size >= trial.size) {
            return;
        }
        let place = self.worst.partition_point(|other| other.size >= trial.size);
        self.worst.insert(place, trial);
        self.worst.truncate(WORST);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_the_worst_are_kept_in_order() {
        let mut found = Together::default();
        for trial in 0..100_u64 {
            let size = f64::from(u32::try_from(trial * 37 % 100).unwrap());
            found.offer(Some(Worst { trial, output: OUTPUTS[0], error: size, size }));
        }
        let sizes: Vec<f64> = found.worst.iter().map(|worst| worst.size).collect();
        assert_eq!(sizes, [99.0, 98.0, 97.0, 96.0, 95.0, 94.0, 93.0, 92.0, 91.0, 90.0]);
    }

    #[test]
    fn identity_readings_that_are_asked() {
        let pairs: Vec<[f64; 2]> = (0..=100).map(|i| [f64::from(i), 0.0]).collect();
        assert_eq!(asked_readings(&pairs), [5.0, 50.0, 95.0]);
        assert_eq!(asked_readings(&[[-0.2, 0.0]; 50]), [0.0]);
        assert!(asked_readings(&[]).is_empty());
    }
}
