//! Questions put to the trials of a run, and questions that take runs of their own.

mod assess;
pub mod budget;
mod derive;
mod looks;
mod phantom;
pub mod sensitivity;
mod together;
mod validation;

pub use assess::{
    Asked, Assessment, Exceedance, OutputAssessment, RequirementAssessment, TOLERANCE, assess, assess_after,
    assess_in_memory,
};
pub use looks::{Look, Looks};
pub use phantom::{DISTURBANCES, PhantomPlan, PhantomStudy, PointSummary, phantom};
pub use together::{Cup, HELD, Together, WORST, Worst};
pub use validation::{Range, ValidatedVariant, Validation, ValidationError, validate};
