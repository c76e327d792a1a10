//! Which verdicts hang on an assumed input: those that change when it is moved over its range, or to half and double.

use super::inputs::bases;
use crate::analysis::Verdict;
use crate::experiment::Plan;
use crate::report::evidence::{Entry, Files, label};
use crate::report::words::{count, number};
use crate::simulation::BasisKind;
use crate::study::sensitivity::{ArmSensitivity, Change, OneAtATime, UncertainStudy};

/// Said where nothing was asked.
pub const NOT_ASKED: &str = "Whether a verdict hangs on an assumed input was not asked in this run.";

/// What was found, in sentences, and the verdicts that change in a table.
pub fn entries(plan: &Plan, sensitivity: &[ArmSensitivity], files: &mut Files) -> Vec<Entry> {
    let mut entries = vec![Entry::heading("hangs", "Verdicts that hang on an assumed input")];
    if plan.requirements.is_empty() {
        entries.push(Entry::paragraph("There is no requirement, so no verdict hangs on an input."));
        return entries;
    }
    let (mut items, mut rows) = (Vec::new(), Vec::new());
    for arm in sensitivity {
        let of = label(plan, arm.variant).map_or(String::new(), |label| format!("{label}: "));
        if let Some(study) = &arm.one_at_a_time {
            let found = halved_and_doubled(plan, arm, study);
            items.push(match found.len() {
                0 => format!(
                    "{of}No verdict changes when one assumed source is halved or doubled, all else as it is ({} cases a run).",
                    count(study.rows)
                ),
                _ => format!(
                    "{of}{} when one assumed source is halved or doubled, all else as it is ({} cases a run): {}.",
                    if found.len() == 1 { "One verdict changes" } else { "Verdicts change" },
                    count(study.rows),
                    found.iter().map(|row| format!("{} hangs on {}", row[0], row[1])).collect::<Vec<_>>().join(", ")
                ),
            });
            rows.extend(found.into_iter().map(|mut row| {
                row.insert(0, arm.variant.arm.clone());
                row
            }));
        }
        if let Some(study) = &arm.uncertain {
            items.extend(over_their_ranges(plan, study).into_iter().map(|sentence| format!("{of}{sentence}")));
        }
    }
    if sensitivity.iter().all(|arm| arm.one_at_a_time.is_none()) {
        items.push(format!(
            "{NOT_ASKED} A section [sensitivity] that asks \"one-at-a-time\" judges each requirement with each source halved and \
             doubled; a magnitude written as a range, such as sd = {{ between = [2.0, 5.0] }}, with \"uncertain\", over that range."
        ));
    }
    entries.push(Entry::List { items });
    if !rows.is_empty() {
        entries.push(files.table(
            "hangs",
            "Verdicts that change with one assumed source",
            "Each verdict rests on the cases of one run of the study, so that it may be not shown where the whole run passes; what \
             counts is that it changes. Measure these inputs first.",
            &["arm", "requirement", "source", "as it is", "at half", "at twice"],
            rows,
        ));
    }
    entries
}

/// Requirement, source and the three verdicts, wherever they are not the same.
fn halved_and_doubled(plan: &Plan, arm: &ArmSensitivity, study: &OneAtATime) -> Vec<Vec<String>> {
    let assumed: Vec<&str> = bases(arm.variant)
        .into_iter()
        .filter(|input| input.on && input.basis.kind == BasisKind::Assumed)
        .map(|input| input.id)
        .collect();
    let single = plan.requirements.iter().map(|requirement| requirement.id.as_str());
    let ids: Vec<&str> = single.chain(plan.joint_requirements.iter().map(|joint| joint.id.as_str())).collect();
    let mut rows = Vec::new();
    for (which, id) in ids.into_iter().enumerate() {
        for source in study.sources.iter().filter(|source| assumed.contains(&source.part.source)) {
            let of = |verdicts: &[Verdict]| verdicts.get(which).copied();
            let [as_it_is, half, double] =
                [of(&study.verdicts), of(source.verdicts(Change::Half)), of(source.verdicts(Change::Double))];
            if as_it_is != half || as_it_is != double {
                let words = |verdict: Option<Verdict>| verdict.map_or("none", Verdict::word).to_owned();
                rows.push(vec![id.to_owned(), source.name.clone(), words(as_it_is), words(half), words(double)]);
            }
        }
    }
    rows
}

/// Of each requirement whether its verdict depends on where in the ranges the truth lies.
fn over_their_ranges(plan: &Plan, study: &UncertainStudy) -> Vec<String> {
    let mut sentences = Vec::new();
    for ((asked, points), moves) in plan.requirements.iter().zip(&study.requirements).zip(&study.moves) {
        let passing = points.iter().filter(|point| point.judgement.verdict == Verdict::Pass).count();
        let changes = points.windows(2).any(|two| two[0].judgement.verdict != two[1].judgement.verdict);
        if !changes {
            sentences.push(format!(
                "{} does not change over the ranges of the magnitudes known within a range only.",
                asked.id
            ));
            continue;
        }
        let most = moves
            .iter()
            .zip(&plan.uncertain.inputs)
            .max_by(|a, b| a.0.rank_correlation.abs().total_cmp(&b.0.rank_correlation.abs()));
        let most = most.map_or(String::new(), |(moves, input)| {
            format!(", most on {} (rank correlation {})", input.path, number(moves.rank_correlation, 2))
        });
        sentences.push(format!(
            "{} hangs on magnitudes known within a range only{most}: it passes at {passing} of {} points of their ranges.",
            asked.id,
            points.len()
        ));
    }
    sentences
}
