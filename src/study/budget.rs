//! From limits on outputs to limits on sources: how far sources may be scaled before a requirement is missed.
//!
//! Every scale is tried on the same cases with the same draws, so the answer moves with the scale alone. Two answers each:
//! `limit`, where the search's own cases just meet every requirement, and `assured`, the largest scale at which a run of the
//! planned trials passes with a stated probability, the sampling error of the search included.

use super::derive::{all_redrawn, in_use, scaled};
use crate::analysis::planning::after_search::most_out_in_search;
use crate::analysis::{Errors, Judgement, judge, order};
use crate::experiment::{Plan, Requirement, Variant};
use crate::measurement::OUTPUTS;
use crate::trial::{CaseErrors, Progress, RunError, errors_in_memory};

/// Scales beyond this are not looked at.
pub const LARGEST_SCALE: f64 = 100.0;
/// A scale is found when its largest error is this near its limit, relative to it.
const NEAR: f64 = 5e-4;
/// Runs of a search, at most.
const MOST_RUNS: usize = 14;
/// Directions in which the region of two knobs is explored.
const DIRECTIONS: u32 = 9;

/// What a search may turn: a group of sources, or one source.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Knob {
    /// Name of the group, or id of the source.
    pub name: String,
    /// The sources it scales.
    pub sources: Vec<&'static str>,
}

/// How scales are shared out between the knobs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Strategy {
    /// One knob alone, all others as they are; its place in the list.
    Alone(usize),
    /// One scale for all.
    Common,
    /// Each moved by the same part of the way to its own limit.
    EqualMargin,
    /// The larger the cheaper: what is dear to keep small is loosened most.
    Cost,
}

impl Strategy {
    /// The word for it in tables.
    #[must_use]
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Alone(_) => "alone",
            Self::Common => "common scale",
            Self::EqualMargin => "equal margin",
            Self::Cost => "by cost",
        }
    }
}

/// What a search found for one way to scale.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// The scale of each knob at which the answer is reached, and the requirement that binds.
    Scales {
        /// In the order of the knobs.
        scales: Vec<f64>,
        /// Index of the requirement that is missed first.
        binding: usize,
    },
    /// Missed even with the smallest scales; the requirement that is.
    Missed(usize),
    /// Met at the largest scales that were looked at.
    Unbounded,
    /// The planned trials can show nothing.
    TooFewTrials,
}

/// A strategy with its two answers and a fresh run at the second.
#[derive(Clone, Debug)]
pub struct Found {
    /// The strategy.
    pub strategy: Strategy,
    /// Where the search's cases just meet every requirement.
    pub limit: Answer,
    /// The largest scales at which a run of the planned trials passes with the stated probability.
    pub assured: Answer,
    /// Every requirement judged by a fresh run at `assured`.
    pub fresh: Vec<Judgement>,
}

/// The region of two knobs in which every requirement is met.
#[derive(Clone, Debug)]
pub struct Region {
    /// Places of the knobs.
    pub knobs: [usize; 2],
    /// Scales of both on the rim: of `limit`, and of `assured`.
    pub rims: [Vec<[f64; 2]>; 2],
}

/// All that a search found.
#[derive(Clone, Debug)]
pub struct BudgetSearch<'p> {
    /// The variant that was searched.
    pub variant: &'p Variant,
    /// What was turned.
    pub knobs: Vec<Knob>,
    /// Cases of each run of the search.
    pub cases: u64,
    /// Probability of passing behind `assured`.
    pub assurance: f64,
    /// Relative cost of each knob.
    pub costs: Vec<f64>,
    /// Each strategy: every knob alone first.
    pub found: Vec<Found>,
    /// The region of two chosen knobs.
    pub region: Option<Region>,
}

impl BudgetSearch<'_> {
    /// Whether every fresh run that was made passes, and at least one was made.
    #[must_use]
    pub fn all_shown(&self) -> bool {
        let mut fresh = self.found.iter().flat_map(|found| &found.fresh).peekable();
        fresh.peek().is_some() && fresh.all(|judged| judged.verdict == crate::analysis::Verdict::Pass)
    }
}

