//! The simulator: truth, a patient, tools and noise in; observations out, and the truth sealed.

mod case;
mod covariance;
mod events;
mod eye;
mod imaging;
pub mod model;
pub mod noise;
pub mod normal;
mod patient;
mod phantom;
mod pose_camera;
mod pose_noise;
mod quantity;
mod scene;
mod small_motions;
mod source;
mod streams;
mod theatre;
mod tool;
mod truth;
mod volume;

pub use case::{Memory, Outcome, Simulator};
pub use covariance::{Covariance, in_words, lower_factor};
pub use events::{
    ByEventSource, EVENT_SOURCES, EventSource, Happened, UnrecordedEvent, event_sources, unrecorded_events,
};
pub use imaging::{Imaging, PixelCamera, SecondCamera};
pub use model::{CameraModel, Model};
pub use patient::{Anatomy, Change, Implant, Patient, PatientTurn, PatientVector};
pub use phantom::{Hold, TrueHold};
pub use pose_noise::{MarkerNoise, PoseFactor, PoseResponse};
pub use quantity::{DISTRIBUTIONS, Quantity, Shape};
pub use scene::Scene;
pub use small_motions::SmallMotions;
pub use source::{Basis, BasisKind, CaptureKey, SharedScore, Source, Stratum, Switch};
pub use streams::{CaseKey, GENERATOR, Scores, StreamKey, continued_key, source_key};
pub use tool::ToolKind;
pub use truth::{SealedTruth, TrueReading, TrueReduction, Truth};
pub use volume::FrameSpread;

/// True bony axes: X anterior, Y superior, Z to the patient's right, origin midway between the true spines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TruePelvis {}

/// Axes of the femur, origin the centre of its native head; in neutral parallel to the true bony axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Femur {}
