//! Differences between a run with everything as it is and a run with one source changed, over the same cases.

use super::CONFIDENCE;
use crate::analysis::bootstrap::{Resamples, dot, percentile};
use crate::analysis::{Estimate, order};
use crate::experiment::{Plan, Requirement};
use crate::measurement::OUTPUTS;

/// Resamples behind the interval of a difference.
pub const RESAMPLES: u64 = 400;

/// Errors of every output, row by row; NaN without a reading.
pub type CaseColumns = [Vec<f64>; OUTPUTS.len()];

/// Numbers that sum up a column, with everything as it is and in each resample.
struct Summed<const N: usize> {
    all: [f64; N],
    resampled: Vec<[f64; N]>,
}

impl<const N: usize> Summed<N> {
    fn of(rows: usize, draws: &Resamples, statistic: impl Fn(&[f64]) -> [f64; N] + Sync) -> Self {
        Self { all: statistic(&vec![1.0; rows]), resampled: draws.of_rows(rows).map(RESAMPLES, statistic) }
    }

    /// This less another over the same rows.
    fn less(&self, base: &Self, rows: usize) -> [Estimate; N] {
        let pairs = || self.resampled.iter().zip(&base.resampled);
        std::array::from_fn(|i| {
            let differences = pairs().map(|(changed, base)| changed[i] - base[i]).collect();
            percentile(self.all[i] - base.all[i], differences, CONFIDENCE, rows as u64)
        })
    }
}

/// The errors of one output with everything as it is, summed up once for all that is compared with them.
pub struct BaseErrors<'a> {
    errors: &'a [f64],
    draws: &'a Resamples,
    /// Mean, standard deviation and 95 % quantile of the absolute value; `None` where a row has no reading.
    summed: Option<Summed<3>>,
}

impl<'a> BaseErrors<'a> {
    pub fn new(errors: &'a [f64], draws: &'a Resamples) -> Self {
        let whole = errors.iter().all(|error| error.is_finite());
        let summed = whole.then(|| Figures::of(errors.to_vec()).summed(draws));
        Self { errors, draws, summed }
    }

    /// Differences of mean, standard deviation and 95 % quantile of the absolute value, changed less base, over the rows that
    /// have both; whole rows are resampled.
    pub fn differences(&self, changed: &[f64]) -> [Estimate; 3] {
        if let Some(base) = self.summed.as_ref().filter(|_| changed.iter().all(|error| error.is_finite())) {
            return Figures::of(changed.to_vec()).summed(self.draws).less(base, changed.len());
        }
        let both = self.errors.iter().zip(changed).filter(|(base, changed)| base.is_finite() && changed.is_finite());
        let (base, changed): (Vec<f64>, Vec<f64>) = both.unzip();
        let rows = base.len();
        let [base, changed] = [base, changed].map(|errors| Figures::of(errors).summed(self.draws));
        changed.less(&base, rows)
    }
}

/// A column ready to be weighed.
struct Figures {
    values: Vec<f64>,
    squares: Vec<f64>,
    /// Rows by falling absolute value.
    falling: Vec<usize>,
}

impl Figures {
    fn of(values: Vec<f64>) -> Self {
        let falling = falling(&values, f64::abs);
        Self { squares: values.iter().map(|value| value * value).collect(), falling, values }
    }

    fn summed(&self, draws: &Resamples) -> Summed<3> {
        Summed::of(self.values.len(), draws, |weights| self.at(weights))
    }

    /// Mean, standard deviation and 95 % quantile of the absolute value of the weighed rows.
    fn at(&self, weights: &[f64]) -> [f64; 3] {
        let n = weights.len() as f64;
        let mean = dot(weights, &self.values) / n;
        let variance = (dot(weights, &self.squares) / n - mean * mean).max(0.0) * n / (n - 1.0).max(1.0);
        [mean, variance.sqrt(), weighed_quantile(&self.falling, weights, 0.95, |row| self.values[row].abs())]
    }
}

fn falling(values: &[f64], size: impl Fn(f64) -> f64) -> Vec<usize> {
    let mut rows: Vec<usize> = (0..values.len()).collect();
    rows.sort_by(|&a, &b| size(values[b]).total_cmp(&size(values[a])));
    rows
}