/// Searches one variant. The plan has at least one requirement.
///
/// # Errors
/// If it is stopped, or no threads can be started.
pub fn budget<'p>(
    plan: &'p Plan,
    variant: &'p Variant,
    threads: usize,
    progress: &dyn Progress,
) -> Result<BudgetSearch<'p>, RunError> {
    let asked = &plan.budgeting;
    let knobs = knobs(plan, variant);
    let costs: Vec<f64> = knobs.iter().map(|knob| asked.cost_of(&knob.name, &knob.sources)).collect();
    let assurance = asked.assurance;
    let search = Search::new(plan, variant, &knobs, assurance, threads, progress);
    let mut found = Vec::new();
    for which in 0..knobs.len() {
        let along = |t: f64| search.scales(|knob| if knob == which { t } else { 1.0 });
        found.push(search.answers(Strategy::Alone(which), LARGEST_SCALE, &along)?);
    }
    let common = |t: f64| search.scales(|_| t);
    found.push(search.answers(Strategy::Common, LARGEST_SCALE, &common)?);
    if knobs.len() > 1 {
        found.extend(search.equal_margin(&found)?);
        found.extend(search.by_cost(&costs, &found)?);
    }
    let region = search.region(&asked.pair, &found)?;
    Ok(BudgetSearch { variant, cases: plan.trials, assurance, costs, region, found, knobs })
}

/// The groups of noise sources, and each source in use that no group holds.
fn knobs(plan: &Plan, variant: &Variant) -> Vec<Knob> {
    let groups = plan.sensitivity.as_ref().map_or(&[][..], |asked| &asked.groups);
    let on = in_use(variant);
    let mut knobs: Vec<Knob> = groups
        .iter()
        .map(|group| Knob {
            name: group.name.clone(),
            sources: on.iter().copied().filter(|source| group.holds(source)).collect(),
        })
        .filter(|knob| !knob.sources.is_empty())
        .collect();
    let free = on.iter().copied().filter(|source| !groups.iter().any(|group| group.holds(source)));
    knobs.extend(free.map(|source| Knob { name: source.to_owned(), sources: vec![source] }));
    knobs
}

/// Largest error of each requirement in units of its limit, less 1: not above 0 where it is met.
#[derive(Clone, Debug)]
struct Excess {
    /// For `limit`.
    limit: Vec<f64>,
    /// For `assured`; empty where the trials can show nothing.
    assured: Vec<f64>,
}

/// Which of the two answers is looked for.
#[derive(Clone, Copy)]
enum Which {
    Limit,
    Assured,
}

impl Excess {
    /// The requirement that is nearest to being missed, or is missed by most.
    fn worst(&self, which: Which) -> Option<(usize, f64)> {
        let all = match which {
            Which::Limit => &self.limit,
            Which::Assured => &self.assured,
        };
        all.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1))
    }
}

struct Search<'a> {
    plan: &'a Plan,
    variant: &'a Variant,
    knobs: &'a [Knob],
    /// For each requirement the most cases of the search that may be out, for `assured`.
    most_out: Option<Vec<u64>>,
    threads: usize,
    progress: &'a dyn Progress,
}

impl<'a> Search<'a> {
    fn new(
        plan: &'a Plan,
        variant: &'a Variant,
        knobs: &'a [Knob],
        assurance: f64,
        threads: usize,
        progress: &'a dyn Progress,
    ) -> Self {
        let most = |asked: &Requirement| most_out_in_search(plan.trials, &asked.rule(), plan.trials, assurance);
        let most_out = plan.requirements.iter().map(most).collect();
        Self { plan, variant, knobs, most_out, threads, progress }
    }

    fn scales(&self, of: impl Fn(usize) -> f64) -> Vec<f64> {
        (0..self.knobs.len()).map(of).collect()
    }

    fn at(&self, scales: &[f64]) -> Variant {
        scaled(self.variant, |id| {
            let knob = self.knobs.iter().position(|knob| knob.sources.contains(&id));
            knob.map_or(1.0, |knob| scales[knob])
        })
    }

    fn run(&self, variant: &Variant) -> Result<Vec<CaseErrors>, RunError> {
        let cases = usize::try_from(self.plan.trials).unwrap_or(usize::MAX);
        let mut found =
            errors_in_memory(std::slice::from_ref(variant), self.plan.seed, cases, self.threads, self.progress)?;
        Ok(found.pop().unwrap_or_default())
    }

