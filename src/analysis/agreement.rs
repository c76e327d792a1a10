//! Whether errors seen on a bench are those that a model predicts.
//!
//! One test for all outputs together, by permutation, and for each output what a reader wants to see beside it: bias
//! and spread compared, the bench inside the predicted interval, and both distributions point by point.

use super::binomial;
use super::coverage::symmetric;
use super::interval::Interval;
use super::invert::student_above;
use super::moments::{Moments, moments};
use super::order::quantile;
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt, SeedableRng};

/// Fewer cases with a known error than this are not compared.
pub const FEWEST: usize = 5;

/// Proportion of the predicted errors inside the predicted interval.
pub const INSIDE: f64 = 0.95;

/// The errors of one output: predicted, one a trial, and observed, one a case; NaN where there is none.
#[derive(Clone, Copy, Debug)]
pub struct Compared<'a> {
    /// Predicted errors.
    pub predicted: &'a [f64],
    /// Observed errors.
    pub observed: &'a [f64],
}

/// How one output agrees.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// Predicted errors that were compared.
    pub trials: u64,
    /// Observed errors that were compared.
    pub cases: u64,
    /// Predicted mean error.
    pub predicted_bias: f64,
    /// Observed mean error.
    pub observed_bias: f64,
    /// Observed minus predicted bias, Welch's interval; `None` where it cannot be told.
    pub bias_difference: Option<Interval>,
    /// Predicted standard deviation.
    pub predicted_sd: f64,
    /// Observed standard deviation.
    pub observed_sd: f64,
    /// Observed over predicted standard deviation: interval from those of both, on the logarithmic scale.
    pub sd_ratio: Option<Interval>,
    /// The interval between whose ends the middle 95 % of the predicted errors lie.
    pub predicted_interval: (f64, f64),
    /// Observed errors inside it.
    pub inside: u64,
    /// Exact (Clopper-Pearson) interval of their proportion.
    pub inside_interval: Interval,
    /// Probability of a difference at least this large if the model predicts, of this output alone.
    pub p: f64,
    /// The same, of the largest difference among all outputs.
    pub p_adjusted: f64,
    /// Quantiles against each other: predicted, observed, and the range in which the observed one lies in 95 of 100
    /// benches that the model predicts.
    pub quantiles: Vec<QuantilePair>,
}

/// One observed error against the predicted quantile of its rank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct QuantilePair {
    /// Predicted quantile.
    pub predicted: f64,
    /// Observed error.
    pub observed: f64,
    /// Lower end of the predicted range of the observed error.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// How all outputs agree.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreements {
    /// Each output, in the order given; `None` with fewer than [`FEWEST`] errors on either side.
    pub outputs: Vec<Option<Agreement>>,
    /// Probability of a difference at least this large in any output if the model predicts; `None` if nothing could be
    /// compared.
    pub p: Option<f64>,
    /// Confidence of all intervals, and of the statement that the bench is not predicted.
    pub confidence: f64,
}

impl Agreements {
    /// Whether the bench is shown not to be predicted: its difference is less probable than the confidence leaves.
    #[must_use]
    pub fn refuted(&self) -> bool {
        self.p.is_some_and(|p| p <= 1.0 - self.confidence + 1e-12)
    }
}

/// Compares all outputs; rows of one case (or trial) stand at one index of every output.
#[must_use]
pub fn compare(outputs: &[Compared], confidence: f64, seed: u64) -> Agreements {
    let pooled: Vec<Option<Pooled>> = outputs.iter().map(Pooled::of).collect();
    let test = Permutations::of(&pooled, seed);
    let agreements = outputs.iter().zip(&pooled).enumerate().map(|(place, (compared, pooled))| {
        pooled.as_ref()?;
        let (p, p_adjusted) = test.of_output(place);
        describe(compared, confidence, p, p_adjusted)
    });
    Agreements { outputs: agreements.collect(), p: test.of_all(), confidence }
}

