//! Standard deviation and root mean square of errors to which rare events contribute.
//!
//! Few trials with an event carry much of the variance, so that the sample says little of its own kurtosis. Where the
//! trials record their events and the probability of an event is known, the errors are post-stratified: trials without
//! and with an event are two strata whose weights are known, and the intervals of both mean squares are joined.

use super::interval::{Estimate, Interval};
use super::invert::chi_squared_around;
use super::moments::{moments, rms, sum};

/// With fewer recorded events there is no interval.
pub const LEAST_EVENTS: u64 = 10;
/// With fewer recorded events an interval is approximate.
pub const FEW_EVENTS: u64 = 30;
/// Expected events from which on events that no trial records, or that cannot be told apart by cases, need no strata.
pub const MANY_EVENTS: f64 = 100.0;
/// The same for events that are recorded.
pub const MANY_EVENTS_RECORDED: u64 = 100;
/// An event that happens in this proportion of the trials or in more is not rare: it makes no stratum, as the sample
/// shows it often enough.
pub const FREQUENT: f64 = 0.1;

/// Tables of simulated coverage of these intervals, by file and text: of independent trials, and of nested designs.
pub const KEPT_COVERAGE: [(&str, &str); 2] = [
    ("tests/data/coverage_spread.csv", include_str!("../../tests/data/coverage_spread.csv")),
    ("tests/data/coverage_components.csv", include_str!("../../tests/data/coverage_components.csv")),
];

/// The least and the largest proportion of the intervals given that held the true value, over the cells of a kept table
/// with a rare event that gave an interval.
#[must_use]
pub fn kept_coverage((_, text): &(&str, &str)) -> Option<(f64, f64)> {
    let coverage = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let [given, covered] = [6, 7].map(|at| cells.get(at).and_then(|cell| cell.parse::<f64>().ok()));
        let (given, covered) = given.zip(covered).filter(|(given, _)| *given > 0.0)?;
        (cells.get(1) == Some(&"event")).then_some(covered / given)
    };
    let all: Vec<f64> = text.lines().filter_map(coverage).collect();
    Some((all.iter().copied().reduce(f64::min)?, all.iter().copied().reduce(f64::max)?))
}

/// Rare events of the trials of one output.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RareEvents {
    /// Events that trials record, if there are any.
    pub recorded: Option<Recorded>,
    /// Expected number of those events that no trial records, of the rarest; `None` without such.
    pub unrecorded: Option<f64>,
}

/// Events that trials record.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded {
    /// Probability that at least one happens in a trial, as the plan has it.
    pub probability: f64,
    /// Of each measured trial in order, whether one did.
    pub fired: Vec<bool>,
    /// Trials without and with an event, failed ones included.
    pub attempted: [u64; 2],
    /// Whether all are drawn once for a case, and so are the same in its repeats.
    pub once_a_case: bool,
    /// Whether all displace with mean 0.
    pub centred: bool,
}

/// How many events an estimate rests on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct EventCount {
    /// Events that were recorded; an event that its repeats share counts once. `None` where none can be recorded.
    pub recorded: Option<u64>,
    /// Expected number of events that no trial records; `None` without such.
    pub unrecorded: Option<f64>,
}

impl EventCount {
    /// Whether an interval can be given where so many recorded events are needed.
    #[must_use]
    pub fn allows(&self, least: u64) -> bool {
        self.recorded.is_none_or(|count| count >= least) && self.unrecorded.is_none_or(|count| count >= MANY_EVENTS)
    }

    /// Whether an interval that is given is approximate.
    #[must_use]
    pub fn is_approximate(&self) -> bool {
        self.recorded.is_some_and(|count| count < FEW_EVENTS)
    }
}

impl RareEvents {
    /// How many events there are, each measured trial by itself.
    #[must_use]
    pub fn count(&self) -> EventCount {
        let fired = |recorded: &Recorded| recorded.fired.iter().filter(|&&fired| fired).count() as u64;
        EventCount { recorded: self.recorded.as_ref().map(fired), unrecorded: self.unrecorded }
    }

