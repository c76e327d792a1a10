//! Every requirement with its verdict, in full sentences.

use crate::analysis::{Judgement, Verdict, trials_needed};
use crate::experiment::{Plan, Requirement};
use crate::report::evidence::{Entry, Files, Finding, Heading, Section, Table, label};
use crate::report::tables;
use crate::report::words::{Bound, bounded, bounded_percent, count, percent, short, with_unit};
use crate::study::{Assessment, RequirementAssessment};

pub fn section(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Section {
    let mut entries = vec![Entry::paragraph(overview(assessment))];
    entries.extend(assessment.requirements.iter().map(|assessed| Entry::Verdict(finding(plan, assessed))));
    let csv = files.add("verdicts", &tables::VERDICTS, tables::verdict_rows(assessment));
    if !assessment.requirements.is_empty() {
        entries.push(Entry::Table(table(plan, assessment, csv)));
    }
    Section { id: "answer", title: "Answer", entries }
}

fn overview(assessment: &Assessment) -> String {
    let of = |verdict| assessment.requirements.iter().filter(|a| a.judgement.verdict == verdict).count();
    let all = assessment.requirements.len();
    if all == 0 {
        return "The experiment states no requirement, so nothing is judged; the errors are described below."
            .to_owned();
    }
    format!(
        "Of {all} judgements, one for each requirement and variant: {} pass, {} fail, {} not shown. A requirement passes \
         if the one-sided upper Clopper-Pearson bound, at the stated confidence, of the proportion of cases out of the \
         limit is not above the proportion that the requirement leaves. It fails if the lower bound is above it. \
         Otherwise it is not shown. A trial that failed to give a reading counts as out of the limit.",
        of(Verdict::Pass),
        of(Verdict::Fail),
        of(Verdict::NotShown),
    )
}

fn finding(plan: &Plan, assessed: &RequirementAssessment) -> Finding {
    let asked = assessed.requirement;
    let label = match label(plan, assessed.variant) {
        Some(variant) => format!("{}, {variant}", asked.id),
        None => asked.id.clone(),
    };
    Finding {
        verdict: assessed.judgement.verdict.word(),
        label,
        text: asked.text.clone(),
        risk: asked.risk.clone(),
        sentence: sentence(asked, &assessed.judgement),
    }
}

/// A verdict and what it rests on.
pub fn sentence(asked: &Requirement, found: &Judgement) -> String {
    let unit = asked.output.unit().symbol();
    let limit = with_unit(&short(asked.limit), unit);
    let left = 1.0 - asked.proportion;
    let allowed = percent(left);
    let confidence = percent(asked.confidence);
    let upper = bounded_percent(found.exceed_high, left, Bound::Upper);
    let lower = bounded_percent(found.exceed_low, left, Bound::Lower);
    let counts = format!(
        "In {} of {} trials the error of {} was beyond ±{limit} or there was no reading ({} without a reading, counted \
         as out).",
        count(found.out),
        count(found.n),
        asked.output.name(),
        count(found.failed),
    );
    let rule = |which: &str| format!("one-sided {which} Clopper-Pearson bound at {confidence}\u{a0}% confidence");
    match found.verdict {
        Verdict::Pass => {
            let error = found.bound.map(|bound| {
                let bound = with_unit(&bounded(bound, asked.limit, Bound::Upper), unit);
                format!(
                    " In terms of the error: {}\u{a0}% of cases are within {bound}, with the same confidence.",
                    percent(asked.proportion)
                )
            });
            format!(
                "{} passes. {counts} The proportion out of the limit is at most {upper}\u{a0}% ({}), and the requirement \
                 leaves {allowed}\u{a0}%.{}",
                asked.id,
                rule("upper"),
                error.unwrap_or_default(),
            )
        }
        Verdict::Fail => format!(
            "{} fails. {counts} The proportion out of the limit is at least {lower}\u{a0}% ({}), and the requirement leaves \
             only {allowed}\u{a0}%.",
            asked.id,
            rule("lower"),
        ),
        Verdict::NotShown => format!(
            "{} is not shown. {counts} The proportion out of the limit is at least {lower}\u{a0}% and at most {upper}\u{a0}% \
             ({}, each by itself), and the {allowed}\u{a0}% that the requirement leaves lies between: these trials show \
             neither that it is met nor that it is not.{}",
            asked.id,
            rule("lower and upper"),
            more_trials(asked, found),
        ),
    }
}

fn more_trials(asked: &Requirement, found: &Judgement) -> String {
    let Some(exceed) = found.exceed else { return String::new() };
    match trials_needed(&asked.rule(), exceed).filter(|&needed| needed > found.n && exceed < 1.0 - asked.proportion) {
        Some(needed) => format!(" If the proportion found here holds, {} trials would show it.", count(needed)),
        None => String::new(),
    }
}

fn table(plan: &Plan, assessment: &Assessment, csv: String) -> Table {
    let words = |name: &str| Heading { name: name.to_owned(), numbers: false };
    let numbers = |name: &str| Heading { name: name.to_owned(), numbers: true };
    let mut columns = vec![words("requirement")];
    let several = plan.variants.len() > 1;
    if several {
        columns.push(words("variant"));
    }
    columns.extend([
        words("error of"),
        numbers("limit"),
        numbers("within, required"),
        numbers("confidence"),
        numbers("trials"),
        numbers("out"),
        numbers("failed"),
        numbers("out, at least"),
        numbers("out, at most"),
        words("verdict"),
    ]);
    let row = |assessed: &RequirementAssessment| {
        let (asked, found) = (assessed.requirement, &assessed.judgement);
        let left = 1.0 - asked.proportion;
        let mut row = vec![asked.id.clone()];
        row.extend(label(plan, assessed.variant));
        row.extend([
            asked.output.name().to_owned(),
            with_unit(&short(asked.limit), asked.output.unit().symbol()),
            format!("{}\u{a0}%", percent(asked.proportion)),
            format!("{}\u{a0}%", percent(asked.confidence)),
            count(found.n),
            count(found.out),
            count(found.failed),
            format!("{}\u{a0}%", bounded_percent(found.exceed_low, left, Bound::Lower)),
            format!("{}\u{a0}%", bounded_percent(found.exceed_high, left, Bound::Upper)),
            found.verdict.word().to_owned(),
        ]);
        row
    };
    Table {
        id: "table-verdicts".to_owned(),
        caption: "Requirements and verdicts".to_owned(),
        reading: "Compare what is out at most, or at least, with what the requirement leaves: both are one-sided \
                  bounds at the confidence of the row, rounded away from the estimate and never across what is allowed."
            .to_owned(),
        columns,
        rows: assessment.requirements.iter().map(row).collect(),
        csv,
    }
}
