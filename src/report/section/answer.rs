//! Every requirement with its verdict, in full sentences.

use crate::analysis::device_bound::advised_devices;
use crate::analysis::planning::{Needed, trials_needed};
use crate::analysis::wrong_passes::{SIMULATED, Simulated};
use crate::analysis::{Direction, Judgement, Rule, Verdict};
use crate::experiment::{Plan, Requirement, RequirementsNeeded};
use crate::report::evidence::{Entry, Files, Finding, Heading, Section, Table, label};
use crate::report::tables;
use crate::report::words::{Bound, bounded, bounded_percent, count, number, percent, short, with_unit};
use crate::study::{Asked, Assessment, Look, RequirementAssessment};
use std::fmt::Write;

pub fn section(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Section {
    let mut entries = vec![Entry::heading("in-short", "In short"), Entry::paragraph(overview(plan, assessment))];
    entries.extend(looks(&assessment.look, assessment.requirements.is_empty()).map(Entry::paragraph));
    entries.push(Entry::heading("verdict-by-verdict", "Each requirement"));
    if assessment.requirements.is_empty() {
        entries.push(Entry::paragraph("The experiment states no requirement, so there is no verdict."));
    }
    entries.extend(assessment.requirements.iter().map(|assessed| Entry::Verdict(finding(plan, assessed))));
    let csv = files.add("verdicts", &tables::VERDICTS, tables::verdict_rows(assessment));
    if !assessment.requirements.is_empty() {
        entries.push(Entry::Table(table(plan, assessment, csv)));
    }
    Section { id: "answer", title: "Answer", entries }
}

fn overview(plan: &Plan, assessment: &Assessment) -> String {
    let of = |verdict| assessment.requirements.iter().filter(|a| a.judgement.verdict == verdict).count();
    let all = assessment.requirements.len();
    if all == 0 {
        return "The experiment states no requirement, so nothing is judged; the errors are described below."
            .to_owned();
    }
    let mut text = format!(
        "Of {all} judgements, one for each requirement and variant: {} pass, {} fail, {} not shown. A requirement passes \
         if the one-sided upper Clopper-Pearson bound, at the stated confidence, of the proportion of cases out of the \
         limit is not above the proportion that the requirement leaves. It fails if the lower bound is above it. \
         Otherwise it is not shown. A trial that failed to give a reading counts as out of the limit.",
        of(Verdict::Pass),
        of(Verdict::Fail),
        of(Verdict::NotShown),
    );
    if plan.requirements.iter().any(|requirement| requirement.guard > 0.0) {
        text += " Where a requirement has a guard band, it passes by the limit less the guard band and fails by the limit \
                 itself (guarded acceptance, JCGM 106:2012).";
    }
    if !plan.uncertain.inputs.is_empty() {
        text +=
            " Some magnitudes of the noise are given as ranges; the verdicts here hold for the middle of each range.";
        if !plan.uncertain.points.is_empty() {
            text += " Each requirement is judged at the worst end of the ranges too, with the sensitivities.";
        }
    }
    if plan.requirements.len() + plan.joint_requirements.len() > 1 {
        text += match plan.requirements_needed {
            RequirementsNeeded::All => {
                " All requirements must be met, so each is judged at its own confidence, without correction for \
                                         their number (intersection-union test)."
            }
            RequirementsNeeded::Any => {
                " One requirement suffices in each variant, so Holm's correction over the requirements of a \
                                         variant holds the chance of any wrong pass: bounds may be at a higher confidence than the \
                                         requirement states."
            }
        };
        text += match (plan.requirements_needed, assessment.is_met(plan)) {
            (RequirementsNeeded::All, true) => " All are demonstrated.",
            (RequirementsNeeded::All, false) => " Not all are demonstrated.",
            (RequirementsNeeded::Any, true) => " At least one is demonstrated in each variant.",
            (RequirementsNeeded::Any, false) => " Not every variant has a requirement that is demonstrated.",
        };
    }
    if assessment.devices.is_some() {
        let _ = write!(
            text,
            " Cases on one device are not independent, so the bounds rest on whole devices. {}",
            confidence_over_devices()
        );
    }
    text
}

/// What there is to say of looks at verdicts.
fn looks(look: &Look, nothing_judged: bool) -> Option<String> {
    if nothing_judged || (look.declared <= 1 && !look.undeclared) {
        return None;
    }
    Some(if look.undeclared {
        format!(
            "Verdicts had been seen before: this is look number {}, and the plan declared {} before the first. No verdict is \
             given. The estimates are not affected.",
            look.number, look.declared,
        )
    } else {
        format!(
            "The plan declares {} looks at verdicts, and this is number {}. Each uses the confidence 1 - (1 - c)/{}, so that \
             all together keep the confidence c of a requirement.",
            look.declared, look.number, look.declared,
        )
    })
}

fn finding(plan: &Plan, assessed: &RequirementAssessment) -> Finding {
    let asked = &assessed.asked;
    let label = match label(plan, assessed.variant) {
        Some(variant) => format!("{}, {variant}", asked.id),
        None => asked.id.to_owned(),
    };
    Finding {
        verdict: assessed.judgement.verdict.word(),
        label,
        text: asked.text.to_owned(),
        risk: asked.risk.map(str::to_owned),
        sentence: sentence(asked, &assessed.judgement),
    }
}

/// What is out of one limit, in words: `the error of cup inclination was beyond ±3°`.
fn beyond(limit: &Requirement) -> String {
    let name = limit.output.name();
    let size = with_unit(&short(limit.limit), limit.output.unit().symbol());
    match limit.direction {
        Direction::Either => format!("the error of {name} was beyond ±{size}"),
        Direction::Above => format!("{name} was read too high by more than {size}"),
        Direction::Below => format!("{name} was read too low by more than {size}"),
    }
}

/// The limit of a requirement, in brief: `±3°`.
pub fn limit_words(limit: &Requirement) -> String {
    let size = with_unit(&short(limit.limit), limit.output.unit().symbol());
    match limit.direction {
        Direction::Either => format!("±{size}"),
        Direction::Above => format!("+{size}"),
        Direction::Below => format!("−{size}"),
    }
}

/// A verdict and what it rests on.
pub fn sentence(asked: &Asked, found: &Judgement) -> String {
    let left = 1.0 - asked.proportion;
    let allowed = percent(left);
    let confidence = percent(found.confidence);
    let upper = bounded_percent(found.exceed_high, left, Bound::Upper);
    let lower = bounded_percent(found.exceed_low, left, Bound::Lower);
    let counts = counts(asked, found);
    let of = if found.devices.is_some() { "bound over devices" } else { "Clopper-Pearson bound" };
    let rule = |which: &str| format!("one-sided {which} {of} at {confidence}\u{a0}% confidence");
    let within = if guard(asked) { "acceptance limit" } else { limit_or_limits(asked) };
    match (found.withheld, found.verdict) {
        (Some(why), _) => format!(
            "{} is not shown. {counts} {} For information only: the proportion out of the {} is at least {lower}\u{a0}% and at \
             most {upper}\u{a0}% ({}, each by itself), and the requirement leaves {allowed}\u{a0}%.",
            asked.id,
            why.sentence(),
            limit_or_limits(asked),
            rule("lower and upper"),
        ),
        (None, Verdict::Pass) => format!(
            "{} passes. {counts} The proportion out of the {within} is at most {upper}\u{a0}% ({}), and the requirement leaves \
             {allowed}\u{a0}%.{}{}",
            asked.id,
            rule("upper"),
            in_terms_of_the_error(asked, found),
            measured_only(found, left),
        ),
        (None, Verdict::Fail) => format!(
            "{} fails. {counts} The proportion out of the {} is at least {lower}\u{a0}% ({}), and the requirement leaves only \
             {allowed}\u{a0}%.{}",
            asked.id,
            limit_or_limits(asked),
            rule("lower"),
            measured_only(found, left),
        ),
        (None, Verdict::NotShown) => format!(
            "{} is not shown. {counts} The proportion out of the {} is at least {lower}\u{a0}%, that out of the {within} at most \
             {upper}\u{a0}% ({}, each by itself), and the {allowed}\u{a0}% that the requirement leaves lies between: these trials \
             show neither that it is met nor that it is not.{}{}",
            asked.id,
            limit_or_limits(asked),
            rule("lower and upper"),
            measured_only(found, left),
            more_trials(asked, found),
        ),
    }
}

fn guard(asked: &Asked) -> bool {
    asked.limits.iter().any(|limit| limit.guard > 0.0)
}

fn limit_or_limits(asked: &Asked) -> &'static str {
    if asked.limits.len() > 1 { "limits" } else { "limit" }
}

