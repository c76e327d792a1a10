//! What the number of trials was planned for: the probability that each requirement passes, and how many trials give a
//! stated one. `check`, documents and warnings print this and nothing else.

use super::Asked;
use crate::analysis::planning::{
    AssumedDevices, Needed, fewest_devices, least_trials, probability_of_pass, trials_needed,
};
use crate::analysis::{Rule, confidence_of_a_look, most_out};
use crate::experiment::{Design, Plan};

/// Probabilities of a pass for which numbers of trials are stated.
pub const PROBABILITIES: [f64; 2] = [0.8, 0.9];

/// Points of an operating characteristic curve of independent trials, and of one that is simulated.
const CURVE: [u32; 2] = [120, 20];

/// How far an operating characteristic curve reaches, as a multiple of the allowed proportion.
const REACH: f64 = 1.25;

/// Every requirement of a plan with its numbers. What is counted is trials; in a nested design, devices.
#[derive(Clone, Debug)]
pub struct PlannedTrials<'p> {
    /// Planned trials of each variant, or devices.
    pub units: u64,
    /// Whether devices are counted.
    pub devices: bool,
    /// In the order of the plan; those that join others come last.
    pub requirements: Vec<PlannedRequirement<'p>>,
    /// The requirements of one variant together, for each assumption; empty for fewer than two requirements.
    pub together: Vec<PlannedTogether>,
}

/// A requirement and the numbers of trials (devices) that can show it.
#[derive(Clone, Debug)]
pub struct PlannedRequirement<'p> {
    /// The requirement.
    pub asked: Asked<'p>,
    /// The rule by which one look judges it.
    pub rule: Rule,
    /// The smallest number that can pass at all; `None` beyond a billion.
    pub least: Option<u64>,
    /// Whether the planned number can pass at all.
    pub can_pass: bool,
    /// The most trials of the plan that may be outside the acceptance limit; `None` where the plan cannot pass, and in a
    /// nested design, where it depends on how they are spread over devices.
    pub most_outside: Option<u64>,
    /// Each assumption about the truth with what follows from it, in the order of the plan.
    pub assumed: Vec<AssumedTruth>,
}

/// An assumption about the truth, and what follows from it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AssumedTruth {
    /// True proportion of cases outside, as a share of what the requirement allows.
    pub of_allowed: f64,
    /// True proportion of cases outside the acceptance limit (of several limits: outside at least one).
    pub outside: f64,
    /// Share of the variance that is between devices; `None` of independent trials.
    pub device_share: Option<f64>,
    /// Probability that the planned trials pass; simulated in a nested design, with a standard error of at most 2.5 %.
    pub probability: f64,
    /// Numbers of trials (devices) for each of [`PROBABILITIES`].
    pub needed: [Option<Needed>; 2],
}

/// All requirements of one variant, each under the same assumption.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlannedTogether {
    /// True proportion outside each limit, as a share of what that requirement allows.
    pub of_allowed: f64,
    /// Share of the variance that is between devices; `None` of independent trials.
    pub device_share: Option<f64>,
    /// Bounds of the probability that all pass with the planned trials, whatever the dependence between them.
    pub probability: [f64; 2],
    /// Numbers of trials from which all pass with each of [`PROBABILITIES`] or more, whatever the dependence; not worked out
    /// for a nested design.
    pub needed: [Option<u64>; 2],
}

/// Every requirement of a plan with the rule by which one look judges it.
#[must_use]
pub fn rules(plan: &Plan) -> Vec<(Asked<'_>, Rule)> {
    let look = |rule: Rule| Rule { confidence: confidence_of_a_look(rule.confidence, plan.looks), ..rule };
    let single = plan.requirements.iter().map(|asked| (Asked::one(asked), look(asked.rule())));
    let joint = plan.joint_requirements.iter().map(|asked| {
        let rule = Rule::absolute(0.0, asked.proportion, asked.confidence);
        (Asked::joint(asked, &plan.requirements), look(rule))
    });
    single.chain(joint).collect()
}

impl<'p> PlannedTrials<'p> {
    /// The numbers of a plan.
    #[must_use]
    pub fn of(plan: &'p Plan) -> Self {
        let units = plan.design.map_or(plan.trials, |design| design.devices(plan.trials));
        let mut requirements: Vec<PlannedRequirement> = Vec::new();
        for (asked, rule) in rules(plan) {
            // Equal rules have equal numbers.
            let known = requirements.iter().find(|known| same_rule(&known.rule, &rule));
            let numbers =
                known.map_or_else(|| planned(plan, units, rule), |known| (known.least, known.assumed.clone()));
            let (least, assumed) = numbers;
            let can_pass = least.is_some_and(|least| units >= least);
            let most_outside = if plan.design.is_some() { None } else { most_out(units, &rule) };
            requirements.push(PlannedRequirement { asked, rule, least, can_pass, most_outside, assumed });
        }
        let several = requirements.len() > 1;
        let assumed = requirements.first().map_or(0, |first| first.assumed.len());
        let together =
            (0..if several { assumed } else { 0 }).filter_map(|which| all_pass(&requirements, which)).collect();
        Self { units, devices: plan.design.is_some(), requirements, together }
    }

