//! What a report is made for: `[report]`.

use super::diagnostics::Fault;
use super::nearest::suggestion;
use super::plan::Plan;
use super::spec::{Reader, impossible};
use serde_json::{Value, json};
use toml::de::DeValue;

/// A document made for one reader, beside the report that holds everything.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ReportKind {
    /// For who drafts verification evidence.
    Verification,
    /// For who designs the instrument.
    Engineering,
    /// For who compares ways of measuring.
    Comparison,
}

impl ReportKind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Verification, Self::Engineering, Self::Comparison];

    /// The word for it in files; its document has this name.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Verification => "verification",
            Self::Engineering => "engineering",
            Self::Comparison => "comparison",
        }
    }
}

/// The word for every document that the experiment has what it needs for.
const ALL: &str = "all";

/// What documents are wanted, and what only their writers know.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Reporting {
    /// The documents that are asked for by name; none stands for all that the experiment has what they need for.
    pub kinds: Vec<ReportKind>,
    /// Whether the documents are still marked as drafts.
    pub draft: bool,
    /// How much the decision rests on the simulation, against all other evidence.
    pub model_influence: Option<String>,
    /// What a wrong decision would do.
    pub decision_consequence: Option<String>,
    /// Experiment of recorded cases that the run is held against, from the folder of the experiment file.
    pub bench: Option<String>,
    /// Where else the simulation is compared with bench data.
    pub bench_comparison: Option<String>,
    /// Who wrote, reviewed and approved the document.
    pub people: [Option<String>; 3],
}

/// The part that each of [`Reporting::people`] has in a document; its key too.
pub const PARTS: [&str; 3] = ["author", "reviewer", "approver"];

impl Reader<'_, '_> {
    /// The section `[report]` without its target; `arms` is their number.
    pub fn reporting(&mut self, arms: usize) -> Reporting {
        let kinds = self.kinds();
        if kinds.contains(&ReportKind::Comparison) && arms < 2 {
            self.fault("report.kind", impossible("report.kind"), "found comparison, and no two arms to compare");
            self.mend("name each way of measuring with an [[arm]], or leave the comparison out");
        }
        Reporting {
            kinds,
            draft: self.value("report.draft").unwrap_or(true),
            model_influence: self.words("model_influence"),
            decision_consequence: self.words("decision_consequence"),
            bench: self.words("bench"),
            bench_comparison: self.words("bench_comparison"),
            people: PARTS.map(|part| self.words(part)),
        }
    }

    /// One word or a list of them.
    fn kinds(&mut self) -> Vec<ReportKind> {
        let is_list = self.tree.get("report.kind").is_some_and(|node| matches!(node.get_ref(), DeValue::Array(_)));
        let written: Vec<String> =
            if is_list { self.value("report.kind") } else { self.value("report.kind").map(|word| vec![word]) }
                .unwrap_or_default();
        if written == [ALL] {
            return Vec::new();
        }
        self.demand(!written.is_empty(), "report.kind", "no name", "all, or at least one kind of document");
        let mut kinds = Vec::new();
        for (i, word) in written.iter().enumerate() {
            let path = if is_list { format!("report.kind.{i}") } else { "report.kind".to_owned() };
            match ReportKind::ALL.into_iter().find(|kind| kind.word() == word) {
                Some(kind) if kinds.contains(&kind) => {
                    self.fault(&path, impossible("report.kind"), format!("found \"{word}\" twice"));
                }
                Some(kind) => kinds.push(kind),
                None => {
                    let known: Vec<&str> = ReportKind::ALL.iter().map(|kind| kind.word()).chain([ALL]).collect();
                    let label = format!("found \"{word}\", expected one or more of {}", known.join(", "));
                    let fault = Fault::new(self.tree.span_of(&path), impossible("report.kind"), label);
                    self.faults.push(fault.help_if(suggestion(word, &known)));
                }
            }
        }
        kinds.sort_unstable();
        kinds
    }

    /// Words at a key of the section; blank ones say nothing.
    fn words(&mut self, key: &str) -> Option<String> {
        let written: Option<String> = self.optional(&format!("report.{key}"));
        written.filter(|words| !words.trim().is_empty())
    }
}

impl Plan {
    /// The documents that a report of this plan has beside the one that holds everything: those asked for by name, or
    /// verification where there is a requirement, engineering where sources or settings are varied, and comparison where
    /// there are several arms.
    #[must_use]
    pub fn documents(&self) -> Vec<ReportKind> {
        let has_what_it_needs = |kind: &ReportKind| match kind {
            ReportKind::Verification => !self.requirements.is_empty(),
            ReportKind::Engineering => self.sensitivity.is_some() || self.points.len() > 1,
            ReportKind::Comparison => self.variants.iter().any(|variant| variant.arm != self.variants[0].arm),
        };
        match self.reporting.kinds.as_slice() {
            [] => ReportKind::ALL.into_iter().filter(has_what_it_needs).collect(),
            asked => asked.to_vec(),
        }
    }
}

impl Reporting {
    /// As plain data.
    pub(super) fn resolved(&self) -> Value {
        let [author, reviewer, approver] = &self.people;
        json!({
            "kind": self.kinds.iter().map(|kind| kind.word()).collect::<Vec<_>>(),
            "draft": self.draft,
            "model_influence": self.model_influence,
            "decision_consequence": self.decision_consequence,
            "bench": self.bench,
            "bench_comparison": self.bench_comparison,
            "author": author,
            "reviewer": reviewer,
            "approver": approver,
        })
    }
}
