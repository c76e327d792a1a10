//! Points, displacements, directions, rotations and poses that know in which axes they are expressed.
//!
//! The type parameter is a marker of the axes. A sum or product that mixes axes does not compile; the markers
//! cost nothing at run time.

use super::rotation;
use nalgebra::{Matrix3, Vector3};
use std::marker::PhantomData;
use std::ops::{Add, Mul, Neg, Sub};

macro_rules! typed_vector {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, PartialEq)]
        pub struct $name<A>(Vector3<f64>, PhantomData<A>);

        impl<A> Clone for $name<A> {
            fn clone(&self) -> Self {
                *self
            }
        }

        impl<A> Copy for $name<A> {}

        impl<A> $name<A> {
            /// The three components, without their axes.
            #[inline]
            #[must_use]
            pub const fn vector(&self) -> &Vector3<f64> {
                &self.0
            }

            /// The component along X.
            #[inline]
            #[must_use]
            pub fn x(&self) -> f64 {
                self.0.x
            }

            /// The component along Y.
            #[inline]
            #[must_use]
            pub fn y(&self) -> f64 {
                self.0.y
            }

            /// The component along Z.
            #[inline]
            #[must_use]
            pub fn z(&self) -> f64 {
                self.0.z
            }
        }
    };
}

typed_vector! {
    /// A position in axes `A`, mm.
    Point
}
typed_vector! {
    /// A difference of two positions in axes `A`, mm; also a rotation vector, radians.
    Displacement
}
typed_vector! {
    /// A unit vector in axes `A`.
    Direction
}

impl<A> Point<A> {
    /// The origin of `A`.
    pub const ORIGIN: Self = Self(Vector3::new(0.0, 0.0, 0.0), PhantomData);

    /// A position from its coordinates, mm.
    #[inline]
    #[must_use]
    pub const fn new(x: f64, y: f64, z: f64) -> Self {
        Self(Vector3::new(x, y, z), PhantomData)
    }

    /// A position from its coordinates, mm.
    #[inline]
    #[must_use]
    pub const fn from_vector(vector: Vector3<f64>) -> Self {
        Self(vector, PhantomData)
    }

    /// The point half way to another.
    #[inline]
    #[must_use]
    pub fn midpoint(self, other: Self) -> Self {
        Self(0.5 * (self.0 + other.0), PhantomData)
    }
}

impl<A> Displacement<A> {
    /// No displacement.
    pub const ZERO: Self = Self(Vector3::new(0.0, 0.0, 0.0), PhantomData);

    /// A displacement from its components, mm.
    #[inline]
    #[must_use]
    pub const fn new(x: f64, y: f64, z: f64) -> Self {
        Self(Vector3::new(x, y, z), PhantomData)
    }

    /// A displacement from its components, mm.
    #[inline]
    #[must_use]
    pub const fn from_vector(vector: Vector3<f64>) -> Self {
        Self(vector, PhantomData)
    }

    /// Length, mm.
    #[inline]
    #[must_use]
    pub fn length(&self) -> f64 {
        self.0.norm()
    }

    /// The component along a direction, mm.
    #[inline]
    #[must_use]
    pub fn along(&self, direction: Direction<A>) -> f64 {
        self.0.dot(&direction.0)
    }

    /// The vector product.
    #[inline]
    #[must_use]
    pub fn cross(&self, other: Self) -> Self {
        Self(self.0.cross(&other.0), PhantomData)
    }

    /// The direction, or `None` for a displacement without one (zero, infinite or NaN).
    #[must_use]
    pub fn direction(&self) -> Option<Direction<A>> {
        let length = self.length();
        (length > f64::MIN_POSITIVE && length.is_finite()).then(|| Direction(self.0 / length, PhantomData))
    }
}

impl<A> Direction<A> {
    /// The X axis.
    pub const X: Self = Self(Vector3::new(1.0, 0.0, 0.0), PhantomData);
    /// The Y axis.
    pub const Y: Self = Self(Vector3::new(0.0, 1.0, 0.0), PhantomData);
    /// The Z axis.
    pub const Z: Self = Self(Vector3::new(0.0, 0.0, 1.0), PhantomData);

    /// The direction as a displacement of 1 mm.
    #[inline]
    #[must_use]
    pub const fn as_displacement(&self) -> Displacement<A> {
        Displacement(self.0, PhantomData)
    }

