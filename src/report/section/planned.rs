//! How many trials, why so many, and whether the run keeps to what was fixed before it.

use crate::analysis::nested::DEVICES_FOR_A_VERDICT;
use crate::analysis::{Rule, confidence_of_a_look, most_out, trials_needed};
use crate::experiment::{Plan, Question};
use crate::report::evidence::{Entry, Files, Heading, Section, Table};
use crate::report::words::{count, percent};
use std::fmt::Write as _;

pub fn section(plan: &Plan, files: &mut Files) -> Section {
    let mut entries = vec![
        Entry::heading("sampling", "Sampling plan and rationale"),
        Entry::paragraph(paragraph(plan).replace(" %", "\u{a0}%")),
        Entry::paragraph(format!(
            "Sampling is simple random sampling over all inputs at once, with seed {}; variants share their draws, so that they \
             differ by their settings and not by luck. A number that was chosen after results were seen would bend the verdicts: \
             it is fixed beforehand, and a run that is extended after its verdicts were seen gives none.",
            plan.seed
        )),
    ];
    entries.extend(numbers(plan, files));
    entries.push(Entry::heading("deviations", "Deviations from the plan"));
    entries.extend(deviations(plan, files));
    let asks_linear = plan.sensitivity.as_ref().is_some_and(|asked| asked.asks(Question::Linear));
    if !asks_linear {
        entries.extend([
            Entry::heading("no-linear", "The linear budget against the trials"),
            Entry::paragraph(
                "Not compared: the experiment does not ask for a linear budget. A section [sensitivity] that asks \"linear\" adds \
                 it, and JCGM 101:2008, clause 8, then says whether the two agree.",
            ),
        ]);
    }
    Section { id: "plan", title: "Plan", entries }
}

/// A paragraph on the number of trials that a writer can paste.
#[must_use]
pub fn paragraph(plan: &Plan) -> String {
    let mut text = format!("The number of simulated trials is fixed beforehand at {}.", count(plan.trials));
    if let Some(design) = plan.design {
        let _ = write!(
            text,
            " They are nested: {} devices, {} cases on each, {} repeats of each. Cases on one device are not independent; \
             verdicts are approximate and need {DEVICES_FOR_A_VERDICT} devices.",
            count(design.devices(plan.trials)),
            count(design.cases),
            design.repeats,
        );
    }
    if plan.looks > 1 {
        let _ = write!(
            text,
            " Verdicts may be looked at {} times while trials are added; each look uses the confidence 1 - (1 - c)/{}.",
            plan.looks, plan.looks,
        );
    }
    for (id, rule) in rules(plan) {
        let _ = write!(
            text,
            " Requirement {id} is met if, with {} % confidence, at least {} % of cases are within its limit",
            percent(rule.confidence),
            percent(rule.proportion),
        );
        let _ = match most_out(plan.trials, &rule) {
            _ if plan.design.is_some() => write!(text, "."),
            Some(most) => {
                write!(text, ": at most {} of the {} trials may be out of it.", count(most), count(plan.trials))
            }
            None => write!(text, "; so many trials cannot show it even if none is out of it."),
        };
        if let Some(least) = trials_needed(&rule, 0.0) {
            let _ = write!(text, " The least number that can show it is {}.", count(least));
        }
    }
    text.push_str(
        " A trial without a reading counts as out of the limit. The bounds are exact (Clopper and Pearson, Biometrika 1934) and \
         assume no distribution.",
    );
    text
}

/// Each requirement with its proportion, and the confidence that a look has.
fn rules(plan: &Plan) -> Vec<(&str, Rule)> {
    let single = plan.requirements.iter().map(|asked| (&asked.id, asked.proportion, asked.confidence));
    let joint = plan.joint_requirements.iter().map(|asked| (&asked.id, asked.proportion, asked.confidence));
    let mut rules = Vec::new();
    for (id, proportion, confidence) in single.chain(joint) {
        rules.push((id.as_str(), Rule::absolute(0.0, proportion, confidence_of_a_look(confidence, plan.looks))));
    }
    rules
}

/// The numbers of trials that would show each requirement.
fn numbers(plan: &Plan, files: &mut Files) -> Option<Entry> {
    if plan.requirements.is_empty() || plan.design.is_some() {
        return None;
    }
    let (mut rows, mut cells) = (Vec::new(), Vec::new());
    for (id, rule) in rules(plan) {
        let allowed = 1.0 - rule.proportion;
        let needed = [0.0, 0.5 * allowed, 0.9 * allowed].map(|out| trials_needed(&rule, out));
        let most = most_out(plan.trials, &rule);
        let words = |number: Option<u64>| number.map_or_else(|| "no number".to_owned(), count);
        let mut row = vec![id.to_owned(), count(plan.trials), words(most)];
        row.extend(needed.map(words));
        rows.push(row);
        let mut row = vec![id.into(), plan.trials.into(), most.into()];
        row.extend(needed.map(Into::into));
        cells.push(row);
    }
    let header = [
        "requirement",
        "trials",
        "most_out",
        "needed_if_none_out",
        "needed_if_half_of_allowed",
        "needed_if_nine_tenths",
    ];
    let csv = files.add("sampling", &header, cells);
    let columns = [
        ("requirement", false),
        ("trials planned", true),
        ("out at most, for a pass", true),
        ("needed if none is out", true),
        ("if half of what is allowed", true),
        ("if nine tenths", true),
    ];
    Some(Entry::Table(Table {
        id: "table-sampling".to_owned(),
        caption: "Trials that show each requirement".to_owned(),
        reading: "How many trials show the requirement if truly so many cases are out of its limit: the nearer the truth is to what \
                  is allowed, the more it takes."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv,
    }))
}

fn deviations(plan: &Plan, files: &mut Files) -> Vec<Entry> {
    let Some(frozen) = &plan.frozen else {
        return vec![Entry::paragraph(
            "No plan was fixed before this run, so nothing shows that requirements, inputs and the number of trials were chosen \
             before the results were seen. `navassay check FILE --freeze` fixes them in a file beside the experiment file.",
        )];
    };
    let standings = frozen.standing(plan);
    let deviating = standings.iter().filter(|standing| !standing.differences.is_empty()).count();
    let text = format!(
        "A plan was fixed before this run, by version {} of the program; {}. The program keeps no clock: when the file was written \
         is shown by whatever keeps it, such as version control or a signature.",
        frozen.version,
        match deviating {
            0 => "the run keeps to it in every part".to_owned(),
            _ => format!("the run deviates from it in {deviating} of {} parts", standings.len()),
        }
    );
    let rows = standings.into_iter().map(|standing| {
        let same = standing.differences.is_empty();
        let words = if same { "none".to_owned() } else { standing.differences.join("; ") };
        vec![standing.what.to_owned(), standing.fixed, standing.run, words]
    });
    let rows = rows.collect();
    vec![
        Entry::paragraph(text),
        files.table(
            "deviations",
            "The plan that was fixed, and the run",
            "Equal hashes mean that nothing of that part was changed.",
            &["part", "fixed before", "run", "deviations"],
            rows,
        ),
    ]
}