fn describe(compared: &Compared, confidence: f64, p: f64, p_adjusted: f64) -> Option<Agreement> {
    let ascending = |values: &[f64]| {
        let mut values: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
        values.sort_unstable_by(f64::total_cmp);
        values
    };
    let (predicted, observed) = (ascending(compared.predicted), ascending(compared.observed));
    let (of_model, of_bench) = (moments(&predicted)?, moments(&observed)?);
    let ends = symmetric(&predicted, INSIDE)?;
    let inside = observed.iter().filter(|error| (ends.low..=ends.high).contains(*error)).count() as u64;
    let cases = observed.len() as u64;
    let each = 0.5 * (1.0 + confidence);
    let quantiles = (1_u64..)
        .zip(&observed)
        .filter_map(|(rank, &error)| {
            let at = |p: f64| quantile(&predicted, p.clamp(0.0, 1.0));
            Some(QuantilePair {
                predicted: at((rank as f64 - 0.5) / cases as f64)?,
                observed: error,
                // The rank-th of n uniform values is beta distributed, whose quantiles are these bounds.
                low: at(binomial::lower_bound(rank, cases, each))?,
                high: at(binomial::upper_bound(rank - 1, cases, each))?,
            })
        })
        .collect();
    Some(Agreement {
        trials: predicted.len() as u64,
        cases,
        predicted_bias: of_model.mean,
        observed_bias: of_bench.mean,
        bias_difference: welch(&of_bench, &of_model, confidence),
        predicted_sd: of_model.sd()?,
        observed_sd: of_bench.sd()?,
        sd_ratio: ratio(&of_bench, &of_model, confidence),
        predicted_interval: (ends.low, ends.high),
        inside,
        inside_interval: binomial::interval(inside, cases, confidence),
        p,
        p_adjusted,
        quantiles,
    })
}

/// Difference of two means (Welch BL. Biometrika 1947;34:28-35).
fn welch(one: &Moments, other: &Moments, confidence: f64) -> Option<Interval> {
    let square = |m: &Moments| m.sd().map(|sd| sd * sd / m.count as f64);
    let (a, b) = (square(one)?, square(other)?);
    let difference = one.mean - other.mean;
    if a + b == 0.0 {
        return Some(Interval { low: difference, high: difference, confidence });
    }
    let freedom = (a + b) * (a + b) / (a * a / (one.count - 1) as f64 + b * b / (other.count - 1) as f64);
    let reach = student_above(0.5 * (1.0 - confidence), freedom) * (a + b).sqrt();
    Some(Interval { low: difference - reach, high: difference + reach, confidence })
}

/// Ratio of two standard deviations from the intervals of both, recovered on the logarithmic scale (Zou GY, Donner A.
/// Stat Med 2008;27:1693-1702; formula from memory, its coverage is a test).
fn ratio(one: &Moments, other: &Moments, confidence: f64) -> Option<Interval> {
    let (one, other) = (one.spread(confidence)?, other.spread(confidence)?);
    let ends = |estimate: &super::Estimate| {
        let interval = estimate.interval.filter(|interval| interval.low > 0.0)?;
        Some((libm::log(estimate.value), libm::log(interval.low), libm::log(interval.high)))
    };
    let ((a, a_low, a_high), (b, b_low, b_high)) = (ends(&one)?, ends(&other)?);
    let reach = |x: f64, y: f64| libm::hypot(x, y);
    Some(Interval {
        low: libm::exp(a - b - reach(a - a_low, b_high - b)),
        high: libm::exp(a - b + reach(a_high - a, b - b_low)),
        confidence,
    })
}

/// The errors of one output in one row: where each stands among all, from 0 to 1, NaN where there is none.
struct Pooled {
    /// Of the observed cases, then of the predicted trials.
    places: Vec<f64>,
    cases: usize,
}

impl Pooled {
    fn of(compared: &Compared) -> Option<Self> {
        let all: Vec<f64> = compared.observed.iter().chain(compared.predicted).copied().collect();
        let finite = |values: &[f64]| values.iter().filter(|value| value.is_finite()).count();
        if finite(compared.observed) < FEWEST || finite(compared.predicted) < FEWEST {
            return None;
        }
        let mut order: Vec<usize> = (0..all.len()).filter(|&index| all[index].is_finite()).collect();
        order.sort_unstable_by(|&one, &other| all[one].total_cmp(&all[other]));
        let mut places = vec![f64::NAN; all.len()];
        let mut first = 0;
        for equal in order.chunk_by(|&one, &other| all[one] == all[other]) {
            // Equal values share the middle of their ranks.
            let middle = first as f64 + 0.5 * equal.len() as f64;
            for &index in equal {
                places[index] = middle / order.len() as f64;
            }
            first += equal.len();
        }
        Some(Self { places, cases: compared.observed.len() })
    }

