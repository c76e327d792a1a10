//! Recorded cases with what is known to be true of them, read from the files that an experiment of recorded cases names.

use super::Ending;
use super::message::{Stop, remark, warn};
use crate::experiment::{Plan, Replay};
use crate::record::recording::{Recordings, read_recordings};
use crate::record::sheet::SheetError;
use crate::record::truths::{Truths, read_truths};
use std::path::{Path, PathBuf};

/// Recorded cases.
pub struct Cases {
    /// The experiment; its number of trials is that of the cases.
    pub plan: Plan,
    /// Its section `[replay]`.
    pub asked: Replay,
    /// The folder from which its files are named.
    pub base: PathBuf,
    /// What was recorded.
    pub recordings: Recordings,
    /// What is known to be true.
    pub truths: Option<Truths>,
}

impl Cases {
    /// Reads the experiment of recorded cases and every file that it names.
    pub fn read(file: &Path) -> Result<Self, Stop> {
        let mut plan = Plan::read_replay(file)?;
        let Some(asked) = plan.replay.clone() else {
            return Err(Stop::new(Ending::Refused, "the file has no section [replay]", None));
        };
        let base = file.parent().unwrap_or(Path::new("")).to_owned();
        let features: Vec<_> = plan.variants.iter().map(|variant| variant.procedure.femur).collect();
        let recordings = read_recordings(&base.join(&asked.recordings), &features)?;
        let truths = asked.truth.as_ref().map(|truth| read_truths(&base.join(truth))).transpose()?;
        check(&plan, &recordings, truths.as_ref())?;
        plan.trials = recordings.cases.len() as u64;
        Ok(Self { plan, asked, base, recordings, truths })
    }

    /// Says what a reader should know of them.
    pub fn warn(&self) {
        warn(&self.plan.warnings);
        let unknown = |file: &str, columns: &[String]| {
            if !columns.is_empty() {
                remark(&format!("{file}: columns that are not known and not read: {}", columns.join(", ")), None);
            }
        };
        unknown(&self.recordings.file, &self.recordings.unknown_columns);
        if let Some(truths) = &self.truths {
            unknown(&truths.file, &truths.unknown_columns);
        }
    }
}

/// What makes the files useless as a whole.
fn check(plan: &Plan, recordings: &Recordings, truths: Option<&Truths>) -> Result<(), Stop> {
    if recordings.cases.is_empty() {
        return Err(Stop::new(Ending::Refused, format_args!("{} holds no rows", recordings.file), None));
    }
    let Some(truths) = truths else { return Ok(()) };
    let mut definitions = plan.variants.iter().map(|variant| variant.procedure.angles);
    let first = definitions.next();
    if !truths.states_angles && definitions.any(|other| Some(other) != first) {
        return Err(Stop::new(
            Ending::Refused,
            format_args!(
                "{} does not say by which definition its angles are stated, and the arms use several",
                truths.file
            ),
            Some("add a column angles: radiographic, operative or anatomic"),
        ));
    }
    Ok(())
}

impl From<SheetError> for Stop {
    fn from(error: SheetError) -> Self {
        let help = match &error {
            SheetError::NoColumn { .. } => Some("navassay trial FILE N --record DIR writes an example"),
            SheetError::Unreadable { .. } => None,
        };
        Self::new(Ending::Refused, &error, help)
    }
}
