//! Everything a simulated case is made from, resolved and checked.

use super::Quantity;
use super::imaging::{Imaging, PixelCamera, SecondCamera};
use super::noise::Noise;
use super::patient::{Anatomy, Implant};
use super::pose_noise::PoseFactor;
use super::tool::ToolKind;
use crate::measurement::{Side, Sightings};
use nalgebra::Matrix6;
use serde::{Deserialize, Serialize};

/// A simulated world: the population, the change made, the protocol, the tools and the noise.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// Operated side.
    pub side: Side,
    /// Patients.
    pub anatomy: Anatomy,
    /// Change made to the hip.
    pub implant: Implant,
    /// What the operator does.
    pub protocol: Protocol,
    /// Where the camera is.
    pub camera: CameraPlace,
    /// Cameras that form images; `None` for a model that does not.
    pub imaging: Option<Imaging>,
    /// The tools as drawn.
    pub tools: Tools,
    /// The reductions, at least one.
    pub reductions: Vec<Reduction>,
    /// Noise sources.
    pub noise: Noise,
    /// Which set of draws everything else is made from; the noise sources have theirs in their switches.
    pub replicates: Replicates,
}

/// Which of two independent sets of draws, 0 or 1, the parts of a case are made from that are no noise source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Replicates {
    /// The patient.
    pub anatomy: u64,
    /// The change made: the implant's quantities and what the components of each reduction add.
    pub implant: u64,
    /// What the operator's hand leaves open: where a trace begins and how fast it runs.
    pub protocol: u64,
}

/// What the operator does at each step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Protocol {
    /// Camera frames a second.
    pub frame_rate_hz: f64,
    /// From the tip of a tool to the hand that holds it: anterior, superior, lateral; any length but 0.
    pub hold_direction: [f64; 3],
    /// Where the tip is pivoted, from the native hip centre: anterior, superior, lateral, mm.
    pub tip_pivot_position_mm: [f64; 3],
    /// Frames of the tip pivot.
    pub tip_pivot_frames: usize,
    /// Angle of the probe to the axis of the cone it is pivoted on.
    pub tip_pivot_cone_deg: f64,
    /// Readings of the level.
    pub level_captures: u32,
    /// Frames of one landmark capture.
    pub landmark_frames: usize,
    /// Captures of each landmark.
    pub landmark_captures: u32,
    /// Frames of one hold in a divot.
    pub divot_frames: usize,
    /// Holds in each divot.
    pub divot_captures: u32,
    /// Frames of one trace of a groove.
    pub trace_frames: usize,
    /// Traces of a groove, each once round.
    pub trace_captures: u32,
    /// How uneven the speed of a trace is: 0 even, below 1.
    pub trace_unevenness: f64,
    /// Frames of each turning of the hip.
    pub centre_frames: usize,
    /// Angle of the head to the axis of the cone it is turned on.
    pub centre_cone_deg: f64,
    /// Frames of the cup reading.
    pub cup_frames: usize,
    /// Largest distance of a frame's tip from the mean tip of its hold, beyond which a hold is taken again; no gate
    /// unless it is given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stillness_limit_mm: Option<f64>,
    /// How often a hold is tried in all before it is given up.
    pub stillness_tries: u32,
}

/// Where the camera is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CameraPlace {
    /// Kind of camera.
    pub model: CameraModel,
    /// What carries it.
    pub mount: Mount,
    /// Camera origin from the operated side's ASIS: anterior, superior, lateral, mm.
    pub position_mm: [f64; 3],
    /// What it looks at, from the native hip centre: anterior, superior, lateral, mm.
    pub aim_mm: [f64; 3],
    /// Of a camera on a stand: origin of the tracker on the pelvis from the operated side's ASIS: anterior, superior,
    /// lateral, mm. It faces the camera.
    pub pelvis_tracker_mm: [f64; 3],
    /// How it forms images, where it does.
    pub pixel: PixelCamera,
    /// A second camera beside it, where there are two.
    pub second: SecondCamera,
    /// Of the model `pose`: covariance of one pose at any range, rows and columns shift along X, Y, Z (mm) and rotation
    /// vector about X, Y, Z (degrees), about the tracker's origin and in its axes; that of `tracker.jitter` unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pose_covariance: Option<[[f64; 6]; 6]>,
}

impl CameraPlace {
    /// The stated covariance of a pose in mm and radians.
    #[must_use]
    pub fn stated_covariance(&self) -> Option<Matrix6<f64>> {
        let unit = |i: usize| if i < 3 { 1.0 } else { std::f64::consts::PI / 180.0 };
        self.pose_covariance.map(|rows| Matrix6::from_fn(|i, j| rows[i][j] * unit(i) * unit(j)))
    }
}

/// What carries the camera.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Mount {
    /// The pelvis.
    Pelvis,
    /// A stand beside the table; the pelvis carries a tracker of its own, which the camera sees in every frame.
    Stand,
}

