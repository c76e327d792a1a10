//! `[sensitivity]`: which sources are asked together, how often, and what is asked of them.

use super::diagnostics::Fault;
use super::nearest::nearest;
use super::plan::Variant;
use super::spec::Reader;
use crate::analysis::shapley::MOST_GROUPS;
use crate::simulation::noise::{JointScores, SOURCES};
use serde::Deserialize;
use std::collections::BTreeMap;

/// What is asked about where the errors come from.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensitivity {
    /// What is drawn anew together: a name and its members, each the id of a source, the beginning of one, or one of
    /// [`OTHER_MEMBERS`]. What no group names forms the group [`REST`].
    pub groups: Vec<Group>,
    /// Rows: cases that each question is put to, each a new device and a new patient.
    pub rows: u64,
    /// What is asked.
    pub ask: Vec<Question>,
    /// Points of the outer loop over magnitudes that are known within a range only.
    pub outer_points: usize,
}

/// How limits on sources are searched for.
#[derive(Clone, Debug, PartialEq)]
pub struct Budgeting {
    /// Relative cost of keeping a group or a source small, by its name or the beginning of its id; 1 unless given.
    pub cost: BTreeMap<String, f64>,
    /// Two groups or sources whose common region is explored; empty for none.
    pub pair: Vec<String>,
    /// Probability with which a run passes at the assured scale.
    pub assurance: f64,
}

impl Budgeting {
    /// The cost of a group or of a source, which holds these sources.
    #[must_use]
    pub fn cost_of(&self, name: &str, sources: &[&str]) -> f64 {
        let by_source = || self.cost.iter().find(|(key, _)| sources.iter().any(|source| begins(source, key)));
        self.cost.get(name).or_else(|| by_source().map(|(_, cost)| cost)).copied().unwrap_or(1.0)
    }
}

/// Sources that are one input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// Its name.
    pub name: String,
    /// What it holds.
    pub members: Vec<String>,
}

/// A question of `[sensitivity]`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Question {
    /// Variance-based indices of the groups.
    Indices,
    /// Shapley effects of the groups, which may be correlated.
    Shapley,
    /// Each source alone, all but it, half and twice of it.
    OneAtATime,
    /// Coefficients and the linear budget.
    Linear,
    /// A fixed offset in each input, swept over a range.
    Offsets,
    /// Magnitudes that are known within a range only.
    Uncertain,
    /// How large the sources may be.
    Allocation,
}

/// Every question.
pub const QUESTIONS: [Question; 7] = [
    Question::Indices,
    Question::Shapley,
    Question::OneAtATime,
    Question::Linear,
    Question::Offsets,
    Question::Uncertain,
    Question::Allocation,
];

/// The group of all that no other group names.
pub const REST: &str = "rest";

/// What a case is made from beside the noise sources: the patient, the change made, and what the operator's hand
/// leaves open.
pub const OTHER_MEMBERS: [&str; 3] = ["anatomy", "implant", "protocol"];

impl Question {
    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Indices => "indices",
            Self::Shapley => "shapley",
            Self::OneAtATime => "one-at-a-time",
            Self::Linear => "linear",
            Self::Offsets => "offsets",
            Self::Uncertain => "uncertain",
            Self::Allocation => "allocation",
        }
    }
}

impl Group {
    /// Whether it holds a source or another member, by its id.
    #[must_use]
    pub fn holds(&self, id: &str) -> bool {
        self.members.iter().any(|member| begins(id, member))
    }
}

impl Sensitivity {
    /// Whether a question is asked.
    #[must_use]
    pub fn asks(&self, question: Question) -> bool {
        self.ask.contains(&question)
    }

    /// The groups with the rest, which comes last.
    #[must_use]
    pub fn all_groups(&self) -> Vec<Group> {
        let named = |id: &&str| self.groups.iter().any(|group| group.holds(id));
        let rest = members().filter(|id| !named(id)).map(str::to_owned).collect();
        self.groups.iter().cloned().chain([Group { name: REST.to_owned(), members: rest }]).collect()
    }
}

/// Ids of all that can be a member.
fn members() -> impl Iterator<Item = &'static str> {
    SOURCES.iter().map(|source| source.id).chain(OTHER_MEMBERS)
}

/// Whether an id is a name, or begins with it and a dot.
fn begins(id: &str, name: &str) -> bool {
    id.strip_prefix(name).is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    groups: BTreeMap<String, Vec<String>>,
    rows: u64,
    ask: Vec<String>,
    outer_points: usize,
    cost: BTreeMap<String, f64>,
    pair: Vec<String>,
    assurance: f64,
}

impl Reader<'_, '_> {
    /// What is asked; `None` where the file has no such section, or with faults.
    pub fn sensitivity(&mut self) -> Option<Sensitivity> {
        if !self.tree.is_written("sensitivity") {
            return None;
        }
        let written: Written = self.section("sensitivity", &[])?;
        let rows = written.rows;
        self.demand((64..=100_000_000).contains(&rows), "sensitivity.rows", rows, "64 to 100000000");
        let outer_points = written.outer_points;
        let within = (4..=1000).contains(&outer_points);
        self.demand(within, "sensitivity.outer_points", outer_points, "4 to 1000");
        let ask = written.ask.iter().enumerate().filter_map(|(i, word)| self.question(i, word)).collect();
        let groups: Vec<_> = written.groups.into_iter().map(|(name, members)| Group { name, members }).collect();
        self.check_groups(&groups);
        Some(Sensitivity { groups, rows, ask, outer_points })
    }

