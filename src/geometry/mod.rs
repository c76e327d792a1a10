//! Geometry and estimation without trade meaning: typed axes, rotations, averages and least-squares fits.
//!
//! Nothing here knows of hips, of truth or of chance. Lengths are in mm, angles in radians.

mod axes;
mod circle;
mod correlated;
mod ellipse;
mod fit;
pub mod lanes;
mod pinhole;
mod pivot;
mod principal;
mod rigid;
mod rotation;
mod sphere;
mod units;

pub use axes::{Direction, Displacement, Point, Pose, Rotation};
pub use circle::{Circle, fit_circle};
pub use correlated::{CORRELATED_POINTS, CorrelatedLayout, JointCovariance};
pub use ellipse::{EllipseFit, SemiAxes, TracedPoints, fit_ellipse};
pub use fit::FitError;
pub use lanes::{LANES, Lanes, PointLanes, PoseLanes};
pub use pinhole::{ImageFit, Intrinsics, Pinhole, PinholeError, Pixel, Rig, SecondFit};
pub use pivot::{Pivot, fit_pivot, fit_pivot_robust, fit_pivot_spheres, pivot_residual_rms};
pub use principal::{PrincipalAxes, centroid, mean_direction};
pub use rigid::{Layout, LayoutError, RigidFit};
pub use sphere::{Sphere, fit_sphere};
pub use units::{Degrees, Millimetres, Radians};

/// nalgebra's plain vector and matrix, for what has no axes of its own.
pub use nalgebra::{Matrix3, Vector3};