    /// How far the places of some rows are from evenly spread: the statistic of Anderson and Darling, which weighs the
    /// tails, on ranks among all (Pettitt AN. Biometrika 1976;63:161-168). `rows` stand in for the cases: a case without
    /// an error leaves its stand-in out.
    fn unevenness(&self, rows: &[usize], sorted: &mut Vec<f64>) -> f64 {
        sorted.clear();
        let stand_in =
            |(case, &row): (usize, &usize)| Some(self.places[row]).filter(|_| self.places[case].is_finite());
        sorted.extend(rows.iter().enumerate().filter_map(stand_in).filter(|place| place.is_finite()));
        sorted.sort_unstable_by(f64::total_cmp);
        let n = sorted.len();
        let sum: f64 =
            (0..n).map(|i| (2 * i + 1) as f64 * (libm::log(sorted[i]) + libm::log1p(-sorted[n - 1 - i]))).sum();
        if n == 0 { 0.0 } else { -(n as f64) - sum / n as f64 }
    }
}

/// The statistic of every output, of the bench (first) and of as many rows drawn at random from all.
///
/// If the model predicts the bench, the cases are some of all rows and any others could have been they, so the rank of
/// the bench among the draws gives an exact probability, whatever the distributions and however the outputs hang
/// together. Over several outputs it is that of the smallest probability (Westfall PH, Young SS. Resampling-Based
/// Multiple Testing, 1993, single step; from memory).
struct Permutations {
    /// Of each output: how many of bench and draws are at least as uneven as each of them.
    reached: Vec<Option<Vec<u32>>>,
    /// The smallest of these over the outputs.
    smallest: Vec<u32>,
}

impl Permutations {
    fn of(pooled: &[Option<Pooled>], seed: u64) -> Self {
        let Some(first) = pooled.iter().flatten().next() else {
            return Self { reached: vec![None; pooled.len()], smallest: Vec::new() };
        };
        let (cases, rows) = (first.cases, first.places.len());
        let draws = if cases <= 500 { 1999 } else { 499 };
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut order: Vec<usize> = (0..rows).collect();
        let mut sorted = Vec::new();
        let mut uneven: Vec<Vec<f64>> = vec![Vec::with_capacity(draws + 1); pooled.len()];
        for _ in 0..=draws {
            for (uneven, pooled) in uneven.iter_mut().zip(pooled) {
                if let Some(pooled) = pooled {
                    uneven.push(pooled.unevenness(&order[..cases], &mut sorted));
                }
            }
            for place in 0..cases {
                let other = random.random_range(place..rows);
                order.swap(place, other);
            }
        }
        let reached: Vec<Option<Vec<u32>>> =
            uneven.iter().map(|uneven| (!uneven.is_empty()).then(|| at_least(uneven))).collect();
        let smallest =
            (0..=draws).map(|draw| reached.iter().flatten().map(|r| r[draw]).min().unwrap_or(u32::MAX)).collect();
        Self { reached, smallest }
    }

    fn probability(&self, count: u32) -> f64 {
        let as_small = self.smallest.iter().filter(|&&smallest| smallest <= count).count();
        as_small as f64 / self.smallest.len() as f64
    }

    /// Of one output alone, and among all.
    fn of_output(&self, place: usize) -> (f64, f64) {
        let Some(reached) = &self.reached[place] else { return (1.0, 1.0) };
        (f64::from(reached[0]) / reached.len() as f64, self.probability(reached[0]))
    }

    fn of_all(&self) -> Option<f64> {
        self.smallest.first().map(|&count| self.probability(count))
    }
}

