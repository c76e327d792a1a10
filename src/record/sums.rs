//! Checksums of a run's evidence, in the format of `sha256sum --check`.

use super::whole::{WriteError, write_whole};
use rayon::prelude::*;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// The file of checksums.
pub const SUMS_FILE: &str = "SHA256SUMS";

/// Whether a file at the top of a run's folder is no evidence but says when and where the run, or a shard of it, ran.
#[must_use]
pub fn is_of_a_machine(name: &str) -> bool {
    let of_a_shard = |stem: &str| stem == "machine" || stem.starts_with("machine-");
    name.strip_suffix(".json").is_some_and(of_a_shard)
}

/// Checksums cannot be made or compared.
#[derive(Debug, thiserror::Error)]
pub enum SumsError {
    /// The file of checksums could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A file or folder could not be read.
    #[error("{path} cannot be read: {source}", path = path.display())]
    Read {
        /// The file or folder.
        path: PathBuf,
        /// What the operating system said.
        source: io::Error,
    },
    /// A name that cannot stand in a file of checksums.
    #[error("{path} has a name that a list of checksums cannot hold", path = path.display())]
    Name {
        /// The file.
        path: PathBuf,
    },
    /// A line of the file of checksums is none.
    #[error("{path}, line {line}: expected 64 hexadecimal digits, two spaces and a relative path", path = path.display())]
    Line {
        /// The file of checksums.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
    },
}

/// How a file differs from what was recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Difference {
    /// It has other content.
    Changed,
    /// It is gone.
    Missing,
    /// It was not there.
    Added,
}

/// Writes `SHA256SUMS` over everything in a run folder but what machines say of themselves, lock files (`*.lock`), hidden files,
/// itself and what is named in `except`: sorted paths with forward slashes. Returns the number of files.
///
/// # Errors
/// If a file cannot be read, has a name with a line break or a backslash, or the list cannot be written.
pub fn write_sums(folder: &Path, except: &[&str]) -> Result<usize, SumsError> {
    let mut files = evidence(folder)?;
    files.retain(|name, _| !except.contains(&name.as_str()));
    let line = |(name, path): (&String, &PathBuf)| Ok(format!("{}  {name}\n", sum(path)?));
    let lines: Result<Vec<String>, SumsError> = files.par_iter().map(line).collect();
    let text = lines?.concat();
    write_whole(&folder.join(SUMS_FILE), |file| file.write_all(text.as_bytes()))?;
    Ok(files.len())
}

/// Compares a run folder with its `SHA256SUMS`: every file that differs, by name; none if it is as it was.
///
/// # Errors
/// If the list or a file cannot be read.
pub fn verify_sums(folder: &Path) -> Result<Vec<(String, Difference)>, SumsError> {
    let (found, recorded) = (evidence(folder)?, recorded_sums(folder)?);
    let difference = |(name, recorded): (&String, &String)| match found.get(name) {
        None => Ok(Some((name.clone(), Difference::Missing))),
        Some(path) => Ok((sum(path)? != *recorded).then(|| (name.clone(), Difference::Changed))),
    };
    let differences: Result<Vec<Option<_>>, SumsError> = recorded.par_iter().map(difference).collect();
    let mut differences: Vec<_> = differences?.into_iter().flatten().collect();
    let added = found.keys().filter(|name| !recorded.contains_key(*name));
    differences.extend(added.map(|name| (name.clone(), Difference::Added)));
    differences.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(differences)
}

/// The recorded checksums of a folder by the name of the file.
///
/// # Errors
/// If the list cannot be read.
pub fn recorded_sums(folder: &Path) -> Result<BTreeMap<String, String>, SumsError> {
    let path = folder.join(SUMS_FILE);
    let text = std::fs::read_to_string(&path).map_err(|source| SumsError::Read { path: path.clone(), source })?;
    let entry = |(index, line): (usize, &str)| {
        line.split_once("  ")
            .filter(|(sum, name)| sum.len() == 64 && sum.bytes().all(|b| b.is_ascii_hexdigit()) && !name.is_empty())
            .map(|(sum, name)| (name.to_owned(), sum.to_ascii_lowercase()))
            .ok_or_else(|| SumsError::Line { path: path.clone(), line: index + 1 })
    };
    text.lines().enumerate().map(entry).collect()
}

