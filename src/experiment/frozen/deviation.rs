//! Where a run deviates from the plan that was frozen before it. Every hash is computed from the content of the plans.

use super::FrozenPlan;
use crate::experiment::difference::{Change, judged, simulated};
use crate::experiment::plan::Plan;
use crate::experiment::resolved;
use serde_json::Value;

/// A part of a plan, with its hash as frozen and as run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standing {
    /// What is compared.
    pub what: &'static str,
    /// As frozen, in the revision in force.
    pub frozen: String,
    /// As run.
    pub run: String,
}

/// An amendment that a deviation was announced in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Amended {
    /// The revision.
    pub revision: u32,
    /// The reason given; `None` if none was.
    pub reason: Option<String>,
    /// Looks at verdicts before it was written.
    pub looks_before: u64,
}

/// A setting that was changed after the plan was frozen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Deviation {
    /// The setting, its value before and after.
    pub change: Change,
    /// The amendment that made the change; `None` for a run that deviates from the revision in force.
    pub amended: Option<Amended>,
}

impl FrozenPlan {
    /// The parts of a plan that was run, beside those of the revision in force.
    #[must_use]
    pub fn standing(&self, plan: &Plan) -> [Standing; 3] {
        let (frozen, run) = (&self.current().plan, plan.resolved());
        let part = |what, of: &dyn Fn(&Value) -> String| Standing { what, frozen: of(frozen), run: of(&run) };
        [
            part("draws and readings (simulation hash)", &resolved::simulation_hash),
            part("verdicts and texts (assessment hash)", &resolved::assessment_hash),
            part("trials of each variant", &|plan| plan["trials"].to_string()),
        ]
    }

    /// Every change since the plan was frozen first: those of its amendments, then those of the run.
    #[must_use]
    pub fn deviations(&self, plan: &Plan) -> Vec<Deviation> {
        let revisions: Vec<_> = self.revisions().collect();
        let mut found = Vec::new();
        for pair in revisions.windows(2) {
            let [before, after] = pair else { continue };
            let amended =
                Amended { revision: after.revision, reason: after.reason.clone(), looks_before: after.looks_before };
            let mut changes = all_changes(&before.plan, &after.plan);
            if before.version != after.version {
                let shown = |version: &str| Some(format!("\"{version}\""));
                let setting = "version of the program".to_owned();
                changes.push(Change { setting, was: shown(&before.version), is: shown(&after.version) });
            }
            let deviation = |change| Deviation { change, amended: Some(amended.clone()) };
            found.extend(changes.into_iter().map(deviation));
        }
        let of_run = all_changes(&self.current().plan, &plan.resolved());
        found.extend(of_run.into_iter().map(|change| Deviation { change, amended: None }));
        found
    }

    /// What differs between the revision in force and a plan.
    #[must_use]
    pub fn changes(&self, plan: &Plan) -> Vec<Change> {
        all_changes(&self.current().plan, &plan.resolved())
    }
}

/// Changes of draws and readings, of verdicts and texts, and of the number of trials.
fn all_changes(found: &Value, asked: &Value) -> Vec<Change> {
    let mut changes = simulated(found, asked);
    changes.extend(judged([found, asked], resolved::judged));
    let trials = |plan: &Value| Some(plan["trials"].to_string());
    let (was, is) = (trials(found), trials(asked));
    if was != is {
        changes.push(Change { setting: "trials".to_owned(), was, is });
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "seed = 1\ntrials = 100\n[[requirement]]\nid = \"A\"\ntext = \"A.\"\noutput = \"inclination\"\n\
                        limit_deg = 5\nproportion = 0.9\nconfidence = 0.9\n";

    fn plan(text: &str) -> Plan {
        Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{error}"))
    }

    fn changed(text: &str) -> Vec<String> {
        let found = FrozenPlan::of(&plan(TEXT), 0).deviations(&plan(text));
        assert!(found.iter().all(|deviation| deviation.amended.is_none()));
        found.iter().map(|deviation| deviation.change.to_string()).collect()
    }

    #[test]
    fn identity_each_deviation_has_its_old_and_its_new_value() {
        assert_eq!(changed(TEXT), Vec::<String>::new());
        let wider = TEXT.replace("limit_deg = 5", "limit_deg = 9");
        assert_eq!(changed(&wider), ["requirements.A.limit was 5.0 there and is 9.0 now"]);
        let longer = TEXT.replace("seed = 1\ntrials = 100", "seed = 2\ntrials = 200\nlooks = 3");
        assert_eq!(
            changed(&longer),
            [
                "seed was 1 there and is 2 now",
                "looks was 1 there and is 3 now",
                "trials was 100 there and is 200 now"
            ]
        );
        let basis = "[anatomy]\nbasis = { kind = \"measured\", note = \"on our own bench\" }\n[[req";
        let found = changed(&TEXT.replace("[[req", basis));
        assert!(found.iter().any(|line| line.starts_with("anatomy.basis")), "{found:?}");
        assert!(found.iter().all(|line| line.contains("basis")), "{found:?}");
        let found = changed(TEXT.split("[[req").next().unwrap_or_default());
        assert!(found.iter().any(|line| line == "requirements.A.limit was 5.0 there and is absent now"), "{found:?}");
    }

    /// What was changed by an amendment is told with its reason, however the run then agrees with it.
    #[test]
    fn identity_an_amendment_stays_a_deviation_with_its_reason() {
        let wider = plan(&TEXT.replace("limit_deg = 5", "limit_deg = 9"));
        let amended = FrozenPlan::of(&plan(TEXT), 0).amended(&wider, "the bench allows it", 2);
        assert_eq!(amended.changes(&wider), []);
        let found = amended.deviations(&wider);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].change.shown(), ["5.0", "9.0"]);
        let reason = Some("the bench allows it".to_owned());
        assert_eq!(found[0].amended, Some(Amended { revision: 2, reason, looks_before: 2 }));
        assert!(amended.standing(&wider).iter().all(|part| part.frozen == part.run));
        // Back to what was frozen first: both changes are told.
        assert_eq!(amended.deviations(&plan(TEXT)).len(), 2);
    }

    /// Hashes come from the content: a limit changed in a plan file is a deviation whatever else the file says.
    #[test]
    fn identity_a_changed_plan_has_another_hash() {
        let frozen = FrozenPlan::of(&plan(TEXT), 0);
        let mut forged = frozen.clone();
        forged.first.plan["requirements"][0]["limit"] = serde_json::json!(9.0);
        assert_ne!(forged.current().hash(), frozen.current().hash());
        let [simulation, assessment, trials] = forged.standing(&plan(TEXT));
        assert_eq!((&simulation.frozen, &trials.frozen), (&simulation.run, &trials.run));
        assert_ne!(assessment.frozen, assessment.run);
        assert_eq!(forged.changes(&plan(TEXT)).len(), 1);
    }
}
