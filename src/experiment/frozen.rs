//! A plan that was fixed before its run: `navassay check --freeze` writes it beside the experiment file, the run keeps it,
//! and the report says where the run deviates.

use super::difference::differences;
use super::plan::Plan;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::io;
use std::path::{Path, PathBuf};

/// A plan as it was fixed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FrozenPlan {
    /// Name of the experiment file, without folders.
    pub experiment: String,
    /// Version of the program.
    pub version: String,
    /// SHA-256 of all that moves draws and readings.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub simulation_hash: String,
    /// SHA-256 of all that moves verdicts and texts, but no reading.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub assessment_hash: String,
    /// Trials of each variant.
    pub trials: u64,
    /// The plan with every default filled in.
    pub plan: Value,
}

/// How a run stands to one part of the plan that was fixed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standing {
    /// What is compared.
    pub what: &'static str,
    /// As it was fixed.
    pub fixed: String,
    /// As it was run.
    pub run: String,
    /// What differs, in words; none if the part is as it was fixed.
    pub differences: Vec<String>,
}

impl FrozenPlan {
    /// A plan, as it is fixed now.
    #[must_use]
    pub fn of(plan: &Plan) -> Self {
        Self {
            experiment: plan.file_name.clone(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            simulation_hash: plan.simulation_hash(),
            assessment_hash: plan.assessment_hash(),
            trials: plan.trials,
            plan: plan.resolved(),
        }
    }

    /// Where the plan of an experiment file is fixed: beside it, with the ending `.plan.json`.
    #[must_use]
    pub fn place(experiment: &Path) -> PathBuf {
        experiment.with_extension("plan.json")
    }

    /// The plan that was fixed for an experiment file, if one was.
    ///
    /// # Errors
    /// If the file cannot be read or is none of this kind.
    pub fn read(experiment: &Path) -> io::Result<Option<Self>> {
        match std::fs::read_to_string(Self::place(experiment)) {
            Ok(text) => serde_json::from_str(&text).map(Some).map_err(io::Error::other),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(error),
        }
    }

    /// How a plan that was run stands to it: draws and readings, verdicts and texts, number of trials.
    #[must_use]
    pub fn standing(&self, plan: &Plan) -> [Standing; 3] {
        let run = Self::of(plan);
        let unexplained = || vec!["made by another version of the program, or with other measured values".to_owned()];
        let compared = |what, fixed: &str, run: &str, found: Vec<String>| {
            let differences = if fixed == run { Vec::new() } else { found };
            let differences = if fixed != run && differences.is_empty() { unexplained() } else { differences };
            Standing { what, fixed: fixed.to_owned(), run: run.to_owned(), differences }
        };
        let (fixed_trials, trials) = (self.trials.to_string(), run.trials.to_string());
        let of_trials = vec![format!("{fixed_trials} trials were planned, and {trials} were run")];
        [
            compared(
                "draws and readings (simulation hash)",
                &self.simulation_hash,
                &run.simulation_hash,
                differences(&self.plan, &run.plan),
            ),
            compared(
                "verdicts and texts (assessment hash)",
                &self.assessment_hash,
                &run.assessment_hash,
                self.judged_otherwise(&run),
            ),
            compared("trials of each variant", &fixed_trials, &trials, of_trials),
        ]
    }

    /// What differs in requirements, texts and bases.
    fn judged_otherwise(&self, run: &Self) -> Vec<String> {
        let (was, is) = (&self.plan, &run.plan);
        let texts = ["title", "question", "context_of_use", "looks", "target_deg"];
        let mut lines: Vec<String> =
            texts.iter().filter(|key| was[**key] != is[**key]).map(|key| format!("{key} differs")).collect();
        for key in ["model_influence", "decision_consequence"] {
            if was["report"][key] != is["report"][key] {
                lines.push(format!("report.{key} differs"));
            }
        }
        for key in ["requirements", "joint_requirements"] {
            let of = |plan: &Value, id: &Value| {
                plan[key].as_array().into_iter().flatten().find(|requirement| requirement["id"] == *id).cloned()
            };
            let ids = |plan: &Value| -> Vec<Value> {
                plan[key].as_array().into_iter().flatten().map(|requirement| requirement["id"].clone()).collect()
            };
            for id in ids(was) {
                match of(is, &id) {
                    None => lines.push(format!("requirement {id} is gone")),
                    Some(other) if Some(&other) != of(was, &id).as_ref() => {
                        lines.push(format!("requirement {id} differs"));
                    }
                    Some(_) => {}
                }
            }
            let new = ids(is).into_iter().filter(|id| of(was, id).is_none());
            lines.extend(new.map(|id| format!("requirement {id} is new")));
        }
        if lines.is_empty() {
            lines.push("the basis of an input differs".to_owned());
        }
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "seed = 1\ntrials = 100\n[[requirement]]\nid = \"A\"\ntext = \"A.\"\noutput = \"inclination\"\n\
                        limit_deg = 3\nproportion = 0.9\nconfidence = 0.9\n";

    fn plan(text: &str) -> Plan {
        Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{error}"))
    }

    fn deviations(text: &str) -> [Vec<String>; 3] {
        FrozenPlan::of(&plan(TEXT)).standing(&plan(text)).map(|standing| standing.differences)
    }

    #[test]
    fn identity_each_deviation_is_named_where_it_belongs() {
        let none = || Vec::<String>::new();
        assert_eq!(deviations(TEXT), [none(), none(), none()]);
        let [simulation, assessment, trials] = deviations(&TEXT.replace("limit_deg = 3", "limit_deg = 4"));
        assert_eq!((simulation, trials), (none(), none()));
        assert_eq!(assessment, ["requirement \"A\" differs"]);
        let [simulation, assessment, trials] =
            deviations(&TEXT.replace("seed = 1\ntrials = 100", "seed = 2\ntrials = 200"));
        assert_eq!(simulation, ["seed was 1 there and is 2 now"]);
        assert_eq!(assessment, none());
        assert_eq!(trials, ["100 trials were planned, and 200 were run"]);
        let basis = "[anatomy]\nbasis = { kind = \"measured\", note = \"on our own bench\" }\n";
        let [simulation, assessment, _] = deviations(&TEXT.replace("[[req", &format!("{basis}[[req")));
        assert_eq!((simulation, assessment), (none(), vec!["the basis of an input differs".to_owned()]));
    }

    #[test]
    fn identity_what_is_written_reads_back() {
        let folder = tempfile::tempdir().unwrap();
        let experiment = folder.path().join("hip.toml");
        assert_eq!(FrozenPlan::read(&experiment).unwrap(), None);
        let frozen = FrozenPlan::of(&plan(TEXT));
        std::fs::write(folder.path().join("hip.plan.json"), serde_json::to_string(&frozen).unwrap()).unwrap();
        assert_eq!(FrozenPlan::read(&experiment).unwrap(), Some(frozen));
        std::fs::write(folder.path().join("hip.plan.json"), "{}").unwrap();
        assert!(FrozenPlan::read(&experiment).is_err());
    }
}
