//! From limits on outputs to limits on sources: how far sources may be scaled before a requirement is missed.
//!
//! Every scale is tried on the same cases with the same draws, so the answer moves with the scale alone. Two answers each:
//! `limit`, where the search's own cases just meet every requirement, and `assured`, the largest scale at which a run of the
//! planned trials passes with a stated probability, the sampling error of the search included.

mod cost;
mod magnitudes;
mod search;

pub use magnitudes::{Magnitude, Plausible};

use super::derive::{all_redrawn, in_use, scaled};
use crate::analysis::{Errors, Judgement, judge};
use crate::experiment::{Plan, Requirement, Variant};
use crate::trial::{CaseErrors, Progress, RunError, errors_in_memory};
use search::Search;

/// Scales beyond this are not looked at.
pub const LARGEST_SCALE: f64 = 100.0;

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
    /// The scales with the smallest sum of cost over scale.
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
    /// The knob moves no required output in any case of the search.
    NoEffect,
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
    /// Whether each knob moves a required output in some case of the search.
    pub effective: Vec<bool>,
    /// What the scale of a knob multiplies, where it moves a required output.
    pub magnitudes: Vec<Magnitude>,
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

    /// The relative cost of an answer: the sum of cost over scale over the knobs that move a required output; `None` where the
    /// answer has no scales.
    #[must_use]
    pub fn cost_of(&self, answer: &Answer) -> Option<f64> {
        match answer {
            Answer::Scales { scales, .. } => Some(cost::total(&self.costs, &self.effective, scales)),
            _ => None,
        }
    }

    /// How a scale of a knob compares with the plausible ranges of what it multiplies.
    #[must_use]
    pub fn plausible(&self, knob: usize, scale: f64) -> Plausible {
        let own = self.magnitudes.iter().filter(|magnitude| magnitude.knob == knob);
        own.map(|magnitude| magnitude.plausible(scale)).max().unwrap_or(Plausible::Within)
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
    let run = |variant: &Variant, cases: u64| -> Result<Vec<CaseErrors>, RunError> {
        let cases = usize::try_from(cases).unwrap_or(usize::MAX);
        let mut found = errors_in_memory(std::slice::from_ref(variant), plan.seed, cases, threads, progress)?;
        Ok(found.pop().unwrap_or_default())
    };
    let at = |scales: &[f64]| {
        scaled(variant, |id| {
            let knob = knobs.iter().position(|knob| knob.sources.contains(&id));
            knob.map_or(1.0, |knob| scales[knob])
        })
    };
    let same_cases = |scales: &[f64]| run(&at(scales), plan.trials);
    let search = Search::new(&plan.requirements, knobs.len(), plan.trials, assurance, &same_cases);
    let answers = search.strategies(&costs)?;
    let fresh = |answer: &Answer| -> Result<Vec<Judgement>, RunError> {
        let Answer::Scales { scales, .. } = answer else { return Ok(Vec::new()) };
        let errors = run(&all_redrawn(&at(scales)), plan.trials)?;
        let judged = |asked: &Requirement| {
            let column = errors.iter().map(|errors| errors[asked.output.place()]).collect();
            judge(&Errors::new(column, 0), &asked.rule())
        };
        Ok(plan.requirements.iter().map(judged).collect())
    };
    let found = answers
        .into_iter()
        .map(|(strategy, [limit, assured])| Ok(Found { strategy, fresh: fresh(&assured)?, limit, assured }))
        .collect::<Result<Vec<_>, RunError>>()?;
    let effective: Vec<bool> = (0..knobs.len()).map(|knob| search::is_effective(&found, knob)).collect();
    let region = search.region(&asked.pair, &knobs, &found)?;
    let magnitudes = magnitudes::magnitudes(variant, &knobs, &plan.requirements, plan.trials, &run)?;
    Ok(BudgetSearch { variant, cases: plan.trials, assurance, costs, effective, magnitudes, region, found, knobs })
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
