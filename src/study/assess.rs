//! The errors of every output of every variant summed up, and every requirement judged.

use super::comparison::{self, Arms};
use super::definitional::Definitional;
use super::looks::{Look, Looks};
use super::needed::Candidates;
use super::recorded_events::RecordedEvents;
use super::together::{self, Together};
use crate::analysis::adaptive::{Trace, trace};
use crate::analysis::components::{Component, components};
use crate::analysis::device_bound::{DeviceCount, DeviceCounts};
use crate::analysis::joint::proportion;
use crate::analysis::nested::{Nested, summarise_nested};
use crate::analysis::order;
use crate::analysis::rare_events::RareEvents;
use crate::analysis::shape::{Shape, shape};
use crate::analysis::tolerance::{ToleranceInterval, tolerance_intervals};
use crate::analysis::{
    CONFIDENCE, Counts, Errors, Estimate, Judgement, Rule, Summary, judge, judge_counts, judge_devices, judge_nested,
    summarise_sorted,
};
use crate::experiment::{JointRequirement, Plan, Requirement, Variant};
use crate::measurement::{OUTPUTS, Output};
use crate::record::{Column, PartError, Parts, Rows, Schema};
use rayon::slice::ParallelSliceMut;
use std::collections::BTreeMap;
use std::path::Path;

/// Proportion of the errors that a statistical tolerance interval holds, and the confidence with which it does, where no
/// requirement of the output asks for others.
pub const TOLERANCE: (f64, f64) = (0.95, 0.95);

/// What the trials of a run say.
#[derive(Clone, Debug)]
pub struct Assessment<'p> {
    /// Every output asked for of every variant, in the order of the plan.
    pub outputs: Vec<OutputAssessment<'p>>,
    /// Every requirement for every variant, in the order of the plan; those that join others come last.
    pub requirements: Vec<RequirementAssessment<'p>>,
    /// Trials that failed, by reason, of each variant in the order of the plan.
    pub failures: Vec<BTreeMap<String, u64>>,
    /// Holds taken again, of each variant in the order of the plan; nothing where there is no stillness gate.
    pub retries: Vec<Option<Retries>>,
    /// What several outputs of one trial say together, of each variant.
    pub together: Vec<Together>,
    /// The arms held against each other; empty for one arm, and of recorded cases.
    pub arms: Arms<'p>,
    /// Errors split into what the planes differ by and the rest, once [`super::definitional()`] has been asked.
    pub definitional: Vec<Definitional<'p>>,
    /// Devices that were measured, of each variant; `None` without a nested design.
    pub devices: Option<Vec<u64>>,
    /// How these trials stand to verdicts seen before.
    pub look: Look,
}

/// How often the stillness gate had holds taken again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Retries {
    /// Trials looked at.
    pub trials: u64,
    /// Trials with at least one hold taken again.
    pub trials_with: u64,
    /// Holds taken again in all trials.
    pub holds: u64,
}

/// The errors of one output of one variant.
#[derive(Clone, Debug)]
pub struct OutputAssessment<'p> {
    /// The variant.
    pub variant: &'p Variant,
    /// The output.
    pub output: Output,
    /// Its errors, summed up.
    pub summary: Summary,
    /// The shape of their distribution.
    pub shape: Shape,
    /// Statistical tolerance intervals for each proportion and confidence that its requirements ask for; none in a nested
    /// design, whose trials are not independent.
    pub tolerance: Vec<ToleranceInterval>,
    /// Estimates of each block of trials; none in a nested design or of few trials.
    pub trace: Option<Trace>,
    /// Components of the variance, in a nested design.
    pub components: Vec<Component>,
    /// For each requirement of the output, the proportion of measured trials out of its limit.
    pub exceedances: Vec<Exceedance<'p>>,
}

