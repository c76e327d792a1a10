//! The folder of a run: whose it is, and who may write to it now.

use super::shard::Shard;
use crate::experiment::difference::differences;
use crate::experiment::{DataColumn, ExperimentError, FrozenPlan, Plan};
use crate::record::sums::{self, SUMS_FILE};
use crate::record::{UNFINISHED, WriteError, sweep, write_whole};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs::{File, TryLockError};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// The record of the run. It is written before anything else and removed after everything else, so that a folder with
/// anything in it tells at any instant whose it is.
const RECORD: &str = "run.json";

/// What a run may leave in its folder beside its record and what a machine says of itself; nothing else is ever
/// removed.
const CONTENTS: [&str; 15] = [
    SUMS_FILE,
    "report.html",
    "report.docx",
    "verification.html",
    "verification.docx",
    "engineering.html",
    "engineering.docx",
    "comparison.html",
    "comparison.docx",
    "fitted.toml",
    "tables",
    "charts",
    "studies",
    PARTS,
    BENCH,
];

/// The trials.
const PARTS: &str = "parts";

/// Recorded cases that the run is held against.
const BENCH: &str = "bench";

/// Folders in which files are written, and may be left unfinished by a run that was killed.
const WRITTEN: [&str; 5] = ["", PARTS, "tables", "charts", BENCH];

/// Held alone by a run, an assessment or a joining; shared by the shards of a run.
const LOCK: &str = ".lock";

/// Held while a shard looks whose folder it is.
const DOOR: &str = ".door.lock";

/// A folder that is open for one run, or for one shard of it; closed when dropped.
#[derive(Debug)]
pub struct RunFolder {
    path: PathBuf,
    shard: Option<Shard>,
    _locks: Vec<File>,
}

