//! Every drawn quantity of the noise sources as an input of the measurement: what its components are and how often a case
//! draws it.

use super::Noise;
use super::catalogue::SOURCES;
use super::entry::CovarianceEntry;
use crate::simulation::Quantity;
use crate::simulation::covariance::Covariance;
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

impl Noise {
    /// Magnitudes that a scale multiplies but that are no distribution: source, key and value.
    #[must_use]
    pub fn fixed_magnitudes(&self) -> [(&'static str, &'static str, f64); 4] {
        let (lens, tissue) = (&self.tracker.lens.model, &self.landmark.tissue.model);
        [
            ("tracker.lens", "rms_mm", lens.rms_mm),
            ("landmark.tissue", "asis_mm", tissue.asis_mm),
            ("landmark.tissue", "pubis_mm", tissue.pubis_mm),
            ("centre.liner", "radial_clearance_mm", self.centre.liner.model.radial_clearance_mm),
        ]
    }
}

/// A covariance that may stand in place of quantities.
#[derive(Debug)]
pub struct CovarianceInput<'n> {
    /// The source it belongs to.
    pub source: &'static str,
    /// What the catalogue says of it.
    pub entry: &'static CovarianceEntry,
    /// The covariance, where one is given.
    pub covariance: &'n mut Option<Covariance>,
}

impl Noise {
    /// Every covariance, source by source in the order of the catalogue.
    pub fn covariances(&mut self) -> Vec<CovarianceInput<'_>> {
        let (landmark, femur, posture) = (&mut self.landmark.palpation, &mut self.femur, &mut self.posture);
        let (remount, drift) = (&mut self.camera.remount.model, &mut self.camera.drift.model);
        let (tremor, attach) = (&mut self.probe.tremor.model, &mut self.probe.attach.model);
        let all = [
            ("camera.remount", &mut remount.rotation_covariance_deg2),
            ("camera.remount", &mut remount.translation_covariance_mm2),
            ("camera.drift", &mut drift.rotation_covariance_deg2),
            ("camera.drift", &mut drift.translation_covariance_mm2),
            ("landmark.palpation.asis", &mut landmark.asis.model.covariance_mm2),
            ("landmark.palpation.pubis", &mut landmark.pubis.model.covariance_mm2),
            ("probe.tremor", &mut tremor.covariance_mm2),
            ("probe.attach", &mut attach.rotation_covariance_deg2),
            ("probe.attach", &mut attach.translation_covariance_mm2),
            ("femur.groove", &mut femur.groove.model.covariance_mm2),
            ("femur.motion", &mut femur.motion.model.covariance_mm2),
            ("posture.baseline", &mut posture.baseline.model.covariance_deg2),
            ("posture.reduction", &mut posture.reduction.model.covariance_deg2),
            ("centre.native", &mut self.centre.native.model.covariance_mm2),
            ("cup.seating", &mut self.cup.seating.model.covariance_deg2),
        ];
        let mut listed = Vec::with_capacity(all.len());
        let mut entries = SOURCES.iter().flat_map(|source| source.covariances.iter().map(|entry| (source.id, entry)));
        for (source, covariance) in all {
            // Both lists are in the order of the catalogue, which a test checks.
            if let Some((_, entry)) = entries.next().filter(|(id, _)| *id == source) {
                listed.push(CovarianceInput { source, entry, covariance });
            }
        }
        listed
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

    #[test]
    fn identity_every_covariance_of_the_catalogue_is_listed() {
        let plan = Plan::parse("all.toml", "seed = 1").expect("a file of defaults");
        let mut noise = plan.variants[0].model.noise.clone();
        let found: Vec<_> = noise.covariances().iter().map(|found| (found.source, found.entry.key)).collect();
        let catalogue = super::SOURCES.iter();
        let expected: Vec<_> =
            catalogue.flat_map(|source| source.covariances.iter().map(|entry| (source.id, entry.key))).collect();
        assert_eq!(found, expected);
        // Each is the one that its key names.
        for (place, (source, key)) in found.into_iter().enumerate() {
            let mut noise = plan.variants[0].model.noise.clone();
            *noise.covariances()[place].covariance =
                Some(super::Covariance::new([[1.0, 0.0, 0.0]; 3].map(|_| [0.0; 3])).expect("flat"));
            let written = serde_json::to_value(&noise).expect("plain data");
            let table = source.split('.').fold(&written, |table, part| &table[part]);
            assert!(!table[key].is_null(), "{source}.{key}");
        }
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