    fn excess(&self, scales: &[f64]) -> Result<Excess, RunError> {
        let errors = self.run(&self.at(scales))?;
        let mut excess = Excess { limit: Vec::new(), assured: Vec::new() };
        for (i, asked) in self.plan.requirements.iter().enumerate() {
            let mut sizes = sizes(&errors, asked);
            sizes.sort_unstable_by(f64::total_cmp);
            let beyond = |size: Option<f64>, limit: f64| size.map_or(f64::INFINITY, |size| size / limit) - 1.0;
            excess.limit.push(beyond(order::quantile(&sizes, asked.proportion), asked.limit));
            if let Some(most_out) = &self.most_out {
                let rank = sizes.len() as u64 - most_out[i].min(sizes.len() as u64);
                excess.assured.push(beyond(order::at_rank(&sizes, rank), asked.rule().acceptance()));
            }
        }
        Ok(excess)
    }

    /// Both answers along a way from 0 to `end`, along which errors grow, and a fresh run at the second.
    fn answers(&self, strategy: Strategy, end: f64, along: &dyn Fn(f64) -> Vec<f64>) -> Result<Found, RunError> {
        let (limit, assured) = self.both(end, along)?;
        let fresh = match &assured {
            Answer::Scales { scales, .. } => self.fresh(scales)?,
            _ => Vec::new(),
        };
        Ok(Found { strategy, limit, assured, fresh })
    }

    fn both(&self, end: f64, along: &dyn Fn(f64) -> Vec<f64>) -> Result<(Answer, Answer), RunError> {
        let mut tried = vec![(0.0, self.excess(&along(0.0))?)];
        let limit = self.largest(Which::Limit, end, along, &mut tried)?;
        let assured = match self.most_out {
            Some(_) => self.largest(Which::Assured, end, along, &mut tried)?,
            None => Answer::TooFewTrials,
        };
        Ok((limit, assured))
    }

