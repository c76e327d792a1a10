//! Poses of a camera that sees three known points: up to four.
//!
//! The distances of the points from the camera obey three quadratic equations (Grunert 1841, in Haralick RM et al. Int J
//! Comput Vis 1994;13:331-356). Two homogeneous combinations of them are conics whose common points are wanted. As in
//! Persson M, Nordberg K. ECCV 2018:334-349, a degenerate member of their pencil is found from a cubic; it is a pair of
//! lines (split as in Richter-Gebert J. Perspectives on Projective Geometry, 2011, chapter 11), each of which meets a
//! conic in two points.

use nalgebra::{Matrix3, Vector3};

/// Distances of three points from the camera, mm, for unit rays to them and their squared distances from each other
/// (0-1, 0-2, 1-2): at most four triples, all positive. Where noise has made two solutions complex, their common real
/// part is given: a start for an iteration, and no solution itself.
pub fn distances(rays: &[Vector3<f64>; 3], squares: [f64; 3], mut take: impl FnMut(Vector3<f64>)) {
    let [a01, a02, a12] = squares;
    let (b01, b02, b12) = (rays[0].dot(&rays[1]), rays[0].dot(&rays[2]), rays[1].dot(&rays[2]));
    // l' E l = 0 and l' F l = 0, with |l0 y0 - l1 y1|^2 a12 = |l1 y1 - l2 y2|^2 a01 and likewise for 0-2.
    #[rustfmt::skip]
    let first = Matrix3::new(
        a12,        -b01 * a12, 0.0,
        -b01 * a12, a12 - a01,  b12 * a01,
        0.0,        b12 * a01,  -a01,
    );
    #[rustfmt::skip]
    let second = Matrix3::new(
        a12,        0.0,       -b02 * a12,
        0.0,        -a02,      b12 * a02,
        -b02 * a12, b12 * a02, a12 - a02,
    );
    // det(E + g F), a cubic in g.
    let (first_adjugate, second_adjugate) = (adjugate(&first), adjugate(&second));
    let cubic = [
        first.row(0).dot(&first_adjugate.row(0)),
        second.component_mul(&first_adjugate).sum(),
        first.component_mul(&second_adjugate).sum(),
        second.row(0).dot(&second_adjugate.row(0)),
    ];
    let Some(root) = isolated_root(cubic) else { return };
    for line in lines(&(first + root * second)) {
        on_line(&line, &first, |ratio| {
            let spread = (ratio.x - b01 * ratio.y, ratio.x - b02 * ratio.z, ratio.y - b12 * ratio.z);
            let across = |along: f64, far: f64, cosine: f64| along * along + (1.0 - cosine * cosine) * far * far;
            let total =
                across(spread.0, ratio.y, b01) + across(spread.1, ratio.z, b02) + across(spread.2, ratio.z, b12);
            let distances = ratio * ((a01 + a02 + a12) / total).sqrt().copysign(ratio.x);
            if distances.iter().all(|&distance| distance > 0.0 && distance.is_finite()) {
                take(distances);
            }
        });
    }
}

/// Adjugate of a symmetric matrix.
fn adjugate(m: &Matrix3<f64>) -> Matrix3<f64> {
    let (a, b, c, d, e, f) = (m.m11, m.m12, m.m13, m.m22, m.m23, m.m33);
    let (ab, ac, bc) = (c * e - b * f, b * e - c * d, b * c - a * e);
    Matrix3::new(d * f - e * e, ab, ac, ab, a * f - c * c, bc, ac, bc, a * d - b * b)
}

