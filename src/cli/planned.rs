//! What `navassay check` says of numbers of trials.

use super::Ending;
use super::message::Stop;
use super::terminal::{align_right, table};
use crate::analysis::planning::{PlannedClaim, normal_standard_errors, trials_for_standard_error};
use crate::experiment::{Assumptions, Plan};
use crate::report::words::percent;
use crate::report::{between, needed_words, probability_words, too_few};
use crate::study::pilot::{PILOT_CASES, PilotedClaim, pilot};
use crate::study::planned::{PROBABILITIES, PlannedRequirement, PlannedTrials};
use std::fmt::Write as _;
use std::thread::available_parallelism;

/// The probability that each requirement passes, and the trials or devices that it takes.
pub fn requirements(planned: &PlannedTrials) -> String {
    let (unit, devices) = (planned.unit(), planned.devices);
    let mut header = vec!["requirement".to_owned(), "limit".to_owned(), "within".to_owned(), "confidence".to_owned()];
    header.push("true outside".to_owned());
    header.extend(devices.then(|| "between devices".to_owned()));
    header.extend(PROBABILITIES.map(|probability| format!("{unit} for {} %", percent(probability))));
    header.push(format!("probability with {}", planned.units));
    let mut rows = table(header.iter().map(String::as_str));
    for PlannedRequirement { asked, rule, assumed, .. } in &planned.requirements {
        for (which, truth) in assumed.iter().enumerate() {
            let first = |words: String| if which == 0 { words } else { String::new() };
            let limits = asked.limits.iter().map(|limit| format!("{} {}", limit.limit, limit.output.unit().symbol()));
            let name = asked.single().map_or_else(String::new, |limit| format!(", {}", limit.output.name()));
            let mut row = vec![
                first(format!("{}{name}", asked.id)),
                first(limits.collect::<Vec<_>>().join(" and ")),
                first(format!("{} %", percent(rule.proportion))),
                first(format!("{} %", percent(rule.confidence))),
                format!("{} %", percent(truth.outside)),
            ];
            row.extend(truth.device_share.map(|share| format!("{} %", percent(share))));
            row.extend(truth.needed.map(|needed| needed_words(needed, devices)));
            row.push(probability_words(truth.probability, devices));
            rows.add_row(row);
        }
    }
    let mut text = align_right(rows);
    if !devices {
        text.push_str("\nin brackets: from there on every number of trials has at least that probability");
    }
    if planned.requirements.iter().any(PlannedRequirement::guarded) {
        text.push_str("\nwith a guard band, outside means outside the acceptance limit (limit less guard band)");
    }
    for requirement in planned.requirements.iter().filter(|requirement| !requirement.can_pass) {
        let _ = write!(text, "\n{}: {}", requirement.asked.id, too_few(planned, requirement));
    }
    for together in planned.middle_together() {
        let _ = write!(
            text,
            "\nall {} requirements, each with {} % of its allowed proportion truly outside",
            planned.requirements.len(),
            percent(together.of_allowed),
        );
        if let Some(share) = together.device_share {
            let _ = write!(text, " and {} % of the variance between devices", percent(share));
        }
        let _ = write!(text, ": probability {}", between(together.probability, devices));
    }
    text
}

/// Trials for each claim on two arms, from a pilot; nothing without claims.
pub fn claims(plan: &Plan) -> Result<String, Stop> {
    if plan.comparisons.is_empty() {
        return Ok(String::new());
    }
    if plan.design.is_some() {
        return Ok("\nno number of trials is planned for the claims: a pilot of single cases does not show what devices of a \
                   nested design share\n"
            .to_owned());
    }
    let threads = available_parallelism().map_or(1, usize::from);
    let piloted = pilot(plan, threads).map_err(|error| Stop::new(Ending::Unfinished, error, None))?;
    let [first, second] = PROBABILITIES.map(|probability| format!("{} %", percent(probability)));
    let mut rows = table(["claim", "of", "margin", "sd of a pair", "true difference", &first, &second]);
    for PilotedClaim { claim, planned } in &piloted {
        let unit = claim.output.unit().symbol();
        let Some(found) = planned else {
            let name = format!("{}, {}", claim.id, claim.claim.word());
            rows.add_row([&name, "too few cases were read by both arms", "", "", "", "", ""]);
            continue;
        };
        for (which, difference) in [0.0, found.difference].into_iter().enumerate() {
            let first = |words: String| if which == 0 { words } else { String::new() };
            let assumed = PlannedClaim { difference, ..*found };
            let [eighty, ninety] = PROBABILITIES.map(|probability| match assumed.trials_needed(probability) {
                Some(trials) => trials.to_string(),
                None if assumed.holds() => "more than a billion".to_owned(),
                None => "claim does not hold".to_owned(),
            });
            rows.add_row([
                first(format!("{}, {}", claim.id, claim.claim.word())),
                first(format!("{} of {}", claim.measure.name(), claim.output.name())),
                first(format!("{} {unit}", claim.margin)),
                first(format!("{:.3} {unit}", found.sd)),
                if which == 0 { "none".to_owned() } else { format!("{difference:.3} {unit} (pilot)") },
                eighty,
                ninety,
            ]);
        }
    }
    Ok(format!(
        "\ntrials that show each claim with a probability, from a pilot of {PILOT_CASES} cases of each arm with another seed (none \
         belongs to the run):\n{}\n",
        align_right(rows)
    ))
}

/// Trials for the Monte Carlo standard errors that are aimed at.
pub fn precision(plan: &Plan) -> String {
    let Assumptions { mcse_deg, mcse_mm, .. } = plan.planning;
    let mut text = String::new();
    for (unit, target) in [("°", mcse_deg), ("mm", mcse_mm)] {
        let all = normal_standard_errors().map(|(name, error)| match trials_for_standard_error(1, error, target) {
            Some(trials) => format!("{name} {trials}"),
            None => format!("{name} more than a billion"),
        });
        let _ = write!(text, "\n  {target} {unit}: {}", all.join(", "));
    }
    format!(
        "\ntrials for a Monte Carlo standard error, if errors are normal with a standard deviation of 1 ° or 1 mm (times the \
         variance otherwise):{text}\n"
    )
}
