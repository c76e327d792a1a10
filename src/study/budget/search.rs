//! The search along one way of scaling, by runs of the same cases.

use super::{Answer, Found, Knob, LARGEST_SCALE, Region, Strategy};
use crate::analysis::order;
use crate::analysis::planning::after_search::most_out_in_search;
use crate::experiment::Requirement;
use crate::trial::{CaseErrors, RunError};
use std::cell::RefCell;

/// A scale is found when its largest error is this near its limit, relative to it.
const NEAR: f64 = 5e-4;
/// Runs of a search along one way, at most.
const MOST_RUNS: usize = 14;
/// Directions in which the region of two knobs is explored.
const DIRECTIONS: u32 = 9;

/// Which of the two answers is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    Limit,
    Assured,
}

/// Errors of the search's cases with every knob at a scale.
pub type Run<'a> = &'a dyn Fn(&[f64]) -> Result<Vec<CaseErrors>, RunError>;

/// Scales already tried along a way, with what was found there.
pub type Tried = Vec<(f64, Excess)>;

/// Required quantile of each requirement in units of its limit, less 1: not above 0 where it is met.
#[derive(Clone, Debug)]
pub struct Excess {
    /// For `limit`.
    limit: Vec<f64>,
    /// For `assured`; empty where the trials can show nothing.
    assured: Vec<f64>,
    /// Changes with any bit of any error of a required output.
    trace: u64,
}

impl Excess {
    /// The requirement that is nearest to being missed, or is missed by most.
    fn worst(&self, which: Which) -> (usize, f64) {
        let all = match which {
            Which::Limit => &self.limit,
            Which::Assured => &self.assured,
        };
        all.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0, 0.0))
    }
}

pub struct Search<'a> {
    pub requirements: &'a [Requirement],
    knobs: usize,
    /// For each requirement the most cases of the search that may be out, for `assured`.
    most_out: Option<Vec<u64>>,
    pub run: Run<'a>,
    /// Runs that were made: no scales are run twice.
    seen: RefCell<Vec<(Vec<f64>, Excess)>>,
}

impl<'a> Search<'a> {
    pub fn new(requirements: &'a [Requirement], knobs: usize, trials: u64, assurance: f64, run: Run<'a>) -> Self {
        let most = |asked: &Requirement| most_out_in_search(trials, &asked.rule(), trials, assurance);
        let most_out = requirements.iter().map(most).collect();
        Self { requirements, knobs, most_out, run, seen: RefCell::default() }
    }

    /// Both answers of every strategy: each knob alone first, by cost last.
    pub fn strategies(&self, costs: &[f64]) -> Result<Vec<(Strategy, [Answer; 2])>, RunError> {
        let mut found = Vec::new();
        for which in 0..self.knobs {
            found.push((Strategy::Alone(which), self.alone(which)?));
        }
        found.push((Strategy::Common, self.both(LARGEST_SCALE, &|t| self.scales(|_| t))?));
        if self.knobs > 1 {
            found.push((Strategy::EqualMargin, self.equal_margin(&found)?));
            found.push((Strategy::Cost, self.by_cost(costs, &found)?));
        }
        Ok(found)
    }

    pub fn scales(&self, of: impl Fn(usize) -> f64) -> Vec<f64> {
        (0..self.knobs).map(of).collect()
    }

    fn excess(&self, scales: &[f64]) -> Result<Excess, RunError> {
        if let Some((_, found)) = self.seen.borrow().iter().find(|(seen, _)| seen == scales) {
            return Ok(found.clone());
        }
        let found = self.excess_of(&(self.run)(scales)?);
        self.seen.borrow_mut().push((scales.to_vec(), found.clone()));
        Ok(found)
    }

