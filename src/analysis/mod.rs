//! What the errors say: pure functions on columns of numbers. Nothing here simulates, so simulated and recorded
//! errors are assessed by the same code.

pub mod accelerated;
pub mod adaptive;
pub mod agreement;
pub mod around;
pub mod binomial;
pub mod bootstrap;
pub mod claim;
pub mod components;
pub mod coverage;
#[cfg(test)]
mod coverage_tables;
pub mod designs;
pub mod detection;
pub mod device_bound;
mod exponentials;
pub mod harrell_davis;
pub mod indices;
mod interval;
mod invert;
pub mod joint;
pub mod limits_of_agreement;
pub mod mid_p;
pub mod moments;
pub mod multiplicity;
pub mod nested;
pub mod normal_limits;
pub mod order;
pub mod paired;
pub mod planning;
mod quadrature;
pub mod ranks;
pub mod rare_events;
mod sample;
pub mod shape;
pub mod shapley;
pub mod spread;
mod summary;
pub mod tolerance;
mod verdict;
pub mod wrong_passes;

pub use interval::{Estimate, Interval};
pub use invert::normal_size;
pub use sample::Errors;
pub use summary::{ABSOLUTE_QUANTILES, CONFIDENCE, Summary, quantile_estimate, summarise, summarise_sorted};
pub use verdict::{
    Counts, Devices, Direction, Judgement, Rule, Verdict, Withheld, confidence_of_a_look, judge, judge_counts,
    judge_devices, judge_nested, most_out, passes,
};
