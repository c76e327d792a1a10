//! Rigid registration of four points whose positions are uncertain together.

use super::axes::{Displacement, Point, Rotation};
use super::fit::FitError;
use nalgebra::{SMatrix, SVector};

/// Points of a body.
pub const CORRELATED_POINTS: usize = 4;
/// Coordinates of all points: X, Y, Z of the first, then of the second, and so on.
const COORDINATES: usize = 3 * CORRELATED_POINTS;
/// Steps of the iteration, at most.
const STEPS: usize = 50;
/// The iteration has settled when a step turns by less, in radians, and moves by less, in mm.
const SETTLED: (f64, f64) = (1e-12, 1e-9);

/// Covariance of all coordinates of the points, mm².
pub type JointCovariance = SMatrix<f64, COORDINATES, COORDINATES>;

/// Points of a body with the covariance of what separates them from measured ones, all in the body's axes.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrelatedLayout<A> {
    points: [Point<A>; CORRELATED_POINTS],
    /// Inverse of the covariance.
    weights: JointCovariance,
}

impl<A> CorrelatedLayout<A> {
    /// Takes points, mm, and the joint covariance of measured minus drawn coordinates, mm²; `None` unless that is positive
    /// definite.
    #[must_use]
    pub fn new(points: [Point<A>; CORRELATED_POINTS], covariance: &JointCovariance) -> Option<Self> {
        let weights = covariance.cholesky()?.inverse();
        weights.iter().all(|weight| weight.is_finite()).then_some(Self { points, weights })
    }

    /// The rotation from the axes of the measured points to those of the body at the most likely pose, from a start near it.
    ///
    /// The misfit `r = A (y - o) - p` of all points is normal with one covariance in the body's axes, which turn with the
    /// fit; so the likelihood is largest where `r' W r` is least (generalised least squares, Gauss-Newton over the turn and
    /// the shift; Mardia KV, Kent JT, Bibby JM. Multivariate Analysis, 1979, 6.6).
    ///
    /// # Errors
    /// [`FitError::RankLoss`] if the points leave a turn undetermined, [`FitError::NoConvergence`] if the iteration does not
    /// settle.
    pub fn fit<B>(
        &self,
        start: Rotation<B, A>,
        measured: [Point<B>; CORRELATED_POINTS],
    ) -> Result<Rotation<B, A>, FitError> {
        let mut turn = start;
        // Measured points from the first, so that the shift stays small.
        let offsets = measured.map(|point| point - measured[0]);
        let mut shift = self.points[0] - Point::ORIGIN;
        for _ in 0..STEPS {
            let seen: [Displacement<A>; CORRELATED_POINTS] = offsets.map(|offset| turn * offset);
            let mut misfit = SVector::<f64, COORDINATES>::zeros();
            let mut slopes = SMatrix::<f64, COORDINATES, 6>::zeros();
            for (index, (seen, drawn)) in seen.iter().zip(&self.points).enumerate() {
                let off = *seen + shift - (*drawn - Point::ORIGIN);
                let (row, lever) = (3 * index, seen.vector());
                misfit.fixed_rows_mut::<3>(row).copy_from(off.vector());
                // A small turn w moves a point by w x q.
                slopes.fixed_view_mut::<3, 3>(row, 0).copy_from(&(-lever.cross_matrix()));
                slopes.fixed_view_mut::<3, 3>(row, 3).fill_with_identity();
            }
            let weighted = slopes.tr_mul(&self.weights);
            let normal = weighted * slopes;
            let step = normal.cholesky().ok_or(FitError::RankLoss)?.solve(&(weighted * misfit));
            let (by, along) = (-step.fixed_rows::<3>(0), -step.fixed_rows::<3>(3));
            turn = Rotation::<A, A>::from_rotation_vector(Displacement::from_vector(by)) * turn;
            shift = shift + Displacement::from_vector(along);
            if !step.iter().all(|step| step.is_finite()) {
                return Err(FitError::RankLoss);
            }
            if by.norm() < SETTLED.0 && along.norm() < SETTLED.1 {
                return Ok(turn);
            }
        }
        Err(FitError::NoConvergence)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Clone, Copy, Debug)]
    struct Body;
    #[derive(Clone, Copy, Debug)]
    struct Space;

    fn body() -> [Point<Body>; 4] {
        [[1.0, 2.0, -119.0], [-2.0, 1.0, 119.0], [3.0, -92.0, 4.0], [-45.0, -71.0, 86.0]]
            .map(|[x, y, z]| Point::new(x, y, z))
    }

    fn turn() -> Rotation<Space, Body> {
        Rotation::<Space, Body>::from_rotation_vector(Displacement::new(0.4, -1.1, 0.7))
    }

    fn apart(one: Rotation<Space, Body>, other: Rotation<Space, Body>) -> f64 {
        (one * other.inverse()).rotation_vector().length()
    }

    /// Exact points: the true turn, whatever the weights, from a start that is 10 degrees off.
    #[test]
    fn identity_exact_points() {
        let place = Displacement::new(300.0, -20.0, 55.0);
        let measured = body().map(|point| Point::ORIGIN + (turn().inverse() * (point - Point::ORIGIN) + place));
        let mut covariance = JointCovariance::identity();
        for i in 0..12 {
            for j in 0..12 {
                covariance[(i, j)] +=
                    0.3 * f64::from(u8::try_from(i + 1).unwrap()) * f64::from(u8::try_from(j + 1).unwrap());
            }
        }
        let layout = CorrelatedLayout::new(body(), &covariance).unwrap();
        let start = Rotation::<Body, Body>::from_rotation_vector(Displacement::new(0.1, -0.1, 0.1)) * turn();
        assert!(apart(layout.fit(start, measured).unwrap(), turn()) < 1e-12);
    }

    /// With equal and independent weights it is the least-squares fit, found in closed form.
    #[test]
    fn outside_equal_weights_are_least_squares() {
        let off = [[2.0, -1.0, 0.5], [-0.5, 1.5, 2.0], [1.0, 1.0, -2.5], [0.0, -2.0, 1.0]];
        let measured: [Point<Space>; 4] = std::array::from_fn(|i| {
            let moved = body()[i] - Point::ORIGIN + Displacement::new(off[i][0], off[i][1], off[i][2]);
            Point::ORIGIN + turn().inverse() * moved
        });
        let layout = CorrelatedLayout::new(body(), &(JointCovariance::identity() * 4.0)).unwrap();
        let found = layout.fit(turn(), measured).unwrap();
        let closed = super::super::Layout::new(&body()).unwrap().fit(&measured).unwrap().pose.rotation.inverse();
        assert!(apart(found, closed) < 1e-9, "{}", apart(found, closed));
    }

    #[test]
    fn identity_what_determines_nothing() {
        let line = [0.0, 1.0, 2.0, 3.0].map(|x| Point::<Body>::new(x, 0.0, 0.0));
        let layout = CorrelatedLayout::new(line, &JointCovariance::identity()).unwrap();
        let measured = line.map(|point| Point::<Space>::new(point.x(), 0.0, 0.0));
        assert_eq!(
            layout.fit(Rotation::from_rotation_vector(Displacement::ZERO), measured).err(),
            Some(FitError::RankLoss)
        );
        assert!(CorrelatedLayout::new(line, &JointCovariance::zeros()).is_none());
    }
}
