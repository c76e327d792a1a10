//! Two outputs of the same trials together.

use super::interval::Interval;
use super::{Estimate, binomial};

/// Mean and covariance of two quantities, gathered pair by pair (Welford BP. Technometrics 1962;4:419-420).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bivariate {
    /// Number of pairs.
    pub count: u64,
    /// Mean of both.
    pub mean: [f64; 2],
    /// Sums of the squared deviations of the first, of the products, and of the squared deviations of the second.
    sums: [f64; 3],
}

impl Bivariate {
    /// Takes one more pair; one that holds no number is passed over.
    pub fn add(&mut self, pair: [f64; 2]) {
        if !pair.iter().all(|value| value.is_finite()) {
            return;
        }
        self.count += 1;
        let count = self.count as f64;
        let before = [pair[0] - self.mean[0], pair[1] - self.mean[1]];
        self.mean = [self.mean[0] + before[0] / count, self.mean[1] + before[1] / count];
        let after = [pair[0] - self.mean[0], pair[1] - self.mean[1]];
        self.sums[0] += before[0] * after[0];
        self.sums[1] += before[0] * after[1];
        self.sums[2] += before[1] * after[1];
    }

    /// Covariance matrix, with n - 1; `None` for fewer than two pairs.
    #[must_use]
    pub fn covariance(&self) -> Option<[[f64; 2]; 2]> {
        let degrees = self.count.checked_sub(1).filter(|&degrees| degrees > 0)? as f64;
        let [xx, xy, yy] = self.sums.map(|sum| sum / degrees);
        Some([[xx, xy], [xy, yy]])
    }

    /// Correlation, with Fisher's interval (which takes the errors as normal); `None` without spread.
    #[must_use]
    pub fn correlation(&self, confidence: f64) -> Option<Estimate> {
        let [xx, xy, yy] = self.sums;
        let scale = (xx * yy).sqrt();
        if !(scale > 0.0) {
            return None;
        }
        let value = (xy / scale).clamp(-1.0, 1.0);
        let reach = super::invert::normal_above(0.5 * (1.0 - confidence)) / (self.count as f64 - 3.0).sqrt();
        let moved = |by: f64| libm::tanh(libm::atanh(value) + by);
        let interval = (self.count > 3 && value.abs() < 1.0).then(|| Interval {
            low: moved(-reach),
            high: moved(reach),
            confidence,
        });
        let standard_error = (1.0 - value * value) / (self.count as f64 - 1.0).max(1.0).sqrt();
        Some(Estimate { value, interval, standard_error: Some(standard_error), count: self.count })
    }

    /// The ellipse of this covariance that would hold a proportion of a bivariate normal distribution.
    #[must_use]
    pub fn ellipse(&self, proportion: f64) -> Option<Ellipse> {
        let [[xx, xy], [_, yy]] = self.covariance()?;
        let determinant = xx * yy - xy * xy;
        // A line has no inside.
        if !(determinant > 1e-12 * xx * yy && 0.0 < proportion && proportion < 1.0) {
            return None;
        }
        let inverse = [yy / determinant, -xy / determinant, xx / determinant];
        // Two degrees of freedom: the chi-squared quantile is -2 ln(1 - p).
        let radius_squared = -2.0 * libm::log1p(-proportion);
        let (half, apart) = (0.5 * (xx + yy), libm::hypot(0.5 * (xx - yy), xy));
        let semi_axes = [half + apart, half - apart].map(|value| (value.max(0.0) * radius_squared).sqrt());
        let angle_deg = 0.5 * libm::atan2(2.0 * xy, xx - yy).to_degrees();
        Some(Ellipse { mean: self.mean, inverse, radius_squared, semi_axes, angle_deg })
    }
}

/// An ellipse of equal density.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ellipse {
    /// Its centre.
    pub mean: [f64; 2],
    inverse: [f64; 3],
    radius_squared: f64,
    /// Its semi-axes, the longer one first.
    pub semi_axes: [f64; 2],
    /// Direction of the longer one, from the first quantity towards the second.
    pub angle_deg: f64,
}

impl Ellipse {
    /// Whether a pair lies inside.
    #[must_use]
    pub fn holds(&self, pair: [f64; 2]) -> bool {
        let [a, b] = [pair[0] - self.mean[0], pair[1] - self.mean[1]];
        let [xx, xy, yy] = self.inverse;
        xx * a * a + 2.0 * xy * a * b + yy * b * b <= self.radius_squared
    }
}

/// A box of target values, ends included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TargetBox {
    /// Least and largest of the first.
    pub first: [f64; 2],
    /// Least and largest of the second.
    pub second: [f64; 2],
}

impl TargetBox {
    /// Whether a pair lies in it.
    #[must_use]
    pub fn holds(&self, pair: [f64; 2]) -> bool {
        let within = |[low, high]: [f64; 2], value: f64| (low..=high).contains(&value);
        within(self.first, pair[0]) && within(self.second, pair[1])
    }
}

/// How often cases are read and are truly inside a target box.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct BoxCounts {
    /// Read inside and truly inside.
    pub both_inside: u64,
    /// Read inside while truly outside.
    pub read_inside_truly_outside: u64,
    /// Read outside while truly inside.
    pub read_outside_truly_inside: u64,
    /// Read outside and truly outside.
    pub both_outside: u64,
    /// Without both readings.
    pub failed: u64,
}

