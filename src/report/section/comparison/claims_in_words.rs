//! A claim and its verdict in sentences.

use super::probability;
use crate::analysis::claim::{Claim, ClaimVerdict, Level};
use crate::analysis::multiplicity::Multiplicity;
use crate::analysis::paired::{Difference, Method};
use crate::analysis::{Interval, Withheld};
use crate::experiment::{Comparison, Plan};
use crate::report::words::{Bound, bounded, count, decimals, number, percent, short, with_unit};
use crate::study::JudgedClaim;
use std::fmt::Write as _;

/// The verdict, the number, what it is compared with, and what the verdict rests on.
pub fn sentence(plan: &Plan, judged: &JudgedClaim, level: Option<Level>) -> String {
    let claim = judged.claim;
    if judged.withheld {
        return Withheld::UndeclaredLook.sentence();
    }
    let Some(found) = &judged.found else { return "Not shown: no trial was read by both arms.".to_owned() };
    let interval = match (found.method, found.interval) {
        (Method::Identical, _) => {
            return format!(
                "{}: all {} trials are identical in both arms, so there is no interval and nothing is claimed.",
                lead(judged.verdict),
                count(found.n)
            );
        }
        (_, None) => {
            return format!("{}: too few trials were read by both arms for an interval.", lead(judged.verdict));
        }
        (_, Some(interval)) => interval,
    };
    let mut text = format!("{}: {}{}", lead(judged.verdict), difference(judged, found, interval), needs(judged));
    if judged.verdict == ClaimVerdict::NotShown {
        text += " Neither the claim nor its opposite is demonstrated.";
    }
    if let Some((level, adjusted)) = level.zip(judged.adjusted) {
        let how = match (level.tests, plan.multiplicity) {
            (1, _) => "p".to_owned(),
            (tests, Multiplicity::Holm) => format!("Holm's p over {tests} tests"),
            (tests, Multiplicity::FixedSequence) => {
                format!("The largest p up to this one of {tests} tests in sequence")
            }
        };
        let _ = write!(text, " {how} is {}; at most {} is needed.", probability(Some(adjusted)), short(level.alpha));
        if matches!(judged.verdict, ClaimVerdict::Shown(_)) && !inside(claim, interval) {
            text += " The interval holds together with those of all primary claims and has two sides; it is wider than this test \
                     needs.";
        }
    }
    text
}

/// The first words: the verdict.
fn lead(verdict: ClaimVerdict) -> &'static str {
    match verdict {
        ClaimVerdict::Shown(Claim::Equivalent) => "Equivalent",
        ClaimVerdict::Shown(Claim::NotWorse) => "Not worse",
        ClaimVerdict::Shown(Claim::Better) => "Better",
        ClaimVerdict::Refuted(Claim::Equivalent) => "Not equivalent",
        ClaimVerdict::Refuted(Claim::NotWorse) => "Worse",
        ClaimVerdict::Refuted(Claim::Better) => "Not better",
        ClaimVerdict::NotShown => "Not shown",
        ClaimVerdict::Exploratory => "Exploratory, no verdict",
    }
}

/// Whether an interval lies where the claim needs it.
fn inside(claim: &Comparison, Interval { low, high, .. }: Interval) -> bool {
    match claim.claim {
        Claim::Equivalent => -claim.margin <= low && high <= claim.margin,
        Claim::NotWorse => high <= claim.margin,
        Claim::Better => high <= -claim.margin,
    }
}

