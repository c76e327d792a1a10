//! Looks at verdicts: the plan declares how many there will be, and a verdict beyond them is withheld.
//!
//! A look is further if it asks another question than those before it: other trials (another seed, another number of them,
//! other inputs) or other criteria. The same trials judged again by the same criteria are no further look. Looks at a frozen
//! plan are counted through all folders and amendments; without one only those of the run's own folder are known, and there
//! only a number of trials that grew makes a further look.

use crate::analysis::{Judgement, Rule, Withheld, confidence_of_a_look};
use crate::experiment::Plan;
use crate::record::LookRecord;
use std::collections::BTreeMap;

/// Looks taken before, as they are known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Looks {
    /// In the record of the run.
    recorded: Vec<LookRecord>,
    /// In the file beside the frozen plan.
    beside: Vec<LookRecord>,
}

/// A look at verdicts, with those before it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Look {
    /// Which look it is, from 1.
    pub number: usize,
    /// How many the plan declares.
    pub declared: u32,
    /// Whether the plan had not declared so many looks before the first.
    pub undeclared: bool,
    /// Looks before it, oldest first.
    pub earlier: Vec<LookRecord>,
    /// This one, with its verdicts once they were seen; `None` where nothing was judged.
    pub own: Option<LookRecord>,
    /// What the record of the run holds already.
    recorded: Vec<LookRecord>,
}

impl Looks {
    /// Those in the record of a run, and those in the file beside its frozen plan.
    #[must_use]
    pub fn new(recorded: Vec<LookRecord>, beside: Vec<LookRecord>) -> Self {
        Self { recorded, beside }
    }

    /// The look at a plan. Where it was taken before, the looks before it are those of its first time.
    #[must_use]
    pub fn now(&self, plan: &Plan) -> Look {
        let this = question(plan);
        let first = |looks: &[LookRecord]| looks.iter().position(|look| look.is_same(&this));
        let earlier = if let Some(place) = first(&self.recorded) {
            self.recorded[..place].to_vec()
        } else {
            let beside = &self.beside[..first(&self.beside).unwrap_or(self.beside.len())];
            let only_recorded = |look: &&LookRecord| !beside.iter().any(|other| other.is_same(look));
            let without_folder = |look: &LookRecord| LookRecord { folder: None, ..look.clone() };
            self.recorded.iter().filter(only_recorded).chain(beside).map(without_folder).collect()
        };
        let same = |one: &LookRecord, other: &LookRecord| match plan.frozen {
            Some(_) => one.asks_the_same(other),
            None => one.trials == other.trials,
        };
        let mut further: Vec<&LookRecord> = Vec::new();
        for look in earlier.iter().filter(|look| !same(look, &this)) {
            if !further.iter().any(|known| same(known, look)) {
                further.push(look);
            }
        }
        let number = further.len() + 1;
        let kept = further.iter().all(|look| look.declared == plan.looks) && number <= plan.looks as usize;
        let undeclared = !further.is_empty() && !kept;
        Look { number, declared: plan.looks, undeclared, earlier, own: None, recorded: self.recorded.clone() }
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
        if self.undeclared { judgement.withheld(Withheld::UndeclaredLook) } else { judgement }
    }

    /// Takes the verdicts that are seen now: each by the id of its requirement or claim.
    pub(super) fn see<'v>(&mut self, plan: &Plan, verdicts: impl Iterator<Item = (&'v str, &'static str)>) {
        let mut seen: BTreeMap<String, BTreeMap<String, u64>> = BTreeMap::new();
        for (id, verdict) in verdicts {
            *seen.entry(id.to_owned()).or_default().entry(verdict.to_owned()).or_default() += 1;
        }
        self.own = (!seen.is_empty()).then(|| LookRecord { verdicts: seen, ..question(plan) });
    }

    /// The looks up to this one, oldest first: what a document shows.
    #[must_use]
    pub fn list(&self) -> Vec<&LookRecord> {
        self.earlier.iter().chain(&self.own).collect()
    }

    /// Whether the record of the run holds this look already.
    #[must_use]
    pub fn is_recorded(&self) -> bool {
        self.own.as_ref().is_some_and(|own| self.recorded.iter().any(|other| other.is_same(own)))
    }

    /// What the record of the run is to hold: all that it held, those before this look, and this one.
    #[must_use]
    pub fn to_record(&self) -> Vec<LookRecord> {
        match &self.own {
            Some(own) if !self.is_recorded() => self.earlier.iter().chain([own]).cloned().collect(),
            _ => self.recorded.clone(),
        }
    }
}

