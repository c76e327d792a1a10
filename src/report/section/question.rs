//! What was asked, and for what use.

use crate::experiment::Plan;
use crate::report::evidence::{Entry, Section};
use crate::report::words;

pub fn section(plan: &Plan) -> Section {
    let given = |text: &Option<String>, what: &str| match text {
        Some(text) => text.clone(),
        None => format!("Not given: the experiment file states no {what}."),
    };
    let entries = vec![
        Entry::heading("asked", "Question"),
        Entry::paragraph(given(&plan.question, "question")),
        Entry::heading("context-of-use", "Context of use"),
        Entry::paragraph(given(&plan.context_of_use, "context of use")),
        Entry::heading("model-influence", "Model influence"),
        Entry::paragraph(blank(
            plan.reporting.model_influence.as_ref(),
            "how much the decision rests on the simulation, against all other evidence: report.model_influence",
        )),
        Entry::heading("decision-consequence", "Decision consequence"),
        Entry::paragraph(blank(
            plan.reporting.decision_consequence.as_ref(),
            "what a wrong decision would do: report.decision_consequence",
        )),
        Entry::heading("method", "How it is answered"),
        Entry::paragraph(format!(
            "A case is simulated with known truth: a patient, the change made to the hip, and everything that disturbs \
             the measurement. The measuring procedure sees only what a camera would record, and its readings are then \
             compared with the truth. Error is reading minus truth. This was done for {} trials {}; {}, and each \
             counts once, by its last reduction.",
            words::count(plan.trials),
            if plan.variants.len() == 1 {
                "in all".to_owned()
            } else {
                format!("of each of {} variants", plan.variants.len())
            },
            match plan.design {
                None => "every trial is a new device and a new patient".to_owned(),
                Some(design) => format!(
                    "{} devices measure {} cases each, every case {}",
                    words::count(design.devices(plan.trials)),
                    words::count(design.cases),
                    if design.repeats == 1 { "once".to_owned() } else { format!("{} times", design.repeats) },
                ),
            },
        )),
    ];
    Section { id: "question", title: "Question and context of use", entries }
}

/// What a person gave, or a mark where it is to be filled in.
pub fn blank(given: Option<&String>, what: &str) -> String {
    given.cloned().unwrap_or_else(|| format!("[to be filled in: {what}]"))
}
