//! `[measure]` beyond plane and feature: the pivot estimator and the population template, as the measurement is told them.

use super::spec::Reader;
use crate::measurement::{PivotEstimator, Side, Template, TemplateShape};

impl Reader<'_, '_> {
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
