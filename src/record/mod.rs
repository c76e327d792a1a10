//! What is on disk: trial rows in Parquet parts, tables in CSV, the checksums of both; recorded cases and their
//! truth.
//!
//! Every file is written whole or not at all, and its bytes depend on nothing but its content.

mod block;
mod documents;
mod looks;
mod parts;
pub mod recording;
pub mod sheet;
pub mod sums;
pub mod tables;
pub mod truths;
mod whole;

pub use block::{Block, Diagnostics, Row, Schema};
pub use documents::{Documents, Edited, FORMER_SUMS, is_document};
pub use looks::{LookRecord, LooksError, LooksFile};
pub use parts::{Column, Compared, Coverage, Origin, PartError, PartId, Parts, Rows, TRIALS_IN_A_PART, write_part};
pub use whole::{UNFINISHED, WriteError, sweep, write_named, write_new, write_whole};