/// The proportion of measured trials out of a limit.
#[derive(Clone, Debug)]
pub struct Exceedance<'p> {
    /// Whose limit it is.
    pub requirement: &'p Requirement,
    /// The proportion, with a two-sided interval.
    pub estimate: Option<Estimate>,
    /// In a nested design, the number of independent trials with the same standard error.
    pub n_effective: Option<f64>,
}

/// What was asked: one limit, or several in the same case.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked<'p> {
    /// Id of the requirement.
    pub id: &'p str,
    /// Id in the user's risk file.
    pub risk: Option<&'p str>,
    /// The requirement in words.
    pub text: &'p str,
    /// Proportion of cases.
    pub proportion: f64,
    /// Confidence.
    pub confidence: f64,
    /// The limits: one, or all that must hold together.
    pub limits: Vec<&'p Requirement>,
}

impl<'p> Asked<'p> {
    /// One requirement by itself.
    #[must_use]
    pub fn one(requirement: &'p Requirement) -> Self {
        let Requirement { id, risk, text, proportion, confidence, .. } = requirement;
        let limits = vec![requirement];
        Self { id, risk: risk.as_deref(), text, proportion: *proportion, confidence: *confidence, limits }
    }

    pub(super) fn joint(requirement: &'p JointRequirement, all: &'p [Requirement]) -> Self {
        let JointRequirement { id, risk, text, members, proportion, confidence } = requirement;
        let limits = members.iter().filter_map(|&member| all.get(member)).collect();
        Self { id, risk: risk.as_deref(), text, proportion: *proportion, confidence: *confidence, limits }
    }

    /// The single limit; `None` of several.
    #[must_use]
    pub fn single(&self) -> Option<&'p Requirement> {
        match self.limits[..] {
            [only] => Some(only),
            _ => None,
        }
    }
}

/// One requirement judged by one variant.
#[derive(Clone, Debug)]
pub struct RequirementAssessment<'p> {
    /// The requirement.
    pub asked: Asked<'p>,
    /// The variant.
    pub variant: &'p Variant,
    /// The judgement.
    pub judgement: Judgement,
}

/// Assesses a run from its parts, one column at a time. Each trial counts once, by its last reduction. No verdict has been
/// seen before.
///
/// # Errors
/// If a part cannot be read.
pub fn assess<'p>(plan: &'p Plan, parts_folder: &Path) -> Result<Assessment<'p>, PartError> {
    assess_after(plan, parts_folder, &Looks::default())
}

