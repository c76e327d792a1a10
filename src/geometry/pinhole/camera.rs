//! A pinhole camera with the distortion of Brown DC. Photogramm Eng 1966;32:444-462 and 1971;37:855-866: three radial
//! and two decentring terms.

use crate::geometry::axes::Point;
use nalgebra::Vector3;

/// A place in an image, px: `u` along the camera's X axis, `v` along its Y axis, from the image's corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pixel {
    /// Along X.
    pub u: f64,
    /// Along Y.
    pub v: f64,
}

/// What a calibration says of a camera.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intrinsics {
    /// Focal length, px.
    pub focal_length_px: f64,
    /// Where the optical axis meets the image, px.
    pub principal_point_px: [f64; 2],
    /// Radial terms k1, k2, k3.
    pub radial_distortion: [f64; 3],
    /// Decentring terms p1, p2.
    pub tangential_distortion: [f64; 2],
    /// Width and height of the image, px.
    pub resolution_px: [u32; 2],
}

/// A camera that looks along its Z axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pinhole {
    intrinsics: Intrinsics,
    distorts: bool,
    /// Squared tangent of the angle to the optical axis at which the radial distortion folds the image over.
    fold: f64,
}

/// Why numbers make no camera.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum PinholeError {
    /// Focal length or resolution is not above 0, or a number is not finite.
    #[error("the focal length and the resolution must be above 0")]
    NoImage,
    /// A corner of the image is the image of nothing.
    #[error("the distortion folds the image over inside its frame: nothing is seen at [{u:.0}, {v:.0}] px")]
    Folded {
        /// The corner, along X.
        u: f64,
        /// The corner, along Y.
        v: f64,
    },
}

/// Image of a place, and how it moves with the place: each the gradient of one coordinate, px/mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slopes {
    pub pixel: Pixel,
    pub du: Vector3<f64>,
    pub dv: Vector3<f64>,
}

impl Pinhole {
    /// A camera, if its distortion can be undone everywhere in the image.
    ///
    /// # Errors
    /// See [`PinholeError`].
    pub fn new(intrinsics: Intrinsics) -> Result<Self, PinholeError> {
        let Intrinsics { focal_length_px, principal_point_px, radial_distortion, tangential_distortion, .. } =
            intrinsics;
        let numbers = [principal_point_px.as_slice(), &radial_distortion, &tangential_distortion].concat();
        let [width, height] = intrinsics.resolution_px.map(f64::from);
        let sound = focal_length_px > 0.0 && focal_length_px.is_finite() && width > 0.0 && height > 0.0;
        if !sound || numbers.iter().any(|number| !number.is_finite()) {
            return Err(PinholeError::NoImage);
        }
        let distorts = radial_distortion != [0.0; 3] || tangential_distortion != [0.0; 2];
        let camera = Self { intrinsics, distorts, fold: first_fold(radial_distortion) };
        for (u, v) in [(0.0, 0.0), (width, 0.0), (0.0, height), (width, height)] {
            if camera.ray(Pixel { u, v }).is_none() {
                return Err(PinholeError::Folded { u, v });
            }
        }
        Ok(camera)
    }

    /// What its calibration says.
    #[must_use]
    pub fn intrinsics(&self) -> &Intrinsics {
        &self.intrinsics
    }

    /// Image of a place in the camera's own axes; `None` for one behind the camera or so far aside that the distortion
    /// has no meaning there. It may lie outside the frame.
    #[must_use]
    pub fn image<A>(&self, place: Point<A>) -> Option<Pixel> {
        let p = place.vector();
        if !(p.z > 0.0) {
            return None;
        }
        let (x, y) = (p.x / p.z, p.y / p.z);
        (x * x + y * y < self.fold).then(|| self.pixel(self.distorted(x, y)))
    }

    /// Whether a pixel lies inside the frame.
    #[must_use]
    pub fn holds(&self, pixel: Pixel) -> bool {
        let [width, height] = self.intrinsics.resolution_px.map(f64::from);
        (0.0..=width).contains(&pixel.u) && (0.0..=height).contains(&pixel.v)
    }

