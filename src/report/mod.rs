//! From evidence to bytes.

mod bench;
pub mod chart;
mod columns;
mod document;
#[cfg(feature = "docx")]
mod docx;
mod evidence;
mod files;
mod html;
mod outlines;
mod phantom;
mod section;
mod tables;
pub mod words;

pub use bench::Bench;
pub use columns::Columns;
pub use document::Document;
pub use evidence::{
    Chart, Csv, Entry, Evidence, Finding, Heading, Panel, PanelRequired, PanelRow, PanelSource, Run, Section, Table,
};
pub use files::{PAGE, Written, write_report};
pub use html::page;
pub use phantom::Phantom;
pub use section::bench::outcomes;
pub use section::bench_comparison::NONE as NO_BENCH;
pub use section::budget::{answer_words as budget_answer, name as budget_name};
pub use section::code_verification;
pub use section::hangs::NOT_ASKED;
pub use section::limits::ALWAYS;
pub use section::planned::paragraph as sampling_paragraph;
pub use section::trials::{between, needed_words, probability_words, too_few};
pub use section::validation::statement as agreement;
pub use words::quoted;