/// `the RMS error of cup anteversion with template is 1.77° lower than with bony (95 % CI 1.71° to 1.83°)`
fn difference(judged: &JudgedClaim, found: &Difference, interval: Interval) -> String {
    let claim = judged.claim;
    let unit = claim.output.unit().symbol();
    let digits = decimals(found.standard_error);
    let value = |value: f64| with_unit(&number(value, digits), unit);
    // Ends as they are read, on their own side of the margin.
    let end = |end: f64, bound| {
        let limit = if end < 0.0 { -claim.margin } else { claim.margin };
        let scale = libm::exp10(digits as f64);
        let rounded = libm::round(end * scale) / scale;
        let same_side = (rounded > limit) == (end > limit) && (rounded < limit) == (end < limit);
        with_unit(&if same_side { number(end, digits) } else { bounded(end, limit, bound) }, unit)
    };
    let of = format!("the {} of {} with {}", claim.measure.name(), claim.output.name(), claim.arm);
    let level = percent(interval.confidence);
    let open = if found.open.contains(&true) { ", 0 excluded" } else { "" };
    let Interval { low, high, .. } = interval;
    let sizes = if low >= 0.0 {
        Some(("higher", end(low, Bound::Lower), end(high, Bound::Upper)))
    } else if high <= 0.0 {
        Some(("lower", end(-high, Bound::Lower), end(-low, Bound::Upper)))
    } else {
        None
    };
    match sizes {
        Some((direction, least, most)) => format!(
            "{of} is {} {direction} than with {} ({level}\u{a0}% CI {least} to {most}{open})",
            value(found.difference.abs()),
            claim.against
        ),
        None => format!(
            "{of} less that with {} is {} ({level}\u{a0}% CI {} to {})",
            claim.against,
            value(found.difference),
            end(low, Bound::Lower),
            end(high, Bound::Upper)
        ),
    }
}

/// What it is compared with.
fn needs(judged: &JudgedClaim) -> String {
    let margin = with_unit(&short(judged.claim.margin), judged.claim.output.unit().symbol());
    let none = judged.claim.margin == 0.0;
    match (judged.verdict, judged.claim.claim) {
        (ClaimVerdict::Shown(Claim::Equivalent), _) => format!(", within the margin of {margin}."),
        (ClaimVerdict::Refuted(Claim::Equivalent | Claim::NotWorse), _) => {
            format!(", beyond the margin of {margin}.")
        }
        (_, Claim::Equivalent) => format!("; the claim needs −{margin} to {margin}."),
        (_, Claim::NotWorse) => format!("; the claim needs at most {margin} higher."),
        (_, Claim::Better) if none => "; the claim needs it to be lower.".to_owned(),
        (_, Claim::Better) => format!("; the claim needs at least {margin} lower."),
    }
}

/// What claims are, how many, and at what level they are judged.
pub fn introduction(plan: &Plan, claims: &[JudgedClaim], level: Option<Level>) -> String {
    let exploratory = claims.iter().filter(|judged| !judged.claim.primary).count();
    let mut text = String::new();
    if let Some(level) = level {
        let percent_alpha = percent(level.alpha);
        let primary = claims.len() - exploratory;
        let tests = if primary == 1 { "one test".to_owned() } else { format!("{primary} tests") };
        let _ = write!(
            text,
            "Primary claims, stated before the run, are judged; over all arms, outputs and points they are {tests}. A claim is shown \
             where its opposite is rejected: for equivalence by both one-sided tests (Schuirmann DJ. J Pharmacokinet Biopharm \
             1987;15:657-680). "
        );
        let _ = match (level.tests, plan.multiplicity) {
            (1, _) => write!(text, "The chance of showing it wrongly is at most {percent_alpha}\u{a0}%."),
            (_, Multiplicity::Holm) => write!(
                text,
                "Holm's correction over all of them (Scand J Stat 1979;6:65-70) holds the chance of any wrong one at \
                 {percent_alpha}\u{a0}%."
            ),
            (_, Multiplicity::FixedSequence) => write!(
                text,
                "They are tested in the order of the plan, each at {percent_alpha}\u{a0}%, until one is not shown; those after it are \
                 not shown either. So the chance of any wrong one is at most {percent_alpha}\u{a0}%."
            ),
        };
        let [intervals, at_once] =
            if level.tests > 1 { ["Intervals", " hold all at once"] } else { ["The interval is", ""] };
        let _ = write!(
            text,
            " {intervals} at {}\u{a0}%{at_once}; the opposite of a claim is shown where its interval lies beyond the margin. What is \
             not shown is not refuted. The exit status of the program is that of the requirements.",
            percent(level.confidence())
        );
    }
    if exploratory > 0 {
        let gap = if text.is_empty() { "" } else { " " };
        let _ = write!(
            text,
            "{gap}Claims that are not primary are exploratory: each has an interval at its own confidence, not corrected for the \
             number of comparisons, and no verdict."
        );
    }
    text
}