    /// Direction of the ray that a pixel is the image of, in the camera's own axes, as `(x, y, 1)`: the inverse of
    /// [`Self::image`]. `None` if there is no such ray.
    #[must_use]
    pub fn ray(&self, pixel: Pixel) -> Option<Vector3<f64>> {
        let Intrinsics { focal_length_px, principal_point_px: [u, v], .. } = self.intrinsics;
        let (target_x, target_y) = ((pixel.u - u) / focal_length_px, (pixel.v - v) / focal_length_px);
        let (mut x, mut y) = (target_x, target_y);
        if !self.distorts {
            return Some(Vector3::new(x, y, 1.0));
        }
        // Newton's method. Along a ray from the centre the radial map is concave (barrel) or convex (pincushion), and
        // from the distorted place it is approached from the side where Newton's steps never overshoot.
        for _ in 0..50 {
            let (found_x, found_y) = self.distorted(x, y);
            let [a, b, d] = self.distortion_slopes(x, y);
            let (miss_x, miss_y) = (target_x - found_x, target_y - found_y);
            let determinant = a * d - b * b;
            let (step_x, step_y) = ((d * miss_x - b * miss_y) / determinant, (a * miss_y - b * miss_x) / determinant);
            x += step_x;
            y += step_y;
            if step_x * step_x + step_y * step_y <= 1e-30 * (1.0 + x * x + y * y) {
                return (x * x + y * y < self.fold).then(|| Vector3::new(x, y, 1.0));
            }
        }
        None
    }

    /// The image of a place in front of the camera with its slopes; `None` for one behind it.
    #[inline]
    pub(super) fn slopes(&self, p: &Vector3<f64>) -> Option<Slopes> {
        if !(p.z > 0.0) {
            return None;
        }
        let inverse = 1.0 / p.z;
        let (x, y) = (p.x * inverse, p.y * inverse);
        let scale = self.intrinsics.focal_length_px * inverse;
        let pixel = self.pixel(self.distorted(x, y));
        let [a, b, d] = self.distortion_slopes(x, y);
        Some(Slopes {
            pixel,
            du: scale * Vector3::new(a, b, -a * x - b * y),
            dv: scale * Vector3::new(b, d, -b * x - d * y),
        })
    }

    #[inline]
    fn pixel(&self, (x, y): (f64, f64)) -> Pixel {
        let Intrinsics { focal_length_px, principal_point_px: [u, v], .. } = self.intrinsics;
        Pixel { u: focal_length_px * x + u, v: focal_length_px * y + v }
    }

    /// Tangents of the angles at which a ray seems to come in.
    #[inline]
    fn distorted(&self, x: f64, y: f64) -> (f64, f64) {
        if !self.distorts {
            return (x, y);
        }
        let Intrinsics { radial_distortion: [k1, k2, k3], tangential_distortion: [p1, p2], .. } = self.intrinsics;
        let square = x * x + y * y;
        let radial = 1.0 + square * (k1 + square * (k2 + square * k3));
        let mixed = 2.0 * x * y;
        (x * radial + p1 * mixed + p2 * (square + 2.0 * x * x), y * radial + p1 * (square + 2.0 * y * y) + p2 * mixed)
    }

    /// Slopes of the distortion: xx, xy (which is also yx), yy.
    #[inline]
    fn distortion_slopes(&self, x: f64, y: f64) -> [f64; 3] {
        if !self.distorts {
            return [1.0, 0.0, 1.0];
        }
        let Intrinsics { radial_distortion: [k1, k2, k3], tangential_distortion: [p1, p2], .. } = self.intrinsics;
        let square = x * x + y * y;
        let radial = 1.0 + square * (k1 + square * (k2 + square * k3));
        let growth = 2.0 * (k1 + square * (2.0 * k2 + square * 3.0 * k3));
        [
            radial + growth * x * x + 2.0 * p1 * y + 6.0 * p2 * x,
            growth * x * y + 2.0 * p1 * x + 2.0 * p2 * y,
            radial + growth * y * y + 6.0 * p1 * y + 2.0 * p2 * x,
        ]
    }
}

