//! Questions put to the trials of a run, and questions that take runs of their own.

mod assess;
pub mod budget;
mod claims;
mod comparison;
mod definitional;
pub(crate) mod derive;
mod looks;
mod needed;
mod phantom;
pub mod pilot;
pub mod planned;
mod recorded_events;
mod residuals;
pub mod sensitivity;
mod together;
mod validation;

pub use assess::{
    Asked, Assessment, Exceedance, OutputAssessment, RequirementAssessment, TOLERANCE, assess, assess_after,
    assess_in_memory,
};
pub use claims::{JudgedClaim, test_confidence};
pub use comparison::{Agreement, Apart, Arms, Pair, PairedMeasure, Ranked};
pub use definitional::{CASES, Definitional, ErrorParts, definitional};
pub use looks::{Look, Looks};
pub use phantom::{DISTURBANCES, PhantomPlan, PhantomStudy, PointSummary, phantom};
pub use recorded_events::rare_sources;
pub use residuals::{ResidualCorrelation, residuals_of};
pub use together::{Cup, HELD, Together, WORST, Worst};
pub use validation::{
    HeldBench, Range, ValidatedVariant, Validation, ValidationError, demand_partners, measured_in_words, validate,
};
