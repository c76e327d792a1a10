//! Recorded cases through the same procedure as simulated ones, and the only place where their truth meets their
//! readings.

mod assess;
mod case;
mod complaint;
mod fit;
mod fitted;
mod measured;
mod standing;

pub use assess::REFUSED;
pub use case::{Session, sessions};
pub use complaint::{Complaint, complaints};
pub use fit::{Fitted, NoiseFit, fit};
pub use fitted::fitted_experiment;
pub use measured::{Fit, Reading, Replayed, replay};
