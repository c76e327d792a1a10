//! The folder of a run: whose it is, and who may write to it now.

use crate::experiment::{DataColumn, Plan};
use crate::record::{WriteError, write_whole};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs::{File, TryLockError};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// What a run may leave in its folder; nothing else is ever removed.
const CONTENTS: &[&str] = &[
    "run.json",
    "machine.json",
    "parts",
    "studies",
    "tables",
    "charts",
    "report.html",
    "report.docx",
    "fitted.toml",
    "SHA256SUMS",
    LOCK,
];
const LOCK: &str = ".lock";

/// A folder that is open for one run; closed when dropped.
#[derive(Debug)]
pub struct RunFolder {
    path: PathBuf,
    _lock: File,
}

/// Why a folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// Another plan has run here.
    #[error("{folder} holds a run of another plan: {difference}", folder = folder.display())]
    OtherPlan {
        /// The folder.
        folder: PathBuf,
        /// The first thing in which the plans differ.
        difference: String,
    },
    /// More trials of the same plan stand here than are asked for.
    #[error("{folder} already holds {found} trials of this plan, more than the {asked} asked for",
        folder = folder.display())]
    MoreTrials {
        /// The folder.
        folder: PathBuf,
        /// Trials that stand here.
        found: u64,
        /// Trials asked for.
        asked: u64,
    },
    /// There are files, but not of a run.
    #[error("{folder} is not empty and holds no run", folder = folder.display())]
    Foreign {
        /// The folder.
        folder: PathBuf,
    },
    /// Someone else writes to it.
    #[error("another run is writing to {folder}", folder = folder.display())]
    Busy {
        /// The folder.
        folder: PathBuf,
    },
    /// The folder holds no run that could be assessed.
    #[error("{folder} holds no run", folder = folder.display())]
    Empty {
        /// The folder.
        folder: PathBuf,
    },
    /// Its run.json cannot be understood.
    #[error("{file} cannot be read as the record of a run: {why}", file = file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// The operating system refused.
    #[error("{path}: {source}", path = path.display())]
    System {
        /// Folder or file.
        path: PathBuf,
        /// What it said.
        source: io::Error,
    },
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl FolderError {
    /// What the user can do about it.
    #[must_use]
    pub fn help(&self) -> Option<&'static str> {
        match self {
            Self::OtherPlan { .. } => Some("choose another folder with --out, or give up the old run with --replace"),
            Self::MoreTrials { .. } => {
                Some("ask for at least as many trials, choose another folder with --out, or --replace the run")
            }
            Self::Foreign { .. } => Some("choose another folder with --out"),
            Self::Busy { .. } => Some("wait for it to end, or choose another folder with --out"),
            Self::Empty { .. } => Some("name the folder of a run, such as reports/primary"),
            Self::Unreadable { .. } | Self::System { .. } | Self::Write(_) => None,
        }
    }
}

impl RunFolder {
    /// Opens a folder for a plan: a new or empty one, or one that holds the same plan (it is then finished,
    /// extended or only assessed again). With `replace`, a run of another plan is removed first.
    ///
    /// # Errors
    /// See [`FolderError`]; nothing has been changed then.
    pub fn open(path: &Path, plan: &Plan, replace: bool) -> Result<Self, FolderError> {
        let system = |source| FolderError::System { path: path.to_owned(), source };
        let existed = path.exists();
        std::fs::create_dir_all(path).map_err(system)?;
        if existed && !path.join("run.json").exists() && holds_foreign_files(path).map_err(system)? {
            return Err(FolderError::Foreign { folder: path.to_owned() });
        }
        let folder = Self::lock(path)?;
        if path.join("run.json").exists() {
            match folder.same_plan(plan) {
                Ok(()) => return Ok(folder),
                Err(_) if replace => folder.clear().map_err(system)?,
                Err(refusal) => return Err(refusal),
            }
        }
        for sub in ["parts", "tables"] {
            std::fs::create_dir_all(path.join(sub)).map_err(system)?;
        }
        folder.write_manifest(&manifest(plan, &[], &Value::Array(Vec::new())))?;
        Ok(folder)
    }

    /// Opens a folder for results of a kind that are not trials (`replay`, `phantom`): a new or empty one, or one that
    /// holds results of this kind, which are written anew. With `replace`, a run is removed first.
    ///
    /// # Errors
    /// See [`FolderError`]; nothing has been changed then.
    pub fn open_results(path: &Path, kind: &str, replace: bool) -> Result<Self, FolderError> {
        let system = |source| FolderError::System { path: path.to_owned(), source };
        let existed = path.exists();
        std::fs::create_dir_all(path).map_err(system)?;
        if existed && !path.join("run.json").exists() && holds_foreign_files(path).map_err(system)? {
            return Err(FolderError::Foreign { folder: path.to_owned() });
        }
        let folder = Self::lock(path)?;
        if path.join("run.json").exists() && folder.manifest()?[kind].is_null() {
            if !replace {
                return Err(FolderError::OtherPlan {
                    folder: path.to_owned(),
                    difference: format!("its results are not of the kind `{kind}`"),
                });
            }
            folder.clear().map_err(system)?;
        }
        Ok(folder)
    }

    /// Opens the folder of a finished run to assess it again.
    ///
    /// # Errors
    /// If there is no run, or someone else writes to it.
    pub fn reopen(path: &Path) -> Result<Self, FolderError> {
        if !path.join("run.json").is_file() {
            return Err(FolderError::Empty { folder: path.to_owned() });
        }
        Self::lock(path)
    }

