//! How far off are the numbers of a hip navigation measurement, why, and can it be shown.
//!
//! ```text
//! experiment file -> plan -> for each trial: truth -> observations -> readings -> errors
//!                 -> trials table -> analysis -> evidence -> report
//! ```

pub mod geometry;
pub mod measurement;

#[cfg(feature = "simulator")]
pub mod analysis;
#[cfg(feature = "simulator")]
pub mod checks;
#[cfg(feature = "simulator")]
pub mod cli;
#[cfg(feature = "simulator")]
pub mod experiment;
#[cfg(feature = "simulator")]
pub mod explain;
#[cfg(feature = "simulator")]
mod mixing;
#[cfg(feature = "simulator")]
pub mod record;
#[cfg(feature = "simulator")]
pub mod replay;
#[cfg(feature = "simulator")]
pub mod report;
#[cfg(feature = "simulator")]
pub mod simulation;
#[cfg(feature = "simulator")]
pub mod study;
#[cfg(feature = "simulator")]
pub mod trial;
