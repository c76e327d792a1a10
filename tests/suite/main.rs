//! Every test of the whole program but two that need a crate of their own (`tests/blind.rs`, `tests/allocation.rs`):
//! one binary, because each one takes the table library in anew.

mod asked;
mod bench;
mod browser;
mod cluster;
mod command_line;
mod comparison;
mod controls;
mod correlation;
mod draws;
mod earlier_versions;
mod edited_documents;
mod estimators;
mod experiments;
mod integrity;
mod memory;
mod messages;
mod noise;
mod pinhole;
mod pixel;
mod planning;
mod pose_camera;
mod properties;
mod published_checks;
mod replay;
mod replay_outside;
mod report;
mod resume;
mod sensitivity;
mod shards;
mod stand;
mod statistics;
mod stillness;
mod strategies;
mod streams;
mod support;