    /// The third of three right-handed perpendicular directions, of which this and `second` are the first two.
    #[inline]
    #[must_use]
    pub fn third(&self, second: Self) -> Self {
        Self(self.0.cross(&second.0), PhantomData)
    }

    /// Cosine of the angle to another direction.
    #[inline]
    #[must_use]
    pub fn cosine(&self, other: Self) -> f64 {
        self.0.dot(&other.0)
    }
}

impl<A> Neg for Direction<A> {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0, PhantomData)
    }
}

impl<A> Neg for Displacement<A> {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0, PhantomData)
    }
}

impl<A> Add for Displacement<A> {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0, PhantomData)
    }
}

impl<A> Sub for Displacement<A> {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0, PhantomData)
    }
}

impl<A> Mul<Displacement<A>> for f64 {
    type Output = Displacement<A>;
    #[inline]
    fn mul(self, displacement: Displacement<A>) -> Displacement<A> {
        Displacement(self * displacement.0, PhantomData)
    }
}

impl<A> Mul<Direction<A>> for f64 {
    type Output = Displacement<A>;
    #[inline]
    fn mul(self, direction: Direction<A>) -> Displacement<A> {
        Displacement(self * direction.0, PhantomData)
    }
}

impl<A> Add<Displacement<A>> for Point<A> {
    type Output = Self;
    #[inline]
    fn add(self, displacement: Displacement<A>) -> Self {
        Self(self.0 + displacement.0, PhantomData)
    }
}

impl<A> Sub<Displacement<A>> for Point<A> {
    type Output = Self;
    #[inline]
    fn sub(self, displacement: Displacement<A>) -> Self {
        Self(self.0 - displacement.0, PhantomData)
    }
}

impl<A> Sub for Point<A> {
    type Output = Displacement<A>;
    #[inline]
    fn sub(self, other: Self) -> Displacement<A> {
        Displacement(self.0 - other.0, PhantomData)
    }
}

/// A rotation that takes components in `From` to components in `To`.
///
/// With `From = To` it turns a body within one set of axes.
#[derive(Debug, PartialEq)]
pub struct Rotation<From, To>(Matrix3<f64>, PhantomData<(From, To)>);

impl<From, To> Clone for Rotation<From, To> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<From, To> Copy for Rotation<From, To> {}

impl<From, To> Rotation<From, To> {
    /// No turn: the two sets of axes are parallel.
    #[must_use]
    pub fn identity() -> Self {
        Self(Matrix3::identity(), PhantomData)
    }

    /// From a matrix that is known to be a rotation.
    #[inline]
    #[must_use]
    pub const fn from_matrix(matrix: Matrix3<f64>) -> Self {
        Self(matrix, PhantomData)
    }

    /// From the axes of `From`, expressed in `To`; they must be a right-handed orthonormal triple.
    #[must_use]
    pub fn from_axes(x: Direction<To>, y: Direction<To>, z: Direction<To>) -> Self {
        Self(Matrix3::from_columns(&[x.0, y.0, z.0]), PhantomData)
    }

    /// From a right-handed rotation vector (axis times angle in radians) in `To`.
    #[must_use]
    pub fn from_rotation_vector(vector: Displacement<To>) -> Self {
        Self(rotation::from_rotation_vector(&vector.0), PhantomData)
    }

    /// From a unit quaternion `(w, x, y, z)`.
    #[must_use]
    pub fn from_quaternion(quaternion: [f64; 4]) -> Self {
        Self::from_rows(rotation::from_quaternion(quaternion))
    }

    /// From the rows of a rotation matrix.
    #[inline]
    #[must_use]
    pub(super) fn from_rows([x, y, z]: [[f64; 3]; 3]) -> Self {
        Self(Matrix3::new(x[0], x[1], x[2], y[0], y[1], y[2], z[0], z[1], z[2]), PhantomData)
    }

    /// The unit quaternion `(w, x, y, z)`, with `w` not negative.
    #[must_use]
    pub fn quaternion(&self) -> [f64; 4] {
        rotation::quaternion(&self.0)
    }

    /// The matrix: its columns are the axes of `From` in `To`.
    #[inline]
    #[must_use]
    pub const fn matrix(&self) -> &Matrix3<f64> {
        &self.0
    }

