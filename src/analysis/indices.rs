//! Variance-based sensitivity indices of groups of inputs, by pick-freeze.
//!
//! Rows: `A` and `B` are two independent sets of outputs, and for each group the output of `A` with that group taken from
//! `B`. First-order index: Saltelli A, Annoni P, Azzini I, Campolongo F, Ratto M, Tarantola S. Comput Phys Commun
//! 2010;181:259-270, table 2 (b). Total index: Jansen MJW. Comput Phys Commun 1999;117:35-43. Nothing is clipped: an index
//! near 0 may be estimated below 0.

use super::bootstrap::{Resamples, dot, percentile};
use super::interval::{Estimate, Interval};
use super::invert::student_above;

/// Resamples behind an interval.
pub const RESAMPLES: u64 = 1000;
/// With fewer rows no interval of a total index is given.
pub const FEWEST_ROWS: u64 = 64;

/// Outputs row by row; NaN where a case gave no reading.
#[derive(Clone, Debug)]
pub struct PickFreeze<'a> {
    /// The first set.
    pub a: &'a [f64],
    /// The second set.
    pub b: &'a [f64],
    /// For each group: the first set with that group from the second.
    pub mixed: Vec<&'a [f64]>,
}

/// The indices of one group. Shares of the variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effect {
    /// What goes when the group alone is held fixed, on average.
    pub first: Estimate,
    /// What is left when all but the group are held fixed, on average.
    pub total: Estimate,
    /// Total less first: what it does together with others.
    pub interaction: Estimate,
}

/// The indices of all groups for one output.
#[derive(Clone, Debug, PartialEq)]
pub struct Indices {
    /// Variance of the output.
    pub variance: f64,
    /// One for each group; empty where the output does not vary.
    pub effects: Vec<Effect>,
    /// Sum of the first-order indices; 1 where the groups do not interact.
    pub first_sum: Option<Estimate>,
    /// Rows without a reading missing.
    pub rows: u64,
    /// Rows dropped, because one of their cases gave no reading.
    pub dropped: u64,
}

/// Whether an index can be told from zero: its interval lies above.
#[must_use]
pub fn above_zero(index: &Estimate) -> bool {
    index.interval.is_some_and(|interval| interval.low > 0.0)
}

/// Sums that every index is made from, by resample: of `A` and `B`, and of two products for each group.
struct Sums {
    columns: Vec<Vec<f64>>,
}

impl Sums {
    fn of(rows: &PickFreeze) -> Self {
        let n = rows.a.len() as f64;
        // Taken from the mean, the products keep their digits and the first-order estimator has less variance.
        let centre = (rows.a.iter().sum::<f64>() + rows.b.iter().sum::<f64>()) / (2.0 * n);
        let pairs = || rows.a.iter().zip(rows.b).map(|(a, b)| (a - centre, b - centre));
        let mut columns = vec![
            pairs().map(|(a, b)| 0.5 * (a + b)).collect(),
            pairs().map(|(a, b)| 0.5 * (a * a + b * b)).collect(),
        ];
        for mixed in &rows.mixed {
            let with = || rows.a.iter().zip(rows.b).zip(*mixed).map(|((&a, &b), &m)| (a - centre, b - centre, m - a));
            columns.push(with().map(|(_, b, change)| b * change).collect());
            columns.push(with().map(|(_, _, change)| 0.5 * change * change).collect());
        }
        Self { columns }
    }

    /// Variance, then first and total index of each group.
    fn indices(&self, weights: &[f64]) -> Vec<f64> {
        let n = weights.len() as f64;
        let mut means = self.columns.iter().map(|column| dot(weights, column) / n);
        let mean = means.next().unwrap_or(0.0);
        let variance = means.next().unwrap_or(0.0) - mean * mean;
        [variance].into_iter().chain(means.map(|part| part / variance)).collect()
    }