/// How many values are at least as large as each, itself included.
fn at_least(values: &[f64]) -> Vec<u32> {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let count = |value: &f64| values.len() - sorted.partition_point(|other| other < value);
    // Some thousands of draws.
    #[allow(clippy::cast_possible_truncation)]
    values.iter().map(|value| count(value) as u32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_distr::{Distribution, StandardNormal};

    fn normal(count: usize, scale: f64, seed: u64) -> Vec<f64> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        (0..count).map(|_| StandardNormal.sample(&mut random)).map(|score: f64| scale * score).collect()
    }

    /// Correlated outputs, as of one case: the second is the first and as much of its own.
    fn bench(cases: usize, scale: f64, seed: u64) -> [Vec<f64>; 2] {
        let (one, own) = (normal(cases, scale, seed), normal(cases, scale, seed ^ 0xff00));
        let both = one.iter().zip(&own).map(|(one, own)| one + own).collect();
        [one, both]
    }

    fn compared(model: &[Vec<f64>; 2], bench: &[Vec<f64>; 2], seed: u64) -> Agreements {
        let pairs: Vec<Compared> =
            model.iter().zip(bench).map(|(predicted, observed)| Compared { predicted, observed }).collect();
        compare(&pairs, 0.95, seed)
    }

    /// At 95 % confidence 10 of 200 benches of the model's own are refuted by chance, standard error 3.1; all intervals
    /// cover what they should as often.
    #[test]
    fn coverage_of_a_bench_that_is_predicted() {
        let model = bench(2000, 1.0, 1);
        let (mut refuted, mut covered, repeats) = (0, [0; 3], 200);
        for repeat in 0..repeats {
            let found = compared(&model, &bench(40, 1.0, 100 + repeat), repeat);
            refuted += u32::from(found.refuted());
            let first = found.outputs[0].as_ref().expect("enough cases");
            covered[0] += u32::from(first.bias_difference.expect("an interval").contains(0.0));
            covered[1] += u32::from(first.sd_ratio.expect("an interval").contains(1.0));
            covered[2] += u32::from(first.inside_interval.contains(0.95));
            assert!(first.p <= first.p_adjusted + 1e-12);
        }
        let three = 3.0 * (0.05 * 0.95 * repeats as f64).sqrt();
        let expected = 0.05 * repeats as f64;
        assert!((f64::from(refuted) - expected).abs() <= three, "{refuted} refuted");
        for covered in &covered[..2] {
            let missed = repeats as f64 - f64::from(*covered);
            assert!((missed - expected).abs() <= three, "{missed} missed");
        }
        // Exact intervals of a proportion cover at least as often.
        assert!(repeats as f64 - f64::from(covered[2]) <= expected + three);
    }

    #[test]
    fn coverage_a_wider_bench_is_refuted() {
        let model = bench(2000, 1.0, 1);
        let refuted =
            (0..40).filter(|&repeat| compared(&model, &bench(40, 2.0, 500 + repeat), repeat).refuted()).count();
        assert!(refuted >= 38, "{refuted} of 40");
    }

    /// Against every one of the ways to choose the cases from all rows.
    #[test]
    fn outside_probability_by_all_choices() {
        let (predicted, observed) = (normal(6, 1.0, 3), [0.9, 2.4, -0.2, 3.0, 1.9]);
        let pooled = [Pooled::of(&Compared { predicted: &predicted, observed: &observed })];
        let (mut sorted, mut as_large, mut all) = (Vec::new(), 0_u32, 0_u32);
        let whole = pooled[0].as_ref().expect("enough");
        let own = whole.unevenness(&[0, 1, 2, 3, 4], &mut sorted);
        for chosen in 0_u32..1 << 11 {
            if chosen.count_ones() == 5 {
                let rows: Vec<usize> = (0..11).filter(|row| chosen >> row & 1 == 1).collect();
                all += 1;
                as_large += u32::from(whole.unevenness(&rows, &mut sorted) >= own - 1e-12);
            }
        }
        assert_eq!(all, 462);
        let exact = f64::from(as_large) / f64::from(all);
        let drawn = Permutations::of(&pooled, 7).of_all().expect("a probability");
        let error = (exact * (1.0 - exact) / 2000.0).sqrt();
        assert!((drawn - exact).abs() < 4.0 * error + 1.0 / 2000.0, "{drawn} {exact}");
    }

    #[test]
    fn identity_what_cannot_be_compared() {
        let few = [1.0, f64::NAN, 2.0, 3.0, 4.0];
        let many = normal(50, 1.0, 3);
        let found = compare(&[Compared { predicted: &many, observed: &few }], 0.95, 1);
        assert_eq!((found.outputs[0].as_ref(), found.p, found.refuted()), (None, None, false));
        // No spread on either side hangs nothing.
        let equal = [0.0; 20];
        let found = compare(&[Compared { predicted: &equal, observed: &equal }], 0.95, 1);
        assert_eq!((found.p, found.refuted()), (Some(1.0), false));
        let found = found.outputs[0].as_ref().expect("enough");
        assert_eq!((found.inside, found.sd_ratio), (20, None));
    }
}