    /// The opposite turn.
    #[inline]
    #[must_use]
    pub fn inverse(&self) -> Rotation<To, From> {
        Rotation(self.0.transpose(), PhantomData)
    }

    /// The axes of `From` in `To`.
    #[must_use]
    pub fn axes(&self) -> [Direction<To>; 3] {
        [0, 1, 2].map(|i| Direction(self.0.column(i).into(), PhantomData))
    }

    /// The rotation vector in `To`, of an angle of at most pi.
    #[must_use]
    pub fn rotation_vector(&self) -> Displacement<To> {
        Displacement(rotation::rotation_vector(&self.0), PhantomData)
    }

    /// The same numbers with other names for the axes: for a body whose axes are re-labelled.
    #[inline]
    #[must_use]
    pub const fn relabelled<F2, T2>(self) -> Rotation<F2, T2> {
        Rotation(self.0, PhantomData)
    }
}

impl<A> Rotation<A, A> {
    /// The smallest turn that takes one direction to another; `None` if they are opposite.
    #[must_use]
    pub fn smallest_between(from: Direction<A>, to: Direction<A>) -> Option<Self> {
        rotation::smallest_between(&from.0, &to.0).map(|matrix| Self(matrix, PhantomData))
    }
}

impl<A, B, C> Mul<Rotation<A, B>> for Rotation<B, C> {
    type Output = Rotation<A, C>;
    #[inline]
    fn mul(self, first: Rotation<A, B>) -> Rotation<A, C> {
        Rotation(self.0 * first.0, PhantomData)
    }
}

impl<A, B> Mul<Displacement<A>> for Rotation<A, B> {
    type Output = Displacement<B>;
    #[inline]
    fn mul(self, displacement: Displacement<A>) -> Displacement<B> {
        Displacement(self.0 * displacement.0, PhantomData)
    }
}

impl<A, B> Mul<Direction<A>> for Rotation<A, B> {
    type Output = Direction<B>;
    #[inline]
    fn mul(self, direction: Direction<A>) -> Direction<B> {
        Direction(self.0 * direction.0, PhantomData)
    }
}

/// Where a body with axes `From` is in axes `To`: a rotation, then a translation.
#[derive(Debug, PartialEq)]
pub struct Pose<From, To> {
    /// Orientation of `From` in `To`.
    pub rotation: Rotation<From, To>,
    /// Origin of `From` in `To`, mm.
    pub origin: Point<To>,
}

impl<From, To> Clone for Pose<From, To> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<From, To> Copy for Pose<From, To> {}

impl<From, To> Pose<From, To> {
    /// From orientation and origin.
    #[inline]
    #[must_use]
    pub const fn new(rotation: Rotation<From, To>, origin: Point<To>) -> Self {
        Self { rotation, origin }
    }

    /// The pose with this orientation that puts `point` at `place`.
    #[must_use]
    pub fn placing(rotation: Rotation<From, To>, point: Point<From>, place: Point<To>) -> Self {
        Self { rotation, origin: place - rotation * (point - Point::ORIGIN) }
    }

    /// The pose of `To` in `From`.
    #[must_use]
    pub fn inverse(&self) -> Pose<To, From> {
        let rotation = self.rotation.inverse();
        Pose { rotation, origin: Point::ORIGIN - rotation * (self.origin - Point::ORIGIN) }
    }
}

impl<A, B> Mul<Point<A>> for Pose<A, B> {
    type Output = Point<B>;
    #[inline]
    fn mul(self, point: Point<A>) -> Point<B> {
        // Written out: this is the innermost product of every trial.
        let (m, v, o) = (&self.rotation.0, &point.0, &self.origin.0);
        Point::new(
            m.m11 * v.x + m.m12 * v.y + m.m13 * v.z + o.x,
            m.m21 * v.x + m.m22 * v.y + m.m23 * v.z + o.y,
            m.m31 * v.x + m.m32 * v.y + m.m33 * v.z + o.z,
        )
    }
}

impl<A, B, C> Mul<Pose<A, B>> for Pose<B, C> {
    type Output = Pose<A, C>;
    #[inline]
    fn mul(self, first: Pose<A, B>) -> Pose<A, C> {
        Pose { rotation: self.rotation * first.rotation, origin: self * first.origin }
    }
}