/// The look at a plan, before its verdicts are seen.
fn question(plan: &Plan) -> LookRecord {
    LookRecord {
        plan: plan.frozen.as_ref().map(|frozen| frozen.current().hash()),
        simulation_hash: plan.simulation_hash(),
        criteria_hash: plan.criteria_hash(),
        seed: plan.seed,
        trials: plan.trials,
        declared: plan.looks,
        verdicts: BTreeMap::new(),
        folder: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::FrozenPlan;

    /// A plan with its seed, trials, declared looks and limit; frozen as the first of them all.
    fn plan(seed: u64, trials: u64, looks: u32, limit: u32) -> Plan {
        let text = |seed, trials, looks, limit| {
            format!(
                "seed = {seed}\ntrials = {trials}\nlooks = {looks}\n[[requirement]]\nid = \"A\"\ntext = \"A.\"\n\
                 output = \"offset\"\nlimit_mm = {limit}\nproportion = 0.95\nconfidence = 0.95\n"
            )
        };
        Plan::parse("looks.toml", &text(seed, trials, looks, limit)).unwrap()
    }

    fn frozen(plan: Plan) -> Plan {
        let frozen = FrozenPlan::of(&self::plan(1, 1000, plan.looks, 3), 0);
        Plan { frozen: Some(frozen), ..plan }
    }

    /// Looks at plans one after the other, each with the list of those before it, all in one folder.
    fn seen(plans: &[Plan]) -> Vec<LookRecord> {
        plans.iter().fold(Vec::new(), |recorded, plan| {
            let mut look = Looks::new(recorded, Vec::new()).now(plan);
            look.see(plan, [("A", "pass")].into_iter());
            look.to_record()
        })
    }

    #[test]
    fn identity_trials_added_in_a_folder_without_a_frozen_plan() {
        let at = |trials, looks| plan(1, trials, looks, 3);
        let undeclared = |before: &[(u64, u32)], trials, looks| {
            let before: Vec<_> = before.iter().map(|&(trials, looks)| at(trials, looks)).collect();
            Looks::new(seen(&before), Vec::new()).now(&at(trials, looks)).undeclared
        };
        assert!(!undeclared(&[], 1000, 1), "the first look");
        assert!(!undeclared(&[(1000, 1)], 1000, 1), "the same trials again");
        assert!(undeclared(&[(1000, 1)], 2000, 1), "trials added");
        assert!(undeclared(&[(1000, 1)], 2000, 3), "declared too late");
        assert!(!undeclared(&[(1000, 3)], 2000, 3));
        assert!(!undeclared(&[(1000, 3), (2000, 3)], 3000, 3));
        assert!(undeclared(&[(1000, 3), (2000, 3), (3000, 3)], 4000, 3), "one look too many");
        assert!(undeclared(&[(1000, 3)], 2000, 2), "another number");
        let look = Looks::new(seen(&[at(1000, 2)]), Vec::new()).now(&at(2000, 2));
        assert_eq!((look.number, look.rule(Rule::absolute(1.0, 0.95, 0.95)).confidence), (2, 0.975));
        // Other requirements of the same trials are judged: no plan says which were meant.
        assert!(!Looks::new(seen(&[at(1000, 1)]), Vec::new()).now(&plan(1, 1000, 1, 5)).undeclared);
    }

    /// At a frozen plan another seed, other trials and other criteria are further looks, wherever they were taken.
    #[test]
    fn identity_further_looks_at_a_frozen_plan() {
        let first = frozen(plan(1, 1000, 1, 3));
        let beside = seen(std::slice::from_ref(&first));
        let now = |plan| Looks::new(Vec::new(), beside.clone()).now(&frozen(plan));
        assert!(!now(plan(1, 1000, 1, 3)).undeclared, "the same again, in another folder");
        for (other, what) in [
            (plan(2, 1000, 1, 3), "another seed"),
            (plan(1, 2000, 1, 3), "more trials"),
            (plan(1, 500, 1, 3), "fewer trials"),
            (plan(1, 1000, 1, 5), "another limit"),
        ] {
            let look = now(other);
            assert!(look.undeclared && look.number == 2, "{what}");
        }
        let declared = frozen(plan(1, 1000, 2, 3));
        let beside = seen(std::slice::from_ref(&declared));
        let second = Looks::new(Vec::new(), beside).now(&frozen(plan(2, 1000, 2, 3)));
        assert!(!second.undeclared && second.number == 2);
    }

    /// An amendment that changes texts alone is no further look; one of the criteria is, and the count goes on.
    #[test]
    fn identity_looks_go_on_through_amendments() {
        let first = frozen(plan(1, 1000, 1, 3));
        let beside = seen(std::slice::from_ref(&first));
        let amend = |plan: Plan| {
            let amended = first.frozen.as_ref().unwrap().amended(&plan, "a reason", 1);
            Plan { frozen: Some(amended), ..plan }
        };
        let now = |plan: &Plan| Looks::new(Vec::new(), beside.clone()).now(plan);
        let titled = amend(Plan { title: "another title".to_owned(), ..plan(1, 1000, 1, 3) });
        let look = now(&titled);
        assert!(!look.undeclared && look.number == 1 && look.earlier.len() == 1);
        assert!(now(&amend(plan(1, 1000, 1, 9))).undeclared);
        assert!(now(&amend(plan(2, 1000, 5, 3))).undeclared, "declared too late");
    }

    /// What was seen first keeps its list, whatever was seen afterwards.
    #[test]
    fn identity_a_look_taken_again_has_the_list_of_its_first_time() {
        let (first, second) = (frozen(plan(1, 1000, 1, 3)), frozen(plan(2, 1000, 1, 3)));
        let all = seen(&[first.clone(), second.clone()]);
        let again = Looks::new(Vec::new(), all.clone()).now(&first);
        assert!(again.earlier.is_empty() && !again.undeclared);
        let second = Looks::new(Vec::new(), all.clone()).now(&second);
        assert_eq!(second.earlier, all[..1]);
        assert!(second.undeclared);
        // A folder remembers looks that a file does not have any more.
        let third = frozen(plan(3, 1000, 1, 3));
        assert_eq!(Looks::new(all, Vec::new()).now(&third).number, 3);
    }
}
