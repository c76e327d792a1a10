//! From evidence to bytes.

pub mod chart;
mod evidence;
mod files;
mod html;
mod section;
mod tables;
pub mod words;

pub use evidence::{Chart, Csv, Entry, Evidence, Finding, Heading, Section, Table};
pub use files::{PAGE, Written, write_report};
pub use html::page;
pub use section::budget::{answer_words as budget_answer, name as budget_name};
pub use section::limits::ALWAYS;
