//! Trials: the only place where truth and reading meet, and the run that repeats them into parts on disk.

mod audit;
mod batch;
mod cells;
mod folder;
mod machine;
mod memory;
mod one;
mod recording;
mod run;
mod schema;
mod shard;
mod story;

pub use audit::{Audited, Sample};
pub use cells::{Cells, run_cells};
pub use folder::{FolderError, RunFolder, SavedExperiment, manifest, write_json};
pub use memory::{CaseErrors, errors_in_memory};
pub use one::{TrialRunner, Worker};
pub use recording::RecordOptions;
pub use run::{Progress, RunError, demand_whole, run};
pub use schema::{RunRecord, run_schema};
pub use shard::Shard;
pub use story::Passage;
