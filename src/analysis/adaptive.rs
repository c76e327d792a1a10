//! Whether there are trials enough for stable estimates: the adaptive rule of JCGM 101:2008, 7.9, on the blocks of a run.
//!
//! It speaks of estimates alone. Whether a requirement is met is judged with the number of trials that the plan fixed.

use super::coverage::symmetric;
use super::moments::moments;

/// Blocks that are needed before the rule may stop.
pub const LEAST_BLOCKS: usize = 10;
/// Trials in a block by the guide, for a coverage probability of 95 %: `max(100 / (1 - p), 10^4)`.
pub const GUIDE_BLOCK: usize = 10_000;
/// Coverage probability of the interval whose ends are followed.
pub const PROPORTION: f64 = 0.95;

/// What is followed, in the order of a block's values.
pub const FOLLOWED: [&str; 4] = ["mean", "sd", "low", "high"];

/// Estimates of every block of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Trials in a block.
    pub block: usize,
    /// Mean, standard deviation and both ends of the symmetric interval of each block.
    pub blocks: Vec<[f64; 4]>,
}

/// Where the running means stand after so many blocks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// Blocks so far.
    pub blocks: usize,
    /// Mean over the blocks of each quantity followed.
    pub means: [f64; 4],
    /// Standard error of each.
    pub standard_errors: [f64; 4],
}

/// What the rule says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stability {
    /// Significant digits of the standard deviation that are asked for.
    pub digits: u32,
    /// The numerical tolerance that these digits mean, in the unit of the errors.
    pub within: f64,
    /// Trials after which the rule would have stopped; `None` if it has not been reached.
    pub stable_after: Option<u64>,
    /// Trials at which it may be expected to stop, from the scatter of the blocks; `None` if nothing scatters.
    pub expected: Option<u64>,
}

/// Cuts errors, in the order of their trials, into blocks: those of the guide, or ten smaller ones of a shorter run.
/// `None` for fewer than 20 values in a block.
#[must_use]
pub fn trace(values: &[f64]) -> Option<Trace> {
    let block = GUIDE_BLOCK.min(values.len() / LEAST_BLOCKS);
    if block < 20 {
        return None;
    }
    let of_block = |values: &[f64]| {
        let moments = moments(values)?;
        let mut sorted = values.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        let ends = symmetric(&sorted, PROPORTION)?;
        Some([moments.mean, moments.sd()?, ends.low, ends.high])
    };
    let blocks = values.chunks_exact(block).map(of_block).collect::<Option<Vec<_>>>()?;
    Some(Trace { block, blocks })
}

impl Trace {
    /// Whether the blocks are as large as the guide asks.
    #[must_use]
    pub fn by_the_guide(&self) -> bool {
        self.block >= GUIDE_BLOCK
    }

    /// The running means, from the second block on.
    pub fn standings(&self) -> impl Iterator<Item = Standing> + '_ {
        let mut count = 0.0;
        let (mut means, mut squares) = ([0.0; 4], [0.0; 4]);
        let running = self.blocks.iter().map(move |block| {
            count += 1.0;
            for ((mean, square), value) in means.iter_mut().zip(&mut squares).zip(block) {
                let before = value - *mean;
                *mean += before / count;
                *square += before * (value - *mean);
            }
            (count, means, squares)
        });
        running.enumerate().skip(1).map(|(index, (count, means, squares))| Standing {
            blocks: index + 1,
            means,
            standard_errors: squares.map(|square| (square / (count * (count - 1.0))).sqrt()),
        })
    }

    /// The rule: go on until twice the standard error of all four is below the numerical tolerance.
    #[must_use]
    pub fn stability(&self, digits: u32) -> Option<Stability> {
        let last = self.standings().last()?;
        let within = numerical_tolerance(last.means[1], digits);
        let scatter = |standing: &Standing| standing.standard_errors.iter().copied().fold(0.0, f64::max);
        let stops = |standing: &Standing| standing.blocks >= LEAST_BLOCKS && 2.0 * scatter(standing) <= within;
        let trials = |blocks: f64| super::order::round_up(blocks) * self.block as u64;
        let stable = self.standings().find(stops);
        let ratio = 2.0 * scatter(&last) / within;
        let expected = (last.blocks as f64 * ratio * ratio).max(LEAST_BLOCKS as f64);
        Some(Stability {
            digits,
            within,
            stable_after: stable.map(|standing| trials(standing.blocks as f64)),
            expected: (expected.is_finite() && expected < 1e12).then(|| trials(expected)),
        })
    }
}

/// Half a unit in the last of so many significant digits of a standard deviation (JCGM 101:2008, 7.9.2).
#[must_use]
pub fn numerical_tolerance(sd: f64, digits: u32) -> f64 {
    if !(sd > 0.0) {
        return 0.0;
    }
    let power = libm::floor(libm::log10(sd)) - f64::from(digits.max(1) - 1);
    // Rounding to the digits may carry into one more, such as 0.0996 to 0.10.
    let unit = libm::exp10(power);
    let carried = libm::round(sd / unit) >= libm::exp10(f64::from(digits.max(1)));
    0.5 * if carried { 10.0 * unit } else { unit }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    /// JCGM 101:2008, 7.9.2, examples 1 and 2 as recalled: 0.00035 with two digits gives 0.000005; 2 with one digit 0.5.
    #[test]
    fn table_numerical_tolerance() {
        for (sd, digits, expected) in [(0.00035, 2, 0.000_005), (2.0, 1, 0.5), (0.0755, 2, 0.0005), (0.0996, 1, 0.05)]
        {
            assert!((numerical_tolerance(sd, digits) / expected - 1.0).abs() < 1e-9, "{sd} {digits}");
        }
        assert_eq!(numerical_tolerance(0.0, 2), 0.0);
    }

    /// The running standard error is that of all block means by the plain formula.
    #[test]
    fn identity_running_is_plain() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(59);
        let values: Vec<f64> = (0..1000).map(|_| StandardNormal.sample(&mut random)).collect();
        let trace = trace(&values).unwrap();
        assert_eq!((trace.block, trace.blocks.len(), trace.by_the_guide()), (100, 10, false));
        let last = trace.standings().last().unwrap();
        let means: Vec<f64> = trace.blocks.iter().map(|block| block[0]).collect();
        let plain = moments(&means).unwrap().bias(0.95);
        assert!((last.means[0] - plain.value).abs() < 1e-14);
        assert!((last.standard_errors[0] - plain.standard_error.unwrap()).abs() < 1e-14);
    }

    /// Twice the standard error must be within; for normal errors the ends of the interval scatter most, by about
    /// `2.67 / sqrt(n)` (density 0.0584 at 1.96), so one digit (0.5 for a deviation of 1 to 9) needs the least run.
    #[test]
    fn identity_when_the_rule_stops() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(61);
        let values: Vec<f64> = (0..2000).map(|_| StandardNormal.sample(&mut random)).collect();
        let scaled: Vec<f64> = values.iter().map(|value| 3.0 * value).collect();
        let trace_of = |values: &[f64]| trace(values).unwrap();
        let one = trace_of(&scaled).stability(1).unwrap();
        assert_eq!((one.within, one.stable_after, one.expected), (0.5, Some(2000), Some(2000)));
        let three = trace_of(&scaled).stability(3).unwrap();
        assert!(three.stable_after.is_none() && three.expected.unwrap() > 100_000, "{three:?}");
        let flat = trace_of(&[0.5; 400]).stability(2).unwrap();
        assert_eq!((flat.within, flat.stable_after), (0.0, Some(400)));
        assert_eq!(trace(&[1.0; 199]), None);
    }
}