/// Squared radius at which `r (1 + k1 r^2 + k2 r^4 + k3 r^6)` stops growing: the smallest positive root of its slope
/// `1 + 3 k1 s + 5 k2 s^2 + 7 k3 s^3` in `s = r^2`; infinite if it grows for ever.
fn first_fold([k1, k2, k3]: [f64; 3]) -> f64 {
    /// 89.4 degrees: beyond it nothing is looked at.
    const LARGEST: f64 = 1e4;
    let slope = |s: f64| 1.0 + s * (3.0 * k1 + s * (5.0 * k2 + s * 7.0 * k3));
    // Where the slope itself turns: between these places it has one root at most.
    let (a, b, c) = (21.0 * k3, 10.0 * k2, 3.0 * k1);
    let root = (b * b - 4.0 * a * c).max(0.0).sqrt();
    let half = -0.5 * (b + root.copysign(b));
    let mut turns = [half / a, c / half, LARGEST].map(|s| if s > 0.0 && s < LARGEST { s } else { LARGEST });
    turns.sort_by(f64::total_cmp);
    let mut low = 0.0;
    for mut high in turns {
        if slope(high) <= 0.0 {
            for _ in 0..200 {
                let middle = 0.5 * (low + high);
                if slope(middle) > 0.0 { low = middle } else { high = middle }
            }
            return low;
        }
        low = high;
    }
    f64::INFINITY
}

#[cfg(test)]
mod tests {
    use super::*;

    enum Axes {}

    fn camera(radial_distortion: [f64; 3], tangential_distortion: [f64; 2]) -> Pinhole {
        Pinhole::new(Intrinsics {
            focal_length_px: 900.0,
            principal_point_px: [960.0, 590.0],
            radial_distortion,
            tangential_distortion,
            resolution_px: [1920, 1200],
        })
        .expect("a sound camera")
    }

    fn cameras() -> [Pinhole; 4] {
        [
            camera([0.0; 3], [0.0; 2]),
            camera([-0.12, 0.02, 0.0], [0.0; 2]),
            camera([0.08, -0.01, 0.002], [1e-3, -2e-3]),
            camera([-0.05, 0.0, 0.0], [-5e-4, 1e-3]),
        ]
    }

    #[test]
    fn identity_rays_there_and_back() {
        for camera in cameras() {
            for i in 0..=20 {
                for j in 0..=20 {
                    let pixel = Pixel { u: 96.0 * f64::from(i), v: 60.0 * f64::from(j) };
                    let ray = camera.ray(pixel).expect("a ray for each pixel");
                    let back = camera.image(Point::<Axes>::from_vector(137.0 * ray)).expect("in front");
                    assert!((back.u - pixel.u).abs() < 1e-9 && (back.v - pixel.v).abs() < 1e-9, "{back:?}");
                }
            }
        }
    }

    #[test]
    fn identity_slopes_are_those_of_the_image() {
        for camera in cameras() {
            for place in [Vector3::new(40.0, -30.0, 180.0), Vector3::new(-90.0, 70.0, 160.0)] {
                let slopes = camera.slopes(&place).expect("in front");
                for axis in 0..3 {
                    let mut step = Vector3::zeros();
                    step[axis] = 1e-3;
                    let at = |place: Vector3<f64>| camera.image(Point::<Axes>::from_vector(place)).expect("in front");
                    let (ahead, behind) = (at(place + step), at(place - step));
                    let (du, dv) = ((ahead.u - behind.u) / 2e-3, (ahead.v - behind.v) / 2e-3);
                    assert!((du - slopes.du[axis]).abs() < 1e-6, "{du} {}", slopes.du);
                    assert!((dv - slopes.dv[axis]).abs() < 1e-6, "{dv} {}", slopes.dv);
                }
            }
        }
    }

    /// `r - r^3/3` grows up to r = 1.
    #[test]
    fn outside_fold_of_a_cubic() {
        assert!((first_fold([-1.0 / 3.0, 0.0, 0.0]) - 1.0).abs() < 1e-12);
        assert_eq!(first_fold([0.1, 0.0, 0.0]), f64::INFINITY);
        // 1 - 3 s + 7/2 s^2 ... chosen so that the slope is (1 - s)(1 - 2 s)(1 + s): first root at 1/2.
        assert!((first_fold([-2.0 / 3.0, -1.0 / 5.0, 2.0 / 7.0]) - 0.5).abs() < 1e-12);
        let folded = Pinhole::new(Intrinsics {
            radial_distortion: [-0.4, 0.0, 0.0],
            ..*camera([0.0; 3], [0.0; 2]).intrinsics()
        });
        assert!(matches!(folded, Err(PinholeError::Folded { .. })), "{folded:?}");
    }

    #[test]
    fn identity_nothing_is_seen_behind() {
        for camera in cameras() {
            assert_eq!(camera.image(Point::<Axes>::new(1.0, 2.0, -100.0)), None);
            assert_eq!(camera.image(Point::<Axes>::new(1.0, 2.0, 0.0)), None);
        }
    }
}