    /// Indices of groups need groups that are independent, Shapley effects few groups.
    pub fn questions_faults(mut self, asked: Option<&Sensitivity>, variants: &[Variant]) -> Vec<Fault> {
        let Some(asked) = asked else { return self.faults };
        let groups = asked.all_groups();
        let ask = if self.tree.is_written("sensitivity.ask") { "sensitivity.ask" } else { "sensitivity" };
        if asked.asks(Question::Shapley) && groups.len() > MOST_GROUPS {
            let label = format!("found {} groups with the rest, expected at most {MOST_GROUPS}", groups.len());
            self.fault(ask, "too many groups for Shapley effects", label);
            self.mend("every set of groups is drawn anew: put sources that belong together into one group");
        }
        let holder = |id: &str| groups.iter().position(|group| group.holds(id));
        let apart = |variant: &Variant| {
            let joint = JointScores::of(&variant.model.noise.correlation);
            joint.pairs().map(|(pair, _)| pair).find(|[one, other]| holder(one.source.id) != holder(other.source.id))
        };
        let found = variants.iter().find_map(apart);
        if let (true, Some([one, other])) = (asked.asks(Question::Indices), found) {
            let label = format!("{} and {} are correlated and in different groups", one.id(), other.id());
            self.fault(ask, "indices of correlated groups say nothing", label);
            self.mend(
                "a share of the variance belongs to a group only if the groups are independent: put both into one group, or \
                 ask \"shapley\" in place of \"indices\"",
            );
        }
        self.faults
    }

    /// How limits on sources are searched for; `None` with faults.
    pub fn budgeting(&mut self) -> Option<Budgeting> {
        let Written { groups, cost, pair, assurance, .. } = self.section("sensitivity", &[])?;
        let known = |name: &str| groups.contains_key(name) || members().any(|id| begins(id, name));
        for (name, &relative) in &cost {
            let path = format!("sensitivity.cost.{name}");
            self.demand(known(name), &path, format_args!("`{name}`"), "a group or the beginning of a source's id");
            self.demand(relative > 0.0, &path, relative, "more than 0");
        }
        self.demand(matches!(pair.len(), 0 | 2), "sensitivity.pair", pair.len(), "two names, or none");
        for (i, name) in pair.iter().enumerate() {
            let path = format!("sensitivity.pair.{i}");
            self.demand(known(name), &path, format_args!("`{name}`"), "a group, or the id of a source in no group");
        }
        let within = 0.5 < assurance && assurance < 1.0;
        self.demand(within, "sensitivity.assurance", assurance, "more than 0.5 and less than 1");
        Some(Budgeting { cost, pair, assurance })
    }

    fn question(&mut self, index: usize, word: &str) -> Option<Question> {
        let found = QUESTIONS.into_iter().find(|question| question.word() == word);
        if found.is_none() {
            let words = QUESTIONS.map(Question::word);
            let label = format!("found \"{word}\", expected one of {}", words.join(", "));
            self.fault(&format!("sensitivity.ask.{index}"), "impossible value in `sensitivity.ask`", label);
            if let Some(near) = nearest(word, words) {
                self.mend(&format!("did you mean \"{near}\"?"));
            }
        }
        found
    }

    fn check_groups(&mut self, groups: &[Group]) {
        for group in groups {
            let path = format!("sensitivity.groups.{}", group.name);
            if group.name == REST || group.name.trim().is_empty() {
                let label = format!("found \"{}\", expected another name", group.name);
                self.fault(&path, "a group cannot have this name", label);
                self.mend("`rest` is the group of all that no other group names");
            }
            self.demand(!group.members.is_empty(), &path, "no member", "at least one source");
            for (i, member) in group.members.iter().enumerate() {
                self.check_member(&format!("{path}.{i}"), member);
            }
        }
        for id in members() {
            let holders: Vec<&Group> = groups.iter().filter(|group| group.holds(id)).collect();
            if let [one, other, ..] = holders[..] {
                let path = format!("sensitivity.groups.{}", other.name);
                self.fault(&path, format!("`{id}` is in two groups"), format!("it is in `{}` too", one.name));
                self.mend("a source is drawn anew with one group, so it belongs to one");
                return;
            }
        }
    }

    fn check_member(&mut self, path: &str, name: &str) {
        if members().any(|id| begins(id, name)) {
            return;
        }
        let fault = Fault::new(
            self.tree.span_of(path),
            format!("no noise source is called `{name}`"),
            "expected the id of a source, the beginning of one, anatomy, implant or protocol",
        );
        let near = nearest(name, members()).map(|near| format!("did you mean `{near}`?"));
        self.faults.push(fault.help_if(near));
    }
}