    /// A total index, from its place among the columns, with an interval that is symmetric in its logarithm.
    ///
    /// A total index is a mean of squares over a variance: skewed where few rows decide, so that a percentile interval covers
    /// too seldom. Here the standard error is that of the index's influence, the factor Student's t with degrees of freedom
    /// from the kurtosis `k` of the influence, `2 n / (k - 1)` (Satterthwaite's approximation for a mean of squares, from
    /// memory), and the interval `index exp(+-t se / index)`. What moved in no row has none: a rare event may have been missed.
    fn total(&self, column: usize, index: f64, variance: f64, confidence: f64) -> Estimate {
        let count = self.columns[column].len();
        let n = count as f64;
        let mean = self.columns[0].iter().sum::<f64>() / n;
        let rows = self.columns[column].iter().zip(&self.columns[0]).zip(&self.columns[1]);
        // The mean of these is 0: the index is the mean of its column over the variance.
        let influence = rows
            .map(|((part, value), square)| (part - index * (square - 2.0 * mean * value + mean * mean)) / variance);
        let [squares, fourths] = influence.fold([0.0, 0.0], |[squares, fourths], one| {
            let square = one * one;
            [squares + square, fourths + square * square]
        });
        let standard_error = (squares / (n * (n - 1.0))).sqrt();
        let kurtosis = n * fourths / (squares * squares);
        let degrees_of_freedom = (2.0 * n / (kurtosis - 1.0)).clamp(1.0, n - 1.0);
        let enough = count as u64 >= FEWEST_ROWS && standard_error > 0.0;
        let interval = enough.then(|| {
            let reach = student_above(0.5 * (1.0 - confidence), degrees_of_freedom) * standard_error / index;
            Interval { low: index * libm::exp(-reach), high: index * libm::exp(reach), confidence }
        });
        Estimate { value: index, interval, standard_error: Some(standard_error), count: count as u64 }
    }
}

/// First-order and total index of each group, from resamples that a seed draws; see [`indices_from`].
#[must_use]
pub fn indices(rows: &PickFreeze, confidence: f64, seed: u64) -> Indices {
    indices_from(rows, confidence, &Resamples::new(rows.a.len(), seed, RESAMPLES))
}

/// First-order and total index of each group: percentile intervals from whole resampled rows, and for the total index an
/// interval from its influence, from [`FEWEST_ROWS`] rows on.
///
/// A row in which any case gave no reading is dropped and counted.
#[must_use]
pub fn indices_from(rows: &PickFreeze, confidence: f64, draws: &Resamples) -> Indices {
    let whole: Vec<usize> = (0..rows.a.len())
        .filter(|&i| rows.a[i].is_finite() && rows.b[i].is_finite() && rows.mixed.iter().all(|m| m[i].is_finite()))
        .collect();
    let dropped = (rows.a.len() - whole.len()) as u64;
    let keep = |column: &[f64]| -> Vec<f64> { whole.iter().map(|&i| column[i]).collect() };
    let (a, b) = (keep(rows.a), keep(rows.b));
    let mixed: Vec<Vec<f64>> = rows.mixed.iter().map(|column| keep(column)).collect();
    let kept = PickFreeze { a: &a, b: &b, mixed: mixed.iter().map(Vec::as_slice).collect() };
    let count = whole.len() as u64;
    let sums = Sums::of(&kept);
    let found = sums.indices(&vec![1.0; whole.len()]);
    let variance = found.first().copied().unwrap_or(0.0);
    if !(variance > 0.0) || count < 2 {
        return Indices { variance: 0.0, effects: Vec::new(), first_sum: None, rows: count, dropped };
    }
    let resampled = draws.of_rows(whole.len()).map(RESAMPLES, |weights| sums.indices(weights));
    let estimate = |of: &dyn Fn(&[f64]) -> f64| {
        percentile(of(&found), resampled.iter().map(|values| of(values)).collect(), confidence, count)
    };
    let effects = (0..mixed.len())
        .map(|group| Effect {
            first: estimate(&|values| values[1 + 2 * group]),
            total: sums.total(3 + 2 * group, found[2 + 2 * group], variance, confidence),
            interaction: estimate(&|values| values[2 + 2 * group] - values[1 + 2 * group]),
        })
        .collect();
    let first_sum = estimate(&|values| values[1..].iter().step_by(2).sum());
    Indices { variance, effects, first_sum: Some(first_sum), rows: count, dropped }
}

/// Test functions with known indices, for checks and tests.
pub mod functions {
    use super::PickFreeze;
    use rand::rngs::Xoshiro256PlusPlus;
    use rand::{RngExt, SeedableRng};
    use std::f64::consts::PI;

    /// `sin x1 + a sin^2 x2 + b x3^4 sin x1`, inputs uniform from -pi to pi (Ishigami T, Homma T. ISUMA 1990). `unit` holds
    /// the inputs on 0 to 1.
    #[must_use]
    pub fn ishigami(unit: &[f64], a: f64, b: f64) -> f64 {
        let [x, y, z] = [0, 1, 2].map(|i| PI * (2.0 * unit[i] - 1.0));
        let (one, other) = (libm::sin(x), libm::sin(y));
        one + a * other * other + b * z * z * z * z * one
    }

    /// The product of `(|4 x - 2| + a) / (1 + a)`, inputs uniform from 0 to 1 (Saltelli A, Sobol' IM. Reliab Eng Syst Saf
    /// 1995;50:225-239).
    #[must_use]
    pub fn g_function(unit: &[f64], a: &[f64]) -> f64 {
        unit.iter().zip(a).map(|(x, a)| ((4.0 * x - 2.0).abs() + a) / (1.0 + a)).product()
    }

