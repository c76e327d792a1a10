//! The noise sources: one file for each family, and the catalogue that lists them all.

mod camera;
mod catalogue;
mod centre;
mod component;
mod correlation;
mod cup;
mod entry;
mod femur;
mod inputs;
mod landmark;
mod level;
mod posture;
mod probe;
mod tracker;

pub use camera::{CameraNoise, Drift, DriftPath, Remount, rotation_then_translation};
pub use catalogue::SOURCES;
pub use centre::{CentreNoise, Liner, NativeCentre};
pub use component::{Component, NameFault, Selection, components_of};
pub use correlation::{Correlation, JointScores, Mismatch, pairs};
pub use cup::{CupNoise, Seating, TransverseTilt};
pub use entry::{CovarianceEntry, Parameter, SourceEntry};
pub use femur::{FemurNoise, Groove, Loosening, Motion};
pub use inputs::{CovarianceInput, Drawn, Input};
pub use landmark::{LandmarkNoise, Palpation, PalpationNoise, Tissue};
pub use level::{LevelNoise, LevelSensor, LevelTable};
pub use posture::{Posture, PostureNoise};
pub use probe::{HoldSlip, ProbeNoise, Seat, Slip, Tremor};
pub use tracker::{
    Build, Jitter, Lens, LensField, REFERENCE_DISTANCE_MM, TrackerNoise, VOLUME_CENTRE_MM, VOLUME_HALF_EDGE_MM,
};

use super::source::Switch;
use super::streams::source_key;
use serde::{Deserialize, Serialize};

/// Every noise source of a case, by family.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Noise {
    /// What the camera sees of a tracker.
    pub tracker: TrackerNoise,
    /// The camera's seat on the pelvis.
    pub camera: CameraNoise,
    /// The level reading.
    pub level: LevelNoise,
    /// Touching landmarks.
    pub landmark: LandmarkNoise,
    /// The probe and the hand that holds it.
    pub probe: ProbeNoise,
    /// The feature on the femur.
    pub femur: FemurNoise,
    /// How the leg lies.
    pub posture: PostureNoise,
    /// Turning points of the hip.
    pub centre: CentreNoise,
    /// The cup and its inserter.
    pub cup: CupNoise,
    /// Components of sources whose scores are correlated.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub correlation: Vec<Correlation>,
}

impl Noise {
    /// The switches of all sources, in the order of [`SOURCES`].
    pub fn switches(&mut self) -> [(&'static SourceEntry, &mut Switch); SOURCES.len()] {
        let switches = [
            &mut self.tracker.jitter.switch,
            &mut self.tracker.lens.switch,
            &mut self.tracker.build.switch,
            &mut self.camera.remount.switch,
            &mut self.camera.drift.switch,
            &mut self.level.table.switch,
            &mut self.level.sensor.switch,
            &mut self.landmark.palpation.asis.switch,
            &mut self.landmark.palpation.pubis.switch,
            &mut self.landmark.tissue.switch,
            &mut self.probe.tremor.switch,
            &mut self.probe.attach.switch,
            &mut self.probe.slip.switch,
            &mut self.femur.groove.switch,
            &mut self.femur.motion.switch,
            &mut self.femur.loosening.switch,
            &mut self.posture.baseline.switch,
            &mut self.posture.reduction.switch,
            &mut self.centre.native.switch,
            &mut self.centre.liner.switch,
            &mut self.cup.attach.switch,
            &mut self.cup.runout.switch,
            &mut self.cup.seating.switch,
        ];
        let mut entries = SOURCES.iter();
        switches.map(|switch| {
            // Both arrays have the same length, which the return type checks.
            let entry = entries.next().unwrap_or(&SOURCES[0]);
            (entry, switch)
        })
    }

    /// Rare events of sources that draw something else too: source, name and probability.
    #[must_use]
    pub const fn events(&self) -> [(&'static str, &'static str, f64); 2] {
        [
            ("camera.drift", "knock", self.camera.drift.model.knock_probability),
            ("probe.slip", "slip in a hold", self.probe.slip.model.in_hold_probability),
        ]
    }

    /// Sets the stream key of every source and the scale that `scale_of` gives for its id, and lays the correlations over
    /// the streams.
    pub fn switch(&mut self, mut scale_of: impl FnMut(&SourceEntry) -> f64) {
        for (entry, switch) in self.switches() {
            switch.key = source_key(entry.id);
            switch.scale = scale_of(entry);
        }
        self.correlate();
    }

    /// The proportion of the variance of a landmark's scores that repeats within a case; `None` for other sources.
    #[must_use]
    pub fn case_share(&self, source: &str) -> Option<f64> {
        let PalpationNoise { asis, pubis } = &self.landmark.palpation;
        match source {
            "landmark.palpation.asis" => Some(asis.model.case_share),
            "landmark.palpation.pubis" => Some(pubis.model.case_share),
            _ => None,
        }
    }
}
