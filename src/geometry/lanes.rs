//! A few numbers, or points, side by side: one step for all of them costs little more than for one.
//!
//! Each is computed as it would be alone, by the same operations in the same order, so that no answer depends on its
//! neighbours. Two lanes fill the vectors that every 64-bit processor has; more would only spill their registers.

use super::axes::{Point, Pose};
use nalgebra::Vector3;
use std::marker::PhantomData;
use std::ops::Mul;

/// Numbers side by side.
pub type Lanes = wide::f64x2;

/// How many stand side by side.
pub const LANES: usize = 2;

/// Components of vectors, side by side.
#[inline]
#[must_use]
pub fn side_by_side(vectors: [Vector3<f64>; LANES]) -> [Lanes; 3] {
    [0, 1, 2].map(|i| Lanes::new(vectors.map(|vector| vector[i])))
}

/// Numbers side by side, as one array for each lane.
#[inline]
#[must_use]
pub fn apart<const N: usize>(numbers: [Lanes; N]) -> [[f64; N]; LANES] {
    let lanes = numbers.map(Lanes::to_array);
    std::array::from_fn(|lane| lanes.map(|numbers| numbers[lane]))
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

    /// The points.
    #[inline]
    #[must_use]
    pub fn points(&self) -> [Point<A>; LANES] {
        apart(self.components).map(|[x, y, z]| Point::new(x, y, z))
    }
}

impl<A, B> Mul<PointLanes<A>> for Pose<A, B> {
    type Output = PointLanes<B>;
    #[inline]
    fn mul(self, points: PointLanes<A>) -> PointLanes<B> {
        let (m, o) = (self.rotation.matrix(), self.origin.vector());
        let [x, y, z] = points.components;
        PointLanes::new([0, 1, 2].map(|i| m[(i, 0)] * x + m[(i, 1)] * y + m[(i, 2)] * z + o[i]))
    }
}
