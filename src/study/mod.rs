//! Questions put to the trials of a run.

mod assess;
mod looks;
mod together;

pub use assess::{
    Asked, Assessment, Exceedance, OutputAssessment, RequirementAssessment, TOLERANCE, assess, assess_after,
};
pub use looks::{Look, Looks};
pub use together::{Cup, HELD, Together, WORST, Worst};
