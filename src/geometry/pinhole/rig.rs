//! One camera, or two that hold together, and the pose of a body from the images of its points.

use super::camera::{Pinhole, Pixel, Slopes};
use super::refine::{Minimum, Problem, State};
use super::three_points;
use crate::geometry::axes::{Point, Pose, Rotation};
use crate::geometry::fit::FitError;
use crate::geometry::rigid::Layout;
use nalgebra::{Matrix3, Vector3};

/// One camera, or two that hold together; `A` are the axes of the first.
#[derive(Clone, Debug, PartialEq)]
pub struct Rig<A> {
    stations: Vec<Station>,
    axes: std::marker::PhantomData<A>,
}

/// Axes of one camera of a rig.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Eye {}

/// A camera and where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    camera: Pinhole,
    /// From the axes of the rig to those of the camera; nothing for the first.
    turn: Option<Matrix3<f64>>,
    shift: Vector3<f64>,
    /// Where the camera is in the rig.
    origin: Vector3<f64>,
}

/// A pose fitted to images.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ImageFit<A, B> {
    /// The pose with the least sum of squared residuals.
    pub pose: Pose<A, B>,
    /// Sum of squared residuals, px^2.
    pub squares_px2: f64,
    /// Number of images that were fitted; each has two coordinates.
    pub images: usize,
    /// The other pose, if there is one: a body that is nearly flat looks nearly the same turned over about the line of
    /// sight (Schweighofer G, Pinz A. IEEE Trans Pattern Anal Mach Intell 2006;28:2024-2030).
    pub second: Option<SecondFit<A, B>>,
}

/// The second best pose, likewise a minimum of the sum of squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SecondFit<A, B> {
    /// The pose.
    pub pose: Pose<A, B>,
    /// Sum of squared residuals, px^2.
    pub squares_px2: f64,
}

impl<A, B> ImageFit<A, B> {
    /// Residual, root mean square over the coordinates of the images, px.
    #[must_use]
    pub fn residual_rms_px(&self) -> f64 {
        (self.squares_px2 / (2.0 * self.images as f64)).sqrt()
    }
}

impl<A> Rig<A> {
    /// One camera.
    #[must_use]
    pub fn one(camera: Pinhole) -> Self {
        let station = Station { camera, turn: None, shift: Vector3::zeros(), origin: Vector3::zeros() };
        Self { stations: vec![station], axes: std::marker::PhantomData }
    }

    /// Two cameras; `place` is where the second stands in the axes of the first.
    #[must_use]
    pub fn two(first: Pinhole, second: Pinhole, place: Pose<Eye, A>) -> Self {
        let into = place.inverse();
        let mut rig = Self::one(first);
        rig.stations.push(Station {
            camera: second,
            turn: Some(*into.rotation.matrix()),
            shift: *into.origin.vector(),
            origin: *place.origin.vector(),
        });
        rig
    }

    /// Number of cameras.
    #[must_use]
    pub fn cameras(&self) -> usize {
        self.stations.len()
    }

    /// How far a place moves across the first camera's line of sight when its image moves by a pixel, in the middle of the
    /// image, mm.
    #[must_use]
    pub fn mm_per_px(&self, place: Point<A>) -> f64 {
        place.z() / self.stations[0].camera.intrinsics().focal_length_px
    }

