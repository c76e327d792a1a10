//! Questions put to the trials of a run.

mod assess;

pub use assess::{Assessment, OutputAssessment, RequirementAssessment, assess};
