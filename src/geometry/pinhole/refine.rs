//! Least squares of a pose on pixels: Gauss-Newton with Levenberg's and Marquardt's damping where a step would not help
//! (Marquardt DW. J Soc Ind Appl Math 1963;11:431-441).
//!
//! The unknowns are a rotation vector about the mean of the body's points and the place of that mean, both in the axes of
//! the rig: near the solution they are little correlated.

use super::camera::Pixel;
use super::rig::Station;
use crate::geometry::axes::Rotation;
use nalgebra::{Matrix3, Vector3};

/// A pose: orientation of the body, and where the mean of its points is.
#[derive(Clone, Copy, Debug)]
pub struct State {
    pub rotation: Matrix3<f64>,
    pub centre: Vector3<f64>,
}

/// A pose that no small motion makes better.
#[derive(Clone, Copy, Debug)]
pub struct Minimum {
    pub state: State,
    /// Sum of squared residuals, px^2.
    pub squares_px2: f64,
}

/// What is fitted: points of a body from their mean, and their images, camera after camera.
#[derive(Clone, Copy)]
pub struct Problem<'a> {
    pub stations: &'a [Station],
    pub points: &'a [Vector3<f64>],
    pub images: &'a [Option<Pixel>],
}

/// A predicted fall of the sum of squares by less than this part of it is the last: a step of 3e-5 standard deviations.
const SETTLED: f64 = 1e-9;
/// Sum of squares, px^2, below which only rounding is left.
const ROUNDING_PX2: f64 = 1e-18;
/// A handful nearly always; hundreds where the two poses of a flat body run into each other in a long flat valley.
const MOST_STEPS: usize = 1000;

impl Problem<'_> {
    /// The nearest minimum; `None` if the iteration does not settle.
    pub fn minimum(&self, start: State) -> Option<Minimum> {
        let mut state = start;
        let mut here = self.moments(&state)?;
        let mut damping = 0.0;
        for _ in 0..MOST_STEPS {
            let Some(Step { motion, fall_px2 }) = here.step(damping) else {
                damping = (10.0 * damping).max(LEAST_DAMPING);
                continue;
            };
            let last = fall_px2 <= SETTLED * here.squares_px2 + ROUNDING_PX2;
            let next = state.moved(&motion);
            match self.moments(&next) {
                Some(there) if there.squares_px2 <= here.squares_px2 => {
                    // How much of the predicted fall came true says how far the prediction may be trusted (Fletcher R.
                    // AERE Report R 6799, 1971).
                    let gain = (here.squares_px2 - there.squares_px2) / fall_px2;
                    damping = match gain {
                        0.75.. if damping > LEAST_DAMPING => 0.1 * damping,
                        0.75.. => 0.0,
                        ..0.25 => (4.0 * damping).max(LEAST_DAMPING),
                        _ => damping,
                    };
                    (state, here) = (next, there);
                }
                _ if !last => damping = (10.0 * damping).max(LEAST_DAMPING),
                _ => {}
            }
            if last {
                return Some(Minimum { state, squares_px2: here.squares_px2 });
            }
        }
        None
    }

    /// Sum of squared residuals, px^2; infinite where a point would be behind a camera.
    pub fn squares(&self, state: &State) -> f64 {
        let mut squares = 0.0;
        for (station, images) in self.stations.iter().zip(self.images.chunks_exact(self.points.len())) {
            for (point, image) in self.points.iter().zip(images) {
                let Some(seen) = image else { continue };
                let Some(found) = station.image(&(state.rotation * point + state.centre)) else {
                    return f64::INFINITY;
                };
                let (u, v) = (seen.u - found.u, seen.v - found.v);
                squares += u * u + v * v;
            }
        }
        squares
    }

    /// Residuals squared, and the normal equations of a small motion.
    fn moments(&self, state: &State) -> Option<Moments> {
        let mut moments = Moments { squares_px2: 0.0, normal: [[0.0; 6]; 6], right: [0.0; 6] };
        for (station, images) in self.stations.iter().zip(self.images.chunks_exact(self.points.len())) {
            for (point, image) in self.points.iter().zip(images) {
                let Some(seen) = image else { continue };
                let lever = state.rotation * point;
                let slopes = station.slopes(&(lever + state.centre))?;
                moments.add(&lever, &slopes.du, seen.u - slopes.pixel.u);
                moments.add(&lever, &slopes.dv, seen.v - slopes.pixel.v);
            }
        }
        Some(moments)
    }
}

/// Normal equations: of the matrix, the lower triangle.
struct Moments {
    squares_px2: f64,
    normal: [[f64; 6]; 6],
    right: [f64; 6],
}

/// A motion (rotation vector, then shift) and by how much it should make the sum of squares fall.
struct Step {
    motion: [f64; 6],
    fall_px2: f64,
}

impl Moments {
    /// A coordinate of an image that moves by `slope` with its place, which is at `lever` from the mean.
    #[inline]
    fn add(&mut self, lever: &Vector3<f64>, slope: &Vector3<f64>, residual: f64) {
        let turn = lever.cross(slope);
        let row = [turn.x, turn.y, turn.z, slope.x, slope.y, slope.z];
        for i in 0..6 {
            for j in 0..=i {
                self.normal[i][j] += row[i] * row[j];
            }
            self.right[i] += row[i] * residual;
        }
        self.squares_px2 += residual * residual;
    }

    /// Solves `(N + damping diag N) x = r` by the factors L D L'. `None` if the matrix is not positive definite.
    fn step(&self, damping: f64) -> Option<Step> {
        let (mut lower, mut pivots) = (self.normal, [0.0; 6]);
        for j in 0..6 {
            // Below the diagonal: first L D, which is also needed, then L.
            let mut pivot = (1.0 + damping) * self.normal[j][j];
            for k in 0..j {
                pivot -= lower[j][k] * lower[j][k] * pivots[k];
            }
            if !(pivot > SINGULAR * self.normal[j][j]) {
                return None;
            }
            pivots[j] = pivot;
            for i in j + 1..6 {
                let mut product = self.normal[i][j];
                for k in 0..j {
                    product -= lower[i][k] * lower[j][k] * pivots[k];
                }
                lower[i][j] = product / pivot;
            }
        }
        let mut motion = self.right;
        for i in 0..6 {
            for k in 0..i {
                motion[i] -= lower[i][k] * motion[k];
            }
        }
        for i in (0..6).rev() {
            motion[i] /= pivots[i];
            for k in i + 1..6 {
                motion[i] -= lower[k][i] * motion[k];
            }
        }
        let fall = (0..6).map(|i| motion[i] * (self.right[i] + damping * self.normal[i][i] * motion[i]));
        Some(Step { motion, fall_px2: fall.sum() })
    }
}

/// A pivot below this part of its diagonal element has lost its digits.
const SINGULAR: f64 = 1e-13;
const LEAST_DAMPING: f64 = 1e-3;

impl State {
    /// Turned about the mean of the points, and shifted.
    fn moved(&self, &[x, y, z, along_x, along_y, along_z]: &[f64; 6]) -> Self {
        let half = 0.5 * Vector3::new(x, y, z);
        let w = 1.0 / (1.0 + half.norm_squared()).sqrt();
        let turn: Rotation<(), ()> = Rotation::from_quaternion([w, w * half.x, w * half.y, w * half.z]);
        Self {
            rotation: turn.matrix() * self.rotation,
            centre: self.centre + Vector3::new(along_x, along_y, along_z),
        }
    }
}
