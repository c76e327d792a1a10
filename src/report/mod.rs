//! From evidence to bytes.

pub mod chart;
mod tables;

pub use tables::write_tables;
