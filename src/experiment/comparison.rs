//! `[[comparison]]`: what is claimed of two arms before their trials are run, and which of these claims are judged.

use super::diagnostics::Fault;
use super::nearest::nearest;
use super::overrides::WrittenArm;
use super::plan::Variant;
use super::spec::Reader;
use crate::analysis::claim::Claim;
use crate::analysis::multiplicity::Multiplicity;
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
    /// Whether it is judged, with all other primary claims as one family; otherwise it is exploratory.
    pub primary: bool,
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
    #[serde(default)]
    primary: bool,
}

impl Reader<'_, '_> {
    /// The claims, in the order of the file.
    pub fn comparisons(&mut self, arms: &[WrittenArm]) -> Vec<Comparison> {
        let found: Vec<_> = (0..self.count("comparison")).filter_map(|index| self.comparison(index, arms)).collect();
        let ids: Vec<&str> = found.iter().map(|comparison| comparison.id.as_str()).collect();
        self.distinct("comparison", "id", &ids);
        // The family of primary claims has one level.
        let mut primary = found.iter().enumerate().filter(|(_, comparison)| comparison.primary);
        if let Some((_, first)) = primary.next() {
            for (index, other) in primary.filter(|(_, other)| other.confidence != first.confidence) {
                let expected =
                    format!("{}, the confidence of the primary comparison \"{}\"", first.confidence, first.id);
                self.demand(false, &format!("comparison.{index}.confidence"), other.confidence, &expected);
            }
        }
        found
    }

    /// How primary claims are tested together.
    pub fn multiplicity(&mut self) -> Option<Multiplicity> {
        self.choice("multiplicity", &Multiplicity::ALL, Multiplicity::word)
    }

    /// Claims on arms whose errors are errors of different quantities.
    pub fn estimand_faults(&self, comparisons: &[Comparison], variants: &[Variant]) -> Vec<Fault> {
        let fault = |(index, claim): (usize, &Comparison)| {
            let of = |name: &str| variants.iter().filter(|variant| variant.arm == name).collect::<Vec<_>>();
            let (arm, against) = (of(&claim.arm), of(&claim.against));
            let differ = |(a, b): (&&Variant, &&Variant)| a.estimand(claim.output) != b.estimand(claim.output);
            let (a, b) = arm.iter().zip(&against).find(|pair| differ(*pair))?;
            let path = format!("comparison.{index}.against");
            let label = format!(
                "found \"{}\": {}; \"{}\": {}",
                claim.arm,
                a.estimand(claim.output),
                claim.against,
                b.estimand(claim.output)
            );
            let message = format!("the arms of comparison \"{}\" have different estimands", claim.id);
            let fault = Fault::new(self.tree.span_of(&path), message, label);
            Some(fault.help(
                "set measure.measurand_plane and measure.angles alike in both arms, or leave the comparison out",
            ))
        };
        comparisons.iter().enumerate().filter_map(fault).collect()
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
        match claim {
            Claim::Better => self.demand(margin >= 0.0, &at(own), margin, "0 or more"),
            Claim::Equivalent | Claim::NotWorse => self.demand(margin > 0.0, &at(own), margin, "more than 0"),
        }
        let within = 0.5 < written.confidence && written.confidence < 1.0;
        self.demand(within, &at("confidence"), written.confidence, "more than 0.5 and less than 1");
        if measure == Measure::Bias && claim != Claim::Equivalent {
            let message = "a larger bias is not a worse one: it has a sign".to_owned();
            self.fault(&at("claim"), message, format!("found \"{}\", expected \"equivalent\"", claim.word()));
            self.mend("or compare rms, which holds the bias and grows with its size whatever its sign");
        }
        let Written { id, text, arm, against, confidence, primary, .. } = written;
        Some(Comparison { id, text, arm, against, output, measure, claim, margin, confidence, primary })
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