    /// The largest `t` at which every requirement is met, by the secant on `t` squared, along which the square of an error
    /// is nearly straight, kept between what is met and what is missed.
    fn largest(
        &self,
        which: Which,
        end: f64,
        along: &dyn Fn(f64) -> Vec<f64>,
        tried: &mut Vec<(f64, Excess)>,
    ) -> Result<Answer, RunError> {
        let worst = |excess: &Excess| excess.worst(which).unwrap_or((0, 0.0));
        if let Some((_, start)) = tried.first() {
            let (binding, excess) = worst(start);
            if excess > 0.0 {
                return Ok(Answer::Missed(binding));
            }
        }
        for _ in 0..MOST_RUNS {
            let met = tried.iter().filter(|(_, excess)| worst(excess).1 <= 0.0);
            let met = met.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(t, excess)| (*t, worst(excess)));
            let missed = tried.iter().filter(|(_, excess)| worst(excess).1 > 0.0);
            let missed = missed.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(t, excess)| (*t, worst(excess)));
            let Some((low, (_, below))) = met else { break };
            let next = match missed {
                None if low >= end => return Ok(Answer::Unbounded),
                None => {
                    if low == 0.0 {
                        end.min(1.0)
                    } else {
                        grown(low, below).min(end)
                    }
                }
                Some((high, (binding, above))) => {
                    if -below <= NEAR || high - low <= 1e-4 * high {
                        return Ok(Answer::Scales { scales: along(low), binding });
                    }
                    between((low, below), (high, above))
                }
            };
            tried.push((next, self.excess(&along(next))?));
        }
        let met = tried.iter().filter(|(_, excess)| worst(excess).1 <= 0.0);
        Ok(met
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(Answer::Missed(0), |(t, excess)| Answer::Scales { scales: along(*t), binding: worst(excess).0 }))
    }

    fn fresh(&self, scales: &[f64]) -> Result<Vec<Judgement>, RunError> {
        let errors = self.run(&all_redrawn(&self.at(scales)))?;
        let judged = |asked: &Requirement| {
            let place = OUTPUTS.iter().position(|output| *output == asked.output).unwrap_or(0);
            let column = errors.iter().map(|errors| errors[place]).collect();
            judge(&Errors::new(column, 0), &asked.rule())
        };
        Ok(self.plan.requirements.iter().map(judged).collect())
    }

    /// Each knob moved by the same part of the way from where it is to its own limit.
    fn equal_margin(&self, found: &[Found]) -> Result<Option<Found>, RunError> {
        let own: Vec<f64> = (0..self.knobs.len()).map(|knob| own_limit(found, knob)).collect();
        if own.iter().all(|&limit| limit >= 1.0) {
            let along = |t: f64| self.scales(|knob| 1.0 + t * (own[knob] - 1.0));
            return Ok(Some(self.answers(Strategy::EqualMargin, 1.0, &along)?));
        }
        // As it is a requirement is missed: back from each one's own limit, the way is walked from its far end.
        let along = |t: f64| self.scales(|knob| 1.0 + (1.0 - t) * (own[knob].min(1.0) - 1.0));
        Ok(Some(self.answers(Strategy::EqualMargin, 1.0, &along)?))
    }

    /// Scales that make the sum of cost over scale least for a given variance: the cube root of cost over the variance that
    /// the knob has alone (Lagrange's condition with contributions that add as squares).
    fn by_cost(&self, costs: &[f64], found: &[Found]) -> Result<Option<Found>, RunError> {
        let binding = found.iter().rev().find_map(|found| match found.limit {
            Answer::Scales { binding, .. } => Some(binding),
            _ => None,
        });
        let Some(asked) = binding.and_then(|binding| self.plan.requirements.get(binding)) else { return Ok(None) };
        let mut ways = Vec::new();
        for (which, cost) in costs.iter().enumerate() {
            let errors = self.run(&self.at(&self.scales(|knob| f64::from(u8::from(knob == which)))))?;
            let sizes = sizes(&errors, asked);
            let finite: Vec<f64> = sizes.into_iter().filter(|size| size.is_finite()).collect();
            let square = finite.iter().map(|error| error * error).sum::<f64>() / finite.len().max(1) as f64;
            ways.push((square > 1e-12).then(|| libm::cbrt(cost / square)));
        }
        let largest = ways.iter().flatten().copied().fold(0.0, f64::max);
        if !(largest > 0.0) {
            return Ok(None);
        }
        // What has no part in the binding requirement stays as it is.
        let along = |t: f64| self.scales(|knob| ways[knob].map_or(1.0, |way| t * way / largest));
        Ok(Some(self.answers(Strategy::Cost, LARGEST_SCALE, &along)?))
    }

    fn region(&self, pair: &[String], found: &[Found]) -> Result<Option<Region>, RunError> {
        let place = |name: &String| self.knobs.iter().position(|knob| knob.name == *name);
        let [Some(one), Some(other)] = [pair.first().and_then(place), pair.get(1).and_then(place)] else {
            return Ok(None);
        };
        let reach =
            [own_limit(found, one), own_limit(found, other)].map(|limit| if limit > 0.0 { limit } else { 1.0 });
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
            let (limit, assured) = self.both(LARGEST_SCALE, &along)?;
            for (rim, answer) in rims.iter_mut().zip([limit, assured]) {
                if let Answer::Scales { scales, .. } = answer {
                    rim.push([scales[one], scales[other]]);
                }
            }
        }
        Ok(Some(Region { knobs: [one, other], rims }))
    }
}

/// The largest scale of a knob alone: 0 where even that is too much, [`LARGEST_SCALE`] where nothing is missed.
fn own_limit(found: &[Found], knob: usize) -> f64 {
    let own = found.iter().find(|found| found.strategy == Strategy::Alone(knob));
    match own.map(|found| &found.limit) {
        Some(Answer::Scales { scales, .. }) => scales[knob],
        Some(Answer::Unbounded) => 10.0_f64.min(LARGEST_SCALE),
        _ => 0.0,
    }
}

/// Sizes of the errors of the output of a requirement, in its direction; infinite where a case gave no reading.
fn sizes(errors: &[CaseErrors], asked: &Requirement) -> Vec<f64> {
    let place = OUTPUTS.iter().position(|output| *output == asked.output).unwrap_or(0);
    let size = |error: f64| if error.is_finite() { asked.direction.size(error) } else { f64::INFINITY };
    errors.iter().map(|errors| size(errors[place])).collect()
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
