//! What may be typed.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// How far off are the numbers of a hip navigation measurement, why, and can it be shown.
///
/// Exit status: 0 every requirement shown; 1 ran, but one failed or could not be shown; 2 wrong input or usage,
/// nothing run; 3 could not finish (disk, interrupt), repeat the command to go on.
#[derive(Debug, Parser)]
#[command(version, propagate_version = true, max_term_width = 100)]
pub struct Arguments {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Simulate an experiment, assess it and report.
    Run(RunArguments),
    /// Assess and report again from saved trials.
    Assess(AssessArguments),
}

#[derive(Debug, Args)]
pub struct RunArguments {
    /// Experiment file (TOML).
    pub file: PathBuf,
    /// Folder of the run [default: reports/<file stem>].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Number of trials, instead of the file's.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1_000_000_000))]
    pub trials: Option<u64>,
    /// Seed, instead of the file's.
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Threads [default: all].
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Remove a run of another plan from the folder.
    #[arg(long)]
    pub replace: bool,
    /// No progress, no table.
    #[arg(long)]
    pub quiet: bool,
}

#[derive(Debug, Args)]
pub struct AssessArguments {
    /// Folder of a run.
    pub folder: PathBuf,
    /// Experiment file with changed requirements or texts; what moves the trials must be the same.
    pub file: Option<PathBuf>,
    /// No table.
    #[arg(long)]
    pub quiet: bool,
}
