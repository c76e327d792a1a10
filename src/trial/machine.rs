//! When and where a run ran: in a file of its own, so that the evidence stays the same bytes everywhere.

use crate::record::WriteError;
use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// Writes what a machine did into its file.
///
/// # Errors
/// If the file cannot be written.
pub fn write_machine(file: &Path, threads: usize, simulated: u64, took: Duration) -> Result<(), WriteError> {
    let since_epoch = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    let seconds = took.as_secs_f64();
    let value = serde_json::json!({
        "finished_unix_s": since_epoch.as_secs(),
        "operating_system": std::env::consts::OS,
        "architecture": std::env::consts::ARCH,
        "host": std::env::var("HOSTNAME").ok(),
        "threads": threads,
        "trials_simulated": simulated,
        "simulation_s": seconds,
    });
    super::folder::write_json(file, &value)
}
