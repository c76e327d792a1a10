//! Whether the run agrees with the plan that was frozen before it, and how often verdicts were looked at.

use crate::experiment::{Amended, Deviation, FrozenPlan, Plan};
use crate::record::LookRecord;
use crate::report::evidence::{Entry, Files};
use crate::report::words::count;
use crate::study::Look;

/// What is said where an amendment or a run gives none.
const NO_REASON: &str = "no reason given";

/// Digits of a hash that name another plan.
const DIGITS: usize = 12;

/// Both subsections, under headings of their own.
pub fn entries(plan: &Plan, look: &Look, files: &mut Files) -> Vec<Entry> {
    let mut entries = vec![Entry::heading("deviations", "Deviations from the plan")];
    match &plan.frozen {
        None => entries.push(Entry::paragraph(
            "No plan was frozen before this run, so nothing shows that requirements, inputs and the number of trials were \
             chosen before the results were seen.",
        )),
        Some(frozen) => entries.extend(of_frozen(frozen, plan, look, files)),
    }
    entries.push(Entry::heading("looks", "Looks at verdicts"));
    entries.extend(looks(plan, look, files));
    entries
}

fn of_frozen(frozen: &FrozenPlan, plan: &Plan, look: &Look, files: &mut Files) -> Vec<Entry> {
    let deviations = frozen.deviations(plan);
    let [amended, of_run] = [true, false]
        .map(|amended| deviations.iter().filter(|deviation| deviation.amended.is_some() == amended).count());
    let settings = |number: usize| match number {
        0 => "no setting".to_owned(),
        1 => "1 setting".to_owned(),
        several => format!("{several} settings"),
    };
    let current = frozen.current();
    let text = format!(
        "A plan was frozen before this run. Its revision in force is number {}. Amendments changed {} since it was frozen \
         first. The run deviates from the revision in force in {}. The program keeps no clock: the time at which a file was \
         written is shown by version control or a signature. A SHA-256 below is that of a file's content.",
        current.revision,
        settings(amended),
        settings(of_run),
    );
    let revisions = frozen.revisions().map(|revision| {
        let reason = match revision.revision {
            1 => "frozen first".to_owned(),
            _ => revision.reason.clone().unwrap_or_else(|| NO_REASON.to_owned()),
        };
        vec![
            revision.revision.to_string(),
            revision.hash(),
            revision.version.clone(),
            reason,
            revision.looks_before.to_string(),
        ]
    });
    let parts = frozen.standing(plan).map(|part| {
        let words = if part.frozen == part.run { "none" } else { "see the changed settings" };
        vec![part.what.to_owned(), part.frozen, part.run, words.to_owned()]
    });
    let mut entries = vec![
        Entry::paragraph(text),
        files.table(
            "plan-revisions",
            "Revisions of the frozen plan",
            "Looks are those that had been recorded when the revision was written.",
            &["revision", "sha256", "version", "reason", "looks before"],
            revisions.collect(),
        ),
        files.table(
            "deviations",
            "The plan that was frozen, and the run",
            "Equal hashes mean that nothing in that part was changed. Every hash is computed from the content of the plan.",
            &["part", "fixed before", "run", "deviations"],
            parts.into(),
        ),
    ];
    if !deviations.is_empty() {
        let rows = deviations.iter().map(|deviation| row(deviation, look)).collect();
        entries.push(files.table(
            "changed-settings",
            "Settings changed after the plan was frozen",
            "A change without an amendment is one of the run itself.",
            &["setting", "frozen", "changed to", "amendment", "reason", "verdicts seen before the change"],
            rows,
        ));
    }
    entries
}

fn row(deviation: &Deviation, look: &Look) -> Vec<String> {
    let Deviation { change, amended } = deviation;
    let seen = |looks: u64| match looks {
        0 => "no look recorded".to_owned(),
        1 => "yes, 1 look".to_owned(),
        several => format!("yes, {several} looks"),
    };
    let [was, is] = change.shown();
    let (number, reason, seen) = match amended {
        Some(Amended { revision, reason, looks_before }) => {
            (revision.to_string(), reason.clone(), seen(*looks_before))
        }
        None => ("none".to_owned(), None, seen(look.earlier.len() as u64)),
    };
    vec![change.setting.clone(), was, is, number, reason.unwrap_or_else(|| NO_REASON.to_owned()), seen]
}

fn looks(plan: &Plan, look: &Look, files: &mut Files) -> Vec<Entry> {
    let list = look.list();
    if look.own.is_none() {
        return vec![Entry::paragraph("Nothing was judged, so there was no verdict to look at.")];
    }
    let known = match plan.frozen {
        Some(_) => {
            "The list is that of the file of looks beside the frozen plan, as it was when these trials were first assessed by \
             this plan. Each distinct assessment adds one line to that file, in whatever folder it is made. Deleting the file \
             hides looks, and an assessment of a copy of the experiment file leaves no line in it."
        }
        None => {
            "Without a frozen plan only the looks of this run's own folder are known: an assessment in another folder or with \
             another seed leaves no trace here."
        }
    };
    let text = format!(
        "The plan declares {}. This assessment is look number {}; {}. {known}",
        match look.declared {
            1 => "1 look at verdicts".to_owned(),
            several => format!("{several} looks at verdicts"),
        },
        look.number,
        if look.undeclared {
            "it was not declared before the first look, so no verdict is given"
        } else {
            "it is one of the declared looks"
        },
    );
    let rows = (1..).zip(list).map(|(line, seen): (u32, &LookRecord)| {
        let verdicts = seen.verdicts.iter().map(|(id, verdicts)| verdict_words(id, verdicts));
        vec![
            line.to_string(),
            plan_words(plan, seen),
            seen.seed.to_string(),
            count(seen.trials),
            seen.declared.to_string(),
            verdicts.collect::<Vec<_>>().join("; "),
        ]
    });
    let rows = rows.collect();
    vec![
        Entry::paragraph(text),
        files.table(
            "looks",
            "Assessments whose verdicts were seen",
            "Oldest first; the last line is this assessment. The same trials judged again by the same criteria are no further \
             look.",
            &["assessment", "plan", "seed", "trials", "looks declared", "verdicts"],
            rows,
        ),
    ]
}

/// Verdicts of one requirement or claim: one word, or how often each.
fn verdict_words(id: &str, verdicts: &std::collections::BTreeMap<String, u64>) -> String {
    let words: Vec<String> = match verdicts.iter().next() {
        Some((only, _)) if verdicts.len() == 1 => vec![only.clone()],
        _ => verdicts.iter().map(|(verdict, number)| format!("{number} {verdict}")).collect(),
    };
    format!("{id} {}", words.join(", "))
}

/// Which revision of the plan was in force.
fn plan_words(plan: &Plan, seen: &LookRecord) -> String {
    let Some(hash) = &seen.plan else { return "none".to_owned() };
    let revision = plan.frozen.iter().flat_map(FrozenPlan::revisions).find(|revision| revision.hash() == *hash);
    revision.map_or_else(
        || format!("another plan, {}...", hash.get(..DIGITS).unwrap_or(hash)),
        |revision| format!("revision {}", revision.revision),
    )
}
