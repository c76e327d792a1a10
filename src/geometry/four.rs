//! Four numbers, or four points, side by side: one step for all of them costs little more than for one.
//!
//! Each of the four is computed as it would be alone, by the same operations in the same order, so that no answer
//! depends on its neighbours.

use super::axes::{Point, Pose};
use nalgebra::Vector3;
use std::marker::PhantomData;
use std::ops::Mul;

/// Four numbers side by side.
pub type Four = wide::f64x4;

/// How many stand side by side.
pub const LANES: usize = 4;

/// Components of four vectors, side by side.
#[inline]
#[must_use]
pub fn side_by_side(vectors: [Vector3<f64>; LANES]) -> [Four; 3] {
    [0, 1, 2].map(|i| Four::new(vectors.map(|vector| vector[i])))
}

/// Numbers side by side, as one array for each of the four.
#[inline]
#[must_use]
pub fn apart<const N: usize>(numbers: [Four; N]) -> [[f64; N]; LANES] {
    let lanes = numbers.map(Four::to_array);
    std::array::from_fn(|lane| lanes.map(|numbers| numbers[lane]))
}

/// Four points in axes `A`, mm, by their components.
#[derive(Debug)]
pub struct FourPoints<A> {
    /// X, Y and Z of the four.
    pub components: [Four; 3],
    axes: PhantomData<A>,
}

impl<A> Clone for FourPoints<A> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<A> Copy for FourPoints<A> {}

impl<A> FourPoints<A> {
    /// Four points by their components, mm.
    #[inline]
    #[must_use]
    pub const fn new(components: [Four; 3]) -> Self {
        Self { components, axes: PhantomData }
    }

    /// One to four points; where there are fewer, the last stands in for the missing ones.
    #[inline]
    #[must_use]
    pub fn of(points: &[Point<A>]) -> Self {
        let last = points.len() - 1;
        Self::new(side_by_side(std::array::from_fn(|lane: usize| *points[lane.min(last)].vector())))
    }

    /// The four points.
    #[inline]
    #[must_use]
    pub fn points(&self) -> [Point<A>; LANES] {
        apart(self.components).map(|[x, y, z]| Point::new(x, y, z))
    }
}

impl<A, B> Mul<FourPoints<A>> for Pose<A, B> {
    type Output = FourPoints<B>;
    #[inline]
    fn mul(self, points: FourPoints<A>) -> FourPoints<B> {
        let (m, o) = (self.rotation.matrix(), self.origin.vector());
        let [x, y, z] = points.components;
        FourPoints::new([0, 1, 2].map(|i| m[(i, 0)] * x + m[(i, 1)] * y + m[(i, 2)] * z + o[i]))
    }
}
