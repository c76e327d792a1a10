//! A file that is there whole or not at all.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// A file could not be written; what stood there before still stands.
#[derive(Debug, thiserror::Error)]
#[error("{path} could not be written: {source}", path = path.display())]
pub struct WriteError {
    /// The file.
    pub path: PathBuf,
    /// What the operating system or the encoder said.
    pub source: io::Error,
}

/// How the names of files begin that are being written.
pub const UNFINISHED: &str = ".unfinished-";

/// Removes from a folder what writers that were killed left unfinished; only for a folder that nobody writes to now.
///
/// # Errors
/// If the operating system refuses.
pub fn sweep(folder: &Path) -> io::Result<()> {
    let entries = match std::fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        entries => entries?,
    };
    for entry in entries {
        let entry = entry?;
        if entry.file_name().to_string_lossy().starts_with(UNFINISHED) {
            std::fs::remove_file(entry.path())?;
        }
    }
    Ok(())
}

/// Writes a file in one step: into a hidden neighbour, to the disk, and only then under its own name.
///
/// A reader, or a run that was killed, thus sees the old file, the new file or none, never a part of one. Missing
/// folders on the way to it are made.
///
/// # Errors
/// Those of `fill` and of the operating system, with the file named.
pub fn write_whole(
    path: &Path,
    fill: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> Result<(), WriteError> {
    put(path, fill, false).map_err(|source| WriteError { path: path.to_owned(), source })
}

/// Writes a file that the user has named. A link, a device or a pipe stays what it is and is written through; any other file is
/// there whole or not at all.
///
/// # Errors
/// Those of `fill` and of the operating system, with the file named.
pub fn write_named(path: &Path, fill: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), WriteError> {
    let is_special = path.symlink_metadata().is_ok_and(|about| !about.is_file() && !about.is_dir());
    if !is_special {
        return write_whole(path, |file| fill(file));
    }
    let through = || -> io::Result<()> {
        let mut file = BufWriter::new(File::create(path)?);
        fill(&mut file)?;
        file.flush()
    };
    through().map_err(|source| WriteError { path: path.to_owned(), source })
}

/// The same for a file that must not be there yet.
///
/// # Errors
/// As [`write_whole`]; also if the file is there, which is then not changed.
pub fn write_new(
    path: &Path,
    fill: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>,
) -> Result<(), WriteError> {
    put(path, fill, true).map_err(|source| WriteError { path: path.to_owned(), source })
}

fn put(path: &Path, fill: impl FnOnce(&mut BufWriter<&mut File>) -> io::Result<()>, new: bool) -> io::Result<()> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    std::fs::create_dir_all(folder)?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(UNFINISHED);
    // Temporary files are private by default; results are as readable as any other new file.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(folder)?;
    let mut buffer = BufWriter::new(file.as_file_mut());
    fill(&mut buffer)?;
    buffer.flush()?;
    drop(buffer);
    file.as_file().sync_all()?;
    let kept = if new { file.persist_noclobber(path) } else { file.persist(path) };
    kept.map_err(|error| error.error)?;
    // The name is in the folder, which has to reach the disk too. Only Unix opens folders as files.
    #[cfg(unix)]
    File::open(folder)?.sync_all()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_a_failed_write_leaves_the_old_file_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("deep/table.csv");
        write_whole(&path, |file| file.write_all(b"old")).unwrap();
        let error = write_whole(&path, |file| {
            file.write_all(b"ne")?;
            Err(io::Error::other("disk full"))
        });
        assert!(error.unwrap_err().to_string().contains("table.csv"));
        assert_eq!(std::fs::read(&path).unwrap(), b"old");
        assert_eq!(std::fs::read_dir(folder.path().join("deep")).unwrap().count(), 1);
    }

    /// A link stays a link and what it points at is written; a device stays a device.
    #[cfg(unix)]
    #[test]
    fn identity_a_named_file_is_written_through_links_and_devices() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("old.csv"), "an old and longer text").unwrap();
        for (link, target) in [("link", "old.csv"), ("dangling", "new.csv")] {
            std::os::unix::fs::symlink(target, at(link)).unwrap();
            write_named(&at(link), |file| file.write_all(b"text")).unwrap();
            assert!(at(link).is_symlink(), "{link}");
            assert_eq!(std::fs::read(at(target)).unwrap(), b"text", "{target}");
        }
        let device = |name: &str| Path::new(name).symlink_metadata().unwrap().file_type();
        let before = device("/dev/null");
        write_named(Path::new("/dev/null"), |file| file.write_all(b"text")).unwrap();
        assert_eq!(device("/dev/null"), before);
        let full = write_named(Path::new("/dev/full"), |file| file.write_all(b"text")).unwrap_err();
        assert_eq!(full.source.kind(), io::ErrorKind::StorageFull);
    }
}
