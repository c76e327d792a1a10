//! What is to be shown of an output: limits with a proportion and a confidence, alone or together.

use super::spec::{Reader, WrittenJoint, WrittenRequirement, impossible};
use crate::analysis::Direction;
use crate::measurement::{OUTPUTS, Output, Unit};

/// A limit on the error of an output, to be shown for a proportion of cases with a confidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Requirement {
    /// Its id.
    pub id: String,
    /// Id in the user's risk file.
    pub risk: Option<String>,
    /// The requirement in words.
    pub text: String,
    /// The output it limits.
    pub output: Output,
    /// Limit of the error, in the output's unit.
    pub limit: f64,
    /// Which errors it limits.
    pub direction: Direction,
    /// Guard band within the limit, in the output's unit: a pass must hold it.
    pub guard: f64,
    /// Proportion of cases within the limit, between 0 and 1.
    pub proportion: f64,
    /// Confidence with which the proportion is shown, between 0 and 1.
    pub confidence: f64,
}

/// Several limits, to be held in the same case by a proportion of cases, with a confidence.
#[derive(Clone, Debug, PartialEq)]
pub struct JointRequirement {
    /// Its id.
    pub id: String,
    /// Id in the user's risk file.
    pub risk: Option<String>,
    /// The requirement in words.
    pub text: String,
    /// Indices of the requirements whose limits are meant, in the order of the file.
    pub members: Vec<usize>,
    /// Proportion of cases within all limits, between 0 and 1.
    pub proportion: f64,
    /// Confidence with which the proportion is shown, between 0 and 1.
    pub confidence: f64,
}

impl Reader<'_, '_> {
    fn requirement(&mut self, index: usize) -> Option<Requirement> {
        let at = |key: &str| format!("requirement.{index}.{key}");
        let output = self.choice(&at("output"), &OUTPUTS, Output::id);
        let written: WrittenRequirement = self.section(&format!("requirement.{index}"), &["output", "direction"])?;
        let output = output?;
        self.demand_asked(&at("output"), output);
        let (own, limit, other, stray) = match output.unit() {
            Unit::Degrees => ("limit_deg", written.limit_deg, "limit_mm", written.limit_mm),
            Unit::Millimetres => ("limit_mm", written.limit_mm, "limit_deg", written.limit_deg),
        };
        let unit = if output.unit() == Unit::Degrees { "degrees" } else { "mm" };
        if stray.is_some() {
            let message = format!("the limit of requirement \"{}\" has the wrong unit", written.id);
            self.fault(&at(other), message, format!("found `{other}`, expected `{own}`"));
            self.mend(&format!("{} is read in {unit}", output.id()));
        } else if limit.is_none() {
            let message = format!("requirement \"{}\" has no limit", written.id);
            self.fault(&format!("requirement.{index}"), message, format!("expected `{own} = ...` here"));
        }
        if let Some(limit) = limit {
            self.demand(limit > 0.0, &at(own), limit, "more than 0");
        }
        self.proportion_and_confidence(index, written.proportion, written.confidence);
        let direction = match self.tree.get(&at("direction")) {
            Some(_) => self.choice(&at("direction"), &Direction::ALL, Direction::word),
            None => Some(Direction::Either),
        };
        let (own, guard, stray) = match output.unit() {
            Unit::Degrees => ("guard_deg", written.guard_deg, written.guard_mm),
            Unit::Millimetres => ("guard_mm", written.guard_mm, written.guard_deg),
        };
        if stray.is_some() {
            let message = format!("the guard band of requirement \"{}\" has the wrong unit", written.id);
            self.fault(&format!("requirement.{index}"), message, format!("expected `{own}`"));
        }
        let guard = guard.unwrap_or(0.0);
        let room = limit.unwrap_or(f64::INFINITY);
        self.demand((0.0..room).contains(&guard), &at(own), guard, "0 or more, and less than the limit");
        let WrittenRequirement { id, risk, text, proportion, confidence, .. } = written;
        let (limit, direction) = (limit?, direction?);
        Some(Requirement { id, risk, text, output, limit, direction, guard, proportion, confidence })
    }

    /// All requirements, and those that join others.
    pub fn requirements(&mut self) -> Option<(Vec<Requirement>, Vec<JointRequirement>)> {
        let (mut single, mut joint, mut ids) = (Vec::new(), Vec::new(), Vec::new());
        for index in 0..self.count("requirement") {
            if self.tree.get(&format!("requirement.{index}.all_of")).is_some() {
                let written: Option<WrittenJoint> = self.value(&format!("requirement.{index}"));
                ids.push(written.as_ref().map(|written| written.id.clone()));
                joint.push((index, written));
            } else {
                let requirement = self.requirement(index);
                ids.push(requirement.as_ref().map(|requirement| requirement.id.clone()));
                single.push(requirement);
            }
        }
        let single = single.into_iter().collect::<Option<Vec<_>>>()?;
        let ids = ids.into_iter().collect::<Option<Vec<_>>>()?;
        let joint = joint.into_iter().map(|(index, written)| self.joint(index, written?, &single));
        let joint = joint.collect::<Option<Vec<_>>>()?;
        self.distinct("requirement", "id", &ids.iter().map(String::as_str).collect::<Vec<_>>());
        Some((single, joint))
    }

    fn joint(&mut self, index: usize, written: WrittenJoint, single: &[Requirement]) -> Option<JointRequirement> {
        let at = |key: &str| format!("requirement.{index}.{key}");
        self.proportion_and_confidence(index, written.proportion, written.confidence);
        let mut members = Vec::new();
        for id in &written.all_of {
            match single.iter().position(|requirement| requirement.id == *id) {
                Some(member) if !members.contains(&member) => members.push(member),
                Some(_) => self.fault(&at("all_of"), impossible(&at("all_of")), format!("found \"{id}\" twice")),
                None => {
                    let known: Vec<_> = single.iter().map(|requirement| requirement.id.as_str()).collect();
                    let label =
                        format!("found \"{id}\", expected ids of requirements with a limit: {}", known.join(", "));
                    self.fault(&at("all_of"), impossible(&at("all_of")), label);
                }
            }
        }
        self.demand(written.all_of.len() > 1, &at("all_of"), written.all_of.len(), "two ids or more");
        let WrittenJoint { id, risk, text, proportion, confidence, .. } = written;
        (members.len() > 1).then_some(JointRequirement { id, risk, text, members, proportion, confidence })
    }

    fn proportion_and_confidence(&mut self, index: usize, proportion: f64, confidence: f64) {
        for (key, value) in [("proportion", proportion), ("confidence", confidence)] {
            self.demand(
                0.0 < value && value < 1.0,
                &format!("requirement.{index}.{key}"),
                value,
                "more than 0 and less than 1",
            );
            if value > 1.0 && value < 100.0 {
                self.mend(&format!("{value} % is written {}", value / 100.0));
            }
        }
    }
}
