//! The credibility factors of ASME V&V 40-2018: what this report shows for each, and what is left to a person.

use super::question::blank;
use crate::checks::{Outcome, Verdict};
use crate::experiment::Plan;
use crate::report::evidence::{Entry, Files, Section, label};
use crate::report::section::inputs::bases;
use crate::simulation::BasisKind;
use crate::study::sensitivity::ArmSensitivity;

/// The factors are those of the standard, recalled from memory; all words are this program's own.
pub fn section(plan: &Plan, checks: &[Outcome], sensitivity: &[ArmSensitivity], files: &mut Files) -> Section {
    let rows = [
        ["verification, code", "software quality", &software()],
        ["verification, code", "numerical correctness of the code", &code(checks)],
        ["verification, calculation", "discretization error", &sampling(plan)],
        [
            "verification, calculation",
            "solver error",
            "Fits are iterated to rounding; one that does not converge is a failed trial \
         with its reason, and counts as out of the limit.",
        ],
        [
            "verification, calculation",
            "use error",
            "The experiment file is kept word for word in run.json with every default filled \
         in; unknown keys and impossible values are refused. Whether it says what was meant is for a second reader.",
        ],
        [
            "validation, model",
            "model form",
            "What is modelled stands under configuration, equations and noise sources, what is not \
         under limitations.",
        ],
        ["validation, model", "model inputs", &inputs(plan, sensitivity)],
        ["validation, comparator", "test samples", &bench(plan)],
        ["validation, comparator", "test conditions", &bench(plan)],
        ["validation, assessment", "equivalence of inputs", &bench(plan)],
        ["validation, assessment", "comparison of outputs", &bench(plan)],
        [
            "applicability",
            "relevance of the quantities of interest",
            "The outputs judged are the readings that the question names, as \
         errors against known truth.",
        ],
        ["applicability", "relevance of the validation to the context of use", &bench(plan)],
    ];
    let goal = || "[to be filled in: goal, and whether it is reached]".to_owned();
    let rows = rows
        .into_iter()
        .map(|[activity, factor, shown]| vec![activity.to_owned(), factor.to_owned(), shown.to_owned(), goal()]);
    let rows = rows.collect();
    let risk = &plan.reporting;
    let entries = vec![
        Entry::paragraph(format!(
            "How rigorous each activity must be follows from the model risk. Model influence: {} Decision consequence: {}",
            blank(risk.model_influence.as_ref(), "report.model_influence"),
            blank(risk.decision_consequence.as_ref(), "report.decision_consequence"),
        )),
        files.table(
            "credibility",
            "Credibility factors",
            "Activities and factors after ASME V&V 40-2018 (the list is recalled from memory, the words are this program's own). What \
             stands in the third column is shown by this document; the last is for a person.",
            &["activity", "factor", "what this document shows", "goal and judgement"],
            rows,
        ),
    ];
    Section { id: "credibility", title: "Credibility factors", entries }
}

fn software() -> String {
    "Version, generator and hashes stand under reproduction; the same file, seed and version give the same bytes on any machine and \
     any number of threads, and a run's files are checked by their checksums. The source has tests of its own."
        .to_owned()
}

fn code(checks: &[Outcome]) -> String {
    let of = |verdict: Verdict| checks.iter().filter(|outcome| outcome.verdict == verdict).count();
    match checks.len() {
        0 => "The published checks were not run for this document; `navassay selfcheck` runs them.".to_owned(),
        _ => format!(
            "{} of {} published checks that count passed, {} failed; the table stands under code verification.",
            of(Verdict::Passed),
            of(Verdict::Passed) + of(Verdict::Failed),
            of(Verdict::Failed)
        ),
    }
}

fn sampling(plan: &Plan) -> String {
    let rest = "whether the estimates have settled stands under calculation verification; no mesh and no time step is refined";
    format!(
        "The numerical error of a Monte Carlo run is its sampling error: every estimate has an interval, {rest}, with {} trials.",
        plan.trials
    )
}

fn inputs(plan: &Plan, sensitivity: &[ArmSensitivity]) -> String {
    let Some(variant) = plan.variants.first() else { return String::new() };
    let in_use: Vec<_> = bases(variant).into_iter().filter(|input| input.on).collect();
    let of = |kind: BasisKind| in_use.iter().filter(|input| input.basis.kind == kind).count();
    let studied = if sensitivity.is_empty() {
        "How much each matters was not asked."
    } else {
        "How much each matters stands in the sensitivity studies of this run."
    };
    let of_first = label(plan, variant).map_or(String::new(), |label| format!(" of the first variant ({label})"));
    format!(
        "Of {} inputs in use{of_first} that carry a basis, {} are measured, {} published and {} assumed. {studied}",
        in_use.len(),
        of(BasisKind::Measured),
        of(BasisKind::Published),
        of(BasisKind::Assumed),
    )
}

fn bench(plan: &Plan) -> String {
    let held = plan
        .reporting
        .bench
        .is_some()
        .then(|| "Recorded cases are held against this run: see the comparison with bench data.".to_owned());
    let stated = plan.reporting.bench_comparison.as_ref().map(|text| format!("As the writer states: {text}"));
    let said: Vec<String> = held.into_iter().chain(stated).collect();
    if said.is_empty() { "Nothing: there is no comparison with bench data.".to_owned() } else { said.join(" ") }
}
