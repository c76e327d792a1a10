//! What rare events mean for the intervals of standard deviations, in sentences that the plan and the counts choose.

use crate::analysis::Summary;
use crate::analysis::components::LEAST_EVENT_CASES;
use crate::analysis::rare_events::{
    FEW_EVENTS, KEPT_COVERAGE, LEAST_EVENTS, MANY_EVENTS, MANY_EVENTS_RECORDED, kept_coverage,
};
use crate::report::words::{count, number, percent, short};
use crate::simulation::Stratum;
use crate::study::{OutputAssessment, rare_sources};

/// Sentences on the outputs of one variant; none where no source has a rare event.
pub fn notes(outputs: &[&OutputAssessment], nested: bool) -> Vec<String> {
    let mut groups: Vec<(Group, Vec<&str>)> = Vec::new();
    for assessed in outputs {
        let group = Group::of(assessed, nested);
        match groups.iter_mut().find(|(known, _)| *known == group) {
            Some((_, names)) => names.push(assessed.output.name()),
            None => groups.push((group, vec![assessed.output.name()])),
        }
    }
    let mut notes: Vec<String> = groups.iter().filter_map(|(group, names)| group.words(&names.join("; "))).collect();
    if groups.iter().any(|(group, _)| group.recorded.is_some() && group.given != [false; 2]) {
        notes.push(evidence(nested));
    }
    notes
}

/// A sentence behind a table in which a standard deviation or a root mean square has no interval for want of rare events.
pub fn without_interval<'s>(summaries: impl Iterator<Item = &'s Summary>) -> String {
    let mut summaries = summaries;
    if summaries.all(|summary| summary.events.allows(LEAST_EVENTS)) {
        return String::new();
    }
    format!(
        " A standard deviation or root mean square without an interval or a standard error rests on too few rare events: \
         {LEAST_EVENTS} recorded ones are needed, or {} expected ones where no trial records them.",
        number(MANY_EVENTS, 0),
    )
}

/// What outputs with the same sentence have in common.
#[derive(Clone, Debug, PartialEq)]
struct Group {
    recorded: Option<u64>,
    unrecorded: Option<f64>,
    /// Sources with what happens, and the probability that any of it happens in a trial.
    sources: String,
    probability: f64,
    once_a_case: bool,
    /// Whether the standard deviation and the root mean square have an interval.
    given: [bool; 2],
    nested: bool,
}

impl Group {
    fn of(assessed: &OutputAssessment, nested: bool) -> Self {
        let summary = &assessed.summary;
        let sources = rare_sources(assessed.variant, assessed.output);
        let words = sources.iter().map(|source| format!("{} ({})", source.source, source.what));
        let none: f64 = sources.iter().map(|source| 1.0 - source.in_a_trial()).product();
        Self {
            recorded: summary.events.recorded,
            unrecorded: summary.events.unrecorded.filter(|&expected| expected < MANY_EVENTS),
            sources: words.collect::<Vec<_>>().join(" or "),
            probability: 1.0 - none,
            once_a_case: sources.iter().all(|source| source.stratum == Stratum::Case),
            given: [summary.sd, summary.rms].map(|found| found.is_some_and(|found| found.interval.is_some())),
            nested,
        }
    }

    fn words(&self, names: &str) -> Option<String> {
        let unit = if self.nested && self.once_a_case { "cases" } else { "trials" };
        if let Some(expected) = self.unrecorded {
            return Some(format!(
                "The standard deviation and the root mean square of {names} have no interval: the rarer part of a mixture is \
                 expected to be drawn {} times, no trial records it, and at least {} times are needed.",
                number(expected, 1),
                number(MANY_EVENTS, 0),
            ));
        }
        let found = self.recorded?;
        let least = match (self.nested && !self.given[0], self.once_a_case) {
            (true, true) => LEAST_EVENT_CASES,
            (true, false) => MANY_EVENTS_RECORDED,
            (false, _) => LEAST_EVENTS,
        };
        let refused = |what: &str, has: &str| {
            format!("{what} of {names} {has} no interval: at least {least} {unit} with such an event are needed.")
        };
        let consequence = match self.given {
            [false, false] => refused("The standard deviation and the root mean square", "have"),
            [false, true] => refused("The standard deviation", "has"),
            [true, false] => refused("The root mean square", "has"),
            [true, true] if found < FEW_EVENTS => format!(
                "The intervals of the standard deviation and of the root mean square of {names} are approximate: fewer than \
                 {FEW_EVENTS} {unit} recorded an event."
            ),
            [true, true] => {
                format!("The standard deviation and the root mean square of {names} are post-stratified.")
            }
        };
        Some(format!(
            "{} {unit} recorded a rare event of {}; its probability in a trial is {}\u{a0}%. {consequence}",
            count(found),
            self.sources,
            short(100.0 * self.probability),
        ))
    }
}

/// Which simulation shows what the intervals cover.
fn evidence(nested: bool) -> String {
    let kept = kept_coverage(if nested { &KEPT_COVERAGE[1] } else { &KEPT_COVERAGE[0] });
    let range = kept.map_or_else(
        || "the simulated coverage".to_owned(),
        |(low, high)| {
            format!("{} to {}\u{a0}% of the intervals given", number(100.0 * low, 1), number(100.0 * high, 1))
        },
    );
    format!(
        "Post-stratified: trials without and with the event are estimated apart and weighted by its known probability. In \
         simulations with normal errors and an event of probability 1\u{a0}%, 5 or 10 times as large, {range} held the true value \
         at {}\u{a0}% confidence ({}).",
        percent(crate::analysis::CONFIDENCE),
        KEPT_COVERAGE[usize::from(nested)].0,
    )
}
