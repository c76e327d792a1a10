//! The files of a frozen plan: `FILE.plan.json`, its amendments `FILE.plan.2.json` and so on. None is ever written twice.

use super::{FrozenPlan, Revision};
use crate::experiment::canonical;
use crate::record::{WriteError, write_new};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// Why a frozen plan cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FrozenError {
    /// Another version of the program wrote it.
    #[error("{file} was written by version {found} of navassay, and this is version {this}",
        file = file.display(), this = env!("CARGO_PKG_VERSION"))]
    OtherVersion {
        /// The file.
        file: PathBuf,
        /// The version that wrote it.
        found: String,
        /// Whether this version can read and amend it.
        readable: bool,
    },
    /// The file is no plan.
    #[error("{file} cannot be read as a frozen plan: {why}", file = file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// A revision is missing.
    #[error("{missing} is missing, and {found} is there", missing = missing.display(), found = found.display())]
    Gap {
        /// The file that should be there.
        missing: PathBuf,
        /// A file of a later revision.
        found: PathBuf,
    },
    /// A revision does not fit the one before it.
    #[error("{file} amends a plan with SHA-256 {named}, and the revision before it has {found}", file = file.display())]
    Broken {
        /// The file.
        file: PathBuf,
        /// The hash that it names.
        named: String,
        /// The hash that was found.
        found: String,
    },
}

impl FrozenError {
    /// What the user can do about it.
    #[must_use]
    pub fn help(&self) -> &'static str {
        match self {
            Self::OtherVersion { readable: true, .. } => {
                "amend the plan by this version (navassay check FILE --amend \"REASON\"), or use the version that wrote it"
            }
            Self::OtherVersion { readable: false, .. } => {
                "use the version that wrote it; or keep the file elsewhere and freeze the plan by this version (navassay check \
                 FILE --freeze)"
            }
            Self::Unreadable { .. } => {
                "it is written by `navassay check FILE --freeze`: bring back the file as it was written"
            }
            Self::Gap { .. } => "bring back the missing file: every revision of a plan is kept",
            Self::Broken { .. } => {
                "bring back both files as they were written: a revision of a plan is never changed"
            }
        }
    }
}

impl FrozenPlan {
    /// Where a revision of the plan of an experiment file is: beside it, with the ending `.plan.json`, from the second on
    /// `.plan.2.json`.
    #[must_use]
    pub fn place(experiment: &Path, revision: u32) -> PathBuf {
        experiment.with_extension(if revision == 1 {
            "plan.json".to_owned()
        } else {
            format!("plan.{revision}.json")
        })
    }

    /// The plan that was frozen for an experiment file, if one was.
    ///
    /// # Errors
    /// If a file cannot be read, is none of this kind or of another version's format, or if a revision is missing or does not
    /// fit the one before it.
    pub fn read(experiment: &Path) -> Result<Option<Self>, FrozenError> {
        let places = places(experiment)?;
        let mut revisions = Vec::new();
        for (number, (found, place)) in (1..).zip(&places) {
            if *found != number {
                return Err(FrozenError::Gap { missing: Self::place(experiment, number), found: place.clone() });
            }
            revisions.push(revision(place)?);
        }
        let mut revisions = revisions.into_iter();
        let Some(first) = revisions.next() else { return Ok(None) };
        let plan = Self { first, amendments: revisions.collect() };
        let Some(broken) = plan.broken_at() else { return Ok(Some(plan)) };
        let before = plan.revisions().take_while(|revision| *revision != broken).last();
        Err(FrozenError::Broken {
            file: Self::place(experiment, broken.revision),
            named: broken.former.clone().unwrap_or_else(|| "none".to_owned()),
            found: before.map_or_else(|| "none".to_owned(), Revision::hash),
        })
    }

    /// Writes the revision that is in force into a file of its own, which must not be there yet. Returns the file.
    ///
    /// # Errors
    /// If the file is there, or cannot be written.
    pub fn write(&self, experiment: &Path) -> Result<PathBuf, WriteError> {
        let place = Self::place(experiment, self.current().revision);
        let text = canonical::text(&self.current().value());
        write_new(&place, |file| file.write_all(text.as_bytes()))?;
        Ok(place)
    }

    /// Refuses a plan whose revision in force another version of the program wrote: its defaults may be others.
    ///
    /// # Errors
    /// With that version.
    pub fn demand_this_version(&self, experiment: &Path) -> Result<(), FrozenError> {
        if self.is_of_this_version() {
            return Ok(());
        }
        let Revision { revision, version, .. } = self.current();
        Err(FrozenError::OtherVersion {
            file: Self::place(experiment, *revision),
            found: version.clone(),
            readable: true,
        })
    }
}

