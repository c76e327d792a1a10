//! Frozen plans on the command line: `check --freeze`, `check --amend`, and the plan and looks that a run goes by.

use super::Ending;
use super::message::{Stop, remark};
use super::terminal::show;
use crate::experiment::{FrozenError, FrozenPlan, Plan};
use crate::record::{LookRecord, LooksError, LooksFile};
use crate::study::{Look, Looks};
use crate::trial::RunFolder;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

impl From<FrozenError> for Stop {
    fn from(error: FrozenError) -> Self {
        Self::new(Ending::Refused, &error, Some(error.help()))
    }
}

impl From<LooksError> for Stop {
    fn from(error: LooksError) -> Self {
        let help = match error {
            LooksError::Line { .. } => "bring back the file as it was: every line is a look that the program added",
            LooksError::Read { .. } | LooksError::Add { .. } => "allow the file to be read and added to",
        };
        Self::new(Ending::Refused, error, Some(help))
    }
}

/// The plan that was frozen for an experiment that is to run, if one was; its looks must be readable before any trial runs.
pub fn for_run(experiment: &Path) -> Result<Option<FrozenPlan>, Stop> {
    let frozen = FrozenPlan::read(experiment)?;
    if let Some(frozen) = &frozen {
        frozen.demand_this_version(experiment)?;
        LooksFile::read(&LooksFile::place(experiment))?;
    }
    Ok(frozen)
}

/// The frozen plan that a run goes by: the one that its record has, with the amendments that were written since. What was
/// frozen after the run had begun was not frozen before it.
pub fn in_force(recorded: Option<FrozenPlan>, beside: Option<FrozenPlan>, experiment: &Path) -> Option<FrozenPlan> {
    let recorded = recorded?;
    let Some(beside) = beside else {
        let message = format!(
            "{} is missing: the run goes by the frozen plan in its own record, SHA-256 {}",
            FrozenPlan::place(experiment, 1).display(),
            recorded.current().hash()
        );
        remark(&message, Some("bring back the file as it was frozen"));
        return Some(recorded);
    };
    if beside.extends(&recorded) {
        return Some(beside);
    }
    let message = format!(
        "the frozen plan beside {} has SHA-256 {}, and the record of the run has {}: the run goes by its record",
        experiment.display(),
        beside.current().hash(),
        recorded.current().hash()
    );
    remark(&message, Some("bring back the plan as it was frozen, or run in another folder with --out"));
    Some(recorded)
}

/// The experiment file of a run by the name in its record, where it is in the current folder with the same frozen plan.
pub fn experiment_of(plan: &Plan) -> Option<PathBuf> {
    let recorded = plan.frozen.as_ref()?;
    let file = PathBuf::from(&plan.file_name);
    let beside = FrozenPlan::read(&file).ok().flatten()?;
    (beside.extends(recorded) || recorded.extends(&beside)).then_some(file)
}

/// The file of looks beside a frozen plan while a run is assessed, and the looks that are known.
pub struct Seen {
    /// Looks taken before.
    pub looks: Looks,
    file: Option<LooksFile>,
    place: Option<PathBuf>,
}

impl Seen {
    /// Reads the looks of a run, and holds the file of looks until this is dropped.
    pub fn of(plan: &Plan, folder: &RunFolder, experiment: Option<&Path>) -> Result<Self, Stop> {
        let recorded = folder.looks()?;
        let place = experiment.filter(|_| plan.frozen.is_some()).map(LooksFile::place);
        let Some(place) = place else {
            return Ok(Self { looks: Looks::new(recorded, Vec::new()), file: None, place: None });
        };
        if !place.exists() {
            let message = format!("{} is missing: looks that it recorded are not counted", place.display());
            remark(&message, Some("bring it back if it was there; it is begun anew"));
        }
        let (beside, file) = match LooksFile::open(&place) {
            Ok(file) => (file.looks().to_vec(), Some(file)),
            Err(LooksError::Add { .. }) => (LooksFile::read(&place)?, None),
            Err(error) => return Err(error.into()),
        };
        Ok(Self { looks: Looks::new(recorded, beside), file, place: Some(place) })
    }

    /// Adds what was looked at now. Where that cannot be, the results are still given, and the run's record keeps the look.
    pub fn add(self, plan: &Plan, look: &Look, folder: &Path) {
        if plan.frozen.is_none() || look.own.is_none() {
            return;
        }
        let looks = look.to_record();
        let added = self.file.map(|mut file| file.add(&looks, &folder.display().to_string()));
        let message = match (added, self.place) {
            (Some(Ok(())), _) => return,
            (Some(Err(error)), _) => error.to_string(),
            (None, Some(place)) => format!("{} cannot be added to", place.display()),
            (None, None) if look.is_recorded() => return,
            (None, None) => format!("{} is not in the current folder with its frozen plan", plan.file_name),
        };
        let message = format!("{message}: this look at verdicts is kept in the record of the run only");
        let help = format!("name the experiment file to add it: navassay assess {} FILE", folder.display());
        remark(&message, Some(&help));
    }
}