/// The files that count as evidence: relative name to path.
fn evidence(folder: &Path) -> Result<BTreeMap<String, PathBuf>, SumsError> {
    let mut files = BTreeMap::new();
    let mut folders = vec![(String::new(), folder.to_owned())];
    while let Some((prefix, folder)) = folders.pop() {
        let failed = |source| SumsError::Read { path: folder.clone(), source };
        for entry in std::fs::read_dir(&folder).map_err(failed)? {
            let path = entry.map_err(failed)?.path();
            let named =
                path.file_name().and_then(|name| name.to_str()).filter(|name| !name.contains(['\n', '\r', '\\']));
            let Some(name) = named else { return Err(SumsError::Name { path }) };
            let aside = prefix.is_empty() && (name == SUMS_FILE || is_of_a_machine(name));
            if aside || name.starts_with('.') || path.extension().is_some_and(|end| end == "lock") {
                continue;
            }
            let relative = format!("{prefix}{name}");
            if path.is_dir() {
                folders.push((format!("{relative}/"), path));
            } else {
                files.insert(relative, path);
            }
        }
    }
    Ok(files)
}

/// SHA-256 of a file, in lower-case hexadecimal digits.
///
/// # Errors
/// If it cannot be read.
pub fn sum(path: &Path) -> Result<String, SumsError> {
    let failed = |source| SumsError::Read { path: path.to_owned(), source };
    let mut file = File::open(path).map_err(failed)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece).map_err(failed)? {
            0 => break,
            count => hash.update(&piece[..count]),
        }
    }
    Ok(digits(&hash.finalize()))
}

/// SHA-256 of what is to stand in a file, in lower-case hexadecimal digits.
#[must_use]
pub fn sum_of(bytes: &[u8]) -> String {
    sum_of_pieces([bytes])
}

/// SHA-256 of bytes, one piece after the other, in lower-case hexadecimal digits.
#[must_use]
pub fn sum_of_pieces<'b>(pieces: impl IntoIterator<Item = &'b [u8]>) -> String {
    let mut hash = Sha256::new();
    pieces.into_iter().for_each(|piece| hash.update(piece));
    digits(&hash.finalize())
}

fn digits(digest: &[u8]) -> String {
    let mut word = String::with_capacity(64);
    for byte in digest {
        let _ = write!(word, "{byte:02x}"); // writing to a string does not fail
    }
    word
}

#[cfg(test)]
mod tests {
    use super::*;

    fn some_folder() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::create_dir_all(at("parts")).unwrap();
        for (name, text) in [
            ("run.json", "abc"),
            ("parts/0000-000000.parquet", ""),
            ("parts-list.txt", "x"),
            ("machine.json", "12:00"),
            ("machine-2-of-3.json", "12:00"),
            ("run.lock", ""),
            (".hidden", ""),
        ] {
            std::fs::write(at(name), text).unwrap();
        }
        folder
    }

    /// The digests of the empty message and of "abc": FIPS 180-4, examples published with the standard
    /// (csrc.nist.gov, SHA-256 examples); the empty one is NIST's test vector of length 0.
    #[test]
    fn table_sums_of_known_messages() {
        let folder = some_folder();
        assert_eq!(write_sums(folder.path(), &[]).unwrap(), 3);
        let text = std::fs::read_to_string(folder.path().join(SUMS_FILE)).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines[0].ends_with("  parts-list.txt"));
        assert_eq!(
            lines[1..],
            [
                "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  parts/0000-000000.parquet",
                "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  run.json",
            ]
        );
    }

    #[test]
    fn outside_sha256sum_accepts_the_list() {
        let folder = some_folder();
        write_sums(folder.path(), &[]).unwrap();
        // Where the program is not there, there is nothing to compare with.
        let command = std::process::Command::new("sha256sum")
            .args(["--check", "--strict", SUMS_FILE])
            .current_dir(folder.path())
            .output();
        if let Ok(output) = command {
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
        }
    }

    #[test]
    fn identity_every_difference_is_named() {
        let folder = some_folder();
        write_sums(folder.path(), &[]).unwrap();
        assert_eq!(verify_sums(folder.path()).unwrap(), []);
        std::fs::write(folder.path().join("machine.json"), "13:00").unwrap();
        assert_eq!(verify_sums(folder.path()).unwrap(), []);
        std::fs::write(folder.path().join("run.json"), "abd").unwrap();
        std::fs::remove_file(folder.path().join("parts/0000-000000.parquet")).unwrap();
        std::fs::write(folder.path().join("new.txt"), "").unwrap();
        let expected = [
            ("new.txt", Difference::Added),
            ("parts/0000-000000.parquet", Difference::Missing),
            ("run.json", Difference::Changed),
        ];
        assert_eq!(verify_sums(folder.path()).unwrap(), expected.map(|(name, what)| (name.to_owned(), what)));
        std::fs::write(folder.path().join(SUMS_FILE), "nonsense\n").unwrap();
        assert!(verify_sums(folder.path()).unwrap_err().to_string().contains("line 1"));
    }
}
