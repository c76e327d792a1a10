//! What may be typed.

use crate::trial::Shard;
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
    /// Read and validate an experiment, and say what would run.
    Check(CheckArguments),
    /// Join what several machines have run, assess and report.
    Finish(FinishArguments),
    /// Assess and report again from saved trials.
    Assess(AssessArguments),
    /// Verify a finished run, without writing to it: simulate trials again, make its results again, compare.
    Verify(VerifyArguments),
    /// Show one trial with every intermediate value.
    Trial(TrialArguments),
    /// From limits on outputs to limits on noise sources: how far each may be scaled.
    Budget(BudgetArguments),
    /// Touch a virtual phantom: points over the camera's volume, distances, the pointer tilted, the camera disturbed.
    Phantom(PhantomArguments),
    /// Measure recorded cases by the same procedure, and compare them with their truth and with a simulated run.
    Replay(ReplayArguments),
    /// Compare the program with published figures on this machine.
    Selfcheck(SelfcheckArguments),
    /// Say what a source, an output, a key or a term means, its unit, its default and where that comes from.
    Explain(ExplainArguments),
    /// Write a commented experiment file to start from.
    New(NewArguments),
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
    /// Only this share of the trials, for several machines that write to one folder; `finish` joins them.
    #[arg(long, value_name = "K/N", conflicts_with = "replace")]
    pub shard: Option<Shard>,
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

#[derive(Debug, Args)]
pub struct CheckArguments {
    /// Experiment file (TOML).
    pub file: PathBuf,
    /// Folder that the run would write to [default: reports/<file stem>].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Number of trials, instead of the file's.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1_000_000_000))]
    pub trials: Option<u64>,
    /// Freeze the plan before its run: write it beside FILE, with the ending .plan.json, and print its SHA-256.
    #[arg(long)]
    pub freeze: bool,
    /// Amend the frozen plan: write its next revision beside FILE (.plan.2.json and so on) and keep the former.
    #[arg(long, value_name = "REASON", conflicts_with = "freeze")]
    pub amend: Option<String>,
}

#[derive(Debug, Args)]
pub struct FinishArguments {
    /// Folder that several machines have written to.
    pub folder: PathBuf,
    /// Experiment file, so that this look at verdicts is recorded beside its frozen plan [default: the file of the run's
    /// record, if it is in the current folder].
    pub file: Option<PathBuf>,
    /// No table.
    #[arg(long)]
    pub quiet: bool,
}

#[derive(Debug, Args)]
pub struct VerifyArguments {
    /// Folder of a finished run.
    pub folder: PathBuf,
    /// Simulate every trial again.
    #[arg(long, conflicts_with_all = ["sample", "sample_seed"])]
    pub all: bool,
    /// Trials of each variant, and of each study, that are simulated again.
    #[arg(long, value_name = "N", default_value_t = 500, value_parser = clap::value_parser!(u64).range(1..))]
    pub sample: u64,
    /// Seed of the sample [default: a new one each time, so that nobody can foresee it].
    #[arg(long, value_name = "N")]
    pub sample_seed: Option<u64>,
    /// Fingerprint that the run must have: 64 hexadecimal digits.
    #[arg(long, value_name = "HEX", value_parser = fingerprint)]
    pub fingerprint: Option<String>,
    /// Threads [default: all].
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// No progress.
    #[arg(long)]
    pub quiet: bool,
}

/// A SHA-256 in lower-case hexadecimal digits.
fn fingerprint(typed: &str) -> Result<String, &'static str> {
    let is_one = typed.len() == 64 && typed.bytes().all(|byte| byte.is_ascii_hexdigit());
    if is_one { Ok(typed.to_ascii_lowercase()) } else { Err("expected 64 hexadecimal digits") }
}

#[derive(Debug, Args)]
pub struct TrialArguments {
    /// Experiment file (TOML).
    pub file: PathBuf,
    /// Number of the trial, from 0; it need not be one of the trials that the file asks for.
    pub number: u64,
    /// Arm [default: the first].
    #[arg(long, value_name = "NAME")]
    pub arm: Option<String>,
    /// Point of the sweeps, from 0.
    #[arg(long, value_name = "K", default_value_t = 0)]
    pub point: u32,
    /// Seed, instead of the file's.
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Write the trial into this folder as a bench would record it, with its truth and a file that replays it.
    #[arg(long, value_name = "DIR")]
    pub record: Option<PathBuf>,
    /// Record all trials up to this one.
    #[arg(long, value_name = "N", requires = "record")]
    pub to: Option<u64>,
    /// Record marker positions instead of poses.
    #[arg(long, requires = "record")]
    pub markers: bool,
    /// Record Parquet instead of CSV.
    #[arg(long, requires = "record")]
    pub parquet: bool,
}

#[derive(Debug, Args)]
pub struct ReplayArguments {
    /// Experiment file (TOML) with a section [replay].
    pub file: PathBuf,
    /// Folder of the results [default: reports/<file stem>].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Folder of a simulated run whose errors predict those of the bench, instead of the file's.
    #[arg(long, value_name = "DIR")]
    pub model: Option<PathBuf>,
    /// Estimate the noise from the recordings, and write it as an experiment file that runs.
    #[arg(long)]
    pub fit: bool,
    /// Remove a run from the folder.
    #[arg(long)]
    pub replace: bool,
    /// No table.
    #[arg(long)]
    pub quiet: bool,
}

#[derive(Debug, Args)]
pub struct PhantomArguments {
    /// Experiment file (TOML).
    pub file: PathBuf,
    /// Folder of the results [default: reports/<file stem>-phantom].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Number of trials, each with a new device.
    #[arg(long, value_name = "N", default_value_t = 1000, value_parser = clap::value_parser!(u64).range(2..=1_000_000))]
    pub trials: u64,
    /// Distance of the phantom's middle from the camera, mm.
    #[arg(long, value_name = "MM", default_value_t = 250.0)]
    pub distance: f64,
    /// Distance between neighbouring divots, mm.
    #[arg(long, value_name = "MM", default_value_t = 75.0)]
    pub spacing: f64,
    /// Tilt of the pointer in the middle, degrees.
    #[arg(long, value_name = "DEG", default_value_t = 30.0)]
    pub tilt: f64,
    /// Remove a run from the folder.
    #[arg(long)]
    pub replace: bool,
}

#[derive(Debug, Args)]
pub struct BudgetArguments {
    /// Experiment file (TOML) with at least one requirement.
    pub file: PathBuf,
    /// Folder of the results [default: reports/<file stem>-budget].
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Arm [default: the first].
    #[arg(long, value_name = "NAME")]
    pub arm: Option<String>,
    /// Number of planned trials, instead of the file's; each run of the search has as many.
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
pub struct SelfcheckArguments {
    /// Write the same as CSV.
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct ExplainArguments {
    /// What to explain [default: a list of all that can be explained].
    #[arg(conflicts_with = "markdown")]
    pub id: Vec<String>,
    /// The whole reference as Markdown.
    #[arg(long)]
    pub markdown: bool,
    /// The JSON schema of a run's record, run.json.
    #[arg(long, conflicts_with_all = ["id", "markdown"])]
    pub schema: bool,
}

#[derive(Debug, Args)]
pub struct NewArguments {
    /// Name of the experiment, or of its file (ending in .toml).
    pub name: PathBuf,
}