/// The files of all revisions that are there, by their number.
fn places(experiment: &Path) -> Result<BTreeMap<u32, PathBuf>, FrozenError> {
    let folder = match experiment.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let stem = experiment.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let failed = |error: io::Error| FrozenError::Unreadable { file: folder.to_owned(), why: error.to_string() };
    let mut places = BTreeMap::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let name = entry.map_err(failed)?.file_name().to_string_lossy().into_owned();
        let rest = name.strip_prefix(&stem).and_then(|rest| rest.strip_prefix(".plan"));
        let number = match rest.and_then(|rest| rest.strip_suffix(".json")) {
            Some("") => Some(1),
            Some(rest) => rest.strip_prefix('.').and_then(|number| number.parse().ok()).filter(|number| *number > 1),
            None => None,
        };
        if let Some(number) = number {
            places.insert(number, FrozenPlan::place(experiment, number));
        }
    }
    Ok(places)
}

fn revision(place: &Path) -> Result<Revision, FrozenError> {
    let unreadable = |why: String| FrozenError::Unreadable { file: place.to_owned(), why };
    let text = std::fs::read_to_string(place).map_err(|error| unreadable(error.to_string()))?;
    let value: Value = serde_json::from_str(&text).map_err(|error| unreadable(error.to_string()))?;
    let version = value["version"].as_str().map(str::to_owned);
    serde_json::from_value(value).map_err(|error| match version {
        Some(found) if found != env!("CARGO_PKG_VERSION") => {
            FrozenError::OtherVersion { file: place.to_owned(), found, readable: false }
        }
        _ => unreadable(error.to_string()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::Plan;

    const TEXT: &str = "seed = 1\ntrials = 100\n[[requirement]]\nid = \"A\"\ntext = \"A.\"\noutput = \"inclination\"\n\
                        limit_deg = 5\nproportion = 0.9\nconfidence = 0.9\n";

    fn plan(text: &str) -> Plan {
        Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{error}"))
    }

    /// Every revision is read back, and what was written once is not written again.
    #[test]
    fn identity_every_revision_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let experiment = folder.path().join("hip.toml");
        assert_eq!(FrozenPlan::read(&experiment).unwrap(), None);
        let first = FrozenPlan::of(&plan(TEXT), 0);
        let place = first.write(&experiment).unwrap();
        assert_eq!(FrozenPlan::read(&experiment).unwrap(), Some(first.clone()));
        assert!(first.write(&experiment).is_err(), "a revision is never written over");
        let wider = plan(&TEXT.replace("limit_deg = 5", "limit_deg = 9"));
        let second = first.amended(&wider, "the bench allows it", 1);
        second.write(&experiment).unwrap();
        assert!(second.extends(&first) && !first.extends(&second));
        assert!(first.amended(&wider, "another", 1).write(&experiment).is_err(), "nor the second by another");
        assert_eq!(FrozenPlan::read(&experiment).unwrap(), Some(second.clone()));
        // The hash is what `sha256sum` says of the file; where the program is not there, there is nothing to compare with.
        let told = std::process::Command::new("sha256sum").arg(&place).output();
        if let Ok(told) = told {
            assert!(String::from_utf8_lossy(&told.stdout).starts_with(&first.current().hash()));
        }
        // A first revision that was changed afterwards does not fit the second; one that is gone is missed.
        let text = std::fs::read_to_string(&place).unwrap();
        std::fs::write(&place, text.replace("\"limit\": 5.0", "\"limit\": 6.0")).unwrap();
        let broken = FrozenPlan::read(&experiment).unwrap_err();
        assert!(matches!(&broken, FrozenError::Broken { named, .. } if *named == first.current().hash()), "{broken}");
        std::fs::remove_file(&place).unwrap();
        assert!(matches!(FrozenPlan::read(&experiment), Err(FrozenError::Gap { .. })));
    }

    #[test]
    fn identity_another_versions_plan_is_named_by_its_version() {
        let folder = tempfile::tempdir().unwrap();
        let experiment = folder.path().join("hip.toml");
        let place = FrozenPlan::place(&experiment, 1);
        // The members of a plan of version 0.1.0.
        let of_0_1_0 = "{\"assessment_hash\": \"00\", \"experiment\": \"hip.toml\", \"plan\": {}, \"simulation_hash\": \"00\", \
                        \"trials\": 100, \"version\": \"0.1.0\"}";
        std::fs::write(&place, of_0_1_0).unwrap();
        let error = FrozenPlan::read(&experiment).unwrap_err();
        assert!(
            matches!(&error, FrozenError::OtherVersion { found, readable: false, .. } if found == "0.1.0"),
            "{error}"
        );
        // A later format of this kind is read, and refused by its version.
        let text = canonical::text(&FrozenPlan::of(&plan(TEXT), 0).current().value());
        let this = format!("\"version\": \"{}\"", env!("CARGO_PKG_VERSION"));
        std::fs::write(&place, text.replace(&this, "\"version\": \"99.0.0\"")).unwrap();
        let later = FrozenPlan::read(&experiment).unwrap().unwrap();
        let error = later.demand_this_version(&experiment).unwrap_err();
        assert!(error.to_string().contains("version 99.0.0"), "{error}");
        for text in ["{}", "[]", "", "{\"version\": 1}"] {
            std::fs::write(&place, text).unwrap();
            assert!(matches!(FrozenPlan::read(&experiment), Err(FrozenError::Unreadable { .. })), "{text}");
        }
    }
}
