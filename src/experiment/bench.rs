//! Which recorded cases a plan compares its run with: part of the plan, so that another bench is another plan.

use serde::Serialize;

/// A bench: the experiment of its recorded cases, with the checksums of every file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BenchIdentity {
    /// Its experiment file, as the plan names it, and its SHA-256.
    pub experiment: FileIdentity,
    /// The recordings file, with the SHA-256 of its content.
    pub recordings: FileIdentity,
    /// What is known to be true of them.
    pub truth: Option<FileIdentity>,
    /// Confidence of the statement that the run does not predict the bench.
    pub confidence: f64,
}

/// A file by its name and its content.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FileIdentity {
    /// Its name, from the folder of the file that names it.
    pub file: String,
    /// SHA-256 of its content.
    pub sha256: String,
}
