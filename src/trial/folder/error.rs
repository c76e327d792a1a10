//! Why the folder of a run cannot be used, and what to do about it.

use crate::record::WriteError;
use std::io;
use std::path::PathBuf;

/// Why a folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// Another plan has run here.
    #[error("{folder} holds a run of another plan: {list}", folder = folder.display(), list = listed(differences))]
    OtherPlan {
        /// The folder.
        folder: PathBuf,
        /// Everything in which the plans differ.
        differences: Vec<String>,
    },
    /// More trials of the same plan stand here than are asked for.
    #[error("{folder} already holds {found} trials of this plan, more than the {asked} asked for",
        folder = folder.display())]
    MoreTrials {
        /// The folder.
        folder: PathBuf,
        /// Trials that stand here.
        found: u64,
        /// Trials asked for.
        asked: u64,
    },
    /// Another version of the program made it.
    #[error("{folder} was made by version {found} of navassay, and this is version {this}, which reads its own folders only",
        folder = folder.display(), this = env!("CARGO_PKG_VERSION"))]
    OtherVersion {
        /// The folder.
        folder: PathBuf,
        /// The version that made it.
        found: String,
    },
    /// There are files, but not of a run.
    #[error("{folder} is not empty and holds no run", folder = folder.display())]
    Foreign {
        /// The folder.
        folder: PathBuf,
    },
    /// Someone else writes to it.
    #[error("another run is writing to {folder}", folder = folder.display())]
    Busy {
        /// The folder.
        folder: PathBuf,
    },
    /// The folder holds no run that could be assessed.
    #[error("{folder} holds no run", folder = folder.display())]
    Empty {
        /// The folder.
        folder: PathBuf,
    },
    /// The folder holds no finished run that could be verified.
    #[error("{folder} holds no finished run: run.json or SHA256SUMS is not there", folder = folder.display())]
    Unfinished {
        /// The folder.
        folder: PathBuf,
    },
    /// The folder holds results that rest on no trials of its own.
    #[error("{folder} holds no trials: its results are those of replay, phantom or budget", folder = folder.display())]
    NoTrials {
        /// The folder.
        folder: PathBuf,
    },
    /// Something in it can be neither read nor listed: a pipe, a device, a link to nothing.
    #[error("{path} is neither a file nor a folder", path = path.display())]
    Special {
        /// What it is called.
        path: PathBuf,
    },
    /// Its run.json cannot be understood.
    #[error("{file} cannot be read as the record of a run: {why}", file = file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// The operating system refused.
    #[error("{path}: {source}", path = path.display())]
    System {
        /// Folder or file.
        path: PathBuf,
        /// What it said.
        source: io::Error,
    },
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl FolderError {
    /// What the user can do about it.
    #[must_use]
    pub fn help(&self) -> Option<&'static str> {
        match self {
            Self::OtherPlan { .. } => Some("choose another folder with --out, or give up the old run with --replace"),
            Self::MoreTrials { .. } => {
                Some("ask for at least as many trials, choose another folder with --out, or --replace the run")
            }
            Self::OtherVersion { .. } => {
                Some("run the experiment again in another folder with --out, or use the version that made this one")
            }
            Self::Foreign { .. } => Some("choose another folder with --out"),
            Self::Busy { .. } => Some("wait for it to end, or choose another folder with --out"),
            Self::Empty { .. } => Some("name the folder of a run, such as reports/primary"),
            Self::Unfinished { .. } => Some("finish it first: navassay run FILE --out DIR, or navassay finish DIR"),
            Self::NoTrials { .. } => Some("compare its files with their checksums: sha256sum -c SHA256SUMS"),
            Self::Special { .. } => Some("remove it: the folder of a run holds files and folders only"),
            Self::Unreadable { .. } | Self::System { .. } | Self::Write(_) => None,
        }
    }
}

/// Differences that are listed.
const LISTED: usize = 12;

fn listed(differences: &[String]) -> String {
    match differences {
        [only] => only.clone(),
        several => {
            let more = several.len().saturating_sub(LISTED);
            let rest = if more > 0 { format!("\n  and {more} more") } else { String::new() };
            format!("\n  {}{rest}", several[..several.len() - more].join("\n  "))
        }
    }
}