/// Why a folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// Another plan has run here.
    #[error("{folder} holds a run of another plan: {list}", folder = folder.display(), list = listed(differences))]
    OtherPlan {
        /// The folder.
        folder: PathBuf,
        /// Everything in which the plans differ.
        differences: Vec<String>,
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
        enter(path)?;
        let folder = Self { path: path.to_owned(), shard: None, _locks: vec![hold(path, LOCK, Hold::Alone)?] };
        folder.sweep()?;
        match folder.settle(plan) {
            Err(FolderError::OtherPlan { .. } | FolderError::MoreTrials { .. }) if replace => {
                folder.clear().map_err(|source| FolderError::System { path: path.to_owned(), source })?;
                folder.settle(plan)?;
            }
            settled => settled?,
        }
        Ok(folder)
    }

    /// Opens a folder for results of a kind that are not trials (`replay`, `phantom`): a new or empty one, or one that
    /// holds results of this kind, which are written anew. With `replace`, a run is removed first.
    ///
    /// # Errors
    /// See [`FolderError`]; nothing has been changed then.
    pub fn open_results(path: &Path, kind: &str, replace: bool) -> Result<Self, FolderError> {
        enter(path)?;
        let folder = Self { path: path.to_owned(), shard: None, _locks: vec![hold(path, LOCK, Hold::Alone)?] };
        folder.sweep()?;
        if path.join(RECORD).exists() && folder.manifest()?[kind].is_null() {
            if !replace {
                let differences = vec![format!("its results are not of the kind `{kind}`")];
                return Err(FolderError::OtherPlan { folder: path.to_owned(), differences });
            }
            folder.clear().map_err(|source| FolderError::System { path: path.to_owned(), source })?;
        }
        folder.unseal()?;
        Ok(folder)
    }

    /// Opens a folder for one shard of a plan; other shards may be at work in it.
    ///
    /// # Errors
    /// As [`Self::open`]; also if the whole run, or the same shard, is being written there now.
    pub fn open_for_shard(path: &Path, plan: &Plan, shard: Shard) -> Result<Self, FolderError> {
        enter(path)?;
        let _door = hold(path, DOOR, Hold::InTurn)?;
        let own = format!(".shard-{}.lock", shard.to_string().replace(' ', "-"));
        let locks = vec![hold(path, LOCK, Hold::Together)?, hold(path, &own, Hold::Alone)?];
        let folder = Self { path: path.to_owned(), shard: Some(shard), _locks: locks };
        folder.settle(plan)?;
        Ok(folder)
    }

    /// Opens the folder of a run to assess it, alone.
    ///
    /// # Errors
    /// If there is no run, or someone else writes to it.
    pub fn reopen(path: &Path) -> Result<Self, FolderError> {
        if !path.join(RECORD).is_file() {
            return Err(FolderError::Empty { folder: path.to_owned() });
        }
        let folder = Self { path: path.to_owned(), shard: None, _locks: vec![hold(path, LOCK, Hold::Alone)?] };
        folder.sweep()?;
        Ok(folder)
    }

    /// Makes the folder that of a plan, or finds that it is.
    fn settle(&self, plan: &Plan) -> Result<(), FolderError> {
        let mut looks = json!([]);
        let mut frozen = plan.frozen.clone();
        if self.path.join(RECORD).exists() {
            self.demand_same_simulation(plan)?;
            let found = self.manifest()?;
            // Verdicts that were seen stay seen while the run grows, and a plan is fixed before its run or not at all.
            looks = found["looks"].clone();
            frozen = self.frozen()?;
            match found["trials"].as_u64() {
                Some(found) if found > plan.trials => {
                    return Err(FolderError::MoreTrials { folder: self.path.clone(), found, asked: plan.trials });
                }
                Some(found) if found == plan.trials => return Ok(()),
                _ => {}
            }
        }
        self.unseal()?;
        Ok(self.write_manifest(&manifest(&Plan { frozen, ..plan.clone() }, &[], &looks))?)
    }

    /// Removes what runs that were killed left half written.
    fn sweep(&self) -> Result<(), FolderError> {
        WRITTEN.iter().try_for_each(|sub| {
            let path = self.path.join(sub);
            sweep(&path).map_err(|source| FolderError::System { path, source })
        })
    }

    /// Takes the checksums away before anything that they stand for changes: a folder that has them is finished.
    ///
    /// # Errors
    /// If the operating system refuses.
    pub fn unseal(&self) -> Result<(), FolderError> {
        let path = self.path.join(SUMS_FILE);
        match std::fs::remove_file(&path) {
            Err(source) if source.kind() != io::ErrorKind::NotFound => Err(FolderError::System { path, source }),
            _ => Ok(()),
        }
    }

    /// Files that are not what the checksums of a finished run say, with what became of them; none where there are no
    /// checksums.
    ///
    /// # Errors
    /// If the checksums or a file cannot be read.
    pub fn changed(&self) -> Result<Vec<(String, sums::Difference)>, sums::SumsError> {
        if self.path.join(SUMS_FILE).exists() { sums::verify_sums(&self.path) } else { Ok(Vec::new()) }
    }

    /// Whether the trials that stand here are those of a plan; requirements and texts may differ.
    ///
    /// # Errors
    /// With everything in which the plans differ.
    pub fn demand_same_simulation(&self, plan: &Plan) -> Result<(), FolderError> {
        let found = self.manifest()?;
        if found["simulation_hash"] == plan.simulation_hash() {
            return Ok(());
        }
        let mut differences = differences(&found["plan"], &plan.resolved());
        if differences.is_empty() {
            differences.push("it was made by another version".to_owned());
        }
        Err(FolderError::OtherPlan { folder: self.path.clone(), differences })
    }

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

    /// The plan that had been fixed when the run began, if one was.
    ///
    /// # Errors
    /// If run.json cannot be understood.
    pub fn frozen(&self) -> Result<Option<FrozenPlan>, FolderError> {
        let found = self.manifest()?["frozen"].clone();
        serde_json::from_value(found).map_err(|error| FolderError::Unreadable {
            file: self.path.join(RECORD),
            why: format!("its plan that was fixed before: {error}"),
        })
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

    /// Writes the record of the run.
    ///
    /// # Errors
    /// If the file cannot be written.
    pub fn write_manifest(&self, manifest: &Value) -> Result<(), WriteError> {
        write_json(&self.path.join(RECORD), manifest)
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Where its parts are.
    #[must_use]
    pub fn parts(&self) -> PathBuf {
        self.path.join(PARTS)
    }

    /// The share of the parts that is made here; all of them if there is none.
    #[must_use]
    pub fn shard(&self) -> Option<Shard> {
        self.shard
    }

    /// Whether results rest on a file of a run's folder, by its name from there; the others can be made again.
    #[must_use]
    pub fn is_evidence(name: &str) -> bool {
        let folder = name.split_once('/').map(|(folder, _)| folder);
        name == RECORD || folder.is_some_and(|folder| [PARTS, BENCH].contains(&folder))
    }

    /// Where recorded cases are kept that the run is held against.
    #[must_use]
    pub fn bench(&self) -> PathBuf {
        self.path.join(BENCH)
    }

    /// Where a machine says what it did: of each shard in a file of its own.
    #[must_use]
    pub fn machine_file(&self) -> PathBuf {
        let name = match self.shard {
            None => "machine.json".to_owned(),
            Some(shard) => format!("machine-{}.json", shard.to_string().replace(' ', "-")),
        };
        self.path.join(name)
    }

    fn clear(&self) -> io::Result<()> {
        for name in CONTENTS {
            let entry = self.path.join(name);
            if entry.is_dir() {
                std::fs::remove_dir_all(entry)?;
            } else if entry.exists() {
                std::fs::remove_file(entry)?;
            }
        }
        for entry in std::fs::read_dir(&self.path)? {
            let entry = entry?;
            if entry.file_name().to_str().is_some_and(sums::is_of_a_machine) {
                std::fs::remove_file(entry.path())?;
            }
        }
        std::fs::remove_file(self.path.join(RECORD))
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
    /// The plan that had been fixed before the run, if one was.
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
pub fn manifest(plan: &Plan, failures: &[BTreeMap<String, u64>], looks: &Value) -> Value {
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

/// Makes a folder unless it is there; one with files of someone else is refused.
fn enter(path: &Path) -> Result<(), FolderError> {
    let system = |source| FolderError::System { path: path.to_owned(), source };
    std::fs::create_dir_all(path).map_err(system)?;
    // The list is read before it is asked whose folder it is: a shard may be settling in at this moment.
    let mut strange = false;
    for entry in std::fs::read_dir(path).map_err(system)? {
        let name = entry.map_err(system)?.file_name();
        let name = name.to_string_lossy();
        // A record that was being written when its run was killed is ours too.
        strange |= !(name.starts_with(UNFINISHED) || (name.starts_with('.') && name.ends_with(LOCK)));
    }
    if strange && !path.join(RECORD).exists() {
        return Err(FolderError::Foreign { folder: path.to_owned() });
    }
    Ok(())
}

/// How a lock is held.
#[derive(Clone, Copy)]
enum Hold {
    /// By one; refused while another holds it.
    Alone,
    /// By many; refused while one holds it alone.
    Together,
    /// By one after the other.
    InTurn,
}

fn hold(folder: &Path, name: &str, hold: Hold) -> Result<File, FolderError> {
    let path = folder.join(name);
    let system = |source| FolderError::System { path: path.clone(), source };
    let file = File::options().create(true).truncate(false).read(true).write(true).open(&path).map_err(system)?;
    let held = match hold {
        Hold::Alone => file.try_lock(),
        Hold::Together => file.try_lock_shared(),
        Hold::InTurn => file.lock().map_err(TryLockError::Error),
    };
    match held {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(FolderError::Busy { folder: folder.to_owned() }),
        // Some shared file systems have no locks. Parts are written whole and are the same whoever writes them, so
        // that two writers at once do work twice and no harm.
        Err(TryLockError::Error(error)) if error.kind() == io::ErrorKind::Unsupported => Ok(file),
        Err(TryLockError::Error(source)) => Err(system(source)),
    }
}

/// Differences that are listed.
const LISTED: usize = 12;

fn listed(differences: &[String]) -> String {
    match differences {
        [only] => only.clone(),
        several => {
            let more = several.len().saturating_sub(LISTED);
            let rest = if more > 0 { format!("\n  and {more} more") } else { String::new() };
            format!("\n  {}{rest}", several[..several.len() - more].join("\n  "))
        }
    }
}
