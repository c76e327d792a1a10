//! The scales with the smallest sum of cost over scale that meet every requirement.
//!
//! Near a point the square of a required quantile is taken as a constant plus a sum of coefficient times squared scale, one
//! coefficient for each knob; a variance of independent normal contributions has exactly this form. The cheapest scales of
//! such a model follow from Lagrange's condition: the cube of a scale is its cost over twice its coefficient times the
//! multiplier. With one limit on a variance `sum s_i^2 v_i` this is `s_i` proportional to `(c_i / v_i)^(1/3)`. The point is
//! moved until runs of whole cases find nothing cheaper, so a share that does not add up as squares costs rounds, not truth.

use super::search::{Search, Which, sizes};
use super::{Answer, LARGEST_SCALE, Strategy};
use crate::trial::RunError;

/// Rounds, at most.
const MOST_ROUNDS: usize = 8;
/// A round that lowers the cost by less than this share is the last.
const WORTH_A_ROUND: f64 = 1e-3;
/// The part of a knob's scale that is taken off to see what it does.
const STEP: f64 = 0.1;
/// A round changes a scale by this factor at most.
const REACH: f64 = 4.0;
/// Cases around a quantile from which coefficients are found, at least.
const FEWEST_AROUND: usize = 40;

/// The sum of cost over scale of the knobs that move a required output.
pub fn total(costs: &[f64], effective: &[bool], scales: &[f64]) -> f64 {
    let each = costs.iter().zip(scales).zip(effective);
    each.filter(|(_, effective)| **effective).map(|((cost, scale), _)| cost / scale).sum()
}

/// A point at which every requirement is met.
#[derive(Clone, Debug)]
struct Point {
    scales: Vec<f64>,
    binding: usize,
    cost: f64,
}

impl Search<'_> {
    /// Both answers with the smallest cost: never more than that of a strategy found before.
    pub fn by_cost(&self, costs: &[f64], found: &[(Strategy, [Answer; 2])]) -> Result<[Answer; 2], RunError> {
        let alone = found.iter().filter(|(strategy, _)| matches!(strategy, Strategy::Alone(_)));
        let effective: Vec<bool> = alone.map(|(_, [limit, _])| *limit != Answer::NoEffect).collect();
        let common = found.iter().find(|(strategy, _)| *strategy == Strategy::Common).map(|(_, answers)| answers);
        let instead = |which: Which| common.map_or(Answer::TooFewTrials, |answers| answers[which as usize].clone());
        let Some(mut best) = cheapest_found(costs, &effective, found, Which::Limit) else {
            return Ok([instead(Which::Limit), instead(Which::Assured)]);
        };
        let mut reach = REACH;
        for _ in 0..MOST_ROUNDS {
            let Some(wanted) = self.improved(costs, &effective, &best.scales, reach)? else { break };
            let along = ray(&wanted, &effective);
            let answer = self.largest(Which::Limit, end_of(&wanted, &effective), &along, &mut Vec::new())?;
            match point(costs, &effective, &answer, || along(f64::INFINITY)) {
                Some(found) if found.cost < (1.0 - WORTH_A_ROUND) * best.cost => best = found,
                Some(found) => {
                    if found.cost < best.cost {
                        best = found;
                    }
                    if reach < REACH {
                        break;
                    }
                    // Perhaps the step was too long for what was taken as straight.
                    reach = REACH.sqrt();
                }
                None => break,
            }
        }
        let scales = best.scales.clone();
        let along = ray(&scales, &effective);
        let answer = self.assured(end_of(&scales, &effective), &along, &mut Vec::new())?;
        let on_the_way = point(costs, &effective, &answer, || along(f64::INFINITY));
        let assured = [on_the_way, cheapest_found(costs, &effective, found, Which::Assured)].into_iter().flatten();
        let assured = assured.min_by(|a, b| a.cost.total_cmp(&b.cost));
        let answer = |point: Point| {
            let mut moved = point.scales.iter().zip(&effective).filter(|(_, effective)| **effective);
            if moved.all(|(scale, _)| *scale >= LARGEST_SCALE) {
                Answer::Unbounded
            } else {
                Answer::Scales { scales: point.scales, binding: point.binding }
            }
        };
        Ok([answer(best), assured.map_or_else(|| instead(Which::Assured), answer)])
    }

    /// Scales that cost less in the model of squares around a point, each changed by the factor `reach` at most; `None` where
    /// the point has no cases to learn from.
    fn improved(
        &self,
        costs: &[f64],
        effective: &[bool],
        at: &[f64],
        reach: f64,
    ) -> Result<Option<Vec<f64>>, RunError> {
        let base = (self.run)(at)?;
        let knobs: Vec<usize> = (0..at.len()).filter(|&knob| effective[knob]).collect();
        let around: Vec<Around> =
            self.requirements.iter().filter_map(|asked| Around::of(&sizes(&base, asked), asked)).collect();
        if around.len() < self.requirements.len() {
            return Ok(None);
        }
        let mut limits: Vec<Limit> = around.iter().map(|_| Limit { coefficients: Vec::new(), room: 1.0 }).collect();
        for &knob in &knobs {
            let less =
                (self.run)(&self.scales(|other| if other == knob { (1.0 - STEP) * at[other] } else { at[other] }))?;
            for ((limit, around), asked) in limits.iter_mut().zip(&around).zip(self.requirements) {
                let share = around.share(&sizes(&less, asked));
                limit.coefficients.push(around.square * share);
            }
        }
        for (limit, around) in limits.iter_mut().zip(&around) {
            limit.room = 1.0 - around.square + limit.coefficients.iter().sum::<f64>();
            limit.coefficients.iter_mut().for_each(|coefficient| *coefficient = coefficient.max(0.0));
        }
        let relative: Vec<f64> = knobs.iter().map(|&knob| costs[knob] / at[knob]).collect();
        let bounds: Vec<[f64; 2]> =
            knobs.iter().map(|&knob| [1.0 / reach, reach.min(LARGEST_SCALE / at[knob]).max(1.0 / reach)]).collect();
        let factors = cheapest(&relative, &limits, &bounds);
        let mut scales = at.to_vec();
        for (&knob, factor) in knobs.iter().zip(factors) {
            scales[knob] *= factor;
        }
        Ok(Some(scales))
    }
}

