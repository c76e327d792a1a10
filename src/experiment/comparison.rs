//! `[[comparison]]`: what is claimed of two arms before their trials are run.

use super::diagnostics::Fault;
use super::nearest::nearest;
use super::overrides::WrittenArm;
use super::spec::Reader;
use crate::analysis::claim::Claim;
use crate::analysis::paired::Measure;
use crate::measurement::{OUTPUTS, Output, Unit};
use serde::Deserialize;

/// A claim on two arms, with its margin.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Its id.
    pub id: String,
    /// The claim in words.
    pub text: String,
    /// The arm that the claim is about.
    pub arm: String,
    /// The arm that it is held against.
    pub against: String,
    /// The output whose errors are compared.
    pub output: Output,
    /// What is compared of them.
    pub measure: Measure,
    /// What is claimed.
    pub claim: Claim,
    /// Margin of the difference, in the unit of the output.
    pub margin: f64,
    /// Confidence of each one-sided test.
    pub confidence: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    id: String,
    text: String,
    arm: String,
    against: String,
    margin_deg: Option<f64>,
    margin_mm: Option<f64>,
    confidence: f64,
}

impl Reader<'_, '_> {
    /// The claims, in the order of the file.
    pub fn comparisons(&mut self, arms: &[WrittenArm]) -> Vec<Comparison> {
        let found: Vec<_> = (0..self.count("comparison")).filter_map(|index| self.comparison(index, arms)).collect();
        let ids: Vec<&str> = found.iter().map(|comparison| comparison.id.as_str()).collect();
        self.distinct("comparison", "id", &ids);
        found
    }

    fn comparison(&mut self, index: usize, arms: &[WrittenArm]) -> Option<Comparison> {
        let at = |key: &str| format!("comparison.{index}.{key}");
        let output = self.choice(&at("output"), &OUTPUTS, Output::id);
        let measure = self.choice(&at("measure"), &Measure::MAGNITUDES, Measure::id);
        let claim = self.choice(&at("claim"), &Claim::ALL, Claim::word);
        let written: Written = self.section(&format!("comparison.{index}"), &["output", "measure", "claim"])?;
        let (output, measure, claim) = (output?, measure?, claim?);
        self.demand_asked(&at("output"), output);
        for (key, name) in [("arm", &written.arm), ("against", &written.against)] {
            self.known_arm(&at(key), name, arms);
        }
        self.demand(written.arm != written.against, &at("against"), "the same arm", "another arm");
        let (own, margin, stray) = match output.unit() {
            Unit::Degrees => ("margin_deg", written.margin_deg, written.margin_mm),
            Unit::Millimetres => ("margin_mm", written.margin_mm, written.margin_deg),
        };
        if stray.is_some() || margin.is_none() {
            let message = format!("comparison \"{}\" has no margin in the unit of its output", written.id);
            self.fault(&format!("comparison.{index}"), message, format!("expected `{own} = ...` here"));
        }
        let margin = margin?;
        self.demand(margin > 0.0, &at(own), margin, "more than 0");
        let within = 0.5 < written.confidence && written.confidence < 1.0;
        self.demand(within, &at("confidence"), written.confidence, "more than 0.5 and less than 1");
        if measure == Measure::Bias && claim == Claim::NotWorse {
            let message = "a bias is not worse for being larger".to_owned();
            self.fault(&at("claim"), message, "found \"not-worse\", expected \"equivalent\"");
            self.mend("or compare rms, which holds the bias and grows with its size whatever its sign");
        }
        let Written { id, text, arm, against, confidence, .. } = written;
        Some(Comparison { id, text, arm, against, output, measure, claim, margin, confidence })
    }

    fn known_arm(&mut self, path: &str, name: &str, arms: &[WrittenArm]) {
        if arms.iter().any(|arm| arm.name == name) {
            return;
        }
        let names: Vec<&str> = arms.iter().map(|arm| arm.name.as_str()).collect();
        let fault = Fault::new(
            self.tree.span_of(path),
            format!("no arm is called \"{name}\""),
            format!("expected one of {}", names.join(", ")),
        );
        let near = nearest(name, names.iter().copied()).map(|near| format!("did you mean \"{near}\"?"));
        self.faults.push(fault.help_if(near));
    }
}
