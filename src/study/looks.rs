//! Looks at verdicts while trials are added: the number of trials is fixed in the plan, or so many looks are declared in it.

use crate::analysis::{Judgement, Rule, Withheld, confidence_of_a_look};
use crate::experiment::Plan;
use serde_json::{Value, json};

/// Verdicts that were seen, each with the number of trials and the number of looks that the plan then declared.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Looks(Vec<(u64, u32)>);

/// How an assessment stands to those before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Which look it is, from 1.
    pub number: usize,
    /// How many the plan declares.
    pub declared: u32,
    /// Whether trials were added after a verdict was seen, without enough looks declared beforehand.
    pub undeclared: bool,
}

impl Looks {
    /// As the record of a run has them; what cannot be read counts as none.
    #[must_use]
    pub fn of_manifest(manifest: &Value) -> Self {
        let look = |look: &Value| Some((look["trials"].as_u64()?, u32::try_from(look["declared"].as_u64()?).ok()?));
        Self(manifest["looks"].as_array().into_iter().flatten().filter_map(look).collect())
    }

    /// For the record of a run, with the look that is taken now; without requirements or claims there
    /// is no verdict to see.
    #[must_use]
    pub fn with(&self, plan: &Plan) -> Value {
        let mut looks = self.0.clone();
        let judged = !plan.requirements.is_empty() || !plan.comparisons.is_empty();
        if judged && !looks.iter().any(|look| look.0 == plan.trials) {
            looks.push((plan.trials, plan.looks));
        }
        looks.iter().map(|(trials, declared)| json!({ "trials": trials, "declared": declared })).collect()
    }

    /// The look at the trials of a plan. Looking again at the same trials is no new look.
    #[must_use]
    pub fn now(&self, plan: &Plan) -> Look {
        let earlier: Vec<_> = self.0.iter().filter(|look| look.0 < plan.trials).collect();
        let number = earlier.len() + 1;
        let kept = earlier.iter().all(|look| look.1 == plan.looks) && number <= plan.looks as usize;
        Look { number, declared: plan.looks, undeclared: !earlier.is_empty() && !kept }
    }
}

impl Look {
    /// A rule with the confidence of one look.
    #[must_use]
    pub fn rule(&self, rule: Rule) -> Rule {
        Rule { confidence: confidence_of_a_look(rule.confidence, self.declared), ..rule }
    }

    /// A judgement, or none if this look was not declared.
    #[must_use]
    pub fn apply(&self, judgement: Judgement) -> Judgement {
        if self.undeclared { judgement.withheld(Withheld::Extended) } else { judgement }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(trials: u64, looks: u32) -> Plan {
        let requirement = "[[requirement]]\nid = \"A\"\ntext = \"A.\"\noutput = \"offset\"\nlimit_mm = 3\n\
                           proportion = 0.95\nconfidence = 0.95\n";
        let text = format!("seed = 1\ntrials = {trials}\nlooks = {looks}\n{requirement}");
        Plan::parse("looks.toml", &text).unwrap()
    }

    fn seen(looks: &[(u64, u32)]) -> Looks {
        looks.iter().fold(Looks::default(), |seen, &(trials, declared)| {
            Looks::of_manifest(&json!({ "looks": seen.with(&plan(trials, declared)) }))
        })
    }

    #[test]
    fn identity_what_was_declared_beforehand() {
        let undeclared = |looks: &[(u64, u32)], trials, declared| seen(looks).now(&plan(trials, declared)).undeclared;
        assert!(!undeclared(&[], 1000, 1), "the first look");
        assert!(!undeclared(&[(1000, 1)], 1000, 1), "the same trials again");
        assert!(undeclared(&[(1000, 1)], 2000, 1), "trials added");
        assert!(undeclared(&[(1000, 1)], 2000, 3), "declared too late");
        assert!(!undeclared(&[(1000, 3)], 2000, 3));
        assert!(!undeclared(&[(1000, 3), (2000, 3)], 3000, 3));
        assert!(undeclared(&[(1000, 3), (2000, 3), (3000, 3)], 4000, 3), "one look too many");
        assert!(undeclared(&[(1000, 3)], 2000, 2), "another number");
        let look = seen(&[(1000, 2)]).now(&plan(2000, 2));
        assert_eq!((look.number, look.rule(Rule::absolute(1.0, 0.95, 0.95)).confidence), (2, 0.975));
    }
}