/// Camera models.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CameraModel {
    /// Noise on the three-dimensional position of each marker.
    Marker,
    /// One or two pinhole cameras: noise on the image of each marker, and the pose solved from the images.
    Pixel,
    /// Noise of the tracker's pose, as the noise of its markers makes it to first order, or as stated.
    Pose,
}

impl CameraModel {
    /// Frames of the kind that such a camera gives, none yet.
    #[must_use]
    pub fn sightings(self) -> Sightings {
        match self {
            Self::Marker => Sightings::Markers(Vec::new()),
            Self::Pixel => Sightings::Images(Vec::new()),
            Self::Pose => Sightings::Poses(Vec::new()),
        }
    }
}

/// The tools as drawn. Trackers have their markers near the XY plane, facing +Z.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tools {
    /// Markers on the probe's tracker, mm.
    pub probe_markers_mm: Vec<[f64; 3]>,
    /// Markers on the inserter's tracker, mm.
    pub inserter_markers_mm: Vec<[f64; 3]>,
    /// Markers on the tracker that is fixed to the head, mm.
    pub head_markers_mm: Vec<[f64; 3]>,
    /// Markers on the tracker that the pelvis carries where the camera is on a stand, mm.
    pub pelvis_markers_mm: Vec<[f64; 3]>,
    /// Directions in which the probe's markers look; all along +Z if there is none.
    pub probe_marker_normals: Vec<[f64; 3]>,
    /// Directions in which the inserter's markers look; all along +Z if there is none.
    pub inserter_marker_normals: Vec<[f64; 3]>,
    /// Directions in which the head's markers look; all along +Z if there is none.
    pub head_marker_normals: Vec<[f64; 3]>,
    /// Directions in which the pelvis tracker's markers look; all along +Z if there is none.
    pub pelvis_marker_normals: Vec<[f64; 3]>,
    /// Probe tip in its tracker's axes, mm.
    pub probe_tip_mm: [f64; 3],
    /// Cup axis in the inserter tracker's axes, out of the opening.
    pub cup_axis: [f64; 3],
    /// Distance of the inserter's tracker from the cup centre along the cup axis, mm.
    pub inserter_length_mm: f64,
    /// Head centre in the axes of the tracker that is fixed to it, mm.
    pub head_centre_mm: [f64; 3],
    /// Radius of the circular groove, mm.
    pub circle_radius_mm: f64,
    /// Semi-axes of the elliptic groove: major, minor, mm.
    pub ellipse_semi_axes_mm: [f64; 2],
    /// The three divots as drawn, mm.
    pub three_divots_mm: [[f64; 3]; 3],
    /// Feature from the point where neck and shaft axes meet: anterior, superior, lateral, mm.
    pub feature_position_mm: [f64; 3],
    /// Normal of the feature: anterior, superior, lateral.
    pub feature_normal: [f64; 3],
}

/// One reduction: added to the drawn change, and how the leg is meant to lie.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reduction {
    /// Name for the reader.
    pub name: String,
    /// Leg length that its components add to the drawn change.
    #[serde(default = "zero")]
    pub added_leg_length_mm: Quantity,
    /// Offset that its components add to the drawn change.
    #[serde(default = "zero")]
    pub added_offset_mm: Quantity,
    /// Flexion that the operator gives the leg.
    #[serde(default)]
    pub flexion_deg: f64,
    /// Adduction that the operator gives the leg.
    #[serde(default)]
    pub adduction_deg: f64,
    /// Internal rotation that the operator gives the leg.
    #[serde(default)]
    pub internal_rotation_deg: f64,
}

impl Tools {
    /// Markers of the tracker of a tool and the directions in which they look, as written.
    #[must_use]
    pub fn markers(&self, kind: ToolKind) -> (&[[f64; 3]], &[[f64; 3]]) {
        match kind {
            ToolKind::Probe => (&self.probe_markers_mm, &self.probe_marker_normals),
            ToolKind::Inserter => (&self.inserter_markers_mm, &self.inserter_marker_normals),
            ToolKind::Head => (&self.head_markers_mm, &self.head_marker_normals),
            ToolKind::Pelvis => (&self.pelvis_markers_mm, &self.pelvis_marker_normals),
        }
    }
}

impl Model {
    /// Factor of a pose's covariance where that is stated, scaled as `tracker.jitter` is.
    #[must_use]
    pub fn stated_pose_factor(&self) -> Option<PoseFactor> {
        let scale = self.noise.tracker.jitter.switch.scale;
        PoseFactor::of_covariance(&(self.camera.stated_covariance()? * (scale * scale)))
    }

    /// The tools whose trackers the camera sees.
    pub fn tools_seen(&self) -> impl Iterator<Item = ToolKind> + use<> {
        let mount = self.camera.mount;
        ToolKind::ALL.into_iter().filter(move |&kind| kind != ToolKind::Pelvis || mount == Mount::Stand)
    }
}

const fn zero() -> Quantity {
    Quantity::ZERO
}
