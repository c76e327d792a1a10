//! Cameras that form images: what an experiment says of them, and what they see of a tool.

use super::noise::{Jitter, LensField};
use super::source::Source;
use super::streams::Scores;
use crate::geometry::{
    Direction, Displacement, Intrinsics, LANES, Pinhole, PinholeError, Pixel, Point, PointLanes, Pose, Rig, Rotation,
};
use crate::measurement::{Camera, Tracker};
use serde::{Deserialize, Serialize};

/// Section `[camera.pixel]`: the first camera, and what is demanded of its images.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PixelCamera {
    /// Number of cameras, 1 or 2.
    pub cameras: u32,
    /// Focal length, px.
    pub focal_length_px: f64,
    /// Where the optical axis meets the image, px from the corner.
    pub principal_point_px: [f64; 2],
    /// Radial distortion k1, k2, k3.
    pub radial_distortion: [f64; 3],
    /// Decentring distortion p1, p2.
    pub tangential_distortion: [f64; 2],
    /// Width and height of the image, px.
    pub resolution_px: [u32; 2],
    /// Largest angle between a marker's normal and the line to the camera at which it is seen, degrees.
    pub largest_view_angle_deg: f64,
    /// Standard deviation of a marker's image that the maker states, px: what the measurement takes it to be.
    pub stated_noise_px: f64,
}

/// Section `[camera.second]`: where the second camera stands, and in what it differs from the first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SecondCamera {
    /// Its origin in the first camera's axes, mm.
    pub position_mm: [f64; 3],
    /// Rotation vector that turns the first camera's axes into its own, in the first's axes, degrees.
    pub rotation_deg: [f64; 3],
    /// Focal length, px; that of the first unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub focal_length_px: Option<f64>,
    /// Where the optical axis meets the image, px from the corner; that of the first unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub principal_point_px: Option<[f64; 2]>,
    /// Radial distortion k1, k2, k3; that of the first unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub radial_distortion: Option<[f64; 3]>,
    /// Decentring distortion p1, p2; that of the first unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tangential_distortion: Option<[f64; 2]>,
    /// Width and height of the image, px; those of the first unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub resolution_px: Option<[u32; 2]>,
}

impl PixelCamera {
    /// The first camera.
    ///
    /// # Errors
    /// If the numbers make no camera.
    pub fn first(&self) -> Result<Pinhole, PinholeError> {
        Pinhole::new(self.intrinsics())
    }

    fn intrinsics(&self) -> Intrinsics {
        Intrinsics {
            focal_length_px: self.focal_length_px,
            principal_point_px: self.principal_point_px,
            radial_distortion: self.radial_distortion,
            tangential_distortion: self.tangential_distortion,
            resolution_px: self.resolution_px,
        }
    }
}

impl SecondCamera {
    /// The second camera, where it differs from the first by what is written.
    ///
    /// # Errors
    /// If the numbers make no camera.
    pub fn beside(&self, first: &PixelCamera) -> Result<Pinhole, PinholeError> {
        let as_first = first.intrinsics();
        Pinhole::new(Intrinsics {
            focal_length_px: self.focal_length_px.unwrap_or(as_first.focal_length_px),
            principal_point_px: self.principal_point_px.unwrap_or(as_first.principal_point_px),
            radial_distortion: self.radial_distortion.unwrap_or(as_first.radial_distortion),
            tangential_distortion: self.tangential_distortion.unwrap_or(as_first.tangential_distortion),
            resolution_px: self.resolution_px.unwrap_or(as_first.resolution_px),
        })
    }

    /// Where it stands.
    #[must_use]
    pub fn place<Own>(&self) -> Pose<Own, Camera> {
        let turn = Displacement::from_vector(self.rotation_deg.map(f64::to_radians).into());
        let turned: Rotation<Camera, Camera> = Rotation::from_rotation_vector(turn);
        Pose::new(turned.relabelled(), Point::from_vector(self.position_mm.into()))
    }
}

/// Cameras at work: how they are built, and from how far aside they still see a marker.
#[derive(Clone, Debug, PartialEq)]
pub struct Imaging {
    /// The cameras.
    pub rig: Rig<Camera>,
    /// Cosine of the largest angle between a marker's normal and the line to the camera.
    pub least_cosine: f64,
}

impl Imaging {
    /// Adds the images of one frame, camera after camera. A marker is seen by a camera into whose frame its place falls
    /// and to which it faces; the lens moves the place before it is projected. Noise is drawn for every marker and camera,
    /// seen or not, so that a hidden marker moves no other's draw.
    pub fn see(
        &self,
        markers: &[Point<Tracker>],
        normals: &[Direction<Tracker>],
        pose: &Pose<Tracker, Camera>,
        lens: Option<&LensField>,
        (jitter, scores): (&Source<Jitter>, &mut Option<Scores>),
        images: &mut Vec<Option<Pixel>>,
    ) {
        let (first, count) = (images.len(), markers.len());
        images.resize(first + count * self.rig.cameras(), None);
        let places = markers.chunks(LANES).flat_map(|some| {
            let places = *pose * PointLanes::of(some);
            lens.map_or(places, |lens| lens.seen(places)).points(some.len())
        });
        for (i, (place, &normal)) in places.zip(normals).enumerate() {
            let facing = pose.rotation * normal;
            for (camera, (image, eye)) in self.rig.see(place).enumerate() {
                let noise_px = scores.as_mut().map_or([0.0; 2], |scores| jitter.on_image_px(scores));
                let faces = (eye - place).along(facing) >= self.least_cosine * (eye - place).length();
                images[first + camera * count + i] =
                    image.filter(|_| faces).map(|Pixel { u, v }| Pixel { u: u + noise_px[0], v: v + noise_px[1] });
            }
        }
    }
}
