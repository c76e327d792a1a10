//! Values that could be read but cannot be: each check names what was found and what was expected.

use super::spec::Reader;
use crate::geometry::{Displacement, Vector3};
use crate::simulation::model::{CameraPlace, Model, Mount, Protocol, Reduction, Tools};
use crate::simulation::noise::{Noise, SOURCES};
use crate::simulation::{Anatomy, CameraModel, Implant, PoseFactor, Quantity, Shape};

/// A camera on a stand that is nearer to the pelvis tracker has not been given a place of its own.
const NEAREST_STAND_MM: f64 = 150.0;

/// More frames or captures than this are a slip of the finger.
const MOST_FRAMES: usize = 100_000;

const TRUNCATE: &str = "to cut off tails that nobody has, write truncated = [low, high] inside the distribution";

impl Reader<'_, '_> {
    pub fn check_protocol(&mut self, protocol: &Protocol) {
        let counts = [
            ("tip_pivot_frames", protocol.tip_pivot_frames, 3),
            ("centre_frames", protocol.centre_frames, 3),
            ("trace_frames", protocol.trace_frames, 12),
            ("landmark_frames", protocol.landmark_frames, 1),
            ("divot_frames", protocol.divot_frames, 1),
            ("cup_frames", protocol.cup_frames, 1),
            ("landmark_captures", protocol.landmark_captures as usize, 1),
            ("divot_captures", protocol.divot_captures as usize, 1),
            ("trace_captures", protocol.trace_captures as usize, 1),
            ("level_captures", protocol.level_captures as usize, 1),
        ];
        for (key, found, least) in counts {
            let holds = (least..=MOST_FRAMES).contains(&found);
            self.demand(holds, &format!("protocol.{key}"), found, &format!("{least} to {MOST_FRAMES}"));
        }
        for (key, cone) in
            [("tip_pivot_cone_deg", protocol.tip_pivot_cone_deg), ("centre_cone_deg", protocol.centre_cone_deg)]
        {
            let holds = 0.0 < cone && cone < 90.0;
            self.demand(holds, &format!("protocol.{key}"), cone, "more than 0 and less than 90 degrees");
        }
        self.positive("protocol.frame_rate_hz", protocol.frame_rate_hz);
        let [anterior, superior, lateral] = protocol.hold_direction;
        self.demand(
            libm::hypot(libm::hypot(anterior, superior), lateral) > 0.0,
            "protocol.hold_direction",
            format!("[{anterior}, {superior}, {lateral}]"),
            "a direction (anterior, superior, lateral), any length but 0",
        );
        if let Some(limit_mm) = protocol.stillness_limit_mm {
            self.positive("protocol.stillness_limit_mm", limit_mm);
        }
        let tries = protocol.stillness_tries;
        self.demand((1..=100).contains(&tries), "protocol.stillness_tries", tries, "1 to 100");
        let unevenness = protocol.trace_unevenness;
        self.demand((0.0..=0.9).contains(&unevenness), "protocol.trace_unevenness", unevenness, "0 to 0.9");
    }

    pub fn check_tools(&mut self, tools: &Tools) {
        self.positive("tools.inserter_length_mm", tools.inserter_length_mm);
        self.positive("tools.circle_radius_mm", tools.circle_radius_mm);
        let [major, minor] = tools.ellipse_semi_axes_mm;
        self.demand(
            major > minor && minor > 0.0,
            "tools.ellipse_semi_axes_mm",
            format!("[{major}, {minor}]"),
            "the major semi-axis first, then a smaller one above 0",
        );
        let [anterior, superior, lateral] = tools.feature_normal;
        let across = libm::hypot(anterior, lateral);
        let length = libm::hypot(across, superior);
        self.demand(
            length > 0.0 && across > 0.01 * length,
            "tools.feature_normal",
            format!("[{anterior}, {superior}, {lateral}]"),
            "a direction that does not run along the superior axis (anterior, superior, lateral)",
        );
    }

