//! Vectors drawn with a full covariance, and the factor that makes correlated scores from independent ones.

use nalgebra::DMatrix;
use serde::de::{Deserialize, Deserializer, Error};
use serde::{Serialize, Serializer};

/// Covariance of the three components of a vector, in the square of their unit; the mean is 0.
///
/// The vector is `L z`, with three standard normal scores `z` and the lower triangular `L` of `L L' = covariance`
/// (Cholesky; JCGM 101:2008, 6.4.8 draws a multivariate normal in this way). So the first component is a function of the
/// first score alone, and arms that differ only in the covariance stay paired.
#[derive(Clone, Debug, PartialEq)]
pub struct Covariance {
    matrix: [[f64; 3]; 3],
    factor: [[f64; 3]; 3],
}

impl Covariance {
    /// From its rows; or what is wrong with them, and in a second line how to mend it.
    ///
    /// # Errors
    /// If the matrix is not symmetric, or not positive semi-definite.
    pub fn new(matrix: [[f64; 3]; 3]) -> Result<Self, String> {
        for (row, column) in [(0, 1), (0, 2), (1, 2)] {
            let (one, other): (f64, f64) = (matrix[row][column], matrix[column][row]);
            if (one - other).abs() > 1e-9 * one.abs().max(other.abs()) {
                return Err(format!(
                    "found {one} in row {r}, column {c} and {other} in row {c}, column {r}, expected equal numbers\n\
                     a covariance is symmetric: the two are the same covariance of components {r} and {c}",
                    r = row + 1,
                    c = column + 1,
                ));
            }
        }
        let rows = DMatrix::from_fn(3, 3, |row, column| matrix[row][column]);
        match lower_factor(&rows) {
            Ok(lower) => {
                let factor = std::array::from_fn(|row| std::array::from_fn(|column| lower[(row, column)]));
                Ok(Self { matrix, factor })
            }
            Err(eigenvalues) => Err(format!(
                "found eigenvalues {}, expected none below 0\n\
                 no vector has this covariance: each off the diagonal must stay within the two standard deviations \
                 multiplied, and all three must go together; a sample covariance of more than three readings does",
                in_words(&eigenvalues)
            )),
        }
    }

    /// Standard deviation of each component.
    #[must_use]
    pub fn sds(&self) -> [f64; 3] {
        [0, 1, 2].map(|i| self.matrix[i][i].max(0.0).sqrt())
    }

    /// Whether each component is drawn from a score of its own.
    #[must_use]
    pub fn is_diagonal(&self) -> bool {
        (0..3).all(|row| (0..row).all(|column| self.matrix[row][column] == 0.0))
    }

    /// The vector at three scores.
    #[inline]
    #[must_use]
    pub fn values(&self, [first, second, third]: [f64; 3]) -> [f64; 3] {
        let [[a, ..], [b, c, _], [d, e, f]] = self.factor;
        [a * first, b * first + c * second, d * first + e * second + f * third]
    }
}

// It is written as its three rows.
impl<'de> Deserialize<'de> for Covariance {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::new(<[[f64; 3]; 3]>::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl Serialize for Covariance {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.matrix.serialize(serializer)
    }
}

/// Eigenvalues below this part of the largest are rounding.
const ROUNDING: f64 = 1e-10;

/// The lower triangular `L` with `L L' = matrix`, which must be symmetric. Where the matrix leaves a direction without
/// any variance, the column of `L` is 0.
///
/// # Errors
/// With the eigenvalues, ascending, if the matrix is not positive semi-definite.
pub fn lower_factor(matrix: &DMatrix<f64>) -> Result<DMatrix<f64>, Vec<f64>> {
    if matrix.is_empty() {
        return Ok(matrix.clone());
    }
    let mut eigenvalues: Vec<f64> = matrix.clone().symmetric_eigenvalues().iter().copied().collect();
    eigenvalues.sort_by(f64::total_cmp);
    let largest = eigenvalues.last().copied().unwrap_or(0.0).abs();
    if eigenvalues.first().is_some_and(|&smallest| smallest < -ROUNDING * largest) {
        return Err(eigenvalues);
    }
    let size = matrix.nrows();
    let mut lower = DMatrix::zeros(size, size);
    for column in 0..size {
        for row in column..size {
            let known: f64 = (0..column).map(|k| lower[(row, k)] * lower[(column, k)]).sum();
            let left = matrix[(row, column)] - known;
            if row == column {
                lower[(row, column)] = if left > ROUNDING * largest { left.sqrt() } else { 0.0 };
            } else if lower[(column, column)] > 0.0 {
                lower[(row, column)] = left / lower[(column, column)];
            }
        }
    }
    Ok(lower)
}

/// Numbers in a sentence.
pub fn in_words(numbers: &[f64]) -> String {
    numbers.iter().map(|number| format!("{number:.4}")).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A matrix with a textbook factor (Wikipedia, "Cholesky decomposition", its first example), one without variance in
    /// a direction, and nothing at all.
    #[test]
    fn identity_factor_gives_the_matrix_back() {
        let textbook = [[4.0, 12.0, -16.0], [12.0, 37.0, -43.0], [-16.0, -43.0, 98.0]];
        let factor = Covariance::new(textbook).expect("a covariance").factor;
        for (found, expected) in factor.iter().flatten().zip([2.0, 0.0, 0.0, 6.0, 1.0, 0.0, -8.0, 5.0, 3.0]) {
            assert!((found - expected).abs() < 1e-12, "{factor:?}");
        }
        for flat in [[[4.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 9.0]], [[0.0; 3]; 3], [[1.0; 3]; 3]] {
            let Covariance { matrix, factor } = Covariance::new(flat).expect("a covariance");
            for (i, j) in (0..9).map(|k| (k / 3, k % 3)) {
                let product: f64 = (0..3).map(|k| factor[i][k] * factor[j][k]).sum();
                assert!((product - matrix[i][j]).abs() < 1e-12, "{factor:?}");
            }
        }
    }

    /// The first component keeps its own score; the mean products over the unit vectors of scores are the covariance.
    #[test]
    fn identity_values_have_the_covariance() {
        let rows = [[4.0, 1.5, -0.4], [1.5, 2.25, 0.3], [-0.4, 0.3, 1.0]];
        let covariance = Covariance::new(rows).expect("a covariance");
        assert_eq!(covariance.values([0.7, -3.0, 9.0])[0], 2.0 * 0.7);
        let columns = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|scores| covariance.values(scores));
        for (i, j) in (0..9).map(|k| (k / 3, k % 3)) {
            let product: f64 = columns.iter().map(|column| column[i] * column[j]).sum();
            assert!((product - rows[i][j]).abs() < 1e-14);
        }
    }

    #[test]
    fn identity_what_is_no_covariance_is_refused() {
        let lopsided = Covariance::new([[1.0, 0.5, 0.0], [0.4, 1.0, 0.0], [0.0, 0.0, 1.0]]).expect_err("lopsided");
        assert!(lopsided.contains("0.5 in row 1, column 2 and 0.4 in row 2, column 1"), "{lopsided}");
        // Eigenvalues of [[1, 2], [2, 1]]: -1 and 3.
        let beyond = Covariance::new([[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]]).expect_err("beyond");
        assert!(beyond.contains("eigenvalues -1.0000, 1.0000, 3.0000"), "{beyond}");
    }
}
