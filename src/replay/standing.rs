//! How jitter that was seen on a tool held still carries over to points on tools that stood elsewhere.

use crate::geometry::lanes::{alike, apart};
use crate::geometry::{Layout, Point, Pose, Vector3};
use crate::measurement::{Camera, Instruments, Tracker};
use crate::record::recording::{RecordedCapture, RecordedFrames};
use crate::simulation::PoseResponse;
use crate::simulation::noise::REFERENCE_DISTANCE_MM;

/// How points on a tool stood before the camera, and so by how much its jitter there is larger or smaller than where it
/// was held still. Across the ray, and about it, jitter grows with distance; along the ray, and about what is across it,
/// with its square.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Standing {
    /// Squares by which a marker's jitter across the ray moves the points, summed over three axes and all frames.
    pub across: f64,
    /// Likewise along the ray.
    pub along: f64,
    /// Squares by which a turn about what is across the ray moves them, mm2; 0 where markers were recorded.
    pub turned_across: f64,
    /// Likewise a turn about the ray, mm2.
    pub turned_about_ray: f64,
    /// Frames.
    pub frames: f64,
}

impl Standing {
    /// A point on a tool in the frames of a capture. Where markers were recorded it is known how their noise moves the
    /// point; where poses were, the tool is taken to have faced the camera as the one that was held still.
    pub fn add(
        &mut self,
        capture: &RecordedCapture,
        poses: &[Pose<Tracker, Camera>],
        instruments: &Instruments,
        point: Point<Tracker>,
    ) {
        let drawn = instruments.layout(capture.step.step);
        let middle = drawn.map_or(Point::ORIGIN, Layout::centroid);
        let markers: Vec<Point<Tracker>> = drawn.map(|drawn| drawn.points().collect()).unwrap_or_default();
        let answer = matches!(capture.frames, RecordedFrames::Markers(_)).then(|| PoseResponse::of(&markers));
        for &pose in poses {
            match &answer {
                Some(answer) => self.marked(answer, &markers, pose, point),
                None => self.facing(drawn.map_or(1, Layout::len), pose * middle, pose * point),
            }
        }
    }

    fn marked(
        &mut self,
        answer: &PoseResponse,
        markers: &[Point<Tracker>],
        pose: Pose<Tracker, Camera>,
        point: Point<Tracker>,
    ) {
        let camera = pose.inverse().origin;
        for (which, &marker) in markers.iter().enumerate() {
            let from_camera = marker - camera;
            let Some(ray) = from_camera.direction() else { return };
            // How far the point moves, squared, when this marker moves by 1 mm.
            let moved = |by: &Vector3<f64>| {
                let [shift, ..] = apart(answer.to_one(which, alike(by)).about(point).shift);
                Vector3::from(shift).norm_squared()
            };
            let each_axis: f64 = [Vector3::x(), Vector3::y(), Vector3::z()].iter().map(moved).sum();
            let along = moved(ray.vector());
            let square =
                (from_camera.length() / REFERENCE_DISTANCE_MM) * (from_camera.length() / REFERENCE_DISTANCE_MM);
            self.across += square * (each_axis - along);
            self.along += square * square * along;
        }
        self.frames += 1.0;
    }

    fn facing(&mut self, markers: usize, middle: Point<Camera>, point: Point<Camera>) {
        let (from_camera, lever) = (middle - Point::ORIGIN, point - middle);
        let Some(ray) = from_camera.direction() else { return };
        let farther = from_camera.length() / REFERENCE_DISTANCE_MM;
        let square = farther * farther;
        let fourth = square * square;
        let along = lever.along(ray) * lever.along(ray);
        let across = lever.length() * lever.length() - along;
        self.across += 2.0 * square / markers as f64;
        self.along += fourth / markers as f64;
        self.turned_across += fourth * (2.0 * along + across);
        self.turned_about_ray += square * across;
        self.frames += 1.0;
    }
}
