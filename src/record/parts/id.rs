//! The name of a part: which variant, which range of trials.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

/// Trials in a part; the ranges are fixed, so threads, shards and resumed runs cut alike.
pub const TRIALS_IN_A_PART: u64 = 10_000;

/// Which part: a variant (an arm at a point of its sweeps) and a range of trials.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PartId {
    /// Index of the variant in the plan.
    pub variant: u32,
    /// Index of the range: it begins at trial `part * TRIALS_IN_A_PART`.
    pub part: u64,
}

impl PartId {
    /// The part that holds a trial.
    #[must_use]
    pub const fn holding(variant: u32, trial: u64) -> Self {
        Self { variant, part: trial / TRIALS_IN_A_PART }
    }

    /// Its first trial.
    #[must_use]
    pub const fn first_trial(self) -> u64 {
        self.part.saturating_mul(TRIALS_IN_A_PART)
    }

    /// Its file in the folder of parts.
    #[must_use]
    pub fn path(self, folder: &Path) -> PathBuf {
        folder.join(self.to_string())
    }
}

impl fmt::Display for PartId {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{:04}-{:06}.parquet", self.variant, self.part)
    }
}

impl FromStr for PartId {
    type Err = ();

    fn from_str(name: &str) -> Result<Self, ()> {
        let (variant, part) = name.strip_suffix(".parquet").and_then(|stem| stem.split_once('-')).ok_or(())?;
        let id = Self { variant: variant.parse().map_err(drop)?, part: part.parse().map_err(drop)? };
        // One part, one name: `1-+2.parquet` is none of ours.
        if id.to_string() == name { Ok(id) } else { Err(()) }
    }
}
