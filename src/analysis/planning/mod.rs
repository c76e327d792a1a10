//! How many trials: the probability that a run passes or shows a claim, and the number of trials that gives a stated one.

pub mod after_search;
mod devices;
mod difference;
mod independent;

pub use devices::{AssumedDevices, MOST_DEVICES, fewest_devices};
pub use difference::{PlannedClaim, normal_standard_errors, trials_for_standard_error};
pub use independent::{Needed, least_trials, probability_of_pass, trials_needed};