    /// What each camera sees of a place: its image, if it falls into the frame, and from where the camera looks.
    pub fn see(&self, place: Point<A>) -> impl Iterator<Item = (Option<Pixel>, Point<A>)> + '_ {
        self.stations.iter().map(move |station| {
            let image = station.camera.image(Point::<Eye>::from_vector(station.local(place.vector())));
            (image.filter(|&pixel| station.camera.holds(pixel)), Point::from_vector(station.origin))
        })
    }

    /// The pose of a body from images of its points: camera after camera, in each in the order of the layout, `None`
    /// where a point was not seen. `triangulated` is working memory, so that a caller in a loop allocates nothing.
    ///
    /// The start knows nothing but the images: with two cameras that see every point, each point is triangulated and
    /// the layout fitted to them; else the poses from three points that lie far apart, the one that suits the others
    /// best. From there, and from the pose turned over about the line of sight, least squares on pixels.
    ///
    /// # Errors
    /// [`FitError::TooFewPoints`] if no camera sees four points and no two see three common ones,
    /// [`FitError::RankLoss`] if those seen lie nearly in a line or no pose brings them in front of the cameras,
    /// [`FitError::NoConvergence`] if no iteration settles.
    pub fn fit<Body>(
        &self,
        layout: &Layout<Body>,
        images: &[Option<Pixel>],
        triangulated: &mut Vec<Point<A>>,
    ) -> Result<ImageFit<Body, A>, FitError> {
        let points = layout.centred();
        if images.len() != points.len() * self.stations.len() || !self.suffice(points.len(), images) {
            return Err(FitError::TooFewPoints);
        }
        let problem = Problem { stations: &self.stations, points, images };
        let (camera, seen) = self.best_view(points.len(), images);
        let triple = far_apart(points, seen).ok_or(FitError::RankLoss)?;
        let start = if self.triangulate_all(images, points.len(), triangulated) {
            let pose = layout.fit(triangulated)?.pose;
            State { rotation: *pose.rotation.matrix(), centre: *(pose * layout.centroid()).vector() }
        } else {
            best_of_three(&problem, &self.stations[camera], triple, seen).ok_or(FitError::RankLoss)?
        };
        let first = problem.minimum(start);
        let from = first.map_or(start, |minimum| minimum.state);
        let normal = (points[triple[1]] - points[triple[0]]).cross(&(points[triple[2]] - points[triple[0]]));
        let second = problem.minimum(from.turned_over(&normal.normalize(), &self.stations[camera].origin));
        let (best, other) = match (first, second) {
            (Some(first), Some(second)) if second.squares_px2 < first.squares_px2 => (second, Some(first)),
            (Some(first), second) => (first, second),
            (None, Some(second)) => (second, None),
            (None, None) => return Err(FitError::NoConvergence),
        };
        let pose = |state: &State| {
            let rotation = Rotation::from_matrix(state.rotation);
            Pose::placing(rotation, layout.centroid(), Point::from_vector(state.centre))
        };
        let apart = |other: &Minimum| (other.state.rotation - best.state.rotation).norm() > SAME_POSE;
        Ok(ImageFit {
            pose: pose(&best.state),
            squares_px2: best.squares_px2,
            images: images.iter().flatten().count(),
            second: other
                .filter(apart)
                .map(|other| SecondFit { pose: pose(&other.state), squares_px2: other.squares_px2 }),
        })
    }

    /// Whether the images determine a pose.
    fn suffice(&self, count: usize, images: &[Option<Pixel>]) -> bool {
        let seen = |images: &[Option<Pixel>]| images.iter().flatten().count();
        let common = |first: &[Option<Pixel>], second: &[Option<Pixel>]| {
            first.iter().zip(second).filter(|(first, second)| first.is_some() && second.is_some()).count()
        };
        images.chunks_exact(count).any(|images| seen(images) >= 4)
            || (self.stations.len() == 2 && common(&images[..count], &images[count..]) >= 3)
    }

    /// The camera that sees most points, and its images.
    fn best_view<'i>(&self, count: usize, images: &'i [Option<Pixel>]) -> (usize, &'i [Option<Pixel>]) {
        let view = |camera: usize| &images[camera * count..(camera + 1) * count];
        let seen = |camera: usize| view(camera).iter().flatten().count();
        let camera = (1..self.stations.len()).fold(0, |best, next| if seen(next) > seen(best) { next } else { best });
        (camera, view(camera))
    }

    /// The place that two pixels are the images of: the middle of the shortest line between their rays. `None` with one
    /// camera, or if the rays part.
    #[must_use]
    pub fn triangulate(&self, one: Pixel, other: Pixel) -> Option<Point<A>> {
        let [first, second] = self.stations.as_slice() else { return None };
        let (one, other) = (first.ray(one)?, second.ray(other)?);
        // Feet of the common perpendicular, at `s` along the first ray and `t` along the second.
        let between = second.origin - first.origin;
        let (a, b, c) = (one.norm_squared(), one.dot(&other), other.norm_squared());
        let determinant = a * c - b * b;
        let (d, e) = (one.dot(&between), other.dot(&between));
        let (s, t) = ((c * d - b * e) / determinant, (b * d - a * e) / determinant);
        let middle = 0.5 * (first.origin + s * one + second.origin + t * other);
        (s > 0.0 && t > 0.0 && s.is_finite() && t.is_finite()).then(|| Point::from_vector(middle))
    }

    /// Triangulates every point; whether all could be.
    fn triangulate_all(&self, images: &[Option<Pixel>], count: usize, places: &mut Vec<Point<A>>) -> bool {
        places.clear();
        if self.stations.len() < 2 {
            return false;
        }
        let pairs = images[..count].iter().zip(&images[count..]);
        places.extend(pairs.map_while(|(&one, &other)| self.triangulate(one?, other?)));
        places.len() == count
    }
}

