//! A few numbers, or points, side by side: one step for all of them costs little more than for one.
//!
//! Each is computed as it would be alone, by the same operations in the same order, so that no answer depends on its
//! neighbours. Four lanes fill the vectors of AVX2, for which `.cargo/config.toml` asks; elsewhere they are taken in parts.

use super::axes::{Point, Pose, Rotation};
use nalgebra::{Matrix3, Vector3};
use std::marker::PhantomData;
use std::ops::Mul;

/// Numbers side by side.
pub type Lanes = wide::f64x4;

/// How many stand side by side.
pub const LANES: usize = 4;

/// Components of vectors, side by side.
#[inline]
#[must_use]
pub fn side_by_side(vectors: [Vector3<f64>; LANES]) -> [Lanes; 3] {
    [0, 1, 2].map(|i| Lanes::new(vectors.map(|vector| vector[i])))
}

/// The components of one vector in every lane.
#[inline]
#[must_use]
pub fn alike(vector: &Vector3<f64>) -> [Lanes; 3] {
    [0, 1, 2].map(|i| Lanes::splat(vector[i]))
}

/// Numbers side by side, as one array for each lane.
#[inline]
#[must_use]
pub fn apart<const N: usize>(numbers: [Lanes; N]) -> [[f64; N]; LANES] {
    let lanes = numbers.map(Lanes::to_array);
    std::array::from_fn(|lane| lanes.map(|numbers| numbers[lane]))
}

/// Sums of vectors.
#[inline]
#[must_use]
pub fn sum(one: [Lanes; 3], other: [Lanes; 3]) -> [Lanes; 3] {
    [one[0] + other[0], one[1] + other[1], one[2] + other[2]]
}

/// Scalar products of vectors.
#[inline]
#[must_use]
pub fn dot(one: [Lanes; 3], other: [Lanes; 3]) -> Lanes {
    one[0] * other[0] + one[1] * other[1] + one[2] * other[2]
}

/// Vector products of vectors.
#[inline]
#[must_use]
pub fn cross([a, b, c]: [Lanes; 3], [x, y, z]: [Lanes; 3]) -> [Lanes; 3] {
    [b * z - c * y, c * x - a * z, a * y - b * x]
}

/// Vector products of one vector with each of others.
#[inline]
#[must_use]
pub fn cross_with(one: &Vector3<f64>, [x, y, z]: [Lanes; 3]) -> [Lanes; 3] {
    [one.y * z - one.z * y, one.z * x - one.x * z, one.x * y - one.y * x]
}

/// Products of a matrix with vectors.
#[inline]
#[must_use]
pub fn turned(matrix: &Matrix3<f64>, [x, y, z]: [Lanes; 3]) -> [Lanes; 3] {
    [0, 1, 2].map(|i| matrix[(i, 0)] * x + matrix[(i, 1)] * y + matrix[(i, 2)] * z)
}

/// Points in axes `A`, mm, by their components.
#[derive(Debug)]
pub struct PointLanes<A> {
    /// X, Y and Z of each.
    pub components: [Lanes; 3],
    axes: PhantomData<A>,
}

impl<A> Clone for PointLanes<A> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<A> Copy for PointLanes<A> {}

impl<A> PointLanes<A> {
    /// Points by their components, mm.
    #[inline]
    #[must_use]
    pub const fn new(components: [Lanes; 3]) -> Self {
        Self { components, axes: PhantomData }
    }

    /// At least one point; where there are fewer, the last stands in for the missing ones.
    #[inline]
    #[must_use]
    pub fn of(points: &[Point<A>]) -> Self {
        let last = points.len() - 1;
        Self::new(side_by_side(std::array::from_fn(|lane: usize| *points[lane.min(last)].vector())))
    }

    /// One of the points.
    #[inline]
    #[must_use]
    pub fn point(&self, lane: usize) -> Point<A> {
        let [x, y, z] = self.components.map(|numbers| numbers.to_array()[lane]);
        Point::new(x, y, z)
    }

    /// The first of the points.
    #[inline]
    pub fn points(self, count: usize) -> impl ExactSizeIterator<Item = Point<A>> {
        (0..count).map(move |lane| self.point(lane))
    }
}