    /// Outputs of a function in pick-freeze rows with uniform inputs: `A`, `B`, and one set for each input.
    #[must_use]
    pub fn rows(inputs: usize, rows: usize, seed: u64, f: impl Fn(&[f64]) -> f64) -> Vec<Vec<f64>> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut columns = vec![Vec::with_capacity(rows); inputs + 2];
        for _ in 0..rows {
            let mut draw = || (0..inputs).map(|_| random.random()).collect::<Vec<f64>>();
            let (mut a, b) = (draw(), draw());
            columns[0].push(f(&a));
            columns[1].push(f(&b));
            for input in 0..inputs {
                let own = std::mem::replace(&mut a[input], b[input]);
                columns[2 + input].push(f(&a));
                a[input] = own;
            }
        }
        columns
    }

    /// The rows as they are estimated from.
    #[must_use]
    pub fn pick_freeze(columns: &[Vec<f64>]) -> PickFreeze<'_> {
        PickFreeze { a: &columns[0], b: &columns[1], mixed: columns[2..].iter().map(Vec::as_slice).collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::functions::{g_function, ishigami, pick_freeze, rows};
    use super::*;

    fn of(inputs: usize, count: usize, seed: u64, f: impl Fn(&[f64]) -> f64) -> Indices {
        indices(&pick_freeze(&rows(inputs, count, seed, f)), 0.95, !seed)
    }

    /// An additive linear model: first and total index are `c_i^2 u_i^2 / u^2`. Uniform inputs have one variance.
    #[test]
    fn outside_additive_model() {
        let c = [3.0, 2.0, 1.0, 0.0];
        let found = of(4, 4096, 5, |x| x.iter().zip(c).map(|(x, c)| c * x).sum());
        for (effect, c) in found.effects.iter().zip(c) {
            let share = c * c / 14.0;
            for index in [effect.first, effect.total] {
                let reach = 3.5 * index.standard_error.unwrap() + 1e-12;
                assert!((index.value - share).abs() <= reach, "{c}: {index:?}");
            }
        }
        let sum = found.first_sum.unwrap();
        assert!((sum.value - 1.0).abs() < 3.5 * sum.standard_error.unwrap());
        // The last input is not there at all: exactly nothing, and not told from zero.
        assert_eq!((found.effects[3].total.value, above_zero(&found.effects[3].total)), (0.0, false));
        assert!(above_zero(&found.effects[0].first));
    }

    #[test]
    fn identity_failed_rows_are_dropped_whole() {
        let mut columns = rows(2, 1000, 7, |x| x[0] + x[1] * x[1]);
        let without: Vec<Vec<f64>> = columns.iter().map(|column| column[2..].to_vec()).collect();
        (columns[0][0], columns[3][1]) = (f64::NAN, f64::NAN);
        let found = indices(&pick_freeze(&columns), 0.95, 1);
        assert_eq!((found.rows, found.dropped), (998, 2));
        assert_eq!(found, Indices { dropped: 2, ..indices(&pick_freeze(&without), 0.95, 1) });
    }

    #[test]
    fn identity_no_variance_no_index() {
        let columns = vec![vec![2.0; 100]; 3];
        let found = indices(&pick_freeze(&columns), 0.95, 1);
        assert!(found.effects.is_empty() && found.variance == 0.0);
        let none: Vec<Vec<f64>> = vec![Vec::new(); 3];
        assert_eq!(indices(&pick_freeze(&none), 0.95, 1).rows, 0);
    }

    /// One group more moves nothing of the others, not in the last digit.
    #[test]
    fn identity_another_group_moves_no_other() {
        let columns = rows(3, 512, 11, |x| ishigami(x, 7.0, 0.1));
        let all = indices(&pick_freeze(&columns), 0.95, 2);
        let two = indices(&pick_freeze(&columns[..4]), 0.95, 2);
        assert_eq!(all.effects[..2], two.effects);
    }

    /// A test function: its name, first and total index of its inputs in turn, and the indices estimated with a seed.
    type Case = (&'static str, Vec<f64>, Box<dyn Fn(u64) -> Indices>);

    /// Few rows: the intervals of total indices cover at 64 and at 256 rows what they state, for a published function and for
    /// linear functions of normal inputs, one of them with a part that is there in 2 of 100 rows alone. Its total index is
    /// `E Var(y | all others) / Var(y)`: with `b = 8` and `p = 0.02`, `p b^2` for the size and `p (1 - p) b^2` for the event.
    #[test]
    fn coverage_of_total_indices_at_few_rows() {
        let normal = crate::analysis::invert::normal_quantile;
        let c = [3.0, 2.0, 1.0, 0.3];
        let linear = move |x: &[f64]| x.iter().zip(c).map(|(x, c)| c * normal(*x)).sum::<f64>();
        let rare = move |x: &[f64]| {
            let size = if x[2] < 0.02 { 8.0 * normal(x[3]) } else { 0.0 };
            2.0 * normal(x[0]) + normal(x[1]) + size
        };
        let variance = 5.0 + 0.02 * 64.0;
        let of_linear = c.map(|c| c * c / 14.09).to_vec();
        let of_rare = vec![4.0 / variance, 1.0 / variance, 0.02 * 0.98 * 64.0 / variance, 0.02 * 64.0 / variance];
        let functions =
            [("ishigami", vec![0.557_589, 0.442_411, 0.243_684]), ("linear", of_linear), ("rare", of_rare)];
        let repeats = 300_u64;
        // Of a correct interval 3 standard errors below what is stated; 2 more points are left to the skewness of 64 rows.
        let least = |given: u32| 0.95 - 3.0 * (0.95_f64 * 0.05 / f64::from(given)).sqrt() - 0.02;
        for (name, expected) in functions {
            for count in [64, 256] {
                let mut covered = vec![[0_u32; 2]; expected.len()];
                for seed in 0..repeats {
                    let drawn = match name {
                        "ishigami" => rows(3, count, seed, |x| ishigami(x, 7.0, 0.1)),
                        "linear" => rows(4, count, seed, linear),
                        _ => rows(4, count, seed, rare),
                    };
                    let rows = pick_freeze(&drawn);
                    let sums = Sums::of(&rows);
                    let found = sums.indices(&vec![1.0; count]);
                    for (group, (covered, expected)) in covered.iter_mut().zip(&expected).enumerate() {
                        let total = sums.total(3 + 2 * group, found[2 + 2 * group], found[0], 0.95);
                        if let Some(interval) = total.interval {
                            covered[0] += u32::from(interval.contains(*expected));
                            covered[1] += 1;
                        }
                    }
                }
                // Without an event in 64 rows, its size and its occurrence move nothing: no interval.
                assert!(
                    covered.iter().all(|[_, given]| 3 * u64::from(*given) > repeats),
                    "{name} {count}: {covered:?}"
                );
                let shares: Vec<f64> =
                    covered.iter().map(|[covered, given]| f64::from(*covered) / f64::from(*given)).collect();
                println!("{name}, {count} rows: {shares:?}");
                let enough = shares.iter().zip(&covered).all(|(&share, [_, given])| share >= least(*given));
                assert!(enough, "{name} {count}: {shares:?}");
            }
        }
    }

    #[test]
    fn identity_too_few_rows_have_no_interval_of_a_total_index() {
        let found = of(2, 63, 3, |x| x[0] + x[1]);
        assert!(
            found.effects.iter().all(|effect| effect.total.interval.is_none() && effect.first.interval.is_some())
        );
        let none = of(2, 64, 3, |x| x[0]).effects[1].total;
        assert_eq!((none.value, none.interval), (0.0, None));
    }

    /// 200 repeats of both published functions: each interval of each index covers its value at the stated confidence,
    /// within three standard errors of 200 repeats.
    #[test]
    fn coverage_of_the_intervals() {
        let coefficients = [0.0, 1.0, 4.5, 9.0];
        let cases: [Case; 2] = [
            (
                "ishigami",
                vec![0.313_905, 0.557_589, 0.442_411, 0.442_411, 0.0, 0.243_684],
                Box::new(|seed| of(3, 2048, seed, |x| ishigami(x, 7.0, 0.1))),
            ),
            // With the last four coefficients of 99 the indices of the first four are those below to 1 part in 10^4.
            (
                "g",
                vec![0.716_192, 0.787_144, 0.179_048, 0.242_198, 0.023_676, 0.034_317, 0.007_162, 0.010_460],
                Box::new(move |seed| {
                    let a: Vec<f64> = coefficients.into_iter().chain([99.0; 4]).collect();
                    of(8, 2048, seed, move |x| g_function(x, &a))
                }),
            ),
        ];
        let repeats = 200_u64;
        for (name, expected, run) in cases {
            let mut covered = vec![0_u32; expected.len()];
            for seed in 0..repeats {
                let found = run(seed);
                let estimates = found.effects.iter().flat_map(|effect| [effect.first, effect.total]);
                for ((covered, estimate), expected) in covered.iter_mut().zip(estimates).zip(&expected) {
                    *covered += u32::from(estimate.interval.is_some_and(|interval| interval.contains(*expected)));
                }
            }
            let allowed = 3.0 * (0.95_f64 * 0.05 / repeats as f64).sqrt();
            for (covered, expected) in covered.iter().zip(&expected) {
                let share = f64::from(*covered) / repeats as f64;
                assert!((share - 0.95).abs() <= allowed, "{name} {expected}: {share}");
            }
        }
    }
}
