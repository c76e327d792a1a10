//! How many trials, why so many, and whether the run keeps to what was fixed before it.

use super::deviations;
use super::trials::{
    self, assumptions_of_devices, between, limits_in_words, needed_words, probability_words, too_few,
};
use crate::analysis::planning::Needed;
use crate::experiment::{Plan, Question};
use crate::report::evidence::{Entry, Files, Section};
use crate::report::words::{count, percent};
use crate::study::Look;
use crate::study::planned::{PROBABILITIES, PlannedRequirement, PlannedTrials};
use std::fmt::Write as _;

pub fn section(plan: &Plan, look: &Look, files: &mut Files) -> Section {
    let planned = PlannedTrials::of(plan);
    let mut entries = vec![
        Entry::heading("sampling", "Sampling plan and rationale"),
        Entry::paragraph(paragraph(plan, &planned).replace(" %", "\u{a0}%")),
        Entry::paragraph(format!(
            "Sampling is simple random sampling over all inputs at once, with seed {}; variants share their draws, so that they \
             differ by their settings alone. Choosing the number of trials after seeing results would bias the verdicts: it is fixed \
             beforehand, and a look at verdicts that was not declared beforehand gives none.",
            plan.seed
        )),
    ];
    entries.extend(trials::entries(plan, &planned, files));
    entries.extend(deviations::entries(plan, look, files));
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
pub fn paragraph(plan: &Plan, planned: &PlannedTrials) -> String {
    let mut text = format!("The number of simulated trials is fixed beforehand at {}.", count(plan.trials));
    if let Some(design) = plan.design {
        let _ = write!(
            text,
            " They are nested: {} devices, {} cases on each, {} repeats of each. Cases on one device are not independent; \
             verdicts rest on whole devices.",
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
    let same = |one: &PlannedRequirement, other: &PlannedRequirement| {
        one.rule.proportion == other.rule.proportion
            && one.rule.confidence == other.rule.confidence
            && limits_in_words(one) == limits_in_words(other)
    };
    for alike in planned.requirements.chunk_by(same) {
        text.push_str(&of_requirements(planned, alike));
    }
    text.push_str(&of_all(planned));
    text.push_str(" A trial without a reading counts as outside the limit.");
    if planned.devices {
        text = text + " " + &assumptions_of_devices();
    } else {
        text.push_str(" The bounds are exact (Clopper and Pearson, Biometrika 1934) and assume no distribution.");
    }
    text
}

/// What is planned for requirements with equal rules, in sentences.
fn of_requirements(planned: &PlannedTrials, alike: &[PlannedRequirement]) -> String {
    let Some(first) = alike.first() else { return String::new() };
    let rule = first.rule;
    let ids: Vec<&str> = alike.iter().map(|planned| planned.asked.id).collect();
    let several = ids.len() > 1;
    let mut text = format!(
        " {} {} {} met if, with {} % confidence, at least {} % of cases are within {}",
        if several { "Requirements" } else { "Requirement" },
        ids.join(", "),
        if several { "are each" } else { "is" },
        percent(rule.confidence),
        percent(rule.proportion),
        limits_in_words(first),
    );
    let (units, unit, devices) = (count(planned.units), planned.unit(), planned.devices);
    let _ = match first.most_outside {
        Some(most) => write!(text, ": at most {} of the {units} {unit} may be outside.", count(most)),
        None if first.can_pass => {
            write!(text, "; this takes at least {} {unit}.", first.least.map_or_else(String::new, count))
        }
        None => write!(text, "; {}.", too_few(planned, first)),
    };
    for truth in first.middle() {
        let _ = write!(text, " If truly {} % of cases are outside", percent(truth.outside));
        if let Some(share) = truth.device_share {
            let _ = write!(text, " and {} % of the variance is between devices", percent(share));
        }
        text.push_str(", ");
        if first.can_pass {
            let probability = probability_words(truth.probability, devices);
            let _ = write!(text, "these {unit} pass with a probability of {probability}; ");
        }
        let all = PROBABILITIES.iter().zip(truth.needed).map(|(&probability, needed)| {
            let probability = percent(probability);
            match needed {
                Some(Needed { least, all_from }) if least < all_from => {
                    format!("{probability} % takes {} {unit} (any number from {} on)", count(least), count(all_from))
                }
                _ => format!("{probability} % takes {} {unit}", needed_words(needed, devices)),
            }
        });
        let _ = write!(text, "{}.", all.collect::<Vec<_>>().join(", "));
    }
    text
}

/// Whether all requirements pass, in sentences; nothing for fewer than two.
fn of_all(planned: &PlannedTrials) -> String {
    let mut text = String::new();
    for together in planned.middle_together() {
        let _ = write!(
            text,
            " If truly {} % of what each of the {} requirements allows is outside",
            percent(together.of_allowed),
            planned.requirements.len(),
        );
        if let Some(share) = together.device_share {
            let _ = write!(text, " and {} % of the variance is between devices", percent(share));
        }
        let probability = between(together.probability, planned.devices);
        let _ = write!(text, ", one variant passes all of them with a probability of {probability}");
        for (probability, needed) in PROBABILITIES.iter().zip(together.needed) {
            if let Some(needed) = needed {
                let _ =
                    write!(text, "; any number from {} on gives at least {} %", count(needed), percent(*probability));
            }
        }
        text.push('.');
    }
    text
}