/// The same after verdicts on fewer trials may have been seen.
///
/// # Errors
/// If a part cannot be read.
pub fn assess_after<'p>(plan: &'p Plan, parts_folder: &Path, looks: &Looks) -> Result<Assessment<'p>, PartError> {
    let parts = Parts::list(parts_folder)?;
    let mut look = looks.now(plan);
    let (mut outputs, mut requirements, mut failures) = (Vec::new(), Vec::new(), Vec::new());
    let (mut all_together, mut devices, mut retries) = (Vec::new(), Vec::new(), Vec::new());
    for (index, variant) in (0..).zip(&plan.variants) {
        let first = outputs.len();
        let places = plan.design.map(|_| Places::read(&parts, index)).transpose()?;
        let events = RecordedEvents::read(variant, plan.design, &parts, index)?;
        let mut flags: Vec<Flags> = plan.joint_requirements.iter().map(|_| Flags::default()).collect();
        let mut candidates = Candidates::new(plan);
        for output in plan.asked().outputs() {
            let column = parts.column(index, &Schema::error_column(output), Rows::LastReduction)?;
            for (flags, joint) in flags.iter_mut().zip(&plan.joint_requirements) {
                let limits = joint.members.iter().filter_map(|&member| plan.requirements.get(member));
                for limit in limits.filter(|limit| limit.output == output) {
                    flags.mark(column.iter(), &limit.rule());
                }
            }
            let rare = events.of(output, column.iter().map(|error| error.is_some_and(f64::is_finite)));
            let nested = places.as_ref().map(|places| places.nested(column.iter()));
            let errors = nested.as_ref().map_or_else(|| Errors::from(column), Nested::errors);
            let asked: Vec<_> = plan.requirements.iter().filter(|asked| asked.output == output).collect();
            for requirement in &asked {
                candidates.add(Asked::one(requirement), &look.rule(requirement.rule()), |rule| match &nested {
                    Some(nested) => judge_nested(nested, rule),
                    None => judge(&errors, rule),
                });
            }
            outputs.push(of_output((variant, output), &errors, &rare, nested.as_ref(), &asked));
        }
        for (flags, joint) in flags.iter().zip(&plan.joint_requirements) {
            let rule = look.rule(Rule::absolute(0.0, joint.proportion, joint.confidence));
            candidates.add(Asked::joint(joint, &plan.requirements), &rule, |rule| match &places {
                Some(places) => judge_devices(&flags.of_devices(places), rule),
                None => judge_counts(&flags.counts(), rule),
            });
        }
        requirements.extend(candidates.settle(variant).into_iter().map(|settled| {
            let judgement = look.apply(settled.judgement);
            RequirementAssessment { judgement, ..settled }
        }));
        retries.push(match variant.model.protocol.stillness_limit_mm {
            Some(_) => Some(Retries::of(&parts.column(index, "retries", Rows::LastReduction)?)),
            None => None,
        });
        failures.push(parts.failures(index, Rows::LastReduction)?);
        all_together.push(together::read(plan, &parts, index, &outputs[first..])?);
        devices.extend(places.map(|places| places.count()));
    }
    in_order(plan, &mut requirements);
    let devices = plan.design.map(|_| devices);
    let arms = comparison::compare(plan, &parts, &look)?;
    let claims = arms.claims.iter().map(|judged| (judged.claim.id.as_str(), judged.verdict.word()));
    let verdicts = requirements.iter().map(|judged| (judged.asked.id, judged.judgement.verdict.word()));
    look.see(plan, verdicts.chain(claims));
    Ok(Assessment {
        outputs,
        requirements,
        failures,
        together: all_together,
        arms,
        definitional: Vec::new(),
        devices,
        look,
        retries,
    })
}

/// Assesses independent cases whose errors are at hand: of each output of each variant a value for each case, `None` where
/// the truth is not known, NaN where there is no reading.
#[must_use]
pub fn assess_in_memory(
    plan: &Plan,
    failures: Vec<BTreeMap<String, u64>>,
    errors: impl Fn(usize, Output) -> Vec<Option<f64>>,
) -> Assessment<'_> {
    let (mut outputs, mut requirements, mut all_together) = (Vec::new(), Vec::new(), Vec::new());
    for (index, variant) in plan.variants.iter().enumerate() {
        let columns = OUTPUTS.map(|output| errors(index, output));
        let mut candidates = Candidates::new(plan);
        for output in plan.asked().outputs() {
            let (measured, failed): (Vec<f64>, Vec<f64>) =
                columns[output.place()].iter().flatten().partition(|error| error.is_finite());
            let errors = Errors::new(measured, failed.len() as u64);
            let asked: Vec<_> = plan.requirements.iter().filter(|asked| asked.output == output).collect();
            for requirement in &asked {
                candidates.add(Asked::one(requirement), &requirement.rule(), |rule| judge(&errors, rule));
            }
            outputs.push(of_output((variant, output), &errors, &RareEvents::default(), None, &asked));
        }
        for joint in &plan.joint_requirements {
            // A case whose truth is not known cannot count as within.
            let flags =
                joint_flags(plan, joint, |which| columns[which].iter().map(|error| error.unwrap_or(f64::NAN)));
            let rule = Rule::absolute(0.0, joint.proportion, joint.confidence);
            candidates
                .add(Asked::joint(joint, &plan.requirements), &rule, |rule| judge_counts(&flags.counts(), rule));
        }
        requirements.extend(candidates.settle(variant));
        all_together.push(Together::of_cup(&columns[0], &columns[1]));
    }
    in_order(plan, &mut requirements);
    let retries = vec![None; plan.variants.len()];
    let (look, arms) = (Looks::default().now(plan), Arms::default());
    Assessment {
        outputs,
        requirements,
        failures,
        together: all_together,
        arms,
        definitional: Vec::new(),
        devices: None,
        look,
        retries,
    }
}

