//! Looks at verdicts beside a frozen plan: `FILE.looks.jsonl`, a line for each distinct assessment, only ever added to.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// An assessment whose verdicts were seen.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LookRecord {
    /// SHA-256 of the revision of the frozen plan that was in force; null without a frozen plan.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub plan: Option<String>,
    /// SHA-256 of all that moved draws and readings, the seed among it.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub simulation_hash: String,
    /// SHA-256 of requirements, claims and the number of declared looks.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub criteria_hash: String,
    /// Seed of all draws.
    pub seed: u64,
    /// Trials of each variant.
    pub trials: u64,
    /// Looks that the plan declared.
    pub declared: u32,
    /// For each requirement and claim, in how many cases (variants or pairs of arms) it had which verdict.
    pub verdicts: BTreeMap<String, BTreeMap<String, u64>>,
    /// Folder of the run, for information; in the file of looks only, since the record of a run does not say where it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub folder: Option<String>,
}

impl LookRecord {
    /// Whether another look put the same question to the same trials, whatever texts or revisions of the plan say.
    #[must_use]
    pub fn asks_the_same(&self, other: &Self) -> bool {
        self.simulation_hash == other.simulation_hash
            && self.criteria_hash == other.criteria_hash
            && self.trials == other.trials
    }

    /// Whether another look is at the same assessment: the same question, under the same revision of the plan.
    #[must_use]
    pub fn is_same(&self, other: &Self) -> bool {
        self.asks_the_same(other) && self.plan == other.plan
    }
}

/// The file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LooksError {
    /// It cannot be read.
    #[error("{file} cannot be read: {source}", file = file.display())]
    Read {
        /// The file.
        file: PathBuf,
        /// What the operating system said.
        source: io::Error,
    },
    /// It cannot be added to.
    #[error("{file} cannot be added to: {source}", file = file.display())]
    Add {
        /// The file.
        file: PathBuf,
        /// What the operating system said.
        source: io::Error,
    },
    /// A line is no look.
    #[error("{file}, line {line}: expected a look at verdicts, found {why}", file = file.display())]
    Line {
        /// The file.
        file: PathBuf,
        /// The line, from 1.
        line: usize,
        /// What is wrong with it.
        why: String,
    },
}

/// The file, held alone until dropped: between what is read from it and what is added nobody else adds a look.
#[derive(Debug)]
pub struct LooksFile {
    path: PathBuf,
    file: File,
    text: String,
    looks: Vec<LookRecord>,
}

impl LooksFile {
    /// Where the looks at a plan are: beside its experiment file, with the ending `.looks.jsonl`.
    #[must_use]
    pub fn place(experiment: &Path) -> PathBuf {
        experiment.with_extension("looks.jsonl")
    }

    /// Opens the file to add to it, and makes it if there is none. Waits while another process holds it.
    ///
    /// # Errors
    /// If the system refuses, or a line is no look.
    pub fn open(path: &Path) -> Result<Self, LooksError> {
        let add = |source| LooksError::Add { file: path.to_owned(), source };
        let mut file = File::options().create(true).append(true).read(true).open(path).map_err(add)?;
        match file.lock() {
            // Some shared file systems have no locks; a line is still written in one piece.
            Err(error) if error.kind() != io::ErrorKind::Unsupported => return Err(add(error)),
            _ => {}
        }
        let mut text = String::new();
        file.read_to_string(&mut text).map_err(|source| LooksError::Read { file: path.to_owned(), source })?;
        let looks = parse(path, &text)?;
        Ok(Self { path: path.to_owned(), file, text, looks })
    }

    /// The looks in a file, only read; none if there is no file.
    ///
    /// # Errors
    /// If it cannot be read, or a line is no look.
    pub fn read(path: &Path) -> Result<Vec<LookRecord>, LooksError> {
        match std::fs::read_to_string(path) {
            Ok(text) => parse(path, &text),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
            Err(source) => Err(LooksError::Read { file: path.to_owned(), source }),
        }
    }