/// The cases around a required quantile.
struct Around {
    /// Their indices, with their sizes.
    cases: Vec<(usize, f64)>,
    /// Square of the quantile in units of the limit.
    square: f64,
}

impl Around {
    /// The cases between half and twice the allowed number from the largest; `None` where they have no finite size.
    fn of(sizes: &[f64], asked: &crate::experiment::Requirement) -> Option<Self> {
        let mut order: Vec<usize> = (0..sizes.len()).collect();
        order.sort_unstable_by(|&a, &b| sizes[b].total_cmp(&sizes[a]).then(a.cmp(&b)));
        let rank = crate::analysis::order::quantile_rank(sizes.len() as u64, asked.proportion)?;
        let out = sizes.len() - usize::try_from(rank).ok()?;
        let first = (out / 2).min(out.saturating_sub(FEWEST_AROUND / 2));
        let last = (2 * out).max(out + FEWEST_AROUND / 2).min(sizes.len());
        let finite = order[first..last].iter().map(|&case| (case, sizes[case])).filter(|(_, size)| size.is_finite());
        let cases: Vec<(usize, f64)> = finite.collect();
        let quantile = sizes[*order.get(out)?] / asked.limit;
        let known = quantile.is_finite() && cases.iter().any(|(_, size)| *size != 0.0);
        known.then_some(Self { cases, square: quantile * quantile })
    }

    /// The elasticity of the quantile with a knob, from sizes with the knob smaller by [`STEP`]: the mean change of a size
    /// given the size, as a share of it. For independent normal contributions this is the share of the variance, however
    /// far from the quantile.
    fn share(&self, less: &[f64]) -> f64 {
        let moved = self.cases.iter().filter(|(case, _)| less[*case].is_finite());
        let sums = moved.fold([0.0, 0.0], |[changes, squares], &(case, size)| {
            [changes + size * (size - less[case]) / STEP, squares + size * size]
        });
        if sums[1] > 0.0 { sums[0] / sums[1] } else { 0.0 }
    }
}

/// One limit of the model of squares: the sum of coefficient times squared factor is not above the room.
#[derive(Clone, Debug)]
struct Limit {
    coefficients: Vec<f64>,
    room: f64,
}