/// Judges limits that must hold in the same case on independent cases; the column of an output, by its place, has a value for
/// each case, NaN where there is no reading.
pub(super) fn judge_joint<C: ExactSizeIterator<Item = f64>>(
    plan: &Plan,
    joint: &JointRequirement,
    column: impl Fn(usize) -> C,
) -> Judgement {
    judge_counts(&joint_flags(plan, joint, column).counts(), &Rule::absolute(0.0, joint.proportion, joint.confidence))
}

/// Which cases are beyond any of the limits that must hold together.
fn joint_flags<C: ExactSizeIterator<Item = f64>>(
    plan: &Plan,
    joint: &JointRequirement,
    column: impl Fn(usize) -> C,
) -> Flags {
    let mut flags = Flags::default();
    for limit in joint.members.iter().filter_map(|&member| plan.requirements.get(member)) {
        let read = |error: f64| Some(error).filter(|error| error.is_finite());
        flags.mark(column(limit.output.place()).map(read), &limit.rule());
    }
    flags
}

/// By requirement first, in the order of the file.
fn in_order(plan: &Plan, requirements: &mut [RequirementAssessment]) {
    let single = plan.requirements.iter().map(|requirement| requirement.id.as_str());
    let ids: Vec<&str> = single.chain(plan.joint_requirements.iter().map(|joint| joint.id.as_str())).collect();
    requirements.sort_by_key(|assessed| ids.iter().position(|id| *id == assessed.asked.id));
}

impl Retries {
    fn of(column: &Column) -> Self {
        column.iter().fold(Self::default(), |sum, retries| {
            let holds = retries.unwrap_or(0.0);
            // Whole numbers of at most a few hundred.
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let count = holds as u64;
            Self {
                trials: sum.trials + 1,
                trials_with: sum.trials_with + u64::from(count > 0),
                holds: sum.holds + count,
            }
        })
    }
}

fn of_output<'p>(
    (variant, output): (&'p Variant, Output),
    errors: &Errors,
    rare: &RareEvents,
    nested: Option<&Nested>,
    asked: &[&'p Requirement],
) -> OutputAssessment<'p> {
    let independent = nested.is_none();
    // What needs the errors in order of size, and what needs them as they are, side by side.
    let components = nested.map_or_else(Vec::new, |nested| components(nested, rare, CONFIDENCE));
    let ((absolute, sorted, summary), (shape, trace)) = rayon::join(
        || {
            let mut sorted = errors.values().to_vec();
            sorted.par_sort_unstable_by(f64::total_cmp);
            let absolute = order::sizes(&sorted);
            let summary = match nested {
                Some(nested) => summarise_nested(nested, &components, rare),
                None => summarise_sorted(errors, &absolute, rare),
            };
            (absolute, sorted, summary)
        },
        || (shape(errors.values()), independent.then(|| trace(errors.values())).flatten()),
    );
    let tolerance = if independent {
        let levels = tolerance_levels(asked).into_iter();
        levels.flat_map(|level| tolerance_intervals(&sorted, &absolute, &shape, level)).collect()
    } else {
        Vec::new()
    };
    let exceedance = |requirement: &&'p Requirement| {
        let rule = requirement.rule();
        let out = |values: &[f64]| values.iter().filter(|&&error| rule.beyond(error)).count() as u64;
        let of_devices = nested.map(|nested| -> DeviceCounts {
            let of_device = |values: &[f64]| DeviceCount { outside: out(values), trials: values.len() as u64 };
            nested.devices().iter().map(|device| of_device(&device.values)).collect()
        });
        let estimate = match &of_devices {
            Some(devices) => devices.proportion(CONFIDENCE),
            None => proportion(out(errors.values()), errors.measured(), CONFIDENCE),
        };
        let n_effective = of_devices.and_then(|devices| devices.effective_number());
        Exceedance { requirement, estimate, n_effective }
    };
    OutputAssessment {
        variant,
        output,
        summary,
        shape,
        tolerance,
        trace,
        components,
        exceedances: asked.iter().map(exceedance).collect(),
    }
}

