//! Where the simulation was compared with a bench, or that it was not.

use super::validation;
use crate::experiment::Plan;
use crate::report::evidence::{Entry, Files, Section};
use crate::report::words::count;
use crate::study::HeldBench;

/// Said where the experiment names no comparison.
pub const NONE: &str = "There is no comparison with bench data in this report: whether the model predicts a real measurement has not \
                        been shown here.";

pub fn section(plan: &Plan, held: Option<&HeldBench>, files: &mut Files) -> Section {
    let mut entries = Vec::new();
    if let Some(held) = held {
        entries.push(Entry::paragraph(introduction(held)));
        entries.extend(validation::entries(&held.plan, &held.validation, files));
    }
    match &plan.reporting.bench_comparison {
        Some(text) => entries
            .push(Entry::paragraph(format!("{text} (As stated by the writer; this report did not check it.)"))),
        None if held.is_none() => entries.push(Entry::paragraph(format!(
            "{NONE} Name in `report.bench` an experiment of recorded cases with known truth, as `navassay replay` takes it, and \
             this run's errors are held against theirs here."
        ))),
        None => {}
    }
    Section { id: "bench", title: "Comparison with bench data", entries }
}

fn introduction(held: &HeldBench) -> String {
    let HeldBench { file, plan, unread, .. } = held;
    let unread = match unread {
        0 => String::new(),
        some => format!(" {} of them could not be read: `navassay replay` says why.", count(*some)),
    };
    format!(
        "This run is held against {} recorded cases, measured by the same procedure ({file}: {}).{unread} The folder `bench` of \
         this run keeps the recordings, their truth and what was asked of them.",
        count(plan.trials),
        plan.title,
    )
}
