//! Questions put to the trials of a run, and questions that take runs of their own.

mod assess;
pub mod budget;
mod derive;
mod looks;
pub mod sensitivity;
mod together;

pub use assess::{
    Asked, Assessment, Exceedance, OutputAssessment, RequirementAssessment, TOLERANCE, assess, assess_after,
};
pub use looks::{Look, Looks};
pub use together::{Cup, HELD, Together, WORST, Worst};
