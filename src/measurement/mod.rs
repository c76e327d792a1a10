//! The measurement chain under validation: recorded observations in, readings out.
//!
//! Blind to truth and to chance: this folder names nothing but `geometry`, so the same code measures simulated
//! and recorded cases. [`Procedure::measure`] reads as the procedure in the theatre.

mod cup;
mod failure;
mod femur;
mod frames;
mod observation;
mod options;
mod pivot;
mod plane;
mod procedure;
mod readings;
mod stillness;
mod tracking;

pub use cup::{CupAngles, cup_angles};
pub use failure::{Failure, Reason};
pub use femur::{
    FeaturePose, FemurFeature, FemurStrategy, Located, Outline, Taking, Trace, TraceMemory, restored_turn,
};
pub use frames::{Camera, Feature, Pelvis, Tracker};
pub use observation::{Capture, Observations, Sightings, Step};
pub use options::{AngleDefinition, Cameras, Instruments, Side, Trackers};
pub use pivot::{PivotEstimator, PivotMemory, PivotStrategy, Pivoted};
pub use plane::{
    PelvicAxes, Plane, PlaneStrategy, Template, TemplateError, TemplateShape, Touched, bony_axes, level_axes,
};
pub use procedure::{Estimates, Procedure, ReductionEstimates, Residuals, Workspace};
pub use readings::{Asked, CentreShift, LegChange, OUTPUTS, Output, RESOLUTION, Readings, Unit};
pub use stillness::{StillnessGate, largest_distance_mm};
pub use tracking::FrameCounts;
