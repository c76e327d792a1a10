//! Cameras that form images: from places to pixels, and from pixels to the pose of a body whose points are known.

mod camera;
mod refine;
mod rig;
mod three_points;

pub use camera::{Intrinsics, Pinhole, PinholeError, Pixel};
pub use rig::{ImageFit, Rig, SecondFit};
