//! Trials: the only place where truth and reading meet, and the run that repeats them into parts on disk.

mod folder;
mod machine;
mod one;
mod run;
mod story;

pub use folder::{FolderError, RunFolder, SavedExperiment, manifest};
pub use one::{TrialRunner, Worker};
pub use run::{Progress, RunError, run};
pub use story::Passage;
