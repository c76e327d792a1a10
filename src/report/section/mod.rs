//! The sections of a report, one file each.

pub mod answer;
pub mod components;
pub mod cup;
pub mod failures;
pub mod figures;
mod frames;
pub mod inputs;
pub mod limits;
mod markers;
pub mod question;
pub mod reproduction;
pub mod results;
pub mod scene;
pub mod statistics;
