//! Every drawn quantity of the noise sources as an input of the measurement: what its components are and how often a case
//! draws it.

use super::Noise;
use crate::simulation::Quantity;
use crate::simulation::model::Protocol;

/// One drawn quantity.
#[derive(Debug)]
pub struct Input<'n> {
    /// The source it belongs to.
    pub source: &'static str,
    /// Its key in the source.
    pub key: &'static str,
    /// Names of the components (or items) that are drawn from it, each by itself; empty for a single one.
    pub components: &'static [&'static str],
    /// How often a case draws each component.
    pub drawn: Drawn,
    /// The quantity.
    pub quantity: &'n mut Quantity,
}

/// How often a case draws a component of an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drawn {
    /// One value acts throughout.
    Once,
    /// Anew at each capture of a landmark.
    EachLandmarkCapture,
    /// Anew at each reading of the level.
    EachLevelReading,
    /// Many times: for each frame, marker, trace or seating.
    Repeatedly,
    /// Only where a rare event happens.
    Rarely,
}

impl Drawn {
    /// Whether one value acts throughout a case of this protocol.
    #[must_use]
    pub fn is_once(self, protocol: &Protocol) -> bool {
        match self {
            Self::Once => true,
            Self::EachLandmarkCapture => protocol.landmark_captures == 1,
            Self::EachLevelReading => protocol.level_captures == 1,
            Self::Repeatedly | Self::Rarely => false,
        }
    }
}

const ONE: &[&str] = &[];
const AXES: &[&str] = &["x", "y", "z"];
const PATIENT: &[&str] = &["anterior", "superior", "lateral"];
const TURN: &[&str] = &["flexion", "adduction", "internal_rotation"];
const SPINES: &[&str] = &["operated", "other"];
const TRANSVERSE: &[&str] = &["first", "second"];

impl Noise {
    /// Every drawn quantity, source by source in the order of the catalogue.
    pub fn inputs(&mut self) -> Vec<Input<'_>> {
        use Drawn::{EachLandmarkCapture, EachLevelReading, Once, Rarely, Repeatedly};
        let mut inputs = Vec::new();
        macro_rules! of {
            ($id:literal, $source:expr, $($key:ident $components:ident $drawn:ident),+) => {
                $(inputs.push(Input {
                    source: $id,
                    key: stringify!($key),
                    components: $components,
                    drawn: $drawn,
                    quantity: &mut $source.model.$key,
                });)+
            };
        }
        of!("tracker.jitter", self.tracker.jitter, across_mm ONE Repeatedly, along_mm ONE Repeatedly, pixel_px ONE Repeatedly);
        of!("tracker.build", self.tracker.build, each_axis_mm AXES Repeatedly);
        of!("camera.remount", self.camera.remount, rotation_deg AXES Once, translation_mm AXES Once);
        of!("camera.drift", self.camera.drift, rotation_deg AXES Once, translation_mm AXES Once, knock_rotation_deg AXES Rarely, knock_translation_mm AXES Rarely);
        of!("level.table", self.level.table, about_y_deg ONE Once, about_z_deg ONE Once);
        of!("level.sensor", self.level.sensor, offset_about_y_deg ONE Once, offset_about_z_deg ONE Once, noise_about_y_deg ONE EachLevelReading, noise_about_z_deg ONE EachLevelReading);
        of!("landmark.palpation.asis", self.landmark.palpation.asis, anterior_mm SPINES EachLandmarkCapture, superior_mm SPINES EachLandmarkCapture, lateral_mm SPINES EachLandmarkCapture);
        of!("landmark.palpation.pubis", self.landmark.palpation.pubis, anterior_mm ONE EachLandmarkCapture, superior_mm ONE EachLandmarkCapture, lateral_mm ONE EachLandmarkCapture);
        of!("landmark.tissue", self.landmark.tissue, factor ONE Once);
        of!("probe.tremor", self.probe.tremor, each_axis_mm PATIENT Repeatedly);
        of!("probe.attach", self.probe.attach, rotation_deg AXES Repeatedly, translation_mm AXES Repeatedly);
        of!("probe.slip", self.probe.slip, in_pivot_mm PATIENT Repeatedly, in_hold_mm PATIENT Rarely);
        of!("femur.groove", self.femur.groove, each_axis_mm PATIENT Repeatedly);
        of!("femur.motion", self.femur.motion, each_axis_mm PATIENT Repeatedly);
        of!("femur.loosening", self.femur.loosening, rotation_deg AXES Rarely, translation_mm AXES Rarely);
        of!("posture.baseline", self.posture.baseline, flexion_deg ONE Once, adduction_deg ONE Once, internal_rotation_deg ONE Once);
        of!("posture.reduction", self.posture.reduction, flexion_deg ONE Once, adduction_deg ONE Once, internal_rotation_deg ONE Once);
        of!("centre.native", self.centre.native, anterior_mm ONE Repeatedly, superior_mm ONE Repeatedly, lateral_mm ONE Repeatedly);
        of!("cup.attach", self.cup.attach, transverse_deg TRANSVERSE Once);
        of!("cup.runout", self.cup.runout, transverse_deg TRANSVERSE Once);
        of!("cup.seating", self.cup.seating, each_axis_deg TURN Once);
        inputs
    }
}

#[cfg(test)]
mod tests {
    use crate::experiment::Plan;
    use std::collections::BTreeSet;

    /// What the written form of the noise has as a distribution is an input, and nothing else.
    #[test]
    fn identity_every_distribution_is_an_input() {
        let plan = Plan::parse("all.toml", "seed = 1").expect("a file of defaults");
        let mut noise = plan.variants[0].model.noise.clone();
        let written = serde_json::to_value(&noise).expect("plain data");
        let mut expected = BTreeSet::new();
        collect(&written, "", &mut expected);
        let found: BTreeSet<String> =
            noise.inputs().iter().map(|input| format!("{}.{}", input.source, input.key)).collect();
        assert_eq!(found, expected);
        assert!(noise.inputs().iter().all(|input| input.components.len() <= 3));
    }

    fn collect(value: &serde_json::Value, path: &str, found: &mut BTreeSet<String>) {
        let Some(table) = value.as_object() else { return };
        for (key, inner) in table {
            if crate::simulation::DISTRIBUTIONS.contains(&key.as_str()) {
                found.insert(path.to_owned());
                return;
            }
            collect(inner, &if path.is_empty() { key.clone() } else { format!("{path}.{key}") }, found);
        }
    }
}
