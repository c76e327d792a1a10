//! What the errors say: pure functions on columns of numbers. Nothing here simulates, so simulated and recorded
//! errors are assessed by the same code.

pub mod binomial;
mod interval;
mod invert;
pub mod moments;
pub mod order;
mod sample;
mod summary;
mod verdict;

pub use interval::{Estimate, Interval};
pub use sample::Errors;
pub use summary::{CONFIDENCE, Summary, summarise};
pub use verdict::{Judgement, Rule, Verdict, judge, passes, trials_needed};