/// Minima whose rotations differ by less, as the norm of the difference of their matrices, are one.
const SAME_POSE: f64 = 1e-3;

impl Station {
    /// A place in the axes of the camera.
    #[inline]
    fn local(&self, place: &Vector3<f64>) -> Vector3<f64> {
        self.turn.map_or(*place, |turn| turn * place + self.shift)
    }

    /// Image of a place.
    #[inline]
    pub fn image(&self, place: &Vector3<f64>) -> Option<Pixel> {
        self.camera.image(Point::<Eye>::from_vector(self.local(place)))
    }

    /// Image of a place and how it moves with it, in the axes of the rig.
    #[inline]
    pub fn slopes(&self, place: &Vector3<f64>) -> Option<Slopes> {
        let slopes = self.camera.slopes(&self.local(place))?;
        Some(match self.turn {
            None => slopes,
            Some(turn) => Slopes { du: turn.tr_mul(&slopes.du), dv: turn.tr_mul(&slopes.dv), ..slopes },
        })
    }

    /// The ray of a pixel in the axes of the rig.
    fn ray(&self, pixel: Pixel) -> Option<Vector3<f64>> {
        let ray = self.camera.ray(pixel)?;
        Some(self.turn.map_or(ray, |turn| turn.tr_mul(&ray)))
    }
}

/// Three of the points seen that lie far apart: the one farthest from the mean, the one farthest from it, and the one
/// farthest from the line through both. `None` if all lie nearly in that line.
fn far_apart(points: &[Vector3<f64>], seen: &[Option<Pixel>]) -> Option<[usize; 3]> {
    let farthest = |distance: &dyn Fn(&Vector3<f64>) -> f64| {
        let mut best = (0, -1.0);
        for (i, (point, image)) in points.iter().zip(seen).enumerate() {
            if image.is_some() && distance(point) > best.1 {
                best = (i, distance(point));
            }
        }
        best
    };
    let (first, _) = farthest(&Vector3::norm_squared);
    let (second, along2) = farthest(&|point| (point - points[first]).norm_squared());
    let line = points[second] - points[first];
    let (third, area2) = farthest(&|point| line.cross(&(point - points[first])).norm_squared());
    // A height of the triangle below this part of its longest side counts as none.
    let least = 2.0 * Layout::<()>::COLLINEAR_RATIO;
    (area2 > least * least * along2 * along2).then_some([first, second, third])
}

/// Of the poses from three points the one that suits all images best.
fn best_of_three(problem: &Problem, station: &Station, triple: [usize; 3], seen: &[Option<Pixel>]) -> Option<State> {
    let mut rays = [Vector3::zeros(); 3];
    for (ray, i) in rays.iter_mut().zip(triple) {
        *ray = station.ray(seen[i]?)?.normalize();
    }
    let corners = triple.map(|i| problem.points[i]);
    let square = |a: usize, b: usize| (corners[a] - corners[b]).norm_squared();
    let own = frame(&corners);
    let mut best: Option<(State, f64)> = None;
    three_points::distances(&rays, [square(0, 1), square(0, 2), square(1, 2)], |distances| {
        let places = [0, 1, 2].map(|i| station.origin + distances[i] * rays[i]);
        let rotation = frame(&places) * own.transpose();
        let centre = (places[0] + places[1] + places[2] - rotation * (corners[0] + corners[1] + corners[2])) / 3.0;
        let state = State { rotation, centre };
        let squares = problem.squares(&state);
        if best.is_none_or(|(_, least)| squares < least) {
            best = Some((state, squares));
        }
    });
    best.filter(|(_, squares)| squares.is_finite()).map(|(state, _)| state)
}

/// Right-handed axes of a triangle: along its first side, across it, and its normal.
fn frame(corners: &[Vector3<f64>; 3]) -> Matrix3<f64> {
    let x = (corners[1] - corners[0]).normalize();
    let z = x.cross(&(corners[2] - corners[0])).normalize();
    Matrix3::from_columns(&[x, z.cross(&x), z])
}

impl State {
    /// The pose in which a flat body looks the same from far away: half a turn about the line of sight before, and one
    /// about the body's own normal after the turn that it has.
    fn turned_over(&self, normal: &Vector3<f64>, from: &Vector3<f64>) -> Self {
        let sight = (self.centre - from).normalize();
        let half_turn = |axis: &Vector3<f64>| 2.0 * axis * axis.transpose() - Matrix3::identity();
        Self { rotation: half_turn(&sight) * self.rotation * half_turn(normal), centre: self.centre }
    }
}