/// A real root of a cubic (constant term first) that is not one of two near each other.
fn isolated_root([c0, c1, c2, c3]: [f64; 4]) -> Option<f64> {
    // x = y - c2/(3 c3) makes it y^3 + 3 p y + 2 q.
    let (b, c, d) = (c2 / (3.0 * c3), c1 / (3.0 * c3), c0 / c3);
    let p = c - b * b;
    let q = b * b * b + 0.5 * (d - 3.0 * b * c);
    let discriminant = q * q + p * p * p;
    let y = if discriminant >= 0.0 {
        let largest = libm::cbrt(-q - discriminant.sqrt().copysign(q));
        if largest == 0.0 { 0.0 } else { largest - p / largest }
    } else {
        // Of three real roots the one with the largest magnitude stands alone.
        let size = (-p).sqrt();
        let angle = libm::acos((q.abs() / (size * size * size)).min(1.0));
        -(2.0 * size * libm::cos(angle / 3.0)).copysign(q)
    };
    let mut root = y - b;
    let slope = c1 + root * (2.0 * c2 + root * 3.0 * c3);
    let step = (c0 + root * (c1 + root * (c2 + root * c3))) / slope;
    if step.is_finite() {
        root -= step;
    }
    root.is_finite().then_some(root)
}

/// The two lines of a degenerate conic.
fn lines(conic: &Matrix3<f64>) -> [Vector3<f64>; 2] {
    let adjugate = adjugate(conic);
    let diagonal = [adjugate.m11, adjugate.m22, adjugate.m33];
    let i = (1..3).fold(0, |best, i| if diagonal[i].abs() > diagonal[best].abs() { i } else { best });
    // Positive where the lines are complex: then the nearest real pair, both lines the same.
    let point = if diagonal[i] < 0.0 { adjugate.column(i) / (-diagonal[i]).sqrt() } else { Vector3::zeros() };
    let pair = conic + point.cross_matrix();
    let (row, column) = pair.iamax_full();
    [pair.row(row).transpose(), pair.column(column).into()]
}

/// Where a line meets a conic.
fn on_line(line: &Vector3<f64>, conic: &Matrix3<f64>, mut take: impl FnMut(Vector3<f64>)) {
    // Two points of the line: with its largest coefficient at `i`, a point for each other coordinate.
    let i = line.iamax();
    let (j, k) = ((i + 1) % 3, (i + 2) % 3);
    let (mut one, mut other) = (Vector3::zeros(), Vector3::zeros());
    one[j] = 1.0;
    one[i] = -line[j] / line[i];
    other[k] = 1.0;
    other[i] = -line[k] / line[i];
    let product = conic * one;
    let (a, b, c) = (product.dot(&one), product.dot(&other), (conic * other).dot(&other));
    // a s^2 + 2 b s t + c t^2 = 0.
    let root = (b * b - a * c).max(0.0).sqrt();
    let sum = -(b + root.copysign(b));
    take(sum * one + a * other);
    take(c * one + sum * other);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::rotation::from_rotation_vector;

    #[test]
    fn identity_the_true_distances_are_among_the_solutions() {
        let points = [Vector3::new(-26.0, -18.0, 0.0), Vector3::new(24.0, -24.0, 5.0), Vector3::new(31.0, 20.0, 0.0)];
        let mut worst = 0.0_f64;
        for i in 0..2000 {
            let i = f64::from(i);
            let turn =
                from_rotation_vector(&Vector3::new(1.3 * (0.7 * i).sin_cos_free(), 0.9, (0.31 * i).sin_cos_free()));
            let centre = Vector3::new(60.0 * (0.13 * i).sin_cos_free(), 40.0 * (0.57 * i).sin_cos_free(), 200.0);
            let seen = points.map(|point| turn * point + centre);
            let rays = seen.map(|place| place.normalize());
            let square = |a: usize, b: usize| (points[a] - points[b]).norm_squared();
            let truth = Vector3::from(seen.map(|place| place.norm()));
            let (mut nearest, mut count) = (f64::INFINITY, 0);
            distances(&rays, [square(0, 1), square(0, 2), square(1, 2)], |found| {
                nearest = nearest.min((found - truth).norm());
                count += 1;
            });
            assert!(count <= 4);
            worst = worst.max(nearest);
        }
        // Near a double root half of the digits are lost.
        assert!(worst < 1e-4, "{worst} mm");
    }

    trait Wave {
        fn sin_cos_free(self) -> f64;
    }

    impl Wave for f64 {
        /// A wave between -1 and 1 that needs no trigonometry.
        fn sin_cos_free(self) -> f64 {
            2.0 * (self - self.floor()) - 1.0
        }
    }
}