    /// All requirements together, for the middle proportion outside.
    pub fn middle_together(&self) -> impl Iterator<Item = &PlannedTogether> {
        let middle = self.together.get(self.together.len() / 2).map(|together| together.of_allowed);
        self.together.iter().filter(move |together| Some(together.of_allowed) == middle)
    }

    /// What is counted, in the plural.
    #[must_use]
    pub fn unit(&self) -> &'static str {
        if self.devices { "devices" } else { "trials" }
    }
}

impl PlannedRequirement<'_> {
    /// The assumptions that a sentence names where there is no room for all: those of the middle proportion outside.
    pub fn middle(&self) -> impl Iterator<Item = &AssumedTruth> {
        let middle = self.assumed.get(self.assumed.len() / 2).map(|truth| truth.of_allowed);
        self.assumed.iter().filter(move |truth| Some(truth.of_allowed) == middle)
    }

    /// Whether a guard band is taken off a limit.
    #[must_use]
    pub fn guarded(&self) -> bool {
        self.asked.limits.iter().any(|limit| limit.guard > 0.0)
    }
}

/// Whether two rules judge counts alike.
#[must_use]
pub fn same_rule(one: &Rule, other: &Rule) -> bool {
    one.proportion == other.proportion && one.confidence == other.confidence
}

/// Operating characteristic curves of a rule with the planned trials: true proportion outside, and probability of a pass. One
/// curve; in a nested design one for each assumed share of the variance between devices.
#[must_use]
pub fn operating_characteristics(plan: &Plan, rule: &Rule) -> Vec<(Option<f64>, Vec<[f64; 2]>)> {
    let last = (REACH * (1.0 - rule.proportion)).min(1.0);
    let curve = |points: u32, of: &dyn Fn(f64) -> f64| {
        let outside = |i| last * f64::from(i) / f64::from(points);
        (0..=points).map(|i| [outside(i), of(outside(i))]).collect()
    };
    match plan.design {
        None => vec![(None, curve(CURVE[0], &|outside| probability_of_pass(plan.trials, rule, outside)))],
        Some(Design { cases, .. }) => {
            let devices = plan.design.map_or(0, |design| design.devices(plan.trials));
            let of_share = |&share: &f64| {
                let of = |outside| AssumedDevices::new(rule, cases, outside, share).probability(devices);
                (Some(share), curve(CURVE[1], &of))
            };
            plan.planning.device_share.iter().map(of_share).collect()
        }
    }
}

/// The smallest number that can pass, and what follows from each assumption.
fn planned(plan: &Plan, units: u64, rule: Rule) -> (Option<u64>, Vec<AssumedTruth>) {
    let allowed = 1.0 - rule.proportion;
    let each = plan.planning.outside_of_allowed.iter().map(|&of_allowed| (of_allowed, of_allowed * allowed));
    match plan.design {
        None => {
            let truth = |(of_allowed, outside)| AssumedTruth {
                of_allowed,
                outside,
                device_share: None,
                probability: probability_of_pass(units, &rule, outside),
                needed: PROBABILITIES.map(|probability| trials_needed(&rule, outside, probability)),
            };
            (least_trials(&rule), each.map(truth).collect())
        }
        Some(Design { cases, .. }) => {
            let truth = |of_allowed: f64, outside: f64, share: f64| {
                let assumed = AssumedDevices::new(&rule, cases, outside, share);
                let needed = PROBABILITIES.map(|probability| {
                    assumed.devices_needed(probability).map(|least| Needed { least, all_from: least })
                });
                let probability = assumed.probability(units);
                AssumedTruth { of_allowed, outside, device_share: Some(share), probability, needed }
            };
            let shares = &plan.planning.device_share;
            let truths = each.flat_map(|(of_allowed, outside)| {
                shares.iter().map(move |&share| (of_allowed, outside, share)).collect::<Vec<_>>()
            });
            (
                fewest_devices(&rule),
                truths.map(|(of_allowed, outside, share)| truth(of_allowed, outside, share)).collect(),
            )
        }
    }
}