    fn lock(path: &Path) -> Result<Self, FolderError> {
        let file = path.join(LOCK);
        let open = File::options().create(true).truncate(false).write(true).open(&file);
        let lock = open.map_err(|source| FolderError::System { path: file.clone(), source })?;
        match lock.try_lock() {
            Ok(()) => Ok(Self { path: path.to_owned(), _lock: lock }),
            Err(TryLockError::WouldBlock) => Err(FolderError::Busy { folder: path.to_owned() }),
            Err(TryLockError::Error(source)) => Err(FolderError::System { path: file, source }),
        }
    }

    /// Whether the trials that stand here are those of a plan; requirements and texts may differ.
    ///
    /// # Errors
    /// With the first thing in which the plans differ.
    pub fn demand_same_simulation(&self, plan: &Plan) -> Result<(), FolderError> {
        let found = self.manifest()?;
        if found["simulation_hash"] == plan.simulation_hash() {
            return Ok(());
        }
        let difference = first_difference("", &moving(&found["plan"]), &moving(&plan.resolved()))
            .unwrap_or_else(|| "it was made by another version".to_owned());
        Err(FolderError::OtherPlan { folder: self.path.clone(), difference })
    }

    /// The experiment whose trials stand here, as its file was written.
    ///
    /// # Errors
    /// If run.json cannot be understood.
    pub fn experiment(&self) -> Result<SavedExperiment, FolderError> {
        let manifest = self.manifest()?;
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
            })
        };
        saved().ok_or_else(|| FolderError::Unreadable {
            file: self.path.join("run.json"),
            why: "it names no experiment, trials or seed".to_owned(),
        })
    }

    fn same_plan(&self, plan: &Plan) -> Result<(), FolderError> {
        self.demand_same_simulation(plan)?;
        match self.manifest()?["trials"].as_u64() {
            Some(found) if found > plan.trials => {
                Err(FolderError::MoreTrials { folder: self.path.clone(), found, asked: plan.trials })
            }
            _ => Ok(()),
        }
    }

    /// The record of the run, as written.
    ///
    /// # Errors
    /// If it is not there or not JSON.
    pub fn manifest(&self) -> Result<Value, FolderError> {
        let file = self.path.join("run.json");
        let unreadable = |why: String| FolderError::Unreadable { file: file.clone(), why };
        let text = std::fs::read_to_string(&file).map_err(|error| unreadable(error.to_string()))?;
        serde_json::from_str(&text).map_err(|error| unreadable(error.to_string()))
    }

    /// Writes the record of the run.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn write_manifest(&self, manifest: &Value) -> Result<(), WriteError> {
        write_json(&self.path.join("run.json"), manifest)
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Where its parts are.
    #[must_use]
    pub fn parts(&self) -> PathBuf {
        self.path.join("parts")
    }

    fn clear(&self) -> io::Result<()> {
        for name in CONTENTS {
            let entry = self.path.join(name);
            if *name == LOCK || !entry.exists() {
                continue;
            }
            if entry.is_dir() { std::fs::remove_dir_all(entry)? } else { std::fs::remove_file(entry)? }
        }
        Ok(())
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
}

/// The record of a run: what was asked, how often it failed, of each variant by reason, and at how many trials verdicts were
/// seen; nothing of when or where.
#[must_use]
pub fn manifest(plan: &Plan, failures: &[BTreeMap<String, u64>], looks: &Value) -> Value {
    let failed = |reasons: &BTreeMap<String, u64>| json!({ "trials": plan.trials, "failed": reasons.values().sum::<u64>(), "by_reason": reasons });
    json!({
        "program": { "name": env!("CARGO_PKG_NAME"), "version": env!("CARGO_PKG_VERSION") },
        "generator": crate::simulation::GENERATOR,
        "simulation_hash": plan.simulation_hash(),
        "assessment_hash": plan.assessment_hash(),
        "trials": plan.trials,
        "looks": looks,
        "counts": failures.iter().map(failed).collect::<Vec<_>>(),
        "plan": plan.resolved(),
        "experiment": experiment(plan),
    })
}

/// The experiment as it was written, with the measured values that it names.
fn experiment(plan: &Plan) -> Value {
    let mut experiment = json!({ "file": plan.file_name, "text": plan.source });
    if !plan.data.is_empty() {
        experiment["data"] = json!(plan.data);
    }
    experiment
}

/// The part of a resolved plan that moves draws and readings.
fn moving(plan: &Value) -> Value {
    let keep = ["seed", "design", "points", "variants"];
    Value::Object(keep.iter().map(|key| ((*key).to_owned(), plan[key].clone())).collect())
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

fn holds_foreign_files(path: &Path) -> io::Result<bool> {
    for entry in std::fs::read_dir(path)? {
        let name = entry?.file_name();
        if name != LOCK {
            return Ok(true);
        }
    }
    Ok(false)
}

/// The first place in which two plans differ, with both values.
fn first_difference(at: &str, found: &Value, asked: &Value) -> Option<String> {
    let join = |key: &str| if at.is_empty() { key.to_owned() } else { format!("{at}.{key}") };
    match (found, asked) {
        (Value::Object(found), Value::Object(asked)) => {
            let keys = found.keys().chain(asked.keys().filter(|key| !found.contains_key(*key)));
            keys.into_iter().filter(|key| *key != "trials").find_map(|key| {
                first_difference(
                    &join(key),
                    found.get(key).unwrap_or(&Value::Null),
                    asked.get(key).unwrap_or(&Value::Null),
                )
            })
        }
        (Value::Array(found), Value::Array(asked)) if found.len() == asked.len() => found
            .iter()
            .zip(asked)
            .enumerate()
            .find_map(|(i, (found, asked))| first_difference(&join(&i.to_string()), found, asked)),
        _ => (found != asked).then(|| format!("{at} was {found} there and is {asked} now")),
    }
}
