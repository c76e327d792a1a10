//! Centroids, mean directions and principal axes.

use super::axes::{Direction, Displacement, Point};
use nalgebra::Matrix3;

/// Mean of points; NaN for none.
#[must_use]
pub fn centroid<A>(points: &[Point<A>]) -> Point<A> {
    let sum = points.iter().fold(Displacement::ZERO, |sum, &p| sum + (p - Point::ORIGIN));
    let share = 1.0 / points.len() as f64;
    Point::ORIGIN + share * sum
}

/// Mean of unit vectors, normalised; `None` if there is none or they cancel.
#[must_use]
pub fn mean_direction<A>(directions: impl IntoIterator<Item = Direction<A>>) -> Option<Direction<A>> {
    let sum = directions.into_iter().fold(Displacement::ZERO, |sum, d| sum + d.as_displacement());
    sum.direction()
}

/// Centroid and principal axes of a set of points, by ascending spread.
#[derive(Clone, Copy, Debug)]
pub struct PrincipalAxes<A> {
    /// Mean of the points.
    pub centroid: Point<A>,
    /// Unit axes, the one with the least spread first; right-handed.
    pub axes: [Direction<A>; 3],
    /// Standard deviation along each axis (divisor n), mm.
    pub spread_mm: [f64; 3],
}

impl<A> PrincipalAxes<A> {
    /// Of at least one point.
    #[must_use]
    pub fn of(points: &[Point<A>]) -> Self {
        let centroid = centroid(points);
        let mut scatter = Matrix3::zeros();
        for &point in points {
            let offset = point - centroid;
            scatter += offset.vector() * offset.vector().transpose();
        }
        let eigen = (scatter / points.len() as f64).symmetric_eigen();
        let mut order = [0, 1, 2];
        order.sort_by(|&i, &j| eigen.eigenvalues[i].total_cmp(&eigen.eigenvalues[j]));
        let unit = |i: usize| Displacement::from_vector(eigen.eigenvectors.column(i).into_owned());
        let first = unit(order[0]);
        let second = unit(order[1]);
        let direction = |d: Displacement<A>| d.direction().unwrap_or(Direction::X);
        Self {
            centroid,
            axes: [direction(first), direction(second), direction(first.cross(second))],
            spread_mm: order.map(|i| eigen.eigenvalues[i].max(0.0).sqrt()),
        }
    }
}