impl BoxCounts {
    /// Takes one more case.
    pub fn add(&mut self, target: &TargetBox, truth: [f64; 2], read: Option<[f64; 2]>) {
        let Some(read) = read else {
            self.failed += 1;
            return;
        };
        *match (target.holds(read), target.holds(truth)) {
            (true, true) => &mut self.both_inside,
            (true, false) => &mut self.read_inside_truly_outside,
            (false, true) => &mut self.read_outside_truly_inside,
            (false, false) => &mut self.both_outside,
        } += 1;
    }

    /// Cases with both readings.
    #[must_use]
    pub fn measured(&self) -> u64 {
        self.both_inside + self.read_inside_truly_outside + self.read_outside_truly_inside + self.both_outside
    }
}

impl std::iter::Sum for BoxCounts {
    fn sum<I: Iterator<Item = Self>>(counts: I) -> Self {
        counts.fold(Self::default(), |sum, counts| Self {
            both_inside: sum.both_inside + counts.both_inside,
            read_inside_truly_outside: sum.read_inside_truly_outside + counts.read_inside_truly_outside,
            read_outside_truly_inside: sum.read_outside_truly_inside + counts.read_outside_truly_inside,
            both_outside: sum.both_outside + counts.both_outside,
            failed: sum.failed + counts.failed,
        })
    }
}

/// A proportion of independent trials with its exact two-sided interval; `None` out of none.
#[must_use]
pub fn proportion(count: u64, of: u64, confidence: f64) -> Option<Estimate> {
    (of > 0).then(|| {
        let value = count as f64 / of as f64;
        let standard_error = (value * (1.0 - value) / of as f64).sqrt();
        let interval = Some(binomial::interval(count, of, confidence));
        Estimate { value, interval, standard_error: Some(standard_error), count: of }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    /// Of correlated normal pairs the 95 % ellipse holds 95 of 100, and its axes follow from the eigenvalues: of
    /// ((2, 1), (1, 2)) these are 3 and 1, along the diagonal.
    #[test]
    fn outside_an_ellipse_of_normal_pairs() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(67);
        let mut normal = || -> f64 { StandardNormal.sample(&mut random) };
        let pairs: Vec<[f64; 2]> = (0..40_000)
            .map(|_| {
                let (common, one, other) = (normal(), normal(), normal());
                [5.0 + common + one, -3.0 + common + other]
            })
            .collect();
        let mut both = Bivariate::default();
        for &pair in &pairs {
            both.add(pair);
        }
        both.add([f64::NAN, 1.0]);
        assert_eq!(both.count, 40_000);
        let ellipse = both.ellipse(0.95).unwrap();
        let inside = pairs.iter().filter(|&&pair| ellipse.holds(pair)).count() as f64 / 40_000.0;
        assert!((inside - 0.95).abs() < 4.0 * (0.95_f64 * 0.05 / 40_000.0).sqrt(), "{inside}");
        let radius = 5.991_464_547_f64.sqrt(); // chi-squared, 2 degrees of freedom, 95 %
        assert!((ellipse.semi_axes[0] / (radius * 3.0_f64.sqrt()) - 1.0).abs() < 0.02);
        assert!((ellipse.semi_axes[1] / radius - 1.0).abs() < 0.02 && (ellipse.angle_deg - 45.0).abs() < 1.0);
        let r = both.correlation(0.95).unwrap();
        assert!((r.value - 0.5).abs() < 4.0 * 0.75 / 200.0 && r.interval.unwrap().contains(r.value));
    }

    #[test]
    fn identity_without_spread_and_by_hand() {
        let mut both = Bivariate::default();
        assert_eq!((both.covariance(), both.correlation(0.95), both.ellipse(0.95)), (None, None, None));
        for pair in [[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]] {
            both.add(pair);
        }
        assert_eq!(both.covariance(), Some([[1.0, 2.0], [2.0, 4.0]]));
        assert_eq!((both.correlation(0.95).unwrap().value, both.ellipse(0.95)), (1.0, None));
    }

    #[test]
    fn identity_every_case_counts_once() {
        let target = TargetBox { first: [30.0, 50.0], second: [5.0, 25.0] };
        let mut counts = BoxCounts::default();
        for (truth, read) in [
            ([40.0, 15.0], Some([30.0, 25.0])),
            ([51.0, 15.0], Some([49.0, 15.0])),
            ([40.0, 5.0], Some([40.0, 4.9])),
            ([20.0, 15.0], Some([20.0, 15.0])),
            ([40.0, 15.0], None),
        ] {
            counts.add(&target, truth, read);
        }
        assert_eq!(counts.measured() + counts.failed, 5);
        let expected = BoxCounts {
            both_inside: 1,
            read_inside_truly_outside: 1,
            read_outside_truly_inside: 1,
            both_outside: 1,
            failed: 1,
        };
        assert_eq!(counts, expected);
        assert_eq!(proportion(0, 0, 0.95), None);
        assert_eq!(proportion(1, 4, 0.95).unwrap().value, 0.25);
    }
}