    /// A camera on a stand sees the tracker on the pelvis from some way off.
    pub fn check_mount(&mut self, camera: &CameraPlace) {
        let apart: Displacement<()> =
            Displacement::from_vector(Vector3::from(camera.position_mm) - Vector3::from(camera.pelvis_tracker_mm));
        if camera.mount == Mount::Stand && !(apart.length() >= NEAREST_STAND_MM) {
            let found = format!("{:.0} mm from the tracker on the pelvis", apart.length());
            self.demand(false, "camera.position_mm", found, &format!("{NEAREST_STAND_MM} mm or more"));
            self.mend(
                "camera.mount is \"stand\": say in camera.position_mm where the stand puts the camera, from the spine of the \
                 operated side, anterior, superior, lateral, for example [800.0, 500.0, 600.0]",
            );
        }
    }

    /// A pelvis that no patient has would give errors that mean nothing.
    pub fn check_pelvis(&mut self, anatomy: &Anatomy) {
        let width_stands = self.within("anatomy.asis_width_mm", &anatomy.asis_width_mm, (100.0, 500.0), "mm");
        self.within("anatomy.pubis_drop_mm", &anatomy.pubis_drop_mm, (30.0, 250.0), "mm");
        self.within("anatomy.femoral_offset_mm", &anatomy.femoral_offset_mm, (0.0, 120.0), "mm");
        self.within("anatomy.neck_shaft_angle_deg", &anatomy.neck_shaft_angle_deg, (91.0, 179.0), "degrees");
        let (ratio, width) = (anatomy.hip_lateral_ratio.practical_range(), anatomy.asis_width_mm.practical_range());
        let innermost_mm = ratio.0 * width.0 + anatomy.hip_lateral_mm.practical_range().0;
        if width_stands && !(ratio.0 > 0.0 && innermost_mm > 0.0) {
            let path = if ratio.0 > 0.0 { "anatomy.hip_lateral_mm" } else { "anatomy.hip_lateral_ratio" };
            let found = format!("found hips down to {innermost_mm:.1} mm from the midline, expected more than 0");
            self.fault(path, format!("impossible patients in `{path}`"), found);
            self.mend(&format!(
                "lateral is towards the operated side, and each hip lies on its own; the smallest ratio is {:.3} and \
                 the smallest width {:.1} mm; {TRUNCATE}",
                ratio.0, width.0
            ));
        }
    }

    pub fn check_implant(&mut self, implant: &Implant) {
        self.within("implant.inclination_deg", &implant.inclination_deg, (-90.0, 180.0), "degrees");
        self.within("implant.anteversion_deg", &implant.anteversion_deg, (-90.0, 90.0), "degrees");
    }

    pub fn check_reductions(&mut self, reductions: &[Reduction]) {
        self.demand(!reductions.is_empty(), "reduction", "no reduction", "at least one");
        self.demand(reductions.len() < 256, "reduction", reductions.len(), "fewer than 256");
        let names: Vec<_> = reductions.iter().map(|reduction| reduction.name.as_str()).collect();
        self.distinct("reduction", "name", &names);
    }

    /// A camera that gives poses draws them from a covariance.
    pub fn check_pose_camera(&mut self, model: &Model) {
        if let Some(covariance) = model.camera.stated_covariance() {
            let path = "camera.pose_covariance";
            let asymmetry = (covariance - covariance.transpose()).amax();
            let eigenvalues = covariance.symmetric_eigenvalues();
            if asymmetry > 1e-9 * covariance.amax() {
                self.demand(
                    false,
                    path,
                    "a matrix that is not symmetric",
                    "the same number on both sides of the diagonal",
                );
            } else if PoseFactor::of_covariance(&covariance).is_none() {
                let found = format!("a smallest eigenvalue of {:.3e} in mm and radians", eigenvalues.min());
                self.demand(false, path, found, "none below 0");
                self.mend(
                    "no pose has this covariance: each off the diagonal must stay within the two standard deviations \
                     multiplied, and all six must go together; a sample covariance of seven frames or more does",
                );
            }
        }
        let jitter = &model.noise.tracker.jitter;
        if model.camera.model == CameraModel::Pose && !jitter.is_off() && model.camera.pose_covariance.is_none() {
            for (key, quantity) in [("across_mm", &jitter.model.across_mm), ("along_mm", &jitter.model.along_mm)] {
                let centred = matches!(quantity, Quantity::Drawn(Shape::Normal { mean: 0.0, .. }, None));
                let path = format!("noise.tracker.jitter.{key}");
                self.demand(
                    centred || *quantity == Quantity::ZERO,
                    &path,
                    "another distribution",
                    "a normal one about 0, whole, where camera.model is \"pose\"",
                );
            }
        }
    }

