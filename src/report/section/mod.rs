//! The sections of a report, one file each.

pub mod answer;
pub mod bench;
pub mod budget;
pub mod comparison;
pub mod components;
pub mod cup;
pub mod definitional;
pub mod failures;
pub mod figures;
pub mod fit;
mod frames;
pub mod glossary;
pub mod inputs;
pub mod limits;
mod markers;
pub mod phantom;
pub mod question;
pub mod reproduction;
pub mod response;
pub mod results;
pub mod scene;
pub mod sensitivity;
pub mod statistics;
pub mod validation;
mod volume;