    /// The same where trials are repeats of cases, with the number of measured trials of each case in turn.
    #[must_use]
    pub fn count_of_cases(&self, cases: impl IntoIterator<Item = usize>) -> EventCount {
        let Some(recorded) = self.recorded.as_ref().filter(|recorded| recorded.once_a_case) else {
            return self.count();
        };
        let mut rest = recorded.fired.as_slice();
        let mut count = 0;
        for size in cases {
            let (mine, others) = rest.split_at(size.min(rest.len()));
            rest = others;
            count += u64::from(mine.contains(&true));
        }
        EventCount { recorded: Some(count), unrecorded: self.unrecorded }
    }
}

impl Recorded {
    /// Weights of measured trials without and with an event: the known probabilities, times the proportion of each that
    /// gave a reading.
    #[must_use]
    pub fn weights(&self) -> [f64; 2] {
        let measured = self.measured();
        let weight = |stratum: usize, probability: f64| match self.attempted[stratum] {
            0 => 0.0,
            attempted => probability * measured[stratum] as f64 / attempted as f64,
        };
        let weights = [weight(0, 1.0 - self.probability), weight(1, self.probability)];
        let sum = weights[0] + weights[1];
        weights.map(|weight| if sum > 0.0 { weight / sum } else { 0.0 })
    }

    fn measured(&self) -> [u64; 2] {
        let with = self.fired.iter().filter(|&&fired| fired).count() as u64;
        [self.fired.len() as u64 - with, with]
    }
}

/// Standard deviation of independent errors; `None` for fewer than two.
#[must_use]
pub fn spread_of(errors: &[f64], rare: &RareEvents, confidence: f64) -> Option<Estimate> {
    let plain = moments(errors)?.spread(confidence)?;
    Some(with_events(errors, rare, plain, || post_stratified(errors, rare, Centre::Mean, None, confidence)))
}

/// Root mean square of independent errors; `None` without any.
#[must_use]
pub fn rms_of(errors: &[f64], rare: &RareEvents, confidence: f64) -> Option<Estimate> {
    let plain = rms(errors, confidence)?;
    Some(with_events(errors, rare, plain, || post_stratified(errors, rare, Centre::Zero, None, confidence)))
}

fn with_events(
    errors: &[f64],
    rare: &RareEvents,
    plain: Estimate,
    stratified: impl FnOnce() -> Option<Estimate>,
) -> Estimate {
    // Of errors that are all alike there is nothing to estimate.
    let alike = errors.iter().all(|error| error.to_bits() == errors[0].to_bits());
    if !rare.count().allows(LEAST_EVENTS) && !alike {
        return Estimate { interval: None, standard_error: None, ..plain };
    }
    if rare.recorded.is_none() || alike {
        return plain;
    }
    stratified().unwrap_or(Estimate { interval: None, standard_error: None, ..plain })
}

/// About what squares are taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Centre {
    Mean,
    Zero,
}

/// Root of the mean square of errors in two strata of known weight, about their weighted mean or about 0.
///
/// Of each stratum with n errors: the mean square theta, its degrees of freedom `2 n theta^2 / var` of the squares, from 1
/// to n, and the chi-squared interval with them; the intervals of the weighted mean squares are joined after Zou GY,
/// Donner A. Stat Med 2008;27:1693-1702 (from memory). Errors of one device move together: with the number of errors of
/// each device in turn, the variance is that of the device totals (a ratio of means, Cochran WG. Sampling Techniques,
/// 6.3). `None` if a stratum is empty.
pub(super) fn post_stratified(
    errors: &[f64],
    rare: &RareEvents,
    centre: Centre,
    devices: Option<&[usize]>,
    confidence: f64,
) -> Option<Estimate> {
    let recorded = rare.recorded.as_ref()?;
    let weights = recorded.weights();
    let mean_in = |stratum: bool| mean_and_count(in_stratum(errors, &recorded.fired, stratum)).map(|(mean, _)| mean);
    let centre = match centre {
        Centre::Zero => 0.0,
        Centre::Mean => weights[0] * mean_in(false)? + weights[1] * mean_in(true)?,
    };
    let (mut square, mut down, mut up, mut variance) = (0.0, 0.0, 0.0, 0.0);
    for (weight, stratum) in weights.into_iter().zip([false, true]) {
        let found = MeanSquare::of(errors, &recorded.fired, stratum, centre, devices)?;
        let Interval { low, high, .. } = found.interval(confidence);
        square += weight * found.value;
        down += (weight * (found.value - low)) * (weight * (found.value - low));
        up += (weight * (high - found.value)) * (weight * (high - found.value));
        variance += 2.0 * (weight * found.value) * (weight * found.value) / found.degrees_of_freedom;
    }
    let value = square.sqrt();
    let interval =
        Interval { low: (square - down.sqrt()).max(0.0).sqrt(), high: (square + up.sqrt()).sqrt(), confidence };
    let finite = interval.high.is_finite();
    Some(Estimate {
        value,
        interval: finite.then_some(interval),
        standard_error: Some(if square > 0.0 { 0.5 * variance.sqrt() / value } else { 0.0 }),
        count: errors.len() as u64,
    })
}

