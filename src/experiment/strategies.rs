//! `[measure]` beyond plane and feature: what is asked for, the pivot estimator and the population template, as the
//! measurement is told them.

use super::diagnostics::Fault;
use super::plan::Variant;
use super::spec::Reader;
use crate::measurement::{Asked, OUTPUTS, Output, PivotEstimator, Side, Template, TemplateShape};

impl Variant {
    /// The line of `measure.outputs` in a file; blank where all are asked for, as they are without it.
    #[must_use]
    pub fn outputs_line(&self) -> String {
        let ids: Vec<&str> = self.procedure.asked.outputs().map(Output::id).collect();
        if self.procedure.asked == Asked::ALL { String::new() } else { format!("outputs = {ids:?}\n") }
    }
}

impl Reader<'_, '_> {
    /// The outputs of `measure.outputs`: at least one, each once.
    pub fn asked(&mut self) -> Option<Asked> {
        const PATH: &str = "measure.outputs";
        let ids: Vec<String> = self.value(PATH)?;
        let mut outputs = Vec::new();
        for id in &ids {
            let found = Output::from_id(id);
            let expected = format!("each of {} once at most", OUTPUTS.map(Output::id).join(", "));
            self.demand(found.is_some_and(|output| !outputs.contains(&output)), PATH, format!("\"{id}\""), &expected);
            outputs.extend(found);
        }
        self.demand(!ids.is_empty(), PATH, "none", "at least one output");
        Some(Asked::of(&outputs))
    }

    /// Demands that an output of which a section speaks is asked for.
    pub fn demand_asked(&mut self, path: &str, output: Output) {
        let asked = Reader::new(self.tree).asked();
        let is_asked = asked.is_none_or(|asked| asked.has(output));
        self.demand(is_asked, path, output.id(), "one of the outputs in measure.outputs, which are asked for");
    }

    /// What is wrong where variants do not all ask for the same outputs.
    pub fn asked_faults(mut self, variants: &[Variant]) -> Vec<Fault> {
        let other = variants.iter().find(|variant| variant.procedure.asked != variants[0].procedure.asked);
        if let Some(other) = other {
            let found = format!("others in arm \"{}\"", other.arm);
            self.demand(false, "measure.outputs", found, "the same in every arm and at every point");
        }
        self.faults
    }

    pub fn pivot_estimator(&mut self) -> Option<PivotEstimator> {
        self.choice("measure.pivot", &PivotEstimator::ALL, PivotEstimator::word)
    }

    pub fn template(&mut self, side: Side) -> Option<(TemplateShape, Template)> {
        let at = |key: &str| format!("measure.template.{key}");
        let shape = TemplateShape {
            asis_width_mm: self.value(&at("asis_width_mm"))?,
            asis_width_sd_mm: self.value(&at("asis_width_sd_mm"))?,
            pubis_drop_mm: self.value(&at("pubis_drop_mm"))?,
            pubis_drop_sd_mm: self.value(&at("pubis_drop_sd_mm"))?,
            hip_ratio: self.value(&at("hip_ratio"))?,
            hip_sd_mm: self.value(&at("hip_sd_mm"))?,
            asis_sd_mm: self.value(&at("asis_sd_mm"))?,
            pubis_sd_mm: self.value(&at("pubis_sd_mm"))?,
            centre_sd_mm: self.value(&at("centre_sd_mm"))?,
        };
        for (key, size) in [("asis_width_mm", shape.asis_width_mm), ("pubis_drop_mm", shape.pubis_drop_mm)] {
            self.demand(size > 0.0, &at(key), size, "more than 0");
        }
        for (key, sd) in [("asis_width_sd_mm", shape.asis_width_sd_mm), ("pubis_drop_sd_mm", shape.pubis_drop_sd_mm)]
        {
            self.demand(sd >= 0.0, &at(key), sd, "0 or more");
        }
        self.demand(shape.hip_sd_mm.iter().all(|&sd| sd >= 0.0), &at("hip_sd_mm"), "less than 0", "0 or more");
        for (key, sds) in [
            ("asis_sd_mm", shape.asis_sd_mm),
            ("pubis_sd_mm", shape.pubis_sd_mm),
            ("centre_sd_mm", shape.centre_sd_mm),
        ] {
            let least = sds.into_iter().fold(f64::INFINITY, f64::min);
            self.demand(
                least > 0.0,
                &at(key),
                least,
                "more than 0: a point that is never missed has an infinite weight",
            );
        }
        match Template::new(&shape, side) {
            Ok(template) => Some((shape, template)),
            Err(error) => {
                self.fault("measure.template", error.to_string(), "found standard deviations too far apart");
                None
            }
        }
    }
}