/// A quantile of weighed rows that are listed by falling size.
fn weighed_quantile(falling: &[usize], weights: &[f64], p: f64, size: impl Fn(usize) -> f64) -> f64 {
    let count = weights.len() as u64;
    let Some(rank) = order::quantile_rank(count, p) else { return f64::NAN };
    let beyond = (count - rank) as f64;
    let mut passed = 0.0;
    let quantile = falling.iter().find(|&&row| {
        passed += weights[row];
        passed > beyond
    });
    quantile.map_or(f64::NAN, |&row| size(row))
}

/// What a requirement limits: the proportion outside, and the required quantile of the error in units of the acceptance limit
/// (of several limits together, of the error that is largest in units of its own).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limited {
    /// Proportion of rows outside the acceptance limits, those without a reading included.
    pub outside: f64,
    /// The required quantile over the acceptance limit; infinite where rows without a reading reach it.
    pub quantile: f64,
}

/// Differences of what a requirement limits, changed less base.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimitedDifference {
    /// Of the proportion outside.
    pub outside: Estimate,
    /// Of the required quantile over the acceptance limit; without an interval where it is infinite.
    pub quantile: Estimate,
}

impl LimitedDifference {
    /// The difference by which sources are ranked: of the quantile, or of the proportion outside where the quantile is infinite.
    #[must_use]
    pub fn ranked(&self) -> Estimate {
        if self.quantile.value.is_finite() { self.quantile } else { self.outside }
    }
}

/// The limits of each requirement with its proportion: those that stand alone, then those that join others.
fn limits(plan: &Plan) -> Vec<(Vec<&Requirement>, f64)> {
    let single = plan.requirements.iter().map(|asked| (vec![asked], asked.proportion));
    let joint = plan.joint_requirements.iter().map(|joint| {
        let members = joint.members.iter().filter_map(|&member| plan.requirements.get(member));
        (members.collect(), joint.proportion)
    });
    single.chain(joint).collect()
}

/// What the requirements of a plan limit with everything as it is, in their order, those that join others last.
pub struct BaseLimited<'a> {
    plan: &'a Plan,
    draws: &'a Resamples,
    summed: Vec<Summed<2>>,
}

impl<'a> BaseLimited<'a> {
    pub fn new(plan: &'a Plan, errors: &CaseColumns, draws: &'a Resamples) -> Self {
        Self { plan, draws, summed: summed(plan, errors, draws) }
    }

    pub fn all(&self) -> Vec<Limited> {
        let all = self.summed.iter().map(|summed| summed.all);
        all.map(|[outside, quantile]| Limited { outside, quantile }).collect()
    }

    pub fn differences(&self, changed: &CaseColumns) -> Vec<LimitedDifference> {
        let rows = changed[0].len();
        let changed = summed(self.plan, changed, self.draws);
        let differences = changed.iter().zip(&self.summed).map(|(changed, base)| changed.less(base, rows));
        differences.map(|[outside, quantile]| LimitedDifference { outside, quantile }).collect()
    }
}

