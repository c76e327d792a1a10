//! From evidence to bytes.

pub mod chart;