    fn excess_of(&self, errors: &[CaseErrors]) -> Excess {
        let mut excess = Excess { limit: Vec::new(), assured: Vec::new(), trace: 0 };
        for (i, asked) in self.requirements.iter().enumerate() {
            let column = errors.iter().map(|errors| errors[asked.output.place()]);
            excess.trace = column.fold(excess.trace, |trace, error| {
                trace.rotate_left(5).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ error.to_bits()
            });
            let mut sizes = sizes(errors, asked);
            sizes.sort_unstable_by(f64::total_cmp);
            let beyond = |size: Option<f64>, limit: f64| size.map_or(f64::INFINITY, |size| size / limit) - 1.0;
            excess.limit.push(beyond(order::quantile(&sizes, asked.proportion), asked.limit));
            if let Some(most_out) = &self.most_out {
                let rank = sizes.len() as u64 - most_out[i].min(sizes.len() as u64);
                excess.assured.push(beyond(order::at_rank(&sizes, rank), asked.rule().acceptance()));
            }
        }
        excess
    }

    fn alone(&self, which: usize) -> Result<[Answer; 2], RunError> {
        let along = |t: f64| self.scales(|knob| if knob == which { t } else { 1.0 });
        let as_it_is = self.excess(&along(1.0))?;
        let probe = if as_it_is.worst(Which::Limit).1 > 0.0 { 0.0 } else { 2.0 };
        let probed = self.excess(&along(probe))?;
        // What moves no case at one other scale moves none at any.
        if probed.trace == as_it_is.trace {
            return Ok([Answer::NoEffect, Answer::NoEffect]);
        }
        let mut tried = vec![(1.0, as_it_is), (probe, probed)];
        let limit = self.largest(Which::Limit, LARGEST_SCALE, &along, &mut tried)?;
        Ok([limit, self.assured(LARGEST_SCALE, &along, &mut tried)?])
    }

    /// Both answers along a way from 0 to `end`, along which errors grow.
    pub fn both(&self, end: f64, along: &dyn Fn(f64) -> Vec<f64>) -> Result<[Answer; 2], RunError> {
        let mut tried = Vec::new();
        let limit = self.largest(Which::Limit, end, along, &mut tried)?;
        Ok([limit, self.assured(end, along, &mut tried)?])
    }

    pub fn assured(&self, end: f64, along: &dyn Fn(f64) -> Vec<f64>, tried: &mut Tried) -> Result<Answer, RunError> {
        match self.most_out {
            Some(_) => self.largest(Which::Assured, end, along, tried),
            None => Ok(Answer::TooFewTrials),
        }
    }

    /// The largest `t` at which every requirement is met, by the secant on `t` squared, along which the square of an error
    /// is nearly straight, kept between what is met and what is missed.
    pub fn largest(
        &self,
        which: Which,
        end: f64,
        along: &dyn Fn(f64) -> Vec<f64>,
        tried: &mut Tried,
    ) -> Result<Answer, RunError> {
        let met = |tried: &Tried| {
            let met =
                tried.iter().map(|(t, excess)| (*t, excess.worst(which))).filter(|(_, (_, above))| *above <= 0.0);
            met.max_by(|a, b| a.0.total_cmp(&b.0))
        };
        let missed = |tried: &Tried| {
            let missed =
                tried.iter().map(|(t, excess)| (*t, excess.worst(which))).filter(|(_, (_, above))| *above > 0.0);
            missed.min_by(|a, b| a.0.total_cmp(&b.0))
        };
        for _ in 0..MOST_RUNS {
            let next = match (met(tried), missed(tried)) {
                (None, None) => end.min(1.0),
                (None, Some((0.0, (binding, _)))) => return Ok(Answer::Missed(binding)),
                (None, Some(_)) => 0.0,
                (Some((low, _)), None) if low >= end => return Ok(Answer::Unbounded),
                (Some((low, (_, below))), None) => {
                    if low == 0.0 {
                        end.min(1.0)
                    } else {
                        grown(low, below).min(end)
                    }
                }
                (Some((low, (_, below))), Some((high, (binding, above)))) => {
                    if -below <= NEAR || high - low <= 1e-4 * high {
                        return Ok(Answer::Scales { scales: along(low), binding });
                    }
                    between((low, below), (high, above))
                }
            };
            tried.push((next, self.excess(&along(next))?));
        }
        Ok(met(tried).map_or(Answer::Missed(0), |(t, (binding, _))| Answer::Scales { scales: along(t), binding }))
    }