    pub fn check_noise(&mut self, noise: &Noise) {
        let shares = [
            ("landmark.palpation.asis.case_share", noise.landmark.palpation.asis.model.case_share),
            ("landmark.palpation.pubis.case_share", noise.landmark.palpation.pubis.model.case_share),
            ("centre.native.case_share", noise.centre.native.model.case_share),
            ("probe.slip.in_hold_probability", noise.probe.slip.model.in_hold_probability),
            ("camera.drift.knock_probability", noise.camera.drift.model.knock_probability),
            ("femur.loosening.probability", noise.femur.loosening.model.probability),
        ];
        for (key, value) in shares {
            self.demand((0.0..=1.0).contains(&value), &format!("noise.{key}"), value, "0 to 1");
        }
        self.positive("noise.probe.tremor.time_constant_s", noise.probe.tremor.model.time_constant_s);
        let sizes = [
            ("tracker.lens.rms_mm", noise.tracker.lens.model.rms_mm),
            ("landmark.tissue.asis_mm", noise.landmark.tissue.model.asis_mm),
            ("landmark.tissue.pubis_mm", noise.landmark.tissue.model.pubis_mm),
            ("centre.liner.radial_clearance_mm", noise.centre.liner.model.radial_clearance_mm),
        ];
        for (key, value) in sizes {
            self.demand(value >= 0.0, &format!("noise.{key}"), value, "0 or more");
        }
    }

    /// A published basis says where it was published.
    pub fn check_bases(&mut self) {
        let noise = SOURCES.iter().map(|source| format!("noise.{}.basis", source.id));
        for basis in ["anatomy.basis".to_owned(), "implant.basis".to_owned()].into_iter().chain(noise) {
            let published = self.tree.text(&format!("{basis}.kind")) == Some("published");
            let source = self.tree.text(&format!("{basis}.source")).unwrap_or_default();
            if published && source.trim().is_empty() {
                self.fault(&basis, format!("`{basis}` names no publication"), "found no `source`, expected one");
                self.mend("add source = \"authors, journal, year, doi\", or write kind = \"assumed\"");
            }
        }
    }

    /// Names that must differ.
    pub fn distinct(&mut self, list: &str, key: &str, names: &[&str]) {
        for (i, name) in names.iter().enumerate() {
            let path = format!("{list}.{i}.{key}");
            if names[..i].contains(name) {
                self.fault(&path, format!("two of `{list}` have the same {key}"), format!("found \"{name}\" again"));
            } else {
                self.demand(!name.trim().is_empty(), &path, "no letters", "a name");
            }
        }
    }

    fn positive(&mut self, path: &str, found: f64) {
        self.demand(found > 0.0, path, found, "more than 0");
    }

    /// Whether all draws of a quantity that will ever be seen lie in a range.
    fn within(&mut self, path: &str, quantity: &Quantity, (low, high): (f64, f64), unit: &str) -> bool {
        let (least, most) = quantity.practical_range();
        if low <= least && most <= high {
            return true;
        }
        let found = if quantity.is_constant() {
            format!("found {least}, expected {low} to {high} {unit}")
        } else {
            format!("found draws from {least:.1} to {most:.1}, expected {low} to {high} {unit}")
        };
        let about = if path.starts_with("anatomy") { "impossible patients" } else { "impossible cups" };
        self.fault(path, format!("{about} in `{path}`"), found);
        if !quantity.is_constant() {
            self.mend(&format!("the range holds all but 2 in 10^9 draws; {TRUNCATE}"));
        }
        false
    }

    /// Tells how to mend the last fault.
    pub fn mend(&mut self, help: &str) {
        if let Some(fault) = self.faults.last_mut() {
            fault.help = Some(help.to_owned());
        }
    }
}
