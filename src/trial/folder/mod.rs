//! The folder of a run: whose it is, and who may write to it now.

mod error;
mod lock;
mod record;
mod view;

pub use error::FolderError;
pub use record::{SavedExperiment, manifest, write_json};

use super::shard::Shard;
use crate::experiment::Plan;
use crate::experiment::difference::differences;
use crate::record::sums::{self, SUMS_FILE};
use crate::record::{Documents, Edited, FORMER_SUMS, UNFINISHED, sweep};
use lock::{Hold, hold};
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use view::Viewed;

/// The record of the run. It is written before anything else and removed after everything else, so that a folder with
/// anything in it tells at any instant whose it is.
const RECORD: &str = "run.json";

/// What a run may leave in its folder beside its record, its documents and what a machine says of itself; nothing else is
/// ever removed.
const CONTENTS: [&str; 7] = [SUMS_FILE, "fitted.toml", "tables", "charts", "studies", PARTS, BENCH];

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
    /// The run whose results are made again here, where it is only verified.
    viewed: Option<Viewed>,
    _locks: Vec<File>,
}

impl RunFolder {
    /// Opens a folder for a plan: a new or empty one, or one that holds the same plan (it is then finished,
    /// extended or only assessed again). With `replace`, a run of another plan is removed first.
    ///
    /// # Errors
    /// See [`FolderError`]; nothing has been changed then.
    pub fn open(path: &Path, plan: &Plan, replace: bool) -> Result<Self, FolderError> {
        enter(path)?;
        let folder =
            Self { path: path.to_owned(), shard: None, viewed: None, _locks: vec![hold(path, LOCK, Hold::Alone)?] };
        folder.sweep()?;
        match folder.settle(plan) {
            Err(
                FolderError::OtherPlan { .. } | FolderError::MoreTrials { .. } | FolderError::OtherVersion { .. },
            ) if replace => {
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
        let folder =
            Self { path: path.to_owned(), shard: None, viewed: None, _locks: vec![hold(path, LOCK, Hold::Alone)?] };
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
        let folder = Self { path: path.to_owned(), shard: Some(shard), viewed: None, _locks: locks };
        folder.settle(plan)?;
        Ok(folder)
    }

    /// Opens the folder of a run to assess it, alone.
    ///
    /// # Errors
    /// If there is no run, another version of the program made it, or someone else writes to it.
    pub fn reopen(path: &Path) -> Result<Self, FolderError> {
        if !path.join(RECORD).is_file() {
            return Err(FolderError::Empty { folder: path.to_owned() });
        }
        demand_files(path)?;
        let folder =
            Self { path: path.to_owned(), shard: None, viewed: None, _locks: vec![hold(path, LOCK, Hold::Alone)?] };
        folder.sweep()?;
        folder.demand_own_version()?;
        Ok(folder)
    }

    /// Makes the folder that of a plan, or finds that it is.
    fn settle(&self, plan: &Plan) -> Result<(), FolderError> {
        let mut looks = Vec::new();
        let mut frozen = plan.frozen.clone();
        if self.path.join(RECORD).exists() {
            self.demand_own_version()?;
            self.demand_same_simulation(plan)?;
            let found = self.manifest()?;
            // Verdicts that were seen stay seen while the run grows, and a plan is frozen before its run or not at all.
            looks = self.looks()?;
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

    /// Takes the checksums away before anything that they stand for changes: a folder that has them is finished. Out of sight
    /// they still tell which documents a person has edited.
    ///
    /// # Errors
    /// If the operating system refuses.
    pub fn unseal(&self) -> Result<(), FolderError> {
        let path = self.path.join(SUMS_FILE);
        match std::fs::rename(&path, self.path.join(FORMER_SUMS)) {
            Err(source) if source.kind() != io::ErrorKind::NotFound => Err(FolderError::System { path, source }),
            _ => Ok(()),
        }
    }

    /// Writes the checksums: the folder is finished. Documents that a person has edited are none of its evidence.
    ///
    /// # Errors
    /// If a file cannot be read or the list not written.
    pub fn seal(&self, edited: &[Edited]) -> Result<(), sums::SumsError> {
        let except: Vec<&str> = edited.iter().map(|edited| edited.name.as_str()).collect();
        sums::write_sums(&self.path, &except)?;
        // Left behind it only names documents that are in the new list too.
        let _ = std::fs::remove_file(self.path.join(FORMER_SUMS));
        Ok(())
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
        let differences = differences(&found["plan"], &plan.resolved());
        Err(FolderError::OtherPlan { folder: self.path.clone(), differences })
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
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

    /// Where a machine says what it did: of each shard in a file of its own.
    #[must_use]
    pub fn machine_file(&self) -> PathBuf {
        let name = match self.shard {
            None => "machine.json".to_owned(),
            Some(shard) => format!("machine-{}.json", shard.to_string().replace(' ', "-")),
        };
        self.path.join(name)
    }

    /// Removes a run; documents that a person has edited stay.
    fn clear(&self) -> io::Result<()> {
        Documents::of(&self.path).remove_others(&[]).map_err(|error| error.source)?;
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
        match std::fs::remove_file(self.path.join(FORMER_SUMS)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
            _ => std::fs::remove_file(self.path.join(RECORD)),
        }
    }
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
    demand_files(path)
}

/// Finds files and folders only: reading from a pipe or a device would wait for ever.
fn demand_files(folder: &Path) -> Result<(), FolderError> {
    let system = |source| FolderError::System { path: folder.to_owned(), source };
    for entry in std::fs::read_dir(folder).map_err(system)? {
        let entry = entry.map_err(system)?;
        let (path, kind) = (entry.path(), entry.file_type().map_err(system)?);
        if kind.is_dir() {
            demand_files(&path)?;
        } else if !kind.is_file() && !path.is_file() && !path.is_dir() && path.symlink_metadata().is_ok() {
            return Err(FolderError::Special { path });
        }
    }
    Ok(())
}