fn counts(asked: &Asked, found: &Judgement) -> String {
    let what: Vec<String> = asked.limits.iter().map(|limit| beyond(limit)).collect();
    let mut text = format!(
        "In {} of {} trials {}, or there was no reading ({} without a reading, counted as out).",
        count(found.out),
        count(found.n),
        what.join(", or "),
        count(found.failed),
    );
    if guard(asked) {
        let bands: Vec<String> = asked
            .limits
            .iter()
            .filter(|limit| limit.guard > 0.0)
            .map(|limit| with_unit(&short(limit.guard), limit.output.unit().symbol()))
            .collect();
        let _ = write!(
            text,
            " With the guard band of {} taken off the limit, {} trials are out of it.",
            bands.join(" and "),
            count(found.out_of_acceptance)
        );
    }
    if let Some(devices) = found.devices {
        let _ = write!(text, " The unit is the device; there are {}.", count(devices.count));
    }
    text
}

fn in_terms_of_the_error(asked: &Asked, found: &Judgement) -> String {
    let (Some(limit), Some(bound)) = (asked.single(), found.bound) else { return String::new() };
    let acceptance = limit.limit - limit.guard;
    let bound = with_unit(&bounded(bound, acceptance, Bound::Upper), limit.output.unit().symbol());
    let within = match limit.direction {
        Direction::Either => format!("within {bound}"),
        Direction::Above => format!("at most {bound} too high"),
        Direction::Below => format!("at most {bound} too low"),
    };
    format!(
        " In terms of the error: {}\u{a0}% of cases are {within}, with the same confidence.",
        percent(asked.proportion)
    )
}

