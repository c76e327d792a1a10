//! The record of a run, run.json: what was asked, and all that is needed to make the run again.

use super::{FolderError, RECORD, RunFolder};
use crate::experiment::{DataColumn, ExperimentError, FrozenPlan, Plan, Revision};
use crate::record::{LookRecord, WriteError, write_whole};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::Path;

impl RunFolder {
    /// The experiment whose trials stand here, as its file was written.
    ///
    /// # Errors
    /// If run.json cannot be understood.
    pub fn experiment(&self) -> Result<SavedExperiment, FolderError> {
        let manifest = self.manifest()?;
        let frozen = self.frozen()?;
        let text = |key: &str| manifest["experiment"][key].as_str().map(str::to_owned);
        let number = |value: &Value| value.as_u64();
        // Runs of experiments without measured values keep none.
        let data = || serde_json::from_value(manifest["experiment"].get("data").cloned().unwrap_or(json!([]))).ok();
        let saved = || {
            Some(SavedExperiment {
                data: data()?,
                name: text("file")?,
                text: text("text")?,
                trials: number(&manifest["trials"])?,
                seed: number(&manifest["plan"]["seed"])?,
                frozen: frozen.clone(),
            })
        };
        saved().ok_or_else(|| FolderError::Unreadable {
            file: self.path.join(RECORD),
            why: "it names no experiment, trials or seed".to_owned(),
        })
    }

    /// The plan that had been frozen when the run began, if one was, with its amendments.
    ///
    /// # Errors
    /// If run.json cannot be understood, or its plan is not the one that its last look was at.
    pub fn frozen(&self) -> Result<Option<FrozenPlan>, FolderError> {
        let unreadable = |why: String| FolderError::Unreadable { file: self.path.join(RECORD), why };
        let frozen: Option<FrozenPlan> = serde_json::from_value(self.manifest()?["frozen"].clone())
            .map_err(|error| unreadable(format!("its frozen plan: {error}")))?;
        if let Some(broken) = frozen.as_ref().and_then(FrozenPlan::broken_at) {
            let number = broken.revision;
            return Err(unreadable(format!("revision {number} of its frozen plan does not fit the one before it")));
        }
        let hashes: Vec<String> = frozen.iter().flat_map(FrozenPlan::revisions).map(Revision::hash).collect();
        match self.looks()?.last().and_then(|look| look.plan.as_ref()).filter(|named| !hashes.contains(named)) {
            Some(named) => {
                let found = hashes.last().map_or("none", String::as_str);
                let why = format!(
                    "its last look at verdicts was at a plan with SHA-256 {named}, its frozen plan has {found}"
                );
                Err(unreadable(why))
            }
            None => Ok(frozen),
        }
    }

    /// Looks at verdicts in the record of the run, oldest first.
    ///
    /// # Errors
    /// If run.json cannot be understood.
    pub fn looks(&self) -> Result<Vec<LookRecord>, FolderError> {
        serde_json::from_value(self.manifest()?["looks"].clone()).map_err(|error| FolderError::Unreadable {
            file: self.path.join(RECORD),
            why: format!("its looks at verdicts: {error}"),
        })
    }

    /// The same of a folder that is only looked into; none if it holds no run of this version.
    #[must_use]
    pub fn looks_in(path: &Path) -> Vec<LookRecord> {
        let record = std::fs::read_to_string(path.join(RECORD)).unwrap_or_default();
        let record: Value = serde_json::from_str(&record).unwrap_or_default();
        serde_json::from_value(record["looks"].clone()).unwrap_or_default()
    }

    /// The record of the run, as written.
    ///
    /// # Errors
    /// If it is not there or not JSON.
    pub fn manifest(&self) -> Result<Value, FolderError> {
        let file = self.path.join(RECORD);
        let unreadable = |why: String| FolderError::Unreadable { file: file.clone(), why };
        let text = std::fs::read_to_string(&file).map_err(|error| unreadable(error.to_string()))?;
        serde_json::from_str(&text).map_err(|error| unreadable(error.to_string()))
    }

    /// Refuses a folder that another version of the program made: its draws, verdicts or formats may be others.
    ///
    /// # Errors
    /// With that version; or if run.json cannot be understood.
    pub(super) fn demand_own_version(&self) -> Result<(), FolderError> {
        let manifest = self.manifest()?;
        match manifest["program"]["version"].as_str() {
            Some(env!("CARGO_PKG_VERSION")) => Ok(()),
            Some(found) => Err(FolderError::OtherVersion { folder: self.path.clone(), found: found.to_owned() }),
            None => Err(FolderError::Unreadable {
                file: self.path.join(RECORD),
                why: "it names no version of the program".to_owned(),
            }),
        }
    }

    /// Writes the record of the run.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn write_manifest(&self, manifest: &Value) -> Result<(), WriteError> {
        write_json(&self.path.join(RECORD), manifest)
    }
}

/// The experiment of a run, as saved with it.
#[derive(Clone, Debug, PartialEq)]
pub struct SavedExperiment {
    /// Name of its file.
    pub name: String,
    /// Its text.
    pub text: String,
    /// The columns of measured values that it names.
    pub data: Vec<DataColumn>,
    /// Trials of each variant that were run.
    pub trials: u64,
    /// The seed that was used.
    pub seed: u64,
    /// The plan that had been frozen before the run, if one was.
    pub frozen: Option<FrozenPlan>,
}

impl SavedExperiment {
    /// The plan that was run.
    ///
    /// # Errors
    /// If this version of the program does not understand the experiment.
    pub fn plan(&self) -> Result<Plan, ExperimentError> {
        let read = Plan::parse_saved(&self.name, &self.text, &self.data)?;
        Ok(Plan { trials: self.trials, seed: self.seed, frozen: self.frozen.clone(), ..read })
    }
}

/// The record of a run: what was asked, how often it failed, of each variant by reason, and at how many trials verdicts were
/// seen; nothing of when or where.
#[must_use]
pub fn manifest(plan: &Plan, failures: &[BTreeMap<String, u64>], looks: &[LookRecord]) -> Value {
    let failed = |reasons: &BTreeMap<String, u64>| json!({ "trials": plan.trials, "failed": reasons.values().sum::<u64>(), "by_reason": reasons });
    let mut record = json!({
        "program": { "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") },
        "generator": crate::simulation::GENERATOR,
        "simulation_hash": plan.simulation_hash(),
        "assessment_hash": plan.assessment_hash(),
        "trials": plan.trials,
        "looks": looks,
        "counts": failures.iter().map(failed).collect::<Vec<_>>(),
        "plan": plan.resolved(),
        "experiment": experiment(plan),
    });
    if plan.frozen.is_some() {
        record["frozen"] = json!(plan.frozen);
    }
    record
}

/// The experiment as it was written, with the measured values that it names.
fn experiment(plan: &Plan) -> Value {
    let mut experiment = json!({ "file": plan.file_name, "text": plan.source });
    if !plan.data.is_empty() {
        experiment["data"] = json!(plan.data);
    }
    experiment
}

/// Writes pretty JSON, whole or not at all.
///
/// # Errors
/// If the file cannot be written.
pub fn write_json(path: &Path, value: &Value) -> Result<(), WriteError> {
    write_whole(path, |out| {
        serde_json::to_writer_pretty(&mut *out, value)?;
        out.write_all(b"\n")
    })
}