fn summed(plan: &Plan, errors: &CaseColumns, draws: &Resamples) -> Vec<Summed<2>> {
    let of_one = |(limits, proportion): (Vec<&Requirement>, f64)| {
        let size = |row: usize| {
            let each = limits.iter().map(|asked| {
                let error = errors[asked.output.place()][row];
                let size = asked.direction.size(error) / asked.rule().acceptance();
                if error.is_finite() { size } else { f64::INFINITY }
            });
            each.fold(f64::NEG_INFINITY, f64::max)
        };
        let sizes: Vec<f64> = (0..errors[0].len()).map(size).collect();
        let falling = falling(&sizes, |size| size);
        let outside: Vec<f64> = sizes.iter().map(|size| f64::from(u8::from(!(*size <= 1.0)))).collect();
        Summed::of(sizes.len(), draws, |weights| {
            let quantile = weighed_quantile(&falling, weights, proportion, |row| sizes[row]);
            [dot(weights, &outside) / weights.len() as f64, quantile]
        })
    };
    limits(plan).into_iter().map(of_one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::bootstrap::weights;
    use crate::analysis::{Errors, summarise};

    #[test]
    fn identity_weighed_figures_are_those_of_the_rows() {
        let values: Vec<f64> = (0..200).map(|i| f64::from(i * 37 % 199) - 80.0).collect();
        let drawn = weights(values.len(), 3, 1);
        let mut repeated = Vec::new();
        for (value, weight) in values.iter().zip(&drawn) {
            let mut left = *weight;
            while left > 0.0 {
                repeated.push(*value);
                left -= 1.0;
            }
        }
        let [mean, sd, p95] = Figures::of(values).at(&drawn);
        let expected = summarise(&Errors::new(repeated, 0), &crate::analysis::rare_events::RareEvents::default());
        assert!((mean - expected.bias.unwrap().value).abs() < 1e-12);
        assert!((sd - expected.sd.unwrap().value).abs() < 1e-10);
        assert_eq!(Some(p95), expected.p95_abs.map(|p95| p95.value));
    }

    #[test]
    fn identity_no_change_no_difference() {
        let column: Vec<f64> = (0..500).map(|i| f64::from(i * i % 83)).collect();
        let draws = Resamples::new(500, 1, RESAMPLES);
        for difference in BaseErrors::new(&column, &draws).differences(&column) {
            assert_eq!((difference.value, difference.standard_error), (0.0, Some(0.0)));
        }
    }

    /// A row without a reading is left out of differences of errors, as if it had never been.
    #[test]
    fn identity_rows_without_a_reading_are_left_out() {
        let column = |factor: f64| -> Vec<f64> { (0..300).map(|i| factor * f64::from(i * i % 83)).collect() };
        let (base, changed) = (column(1.0), column(1.5));
        let with_gap = |mut column: Vec<f64>, row: usize| {
            column[row] = f64::NAN;
            column
        };
        let draws = Resamples::new(300, 1, RESAMPLES);
        let found = BaseErrors::new(&with_gap(base.clone(), 0), &draws).differences(&with_gap(changed.clone(), 1));
        let expected = BaseErrors::new(&base[2..], &draws).differences(&changed[2..]);
        assert_eq!(found, expected);
    }

    /// Errors of a plan with one limit of 2 and one of both outputs: what is outside, and the quantile over the limit, by
    /// counting; a row without a reading is outside.
    #[test]
    fn outside_what_requirements_limit() {
        let plan = Plan::parse(
            "limits.toml",
            "seed = 1\n[[requirement]]\nid = \"A\"\ntext = \"a\"\noutput = \"inclination\"\nlimit_deg = 2.0\nproportion = 0.9\n\
             confidence = 0.95\n[[requirement]]\nid = \"B\"\ntext = \"b\"\noutput = \"anteversion\"\nlimit_deg = 4.0\n\
             proportion = 0.9\nconfidence = 0.95\n[[requirement]]\nid = \"C\"\ntext = \"c\"\nall_of = [\"A\", \"B\"]\n\
             proportion = 0.9\nconfidence = 0.95\n",
        )
        .unwrap();
        // Inclination 0.1 to 10 in steps of 0.1, anteversion the same the other way round; one case without a reading.
        let mut errors: CaseColumns = std::array::from_fn(|_| vec![0.0; 100]);
        for row in 0..100_u8 {
            errors[0][usize::from(row)] = 0.1 * f64::from(row + 1);
            errors[1][usize::from(row)] = -0.1 * f64::from(100 - row);
        }
        errors[1][0] = f64::NAN;
        let draws = Resamples::new(100, 1, RESAMPLES);
        let base = BaseLimited::new(&plan, &errors, &draws);
        let [one, other, both] = base.all()[..] else { panic!("three requirements") };
        // Beyond 2: 80 rows; beyond 4: 60, the one without a reading among them; beyond both limits: 20 and 60 rows overlap not,
        // rows 21 to 100 by the first, 1 to 60 by the second.
        assert_eq!((one.outside, other.outside, both.outside), (0.8, 0.6, 1.0));
        assert!((one.quantile - 9.0 / 2.0).abs() < 1e-12 && (other.quantile - 9.0 / 4.0).abs() < 1e-12);
        let mut halved = errors.clone();
        halved[0].iter_mut().for_each(|error| *error *= 0.5);
        let [first, second, _] = base.differences(&halved)[..] else { panic!("three requirements") };
        assert!((first.outside.value + 0.2).abs() < 1e-12 && (first.quantile.value + 9.0 / 4.0).abs() < 1e-12);
        assert_eq!((second.outside.value, second.quantile.value), (0.0, 0.0));
    }
}