/// Mean and number of values, without a copy of them; `None` for none.
fn mean_and_count(values: impl Iterator<Item = f64> + Clone) -> Option<(f64, f64)> {
    let count = values.clone().count() as f64;
    (count > 0.0).then(|| (sum(values) / count, count))
}

fn in_stratum<'e>(errors: &'e [f64], fired: &'e [bool], stratum: bool) -> impl Iterator<Item = f64> + Clone + 'e {
    errors.iter().zip(fired).filter(move |(_, fired)| **fired == stratum).map(|(&error, _)| error)
}

/// A mean of squares with the degrees of freedom that their scatter shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct MeanSquare {
    pub value: f64,
    pub degrees_of_freedom: f64,
}

impl MeanSquare {
    /// Of independent squares; `None` without any.
    pub fn of_squares(squares: impl Iterator<Item = f64> + Clone) -> Option<Self> {
        let (value, n) = mean_and_count(squares.clone())?;
        let off = squares.map(|square| (square - value) * (square - value));
        let variance = if n > 1.0 { sum(off) / (n - 1.0) } else { f64::INFINITY };
        Some(Self { value, degrees_of_freedom: degrees(value, variance / n, n) })
    }

    fn of(errors: &[f64], fired: &[bool], stratum: bool, centre: f64, devices: Option<&[usize]>) -> Option<Self> {
        let square = |error: f64| (error - centre) * (error - centre);
        let Some(devices) = devices else {
            return Self::of_squares(in_stratum(errors, fired, stratum).map(square));
        };
        let mut totals: Vec<[f64; 2]> = Vec::with_capacity(devices.len());
        let mut from = 0;
        for &size in devices {
            let range = from..(from + size).min(errors.len());
            from = range.end;
            let mine = in_stratum(&errors[range.clone()], &fired[range], stratum);
            let [sum, count] = mine.fold([0.0; 2], |[sum, count], error| [sum + square(error), count + 1.0]);
            if count > 0.0 {
                totals.push([sum, count]);
            }
        }
        let [sum, n] = totals.iter().fold([0.0; 2], |[sum, n], total| [sum + total[0], n + total[1]]);
        if n == 0.0 {
            return None;
        }
        let value = sum / n;
        let count = totals.len() as f64;
        let off = |total: &[f64; 2]| (total[0] - value * total[1]) * (total[0] - value * total[1]);
        let variance = if count > 1.0 {
            totals.iter().map(off).sum::<f64>() * count / (count - 1.0) / (n * n)
        } else {
            f64::INFINITY
        };
        Some(Self { value, degrees_of_freedom: degrees(value, variance, n) })
    }

    /// The chi-squared interval.
    pub fn interval(self, confidence: f64) -> Interval {
        let (below, above) = chi_squared_around(0.5 * (1.0 - confidence), self.degrees_of_freedom);
        let total = self.degrees_of_freedom * self.value;
        Interval { low: total / above, high: total / below, confidence }
    }
}

/// Degrees of freedom of a mean square with this variance, from 1 to `most`.
fn degrees(value: f64, variance: f64, most: f64) -> f64 {
    if variance > 0.0 { (2.0 * value * value / variance).clamp(1.0, most.max(1.0)) } else { most.max(1.0) }
}

#[cfg(test)]
mod tests;
