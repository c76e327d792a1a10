//! The sections of a report, one file each.

pub mod answer;
pub mod failures;
pub mod figures;
pub mod inputs;
pub mod limits;
pub mod question;
pub mod reproduction;
pub mod results;
pub mod scene;