/// Poses of axes `From` in axes `To`, by their components.
#[derive(Debug)]
pub struct PoseLanes<From, To> {
    /// Rows of the rotation matrix of each.
    pub rows: [[Lanes; 3]; 3],
    /// X, Y and Z of each origin, mm.
    pub origin: [Lanes; 3],
    axes: PhantomData<(From, To)>,
}

impl<From, To> Clone for PoseLanes<From, To> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<From, To> Copy for PoseLanes<From, To> {}

impl<From, To> PoseLanes<From, To> {
    /// Poses by their components.
    #[inline]
    #[must_use]
    pub const fn new(rows: [[Lanes; 3]; 3], origin: [Lanes; 3]) -> Self {
        Self { rows, origin, axes: PhantomData }
    }

    /// At least one pose; where there are fewer, the last stands in for the missing ones.
    #[inline]
    #[must_use]
    pub fn of(poses: &[Pose<From, To>]) -> Self {
        let last = poses.len() - 1;
        let each: [&Pose<From, To>; LANES] = std::array::from_fn(|lane: usize| &poses[lane.min(last)]);
        let row = |i: usize| side_by_side(each.map(|pose| pose.rotation.matrix().row(i).transpose()));
        Self::new([0, 1, 2].map(row), side_by_side(each.map(|pose| *pose.origin.vector())))
    }

    /// One of the poses.
    #[inline]
    #[must_use]
    pub fn pose(&self, lane: usize) -> Pose<From, To> {
        let of = |numbers: [Lanes; 3]| numbers.map(|numbers| numbers.to_array()[lane]);
        Pose::new(Rotation::from_rows(self.rows.map(of)), Point::from_vector(of(self.origin).into()))
    }

    /// The first of the poses.
    #[inline]
    pub fn poses(self, count: usize) -> impl ExactSizeIterator<Item = Pose<From, To>> {
        (0..count).map(move |lane| self.pose(lane))
    }

    /// Components in `To` of vectors given in `From`.
    #[inline]
    #[must_use]
    pub fn turned(&self, vectors: [Lanes; 3]) -> [Lanes; 3] {
        self.rows.map(|row| dot(row, vectors))
    }

    /// Components in `From` of vectors given in `To`.
    #[inline]
    #[must_use]
    pub fn turned_back(&self, [x, y, z]: [Lanes; 3]) -> [Lanes; 3] {
        let [a, b, c] = self.rows;
        [0, 1, 2].map(|i| a[i] * x + b[i] * y + c[i] * z)
    }
}

impl<A, B> Mul<Point<A>> for PoseLanes<A, B> {
    type Output = PointLanes<B>;
    #[inline]
    fn mul(self, point: Point<A>) -> PointLanes<B> {
        PointLanes::new(sum(self.turned(alike(point.vector())), self.origin))
    }
}

/// A pose after poses: the poses of what they place.
impl<A, B, C> Mul<PoseLanes<A, B>> for Pose<B, C> {
    type Output = PoseLanes<A, C>;
    #[inline]
    fn mul(self, first: PoseLanes<A, B>) -> PoseLanes<A, C> {
        let columns = [0, 1, 2].map(|j| turned(self.rotation.matrix(), first.rows.map(|row| row[j])));
        let rows = [0, 1, 2].map(|i| columns.map(|column| column[i]));
        PoseLanes::new(rows, (self * PointLanes::new(first.origin)).components)
    }
}

impl<A, B, C> Mul<PoseLanes<A, B>> for PoseLanes<B, C> {
    type Output = PoseLanes<A, C>;
    #[inline]
    fn mul(self, first: PoseLanes<A, B>) -> PoseLanes<A, C> {
        let column = |j: usize| first.rows.map(|row| row[j]);
        PoseLanes::new(
            self.rows.map(|row| [0, 1, 2].map(|j| dot(row, column(j)))),
            sum(self.turned(first.origin), self.origin),
        )
    }
}

impl<A, B> Mul<PointLanes<A>> for Pose<A, B> {
    type Output = PointLanes<B>;
    #[inline]
    fn mul(self, points: PointLanes<A>) -> PointLanes<B> {
        PointLanes::new(sum(turned(self.rotation.matrix(), points.components), alike(self.origin.vector())))
    }
}
