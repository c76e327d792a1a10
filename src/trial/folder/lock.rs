//! Who may write to a folder now.

use super::FolderError;
use std::fs::{File, TryLockError};
use std::io;
use std::path::Path;

/// How a lock is held.
#[derive(Clone, Copy)]
pub(super) enum Hold {
    /// By one; refused while another holds it.
    Alone,
    /// By many; refused while one holds it alone.
    Together,
    /// By one after the other.
    InTurn,
}

pub(super) fn hold(folder: &Path, name: &str, hold: Hold) -> Result<File, FolderError> {
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