/// What the bounds would be without the trials that failed, where some did.
fn measured_only(found: &Judgement, left: f64) -> String {
    match found.measured_only {
        Some([_, low, high]) if found.failed > 0 => format!(
            " Were the trials without a reading left out instead, the bounds would be {}\u{a0}% and {}\u{a0}%.",
            bounded_percent(low, left, Bound::Lower),
            bounded_percent(high, left, Bound::Upper),
        ),
        None if found.failed > 0 => " Were the trials without a reading left out, none would remain.".to_owned(),
        _ => String::new(),
    }
}

/// The probability of a pass for which [`needed`] states trials.
const PROBABILITY: f64 = 0.8;

/// How many trials of a new run pass with a probability of 80 %, if the proportion found is the true one.
pub fn needed(asked: &Asked, found: &Judgement) -> Option<u64> {
    let nothing_needed = found.verdict != Verdict::NotShown || found.withheld.is_some() || found.devices.is_some();
    if nothing_needed || found.n == 0 {
        return None;
    }
    let rule = Rule::absolute(0.0, asked.proportion, found.confidence);
    trials_needed(&rule, observed(found), PROBABILITY).map(|Needed { least, .. }| least)
}

/// The proportion outside the acceptance limit that was found.
fn observed(found: &Judgement) -> f64 {
    found.out_of_acceptance as f64 / found.n as f64
}

fn more_trials(asked: &Asked, found: &Judgement) -> String {
    if found.n == 0 {
        return String::new();
    }
    let is_allowed = observed(found) < 1.0 - asked.proportion;
    let observed = format!("the observed {}\u{a0}%", number(100.0 * observed(found), 2));
    if let Some(devices) = found.devices.filter(|_| is_allowed) {
        return more_devices(asked, devices.count);
    }
    match needed(asked, found) {
        Some(needed) => format!(
            " If the true proportion outside equals {observed}, a new run of {} trials, fixed beforehand, passes with a \
             probability of {}\u{a0}%.",
            count(needed),
            percent(PROBABILITY),
        ),
        None if is_allowed => format!(
            " If the true proportion outside equals {observed}, no number of trials up to a billion passes with a probability of \
             {}\u{a0}%.",
            percent(PROBABILITY),
        ),
        None => format!(
            " If the true proportion outside equals {observed}, the requirement is not met, whatever the number of trials."
        ),
    }
}