    /// The looks that it holds, oldest first.
    #[must_use]
    pub fn looks(&self) -> &[LookRecord] {
        &self.looks
    }

    /// Adds those looks that it does not hold yet, in one piece: all of them or none.
    ///
    /// # Errors
    /// If the system refuses.
    pub fn add(&mut self, looks: &[LookRecord], folder: &str) -> Result<(), LooksError> {
        let new: Vec<_> = looks.iter().filter(|look| !self.looks.iter().any(|known| known.is_same(look))).collect();
        if new.is_empty() {
            return Ok(());
        }
        let failed = |source| LooksError::Add { file: self.path.clone(), source };
        // An editor may have taken the last line break away.
        let mut lines =
            if self.text.is_empty() || self.text.ends_with('\n') { String::new() } else { "\n".to_owned() };
        for look in &new {
            let look = LookRecord { folder: Some(folder.to_owned()), ..(*look).clone() };
            lines += &serde_json::to_string(&look).map_err(|error| failed(error.into()))?;
            lines.push('\n');
        }
        let written = self.file.write_all(lines.as_bytes()).and_then(|()| self.file.sync_all());
        if let Err(source) = written {
            // A full disk may have taken a part of a line.
            let _ = self.file.set_len(self.text.len() as u64);
            return Err(failed(source));
        }
        Ok(())
    }
}

fn parse(path: &Path, text: &str) -> Result<Vec<LookRecord>, LooksError> {
    let look = |(index, line): (usize, &str)| {
        let why = |error: serde_json::Error| error.to_string();
        serde_json::from_str(line).map_err(|error| LooksError::Line {
            file: path.to_owned(),
            line: index + 1,
            why: why(error),
        })
    };
    text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()).map(look).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(seed: u64) -> LookRecord {
        let verdict = BTreeMap::from([("pass".to_owned(), 1)]);
        LookRecord {
            plan: None,
            simulation_hash: format!("{seed:064x}"),
            criteria_hash: "0".repeat(64),
            seed,
            trials: 300,
            declared: 1,
            verdicts: BTreeMap::from([("A".to_owned(), verdict)]),
            folder: None,
        }
    }

    #[test]
    fn identity_only_new_looks_are_added_and_none_is_changed() {
        let folder = tempfile::tempdir().unwrap();
        let path = LooksFile::place(&folder.path().join("hip.toml"));
        let add = |looks: &[LookRecord]| LooksFile::open(&path).unwrap().add(looks, "reports/hip").unwrap();
        add(&[look(1)]);
        let one = std::fs::read_to_string(&path).unwrap();
        add(&[look(1), look(2)]);
        let two = std::fs::read_to_string(&path).unwrap();
        assert!(two.starts_with(&one) && two.lines().count() == 2, "{two}");
        assert_eq!(
            LooksFile::read(&path).unwrap()[1],
            LookRecord { folder: Some("reports/hip".to_owned()), ..look(2) }
        );
        // Without the last line break.
        std::fs::write(&path, two.trim_end()).unwrap();
        add(&[look(3)]);
        assert_eq!(LooksFile::read(&path).unwrap().len(), 3);
        std::fs::write(&path, format!("{one}nonsense\n")).unwrap();
        assert!(matches!(LooksFile::open(&path), Err(LooksError::Line { line: 2, .. })));
    }

    /// Eight writers at once, twenty looks each: every look is there, each in a line of its own.
    #[test]
    fn identity_writers_at_once_lose_no_look() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("hip.looks.jsonl");
        std::thread::scope(|scope| {
            for writer in 0..8_u64 {
                let path = &path;
                scope.spawn(move || {
                    for number in 0..20 {
                        LooksFile::open(path).unwrap().add(&[look(writer * 20 + number)], "one").unwrap();
                    }
                });
            }
        });
        let mut seeds: Vec<u64> = LooksFile::read(&path).unwrap().iter().map(|look| look.seed).collect();
        seeds.sort_unstable();
        assert_eq!(seeds, (0..160).collect::<Vec<_>>());
    }
}
