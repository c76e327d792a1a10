//! How well the camera fixes a tool at a place before it: the noise of one frame, to first order.

use super::case::Simulator;
use super::model::CameraModel;
use super::pose_noise::{MarkerNoise, PoseFactor, PoseResponse};
use super::small_motions::SmallMotions;
use super::tool::Tool;
use crate::geometry::lanes::alike;
use crate::geometry::{Pixel, Point, Pose, Vector3};
use crate::measurement::{Camera, Tracker};
use nalgebra::{Matrix6, SVector};

/// Noise of one frame of the probe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrameSpread {
    /// Length of the tip's error, root mean square, mm.
    pub tip_rms_mm: f64,
    /// Angle of the pose's error, root mean square, degrees.
    pub turn_rms_deg: f64,
}

impl Simulator {
    /// The noise that `tracker.jitter` makes in one frame of the probe, its tip at a place and its markers turned to the
    /// camera, to first order; `None` where the camera does not see enough of its markers to fix a pose.
    #[must_use]
    pub fn spread_at(&self, place: Point<Camera>) -> Option<FrameSpread> {
        let pose = self.probe_at(place);
        let jitter = &self.model.noise.tracker.jitter;
        let response =
            || PoseResponse::of(&self.probe.markers).factor(pose.inverse().origin, MarkerNoise::of(jitter));
        let factor = match (self.model.camera.model, self.model.stated_pose_factor()) {
            (CameraModel::Pose, Some(stated)) => stated,
            (CameraModel::Pose | CameraModel::Marker, _) => response(),
            (CameraModel::Pixel, _) => {
                let sd_px = jitter.switch.scale * jitter.model.pixel_px.mean_and_sd().1;
                PoseFactor::of_covariance(&(self.covariance_per_px2(&self.probe, pose)? * (sd_px * sd_px)))?
            }
        };
        Some(FrameSpread {
            tip_rms_mm: factor.point_rms_mm(self.probe.point),
            turn_rms_deg: factor.turn_rms().to_degrees(),
        })
    }

    /// Covariance of the least-squares pose for images with a variance of 1 px^2: the inverse of `J'J`, with `J` the slopes of
    /// all images over a small motion about the tracker's origin, by central differences.
    fn covariance_per_px2(&self, tool: &Tool, pose: Pose<Tracker, Camera>) -> Option<Matrix6<f64>> {
        let (shift_mm, turn) = (1e-3, 1e-5);
        let images = |component: usize, sign: f64| {
            let mut moved = [Vector3::zeros(); 2];
            let size = sign * if component < 3 { shift_mm } else { turn };
            moved[component / 3][component % 3] = size;
            let [shift, turn] = moved;
            let motion = SmallMotions { about: Point::ORIGIN, shift: alike(&shift), turn: alike(&turn) };
            self.images(tool, pose * motion.poses().pose(0))
        };
        let columns: Vec<Vec<Option<[f64; 2]>>> = (0..6)
            .map(|component| {
                let step = 2.0 * if component < 3 { shift_mm } else { turn };
                let slope = |(after, before): (Option<Pixel>, Option<Pixel>)| {
                    let (after, before) = (after?, before?);
                    Some([(after.u - before.u) / step, (after.v - before.v) / step])
                };
                images(component, 1.0).into_iter().zip(images(component, -1.0)).map(slope).collect()
            })
            .collect();
        let mut information = Matrix6::zeros();
        for image in 0..columns[0].len() {
            let slopes: Option<Vec<[f64; 2]>> = columns.iter().map(|column| column[image]).collect();
            for (slopes, coordinate) in slopes.iter().flat_map(|slopes| [(slopes, 0), (slopes, 1)]) {
                let row = SVector::<f64, 6>::from_fn(|component, _| slopes[component][coordinate]);
                information += row * row.transpose();
            }
        }
        // Millimetres and radians differ by the order of the lever: the pivots say whether a direction is left open.
        let cholesky = information.cholesky()?;
        let pivots = cholesky.l_dirty().diagonal();
        (pivots.min() > 1e-6 * pivots.max()).then(|| cholesky.inverse())
    }

    /// The images of a tool's markers without noise, camera after camera.
    fn images(&self, tool: &Tool, pose: Pose<Tracker, Camera>) -> Vec<Option<Pixel>> {
        let Some(imaging) = &self.model.imaging else { return Vec::new() };
        let mut images = Vec::new();
        let silent = (&self.model.noise.tracker.jitter, &mut None);
        imaging.see(&tool.markers, &tool.normals, &pose, None, silent, &mut images);
        images
    }
}