/// What is known of the confidence of the bounds over devices.
fn confidence_over_devices() -> String {
    let Simulated { designs, runs, nominal, worst } = SIMULATED;
    format!(
        "Their confidence is proved where the trials of each device are all out of the limit or all within it; in general it is a \
         conjecture to which no exception is known (Learned-Miller and Thomas, arXiv:1905.06208; Phan, Thomas and \
         Learned-Miller, arXiv:2106.03163). In {designs} simulated designs with exactly the allowed proportion out of the limit, \
         {} runs each, at most {}\u{a0}% of the runs passed; {}\u{a0}% are allowed.",
        count(runs.into()),
        number(100.0 * worst, 1),
        percent(nominal),
    )
}

/// Where a nested design has few devices for what is required.
fn more_devices(asked: &Asked, devices: u64) -> String {
    let advised = advised_devices(asked.proportion);
    if devices >= advised {
        return String::new();
    }
    format!(
        " For this required proportion at least {} devices are advised (10 divided by the allowed proportion); more devices \
         narrow the bounds, more cases on each device hardly do.",
        count(advised)
    )
}

fn table(plan: &Plan, assessment: &Assessment, csv: String) -> Table {
    let words = |name: &str| Heading { name: name.to_owned(), numbers: false };
    let numbers = |name: &str| Heading { name: name.to_owned(), numbers: true };
    let mut columns = vec![words("requirement")];
    let several = plan.variants.len() > 1;
    if several {
        columns.push(words("variant"));
    }
    // With a guard band the upper bound is made from other counts than the lower one.
    let guarded = assessment.requirements.iter().any(|assessed| guard(&assessed.asked));
    columns.extend([
        words("error of"),
        numbers("limit"),
        numbers("within, required"),
        numbers("confidence"),
        numbers("trials"),
        numbers("failed"),
        numbers("out"),
        numbers("out, at least"),
    ]);
    columns.extend(guarded.then(|| numbers("out of the acceptance limit")));
    columns.extend([numbers(if guarded { "out of it, at most" } else { "out, at most" }), words("verdict")]);
    let row = |assessed: &RequirementAssessment| {
        let (asked, found) = (&assessed.asked, &assessed.judgement);
        let left = 1.0 - asked.proportion;
        let joined = |of: &dyn Fn(&Requirement) -> String| {
            asked.limits.iter().map(|limit| of(limit)).collect::<Vec<_>>().join(" and ")
        };
        let mut row = vec![asked.id.to_owned()];
        row.extend(label(plan, assessed.variant));
        row.extend([
            joined(&|limit| limit.output.name().to_owned()),
            joined(&limit_words),
            format!("{}\u{a0}%", percent(asked.proportion)),
            format!("{}\u{a0}%", percent(found.confidence)),
            count(found.n),
            count(found.failed),
            count(found.out),
            format!("{}\u{a0}%", bounded_percent(found.exceed_low, left, Bound::Lower)),
        ]);
        row.extend(guarded.then(|| count(found.out_of_acceptance)));
        row.extend([
            format!("{}\u{a0}%", bounded_percent(found.exceed_high, left, Bound::Upper)),
            found.verdict.word().to_owned(),
        ]);
        row
    };
    Table {
        id: "table-verdicts".to_owned(),
        caption: "Requirements and verdicts".to_owned(),
        reading: "Compare what is out at most, or at least, with what the requirement leaves: both are one-sided \
                  bounds at the confidence of the row, each from the count before it, rounded away from the estimate and never \
                  across what is allowed. The file has the bounds with failed trials left out as well."
            .to_owned(),
        columns,
        rows: assessment.requirements.iter().map(row).collect(),
        csv,
    }
}
