//! A plan that was frozen before its run: `navassay check --freeze` writes it beside the experiment file, the run keeps it,
//! and the report says where the run deviates. It is never changed: `check --amend` writes the next revision beside it.

mod deviation;
mod file;

pub use deviation::{Amended, Deviation, Standing};
pub use file::FrozenError;

use super::canonical;
use super::plan::Plan;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// One revision of a plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Revision {
    /// Its number, from 1.
    #[schemars(range(min = 1))]
    pub revision: u32,
    /// SHA-256 of the revision before it; null for the first.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub former: Option<String>,
    /// Why the plan was amended; null for the first.
    pub reason: Option<String>,
    /// Looks at verdicts that the file of looks held when this revision was written.
    pub looks_before: u64,
    /// Name of the experiment file, without folders.
    pub experiment: String,
    /// Version of the program.
    pub version: String,
    /// The plan with every default filled in, its number of trials, and the checksums of the bench that it names.
    pub plan: Value,
}

/// A plan as it was frozen, with every amendment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FrozenPlan {
    /// As it was frozen first.
    pub first: Revision,
    /// Its amendments, oldest first.
    pub amendments: Vec<Revision>,
}

impl Revision {
    /// SHA-256, in hexadecimal digits, of its content: what `sha256sum` says of its file as it was written.
    #[must_use]
    pub fn hash(&self) -> String {
        canonical::file_digest(&self.value())
    }

    /// Plain data of a plain struct, which JSON always takes.
    fn value(&self) -> Value {
        serde_json::to_value(self).expect("text and numbers have a JSON form")
    }
}

impl FrozenPlan {
    /// A plan, as it is frozen now; so many looks had been taken before.
    #[must_use]
    pub fn of(plan: &Plan, looks_before: u64) -> Self {
        let first = Revision {
            revision: 1,
            former: None,
            reason: None,
            looks_before,
            experiment: plan.file_name.clone(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            plan: plan.resolved(),
        };
        Self { first, amendments: Vec::new() }
    }

    /// The same, amended by a plan.
    #[must_use]
    pub fn amended(&self, plan: &Plan, reason: &str, looks_before: u64) -> Self {
        let current = self.current();
        let next = Revision {
            revision: current.revision + 1,
            former: Some(current.hash()),
            reason: Some(reason.to_owned()),
            ..Self::of(plan, looks_before).first
        };
        Self { first: self.first.clone(), amendments: self.amendments.iter().cloned().chain([next]).collect() }
    }

    /// The revision that is in force.
    #[must_use]
    pub fn current(&self) -> &Revision {
        self.amendments.last().unwrap_or(&self.first)
    }

    /// All revisions, oldest first.
    pub fn revisions(&self) -> impl Iterator<Item = &Revision> {
        [&self.first].into_iter().chain(&self.amendments)
    }

    /// Whether it has every revision of another, and perhaps later ones.
    #[must_use]
    pub fn extends(&self, other: &Self) -> bool {
        self.first == other.first && self.amendments.starts_with(&other.amendments)
    }

    /// The first revision whose number or hash of the former does not fit the revisions before it.
    #[must_use]
    pub fn broken_at(&self) -> Option<&Revision> {
        let mut former = None;
        (1..).zip(self.revisions()).find_map(|(number, revision)| {
            let fits = revision.revision == number && revision.former == former;
            former = Some(revision.hash());
            (!fits).then_some(revision)
        })
    }

    /// Whether the revision in force was written by this version of the program.
    #[must_use]
    pub fn is_of_this_version(&self) -> bool {
        self.current().version == env!("CARGO_PKG_VERSION")
    }
}
