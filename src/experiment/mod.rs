//! From an experiment file to a validated plan.
//!
//! `tree` lays the file over the defaults and keeps the place of every value; `spec` reads typed sections as they
//! are written; `plan` is what is meant. Everything wrong is said at its place, by `diagnostics`.

mod bench;
mod canonical;
mod check;
mod comparison;
mod correlation;
mod data;
mod design;
mod diagnostics;
pub(crate) mod difference;
mod estimand;
mod frozen;
mod imaging;
mod instruments;
mod keys;
mod nearest;
mod needed;
mod overrides;
mod plan;
mod planning;
mod replay;
mod reporting;
mod requirement;
mod resolved;
mod sampled;
mod schema;
mod sensitivity;
mod spec;
mod strategies;
mod switch;
mod template;
mod tree;
mod uncertain;
mod warn;

pub use bench::{BenchIdentity, FileIdentity};
pub use comparison::Comparison;
pub use data::DataColumn;
pub use design::Design;
pub use diagnostics::{Diagnosis, ExperimentError, Warning};
pub use difference::Change;
pub use estimand::Estimand;
pub use frozen::{Amended, Deviation, FrozenError, FrozenPlan, Revision, Standing};
pub use needed::RequirementsNeeded;
pub use plan::{Plan, SweepPoint, Variant};
pub use planning::Assumptions;
pub use replay::Replay;
pub use reporting::{PARTS, ReportKind, Reporting};
pub use requirement::{JointRequirement, Requirement};
pub use schema::file_keys;
pub use sensitivity::{Budgeting, Group, OTHER_MEMBERS, QUESTIONS, Question, REST, Sensitivity};
pub use template::template;
pub use tree::DEFAULTS;
pub use uncertain::{MOST_COMBINED, Uncertain, UncertainInput};