/// The factors within bounds that have the smallest sum of cost over factor and keep every limit, by ascent on one multiplier
/// after another (the dual of a convex problem); the smallest factors where no others keep a limit.
fn cheapest(costs: &[f64], limits: &[Limit], bounds: &[[f64; 2]]) -> Vec<f64> {
    /// Multipliers beyond this press every factor to its bound.
    const LARGEST: f64 = 1e15;
    let factors = |multipliers: &[f64]| -> Vec<f64> {
        let priced = |i: usize| {
            let price: f64 = limits.iter().zip(multipliers).map(|(limit, by)| by * limit.coefficients[i]).sum();
            let [low, high] = bounds[i];
            if price > 0.0 { libm::cbrt(0.5 * costs[i] / price).clamp(low, high) } else { high }
        };
        (0..costs.len()).map(priced).collect()
    };
    let over = |which: usize, multipliers: &[f64]| {
        let used = limits[which].coefficients.iter().zip(factors(multipliers)).map(|(c, factor)| c * factor * factor);
        used.sum::<f64>() > limits[which].room
    };
    let mut multipliers = vec![0.0; limits.len()];
    for _ in 0..300 {
        let before = multipliers.clone();
        for which in 0..limits.len() {
            multipliers[which] = 0.0;
            if !over(which, &multipliers) {
                continue;
            }
            let (mut low, mut high) = (1.0 / LARGEST, LARGEST);
            while high / low > 1.0 + 1e-9 {
                let middle = (low * high).sqrt();
                multipliers[which] = middle;
                if over(which, &multipliers) { low = middle } else { high = middle }
            }
            multipliers[which] = high;
        }
        let settled = before.iter().zip(&multipliers).all(|(a, b)| (a - b).abs() <= 1e-7 * b.abs());
        if settled {
            break;
        }
    }
    factors(&multipliers)
}

/// The way from nothing through scales, each stopped at the largest; knobs without effect stay as they are.
fn ray<'s>(scales: &'s [f64], effective: &'s [bool]) -> impl Fn(f64) -> Vec<f64> + 's {
    move |t| {
        let each = scales.iter().zip(effective);
        each.map(|(scale, effective)| if *effective { (t * scale).min(LARGEST_SCALE) } else { 1.0 }).collect()
    }
}

/// Where every scale of the ray has reached the largest.
fn end_of(scales: &[f64], effective: &[bool]) -> f64 {
    let smallest = scales.iter().zip(effective).filter(|(_, effective)| **effective).map(|(scale, _)| *scale);
    LARGEST_SCALE / smallest.fold(LARGEST_SCALE, f64::min)
}

/// The point of an answer; `end` is where an unbounded one ends. `None` without a finite cost.
fn point(costs: &[f64], effective: &[bool], answer: &Answer, end: impl Fn() -> Vec<f64>) -> Option<Point> {
    let (scales, binding) = match answer {
        Answer::Scales { scales, binding } => (scales.clone(), *binding),
        Answer::Unbounded => (end(), 0),
        Answer::Missed(_) | Answer::TooFewTrials | Answer::NoEffect => return None,
    };
    let cost = total(costs, effective, &scales);
    cost.is_finite().then_some(Point { scales, binding, cost })
}

/// The cheapest point among answers found before.
fn cheapest_found(
    costs: &[f64],
    effective: &[bool],
    found: &[(Strategy, [Answer; 2])],
    which: Which,
) -> Option<Point> {
    let points = found.iter().filter_map(|(strategy, answers)| {
        let end = || match strategy {
            Strategy::Alone(knob) => (0..costs.len()).map(|i| if i == *knob { LARGEST_SCALE } else { 1.0 }).collect(),
            _ => vec![LARGEST_SCALE; costs.len()],
        };
        let answer = &answers[which as usize];
        // An equal margin ends at the knobs' own limits, not at the largest scales.
        let ends_early = *strategy == Strategy::EqualMargin && *answer == Answer::Unbounded;
        if ends_early {
            return None;
        }
        point(costs, effective, answer, end)
    });
    points.min_by(|a, b| a.cost.total_cmp(&b.cost))
}

#[cfg(test)]
mod tests;
