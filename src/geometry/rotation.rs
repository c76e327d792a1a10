//! Rotation matrices from and to other forms. nalgebra does the algebra; what stands here either avoids an
//! inverse cosine near 0, where it loses half the digits, or fixes which bits come out.

use nalgebra::{Matrix3, Rotation3, UnitQuaternion, Vector3};
use std::ops::{Add, Mul, Sub};

/// Rotation matrix of a rotation vector, radians (Rodrigues).
pub fn from_rotation_vector(vector: &Vector3<f64>) -> Matrix3<f64> {
    Rotation3::new(*vector).into_inner()
}

/// Rotation vector of a rotation matrix, radians.
pub fn rotation_vector(matrix: &Matrix3<f64>) -> Vector3<f64> {
    UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(*matrix)).scaled_axis()
}

/// Rows of the rotation matrix of a unit quaternion, scalar first; of numbers alone or of several side by side.
#[inline]
pub fn from_quaternion<T>([w, x, y, z]: [T; 4]) -> [[T; 3]; 3]
where
    T: Copy + Add<Output = T> + Sub<Output = T> + Mul<Output = T>,
{
    let twice = |product: T| product + product;
    let (ww, xx, yy, zz) = (w * w, x * x, y * y, z * z);
    [
        [ww + xx - yy - zz, twice(x * y - w * z), twice(x * z + w * y)],
        [twice(x * y + w * z), ww - xx + yy - zz, twice(y * z - w * x)],
        [twice(x * z - w * y), twice(y * z + w * x), ww - xx - yy + zz],
    ]
}

/// Unit quaternion of a rotation matrix, scalar first and not negative.
pub fn quaternion(matrix: &Matrix3<f64>) -> [f64; 4] {
    let q = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(*matrix));
    let sign = if q.w < 0.0 { -1.0 } else { 1.0 };
    [q.w, q.i, q.j, q.k].map(|part| sign * part)
}

/// The smallest turn taking unit vector `from` to unit vector `to`; `None` if they are opposite.
pub fn smallest_between(from: &Vector3<f64>, to: &Vector3<f64>) -> Option<Matrix3<f64>> {
    let cosine = from.dot(to);
    if cosine < -1.0 + 1e-12 {
        return None;
    }
    let cross = from.cross(to).cross_matrix();
    Some(Matrix3::identity() + cross + cross * cross / (1.0 + cosine))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_rotation_vector_there_and_back() {
        for vector in [
            Vector3::new(0.3, -0.2, 0.9),
            Vector3::new(1e-9, 2e-9, -1e-9),
            Vector3::new(-2.9, 0.4, 0.3),
            Vector3::zeros(),
        ] {
            let back = rotation_vector(&from_rotation_vector(&vector));
            assert!((back - vector).norm() < 1e-14, "{vector} {back}");
        }
    }

    #[test]
    fn identity_quaternion_there_and_back() {
        for vector in [[0.3, -0.2, 0.9], [-2.9, 0.4, 0.3], [0.0, 0.0, 0.0], [0.0, 3.1, 0.2], [1e-9, 0.0, 2.0]] {
            let matrix = from_rotation_vector(&Vector3::from(vector));
            let found = quaternion(&matrix);
            assert!(found[0] >= 0.0);
            let back = Matrix3::from(from_quaternion(found)).transpose();
            assert!((back - matrix).norm() < 1e-15, "{vector:?}");
        }
    }

    #[test]
    fn identity_smallest_turn_keeps_small_angles() {
        let from = Vector3::new(0.0, 0.6, 0.8);
        let turn = from_rotation_vector(&Vector3::new(1e-7, 0.0, 0.0));
        let found = smallest_between(&from, &(turn * from)).unwrap();
        assert!((found - turn).norm() < 1e-16 * 10.0);
        assert!(smallest_between(&from, &-from).is_none());
    }
}
