//! A finished run that is verified: its parts and recordings are read where they are, everything else is made again elsewhere.

use super::{BENCH, FolderError, LOCK, PARTS, RECORD, RunFolder, demand_files};
use crate::experiment::Plan;
use crate::record::sums::SUMS_FILE;
use crate::trial::audit::{Audit, Audited, Sample};
use crate::trial::batch::Batch;
use crate::trial::run::{Progress, RunError, pool};
use std::fs::{File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

/// The run that is verified.
#[derive(Debug)]
pub(super) struct Viewed {
    folder: PathBuf,
    audit: Audit,
}

impl RunFolder {
    /// Looks at a finished run without writing to it; what is made again goes into `scratch`, an empty folder elsewhere.
    ///
    /// # Errors
    /// If there is no finished run, another version of the program made it, or someone writes to it now.
    pub fn view(folder: &Path, scratch: &Path, sample: Sample) -> Result<Self, FolderError> {
        let system = |path: PathBuf| move |source| FolderError::System { path, source };
        if !folder.join(RECORD).is_file() || !folder.join(SUMS_FILE).is_file() {
            return Err(FolderError::Unfinished { folder: folder.to_owned() });
        }
        demand_files(folder)?;
        let locks = held(folder)?.into_iter().collect();
        std::fs::copy(folder.join(RECORD), scratch.join(RECORD)).map_err(system(scratch.join(RECORD)))?;
        let viewed = Viewed { folder: folder.to_owned(), audit: Audit::new(sample) };
        let view = Self { path: scratch.to_owned(), shard: None, viewed: Some(viewed), _locks: locks };
        view.demand_own_version()?;
        if view.manifest()?["looks"].is_array() {
            Ok(view)
        } else {
            Err(FolderError::NoTrials { folder: folder.to_owned() })
        }
    }

    /// Where its parts are.
    #[must_use]
    pub fn parts(&self) -> PathBuf {
        self.source().join(PARTS)
    }

    /// Where recorded cases are kept that the run is held against.
    #[must_use]
    pub fn bench(&self) -> PathBuf {
        self.source().join(BENCH)
    }

    /// Where parts, recordings and studies are read.
    pub(in crate::trial) fn source(&self) -> &Path {
        self.viewed.as_ref().map_or(&self.path, |viewed| &viewed.folder)
    }

    /// The audit, where the run is only verified.
    pub(in crate::trial) fn audit(&self) -> Option<&Audit> {
        self.viewed.as_ref().map(|viewed| &viewed.audit)
    }

    /// Checks every part of a run that is only verified: digest, run, arithmetic, truth, and a sample simulated again.
    ///
    /// # Errors
    /// If it is stopped, or the parts cannot be listed. What differs is no error, but part of [`Self::audited`].
    pub fn audit_run(&self, plan: &Plan, threads: usize, progress: &dyn Progress) -> Result<(), RunError> {
        let Some(audit) = self.audit() else { return Ok(()) };
        let batch = Batch::of_run(plan, self.parts());
        pool(threads)?.install(|| audit.check(PARTS, &batch, true, progress))
    }

    /// What was found in the parts of the run and of each study.
    #[must_use]
    pub fn audited(&self) -> Vec<Audited> {
        self.audit().map(Audit::found).unwrap_or_default()
    }
}

/// The lock of a folder, shared; nothing where there is none or it cannot be opened.
fn held(folder: &Path) -> Result<Option<File>, FolderError> {
    let Ok(file) = File::open(folder.join(LOCK)) else { return Ok(None) };
    match file.try_lock_shared() {
        Ok(()) => Ok(Some(file)),
        Err(TryLockError::WouldBlock) => Err(FolderError::Busy { folder: folder.to_owned() }),
        Err(TryLockError::Error(error)) if error.kind() == io::ErrorKind::Unsupported => Ok(None),
        Err(TryLockError::Error(source)) => Err(FolderError::System { path: folder.join(LOCK), source }),
    }
}