/// Says that no verdict is given, where that is so.
pub fn say_undeclared(look: &Look) {
    if look.undeclared && look.own.is_some() {
        let message = format!(
            "no verdict is given: this is look {} at verdicts, and the plan declared {} before the first",
            look.number, look.declared
        );
        remark(
            &message,
            Some("the section on looks of the report lists them; `looks` is declared before the first run"),
        );
    }
}

/// What `check` says of the frozen plan and of the looks at it; nothing where there is neither.
pub fn status(plan: &Plan, experiment: &Path, folder: &Path) -> Result<String, Stop> {
    let recorded = RunFolder::looks_in(folder);
    let mut text = String::new();
    let mut beside = Vec::new();
    if let Some(frozen) = &plan.frozen {
        let current = frozen.current();
        let _ = writeln!(
            text,
            "\nfrozen plan {}, revision {}, SHA-256 {}",
            FrozenPlan::place(experiment, current.revision).display(),
            current.revision,
            current.hash()
        );
        for change in frozen.changes(plan) {
            let [was, is] = change.shown();
            let _ = writeln!(text, "  deviation: {}, frozen {was}, now {is}", change.setting);
        }
        beside = LooksFile::read(&LooksFile::place(experiment))?;
    }
    if !(recorded.is_empty() && beside.is_empty()) {
        let Look { number, declared, undeclared, .. } = Looks::new(recorded, beside).now(plan);
        let verdicts = if undeclared { "a run would give no verdict" } else { "a run would give verdicts" };
        let _ = writeln!(text, "\nthis would be look {number} at verdicts, {declared} declared: {verdicts}");
    }
    Ok(text)
}

/// Writes the plan beside the experiment file; a plan that was frozen is never changed.
pub fn freeze(plan: &Plan, file: &Path, folder: &Path) -> Result<(), Stop> {
    if let Some(frozen) = &plan.frozen {
        frozen.demand_this_version(file)?;
        let shown = FrozenPlan::place(file, frozen.current().revision);
        let (shown, hash) = (shown.display(), frozen.current().hash());
        let changes: Vec<String> = frozen.changes(plan).iter().map(ToString::to_string).collect();
        if changes.is_empty() {
            show(&format!("\nthe plan is frozen in {shown} already, and is the same\nSHA-256 {hash}\n"))?;
            return Ok(());
        }
        let message = format!("another plan is frozen in {shown}: {}", changes.join("; "));
        let help =
            "amend it: navassay check FILE --amend \"REASON\"; or run as it is, and the report shows the deviation";
        return Err(Stop::new(Ending::Refused, message, Some(help)));
    }
    if folder.join("run.json").exists() {
        let message =
            format!("{} holds a run already: what is frozen now was not frozen before it", folder.display());
        let help = "name with --out the folder of the run that is to come";
        return Err(Stop::new(Ending::Refused, message, Some(help)));
    }
    let looks = looks_before(file)?;
    write(&FrozenPlan::of(plan, looks.len() as u64), file, "frozen", &looks)
}

/// Writes the next revision of a frozen plan, and keeps those before it.
pub fn amend(plan: &Plan, file: &Path, reason: &str) -> Result<(), Stop> {
    let Some(frozen) = &plan.frozen else {
        let message = format!("no plan is frozen for {}: there is nothing to amend", file.display());
        return Err(Stop::new(Ending::Refused, message, Some("freeze the plan: navassay check FILE --freeze")));
    };
    if reason.trim().is_empty() {
        return Err(Stop::new(Ending::Refused, "--amend has no letters, expected the reason of the amendment", None));
    }
    if frozen.changes(plan).is_empty() && frozen.is_of_this_version() {
        let message = format!("{} does not differ from its frozen plan: there is nothing to amend", file.display());
        return Err(Stop::new(Ending::Refused, message, None));
    }
    let looks = looks_before(file)?;
    write(&frozen.amended(plan, reason.trim(), looks.len() as u64), file, "amended", &looks)
}

/// Looks that were taken before a revision is written; makes the file of looks if there is none.
fn looks_before(file: &Path) -> Result<Vec<LookRecord>, Stop> {
    Ok(LooksFile::open(&LooksFile::place(file))?.looks().to_vec())
}

fn write(frozen: &FrozenPlan, file: &Path, done: &str, looks: &[LookRecord]) -> Result<(), Stop> {
    let place = frozen.write(file)?;
    let seen = match looks.len() {
        0 => "no look at verdicts is recorded".to_owned(),
        1 => "1 look at verdicts is recorded, and counts".to_owned(),
        several => format!("{several} looks at verdicts are recorded, and count"),
    };
    show(&format!(
        "\nthe plan is {done} in {}\nSHA-256 {}\n{seen} in {}\n",
        place.display(),
        frozen.current().hash(),
        LooksFile::place(file).display()
    ))?;
    Ok(())
}