/// The bounds of Fréchet and Bonferroni: at most as probable as the least probable one, and no less than what is left of 1
/// when the probabilities not to pass are taken off.
fn all_pass(requirements: &[PlannedRequirement], which: usize) -> Option<PlannedTogether> {
    let assumed = || requirements.iter().filter_map(|planned| Some((planned, planned.assumed.get(which)?)));
    let &AssumedTruth { of_allowed, device_share, .. } = assumed().next()?.1;
    let missed: f64 = assumed().map(|(_, assumed)| 1.0 - assumed.probability).sum();
    let least = assumed().map(|(_, assumed)| assumed.probability).fold(1.0, f64::min);
    let needed = PROBABILITIES.map(|probability| {
        let each = 1.0 - (1.0 - probability) / requirements.len() as f64;
        let from = |(planned, assumed): (&PlannedRequirement, &AssumedTruth)| {
            trials_needed(&planned.rule, assumed.outside, each).map(|needed| needed.all_from)
        };
        let independent = device_share.is_none();
        independent.then(|| assumed().map(from).try_fold(0, |most, from| Some(from?.max(most))))?
    });
    Some(PlannedTogether { of_allowed, device_share, probability: [(1.0 - missed).max(0.0), least], needed })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::{Counts, Verdict, judge_counts};
    use crate::study::Looks;

    const REQUIREMENTS: &str = "[[requirement]]\nid = \"A\"\ntext = \"A.\"\noutput = \"inclination\"\nlimit_deg = 3\n\
                                guard_deg = 0.5\nproportion = 0.9\nconfidence = 0.95\n\
                                [[requirement]]\nid = \"B\"\ntext = \"B.\"\noutput = \"offset\"\nlimit_mm = 3\n\
                                proportion = 0.95\nconfidence = 0.9\n\
                                [[requirement]]\nid = \"AB\"\ntext = \"AB.\"\nall_of = [\"A\", \"B\"]\n\
                                proportion = 0.8\nconfidence = 0.95\n";

    fn plan(head: &str) -> Plan {
        Plan::parse("planned.toml", &format!("seed = 1\n{head}\n{REQUIREMENTS}")).unwrap()
    }

    /// The rule that is planned is the rule that judges, at any number of looks: as many outside as planned pass, one more does
    /// not.
    #[test]
    fn identity_planned_as_judged() {
        for head in ["trials = 400", "trials = 400\nlooks = 5", "trials = 60\nlooks = 2"] {
            let plan = plan(head);
            let (planned, look) = (PlannedTrials::of(&plan), Looks::default().now(&plan));
            assert_eq!(planned.requirements.iter().map(|one| one.asked.id).collect::<Vec<_>>(), ["A", "B", "AB"]);
            for one in &planned.requirements {
                let rule = look.rule(Rule::absolute(3.0, one.asked.proportion, one.asked.confidence));
                assert!(same_rule(&rule, &one.rule));
                let verdict = |outside: u64| {
                    let counts = Counts { n: plan.trials, beyond_acceptance: outside, ..Counts::default() };
                    judge_counts(&counts, &rule).verdict
                };
                assert_eq!(one.can_pass, one.most_outside.is_some());
                match one.most_outside {
                    Some(most) => assert_eq!([most, most + 1].map(verdict), [Verdict::Pass, Verdict::NotShown]),
                    None => assert_eq!(verdict(0), Verdict::NotShown),
                }
            }
        }
    }

    /// Bounds of the probability that all pass, against independent requirements (the product) and against one that implies the
    /// others (the smallest).
    #[test]
    fn identity_all_pass_between_bounds() {
        let plan = plan("trials = 300");
        let planned = PlannedTrials::of(&plan);
        for (which, together) in planned.together.iter().enumerate() {
            let each: Vec<f64> = planned.requirements.iter().map(|one| one.assumed[which].probability).collect();
            let (product, smallest) = (each.iter().product::<f64>(), each.iter().copied().fold(1.0, f64::min));
            assert!(together.probability[0] <= product && product <= together.probability[1], "{each:?}");
            assert_eq!(together.probability[1], smallest);
            for (probability, needed) in PROBABILITIES.iter().zip(together.needed) {
                let needed = needed.unwrap();
                let missed = planned
                    .requirements
                    .iter()
                    .map(|one| 1.0 - probability_of_pass(needed, &one.rule, one.assumed[which].outside));
                assert!(1.0 - missed.sum::<f64>() >= *probability);
            }
        }
    }

    /// 90 % at 95 % confidence takes 29 devices, 95 % at 90 % takes 45 (0.95^45 = 0.0994), 80 % at 95 % takes 14.
    #[test]
    fn table_devices_of_a_nested_design() {
        let plan = plan("[design]\ndevices = 30\ncases = 4\nrepeats = 2\n[planning]\noutside_of_allowed = [0.1]");
        let planned = PlannedTrials::of(&plan);
        assert_eq!((planned.units, planned.devices), (30, true));
        let found: Vec<_> = planned.requirements.iter().map(|one| (one.least, one.can_pass)).collect();
        assert_eq!(found, [(Some(29), true), (Some(45), false), (Some(14), true)]);
        assert_eq!(planned.requirements[1].assumed.iter().map(|truth| truth.probability).sum::<f64>(), 0.0);
        assert!(
            plan.warnings
                .iter()
                .any(|warning| warning.to_string().contains("too few devices to show requirement \"B\""))
        );
        let curves = operating_characteristics(&plan, &planned.requirements[2].rule);
        assert_eq!(curves.iter().map(|curve| curve.0).collect::<Vec<_>>(), [Some(0.0), Some(0.5)]);
        assert!(curves.iter().all(|(_, points)| points[0] == [0.0, 1.0]));
    }
}