    /// Each knob moved by the same part of the way from where it is to its own limit.
    fn equal_margin(&self, found: &[(Strategy, [Answer; 2])]) -> Result<[Answer; 2], RunError> {
        let limits = found.iter().filter_map(|(strategy, [limit, _])| match strategy {
            Strategy::Alone(knob) => Some(own_limit(limit, *knob)),
            _ => None,
        });
        let own: Vec<f64> = limits.collect();
        if own.iter().all(|&limit| limit >= 1.0) {
            return self.both(1.0, &|t| self.scales(|knob| 1.0 + t * (own[knob] - 1.0)));
        }
        // As it is a requirement is missed: back from each one's own limit, the way is walked from its far end.
        self.both(1.0, &|t| self.scales(|knob| 1.0 + (1.0 - t) * (own[knob].min(1.0) - 1.0)))
    }

    pub fn region(&self, pair: &[String], knobs: &[Knob], found: &[Found]) -> Result<Option<Region>, RunError> {
        let place = |name: &String| knobs.iter().position(|knob| knob.name == *name);
        let [Some(one), Some(other)] = [pair.first().and_then(place), pair.get(1).and_then(place)] else {
            return Ok(None);
        };
        if !(is_effective(found, one) && is_effective(found, other)) {
            return Ok(None);
        }
        let own = |knob: usize| found.iter().find(|found| found.strategy == Strategy::Alone(knob));
        let reach = [one, other].map(|knob| own(knob).map_or(0.0, |found| own_limit(&found.limit, knob)));
        let reach = reach.map(|limit| if limit > 0.0 { limit } else { 1.0 });
        let mut rims = [Vec::new(), Vec::new()];
        for step in 0..DIRECTIONS {
            let angle = std::f64::consts::FRAC_PI_2 * f64::from(step) / f64::from(DIRECTIONS - 1);
            let way = [reach[0] * libm::cos(angle), reach[1] * libm::sin(angle)];
            let along = |t: f64| {
                self.scales(|knob| {
                    if knob == one {
                        t * way[0]
                    } else if knob == other {
                        t * way[1]
                    } else {
                        1.0
                    }
                })
            };
            for (rim, answer) in rims.iter_mut().zip(self.both(LARGEST_SCALE, &along)?) {
                if let Answer::Scales { scales, .. } = answer {
                    rim.push([scales[one], scales[other]]);
                }
            }
        }
        Ok(Some(Region { knobs: [one, other], rims }))
    }
}

/// Whether a knob moves a required output.
pub fn is_effective(found: &[Found], knob: usize) -> bool {
    found.iter().any(|found| found.strategy == Strategy::Alone(knob) && found.limit != Answer::NoEffect)
}

/// The largest scale of a knob alone: 0 where even that is too much, 10 where nothing is missed, 1 without an effect.
fn own_limit(limit: &Answer, knob: usize) -> f64 {
    match limit {
        Answer::Scales { scales, .. } => scales[knob],
        Answer::Unbounded => 10.0_f64.min(LARGEST_SCALE),
        Answer::NoEffect => 1.0,
        Answer::Missed(_) | Answer::TooFewTrials => 0.0,
    }
}

/// Sizes of the errors of the output of a requirement, in its direction; infinite where a case gave no reading.
pub fn sizes(errors: &[CaseErrors], asked: &Requirement) -> Vec<f64> {
    let size = |error: f64| if error.is_finite() { asked.direction.size(error) } else { f64::INFINITY };
    errors.iter().map(|errors| size(errors[asked.output.place()])).collect()
}

/// Between a scale that is met and one that is missed: where the square of the error, straight in the square of the scale,
/// is a little below the limit's, but never at either end.
fn between((low, below): (f64, f64), (high, above): (f64, f64)) -> f64 {
    let square = |excess: f64| (1.0 + excess) * (1.0 + excess);
    let wanted = square(-0.5 * NEAR);
    let share = if above.is_finite() { (wanted - square(below)) / (square(above) - square(below)) } else { 0.5 };
    let squared = low * low + share * (high * high - low * low);
    squared.max(0.0).sqrt().clamp(low + 0.001 * (high - low), high - 0.001 * (high - low))
}

/// A larger step where nothing is missed yet: as if errors grew with the scale from nothing.
fn grown(low: f64, below: f64) -> f64 {
    low * (1.05 / (1.0 + below).max(0.1)).max(1.5)
}
