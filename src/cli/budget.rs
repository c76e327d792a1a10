//! `navassay budget`: from limits on outputs to limits on sources.

use super::Ending;
use super::arguments::BudgetArguments;
use super::message::{Stop, warn};
use super::progress::Bar;
use super::terminal::{self, align_right, show, table};
use crate::experiment::Plan;
use crate::report::{Evidence, quoted, write_report};
use crate::study::budget::{BudgetSearch, budget};
use crate::trial::{self, RunFolder};
use std::path::{Path, PathBuf};

/// Searches for the largest sources that meet every requirement.
pub fn run(arguments: &BudgetArguments) -> Result<Ending, Stop> {
    let mut plan = Plan::read(&arguments.file)?;
    plan.trials = arguments.trials.unwrap_or(plan.trials);
    plan.seed = arguments.seed.unwrap_or(plan.seed);
    warn(&plan.warnings);
    if plan.requirements.is_empty() {
        return Err(Stop::new(
            Ending::Refused,
            "the experiment has no requirement, so nothing limits its sources",
            Some("add a [[requirement]] with an output and a limit"),
        ));
    }
    let arm = arguments.arm.as_deref();
    let variant = plan.variants.iter().find(|variant| arm.is_none_or(|arm| variant.arm == arm));
    let Some(variant) = variant else {
        let message = format!("the experiment has no arm \"{}\"", arm.unwrap_or_default());
        return Err(Stop::new(Ending::Refused, message, None));
    };
    let out = arguments.out.clone().unwrap_or_else(|| default_folder(&arguments.file));
    let folder = RunFolder::open(&out, &plan, arguments.replace)?;
    let bar = Bar::new(arguments.quiet);
    let search = budget(&plan, variant, arguments.threads.map_or(0, usize::from), &bar)?;
    drop(bar);
    folder.unseal()?;
    folder.write_manifest(&trial::manifest(&plan, &[], &[]))?;
    let written = write_report(folder.path(), &Evidence::of_budget(&plan, &search, &command(arguments)))?;
    folder.seal(&written.edited).map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    if !arguments.quiet {
        show(&results(&plan, &search))?;
    }
    show(&terminal::files(&folder, &written))?;
    Ok(if search.all_shown() { Ending::Shown } else { Ending::NotShown })
}

/// The command that was typed, without what moves no number.
fn command(arguments: &BudgetArguments) -> String {
    let mut words = vec!["navassay budget".to_owned(), quoted(&arguments.file.to_string_lossy())];
    words.extend(arguments.arm.as_deref().map(|arm| format!("--arm {}", quoted(arm))));
    words.extend(arguments.trials.map(|trials| format!("--trials {trials}")));
    words.extend(arguments.seed.map(|seed| format!("--seed {seed}")));
    words.join(" ")
}

/// reports/<file stem>-budget
fn default_folder(file: &Path) -> PathBuf {
    let stem = file.file_stem().unwrap_or(file.as_os_str()).to_string_lossy();
    Path::new("reports").join(format!("{stem}-budget"))
}

fn results(plan: &Plan, search: &BudgetSearch) -> String {
    let mut rows = table(["sources", "limit", "assured", "fresh run"]);
    for found in &search.found {
        let verdicts: Vec<&str> = found.fresh.iter().map(|judged| judged.verdict.word()).collect();
        let answer = |answer| crate::report::budget_answer(plan, &found.strategy, answer);
        rows.add_row([
            crate::report::budget_name(search, &found.strategy),
            answer(&found.limit),
            answer(&found.assured),
            if verdicts.is_empty() { "not made".to_owned() } else { verdicts.join(", ") },
        ]);
    }
    format!(
        "{}: scales of the sources that meet every requirement, {} cases a run of the search\n\n{}\n",
        plan.title,
        search.cases,
        align_right(rows)
    )
}