/// Every pair of proportion and confidence that requirements of an output ask for, in their order.
fn tolerance_levels(asked: &[&Requirement]) -> Vec<(f64, f64)> {
    let mut levels = Vec::new();
    for requirement in asked {
        let level = (requirement.proportion, requirement.confidence);
        if !levels.contains(&level) {
            levels.push(level);
        }
    }
    if levels.is_empty() { vec![TOLERANCE] } else { levels }
}

/// Device and case of every trial.
struct Places {
    device: Vec<u64>,
    case: Vec<u64>,
}

impl Places {
    fn read(parts: &Parts, variant: u32) -> Result<Self, PartError> {
        let [device, case] = parts.columns(variant, ["device", "case"], Rows::LastReduction)?;
        // Indices far below 2^53 stay whole as floating point numbers; none is missing.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let whole = |column: crate::record::Column| column.iter().map(|value| value.unwrap_or(0.0) as u64).collect();
        Ok(Self { device: whole(device), case: whole(case) })
    }

    fn nested(&self, errors: impl Iterator<Item = Option<f64>>) -> Nested {
        Nested::new(
            self.device.iter().zip(&self.case).zip(errors).map(|((&device, &case), error)| (device, case, error)),
        )
    }

    fn count(&self) -> u64 {
        self.device.chunk_by(|one, other| one == other).count() as u64
    }
}

/// Of every trial, whether it failed or was beyond one of several limits.
#[derive(Default)]
struct Flags(Vec<u8>);

impl Flags {
    const FAILED: u8 = 1;
    const BEYOND: u8 = 2;
    const BEYOND_ACCEPTANCE: u8 = 4;

    fn mark(&mut self, errors: impl ExactSizeIterator<Item = Option<f64>>, rule: &Rule) {
        self.0.resize(errors.len(), 0);
        for (flags, error) in self.0.iter_mut().zip(errors) {
            *flags |= match error {
                None => Self::FAILED,
                Some(error) if rule.beyond(error) => Self::BEYOND | Self::BEYOND_ACCEPTANCE,
                Some(error) if rule.beyond_acceptance(error) => Self::BEYOND_ACCEPTANCE,
                Some(_) => 0,
            };
        }
    }

    fn count<'f>(flags: impl IntoIterator<Item = &'f u8>) -> Counts {
        let mut counts = Counts::default();
        for flags in flags {
            let has = |flag: u8| flags & flag != 0;
            counts.add(has(Self::FAILED), has(Self::BEYOND), has(Self::BEYOND_ACCEPTANCE));
        }
        counts
    }

    fn counts(&self) -> Counts {
        Self::count(&self.0)
    }

    fn of_devices(&self, places: &Places) -> Vec<Counts> {
        let mut rest = self.0.as_slice();
        let devices = places.device.chunk_by(|one, other| one == other);
        devices
            .map(|device| {
                let (mine, others) = rest.split_at(device.len().min(rest.len()));
                rest = others;
                Self::count(mine)
            })
            .collect()
    }
}

impl Requirement {
    /// The rule by which it is judged.
    #[must_use]
    pub fn rule(&self) -> Rule {
        let &Self { limit, direction, guard, proportion, confidence, .. } = self;
        Rule { limit, direction, guard, proportion, confidence }
    }
}
