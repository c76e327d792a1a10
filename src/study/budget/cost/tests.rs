use super::super::search::Search;
use super::*;
use crate::analysis::Direction;
use crate::experiment::Requirement;
use crate::measurement::{OUTPUTS, Output};
use crate::trial::CaseErrors;
use proptest::prelude::{ProptestConfig, prop, prop_assert, proptest};
use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
use rand_distr::{Distribution, StandardNormal};

fn requirement(output: Output, limit: f64) -> Requirement {
    Requirement {
        id: output.id().to_owned(),
        risk: None,
        text: String::new(),
        output,
        limit,
        direction: Direction::Either,
        guard: 0.0,
        proportion: 0.95,
        confidence: 0.95,
    }
}

/// `s_i` proportional to `(c_i / v_i)^(1/3)` with `sum s_i^2 v_i = V`: Lagrange's condition for the smallest `sum c_i / s_i`.
fn closed_form(costs: &[f64], variances: &[f64], allowed: f64) -> Vec<f64> {
    let ways: Vec<f64> = costs.iter().zip(variances).map(|(cost, variance)| libm::cbrt(cost / variance)).collect();
    let used: f64 = ways.iter().zip(variances).map(|(way, variance)| way * way * variance).sum();
    ways.iter().map(|way| way * (allowed / used).sqrt()).collect()
}

/// Independent normal contributions to inclination and anteversion, one column for each knob, and a part that no knob scales.
struct Additive {
    sds: Vec<[f64; 2]>,
    biases: Vec<f64>,
    fixed_sd: f64,
    cases: u64,
}

impl Additive {
    fn errors(&self, scales: &[f64]) -> Vec<CaseErrors> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(97);
        let case = |random: &mut Xoshiro256PlusPlus| {
            let mut normal = || -> f64 { StandardNormal.sample(random) };
            let mut errors = [0.0; OUTPUTS.len()];
            (errors[0], errors[1]) = (self.fixed_sd * normal(), self.fixed_sd * normal());
            for ((sds, bias), scale) in self.sds.iter().zip(&self.biases).zip(scales) {
                for (error, sd) in errors.iter_mut().zip(sds) {
                    *error += scale * (bias + sd * normal());
                }
            }
            errors
        };
        (0..self.cases).map(|_| case(&mut random)).collect()
    }
}

type Answers = Vec<(Strategy, [Answer; 2])>;

fn searched(model: &Additive, requirements: &[Requirement], costs: &[f64]) -> Answers {
    let run = |scales: &[f64]| Ok(model.errors(scales));
    Search::new(requirements, costs.len(), model.cases, 0.9, &run).strategies(costs).unwrap()
}

fn scales(answer: &Answer) -> &[f64] {
    match answer {
        Answer::Scales { scales, .. } => scales,
        other => panic!("{other:?}"),
    }
}

/// Four independent normal contributions of unequal cost and a fixed part; the last knob has no effect. The cost at the
/// limit and at the assured scale is that of the closed form, and so are the scales, which the cost determines less well.
#[test]
fn outside_additive_normal_model() {
    let model = Additive {
        sds: vec![[1.0, 0.0], [0.5, 0.0], [2.0, 0.0], [0.25, 0.0], [0.0, 0.0]],
        biases: vec![0.0; 5],
        fixed_sd: 0.8,
        cases: 20_000,
    };
    let costs = [1.0, 3.0, 1.0, 0.5, 7.0];
    let found = searched(&model, &[requirement(Output::Inclination, 6.0)], &costs);
    let (_, by_cost) = found.iter().find(|(strategy, _)| *strategy == Strategy::Cost).unwrap();
    let variances: Vec<f64> = model.sds[..4].iter().map(|sds| sds[0] * sds[0]).collect();
    for answer in by_cost {
        let found = scales(answer);
        let allowed: f64 = found.iter().zip(&variances).map(|(scale, variance)| scale * scale * variance).sum();
        let expected = closed_form(&costs[..4], &variances, allowed);
        let cost = |scales: &[f64]| total(&costs, &[true; 4], scales);
        assert!((cost(found) / cost(&expected) - 1.0).abs() < 2e-3, "{found:?} {expected:?}");
        for (found, expected) in found.iter().zip(&expected) {
            assert!((found / expected - 1.0).abs() < 0.1, "{found} {expected}");
        }
        assert_eq!(found[4], 1.0);
    }
    // The variance at the limit: 95 % of normal errors are within 1.959964 standard deviations. The quantile of 20,000 cases
    // has the standard error sqrt(p (1 - p) / n) / density, 0.7 % of it.
    let limit = scales(&by_cost[0]);
    let variance: f64 = limit.iter().zip(&variances).map(|(s, v)| s * s * v).sum::<f64>() + 0.64;
    assert!((6.0 / 1.959_964 / variance.sqrt() - 1.0).abs() < 3.5 * 0.007, "{variance}");
    assert_eq!(found[4], (Strategy::Alone(4), [Answer::NoEffect, Answer::NoEffect]));
}

/// Two requirements that limit different knobs, and a knob that both share: at the optimum of the closed form for each
/// requirement the other one is met, so both optima bound the cost from below.
#[test]
fn outside_two_requirements_of_one_knob_each() {
    let model = Additive { sds: vec![[1.0, 0.0], [0.0, 1.0]], biases: vec![0.0; 2], fixed_sd: 0.0, cases: 5000 };
    let requirements = [requirement(Output::Inclination, 3.0), requirement(Output::Anteversion, 9.0)];
    let found = searched(&model, &requirements, &[1.0, 1.0]);
    let by_cost = scales(&found.last().unwrap().1[0]);
    for (knob, expected) in [3.0, 9.0].into_iter().enumerate() {
        let expected = expected / 1.959_964;
        assert!((by_cost[knob] / expected - 1.0).abs() < 3.5 * 0.014, "{by_cost:?}");
        // Alone each knob reaches as far: nothing couples the two.
        let alone = scales(&found[knob].1[0]);
        assert!((by_cost[knob] / alone[knob] - 1.0).abs() < 0.02, "{by_cost:?} {alone:?}");
    }
}

fn positive(largest: f64) -> std::ops::Range<f64> {
    0.05..largest
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn outside_one_limit_is_the_closed_form(
        knobs in prop::collection::vec((positive(5.0), positive(4.0)), 1..8),
        allowed in positive(20.0),
    ) {
        let (costs, variances): (Vec<f64>, Vec<f64>) = knobs.into_iter().unzip();
        let expected = closed_form(&costs, &variances, allowed);
        let limit = Limit { coefficients: variances, room: allowed };
        let found = cheapest(&costs, &[limit], &vec![[1e-6, 1e6]; costs.len()]);
        for (found, expected) in found.iter().zip(&expected) {
            prop_assert!((found / expected - 1.0).abs() < 1e-6, "{found} {expected}");
        }
    }

    /// No other point that keeps two limits costs less, to what a round of the search must gain.
    #[test]
    fn outside_two_limits_leave_nothing_cheaper(
        knobs in prop::collection::vec((positive(5.0), positive(4.0), positive(4.0)), 2..6),
        others in prop::collection::vec(prop::collection::vec(positive(3.0), 6), 100),
    ) {
        let costs: Vec<f64> = knobs.iter().map(|knob| knob.0).collect();
        let limits = [
            Limit { coefficients: knobs.iter().map(|knob| knob.1).collect(), room: 3.0 },
            Limit { coefficients: knobs.iter().map(|knob| knob.2).collect(), room: 2.0 },
        ];
        let used = |limit: &Limit, scales: &[f64]| -> f64 {
            limit.coefficients.iter().zip(scales).map(|(c, s)| c * s * s).sum::<f64>() / limit.room
        };
        let cost = |scales: &[f64]| -> f64 { costs.iter().zip(scales).map(|(c, s)| c / s).sum() };
        let found = cheapest(&costs, &limits, &vec![[1e-6, 1e6]; costs.len()]);
        prop_assert!(limits.iter().all(|limit| used(limit, &found) < 1.0 + WORTH_A_ROUND));
        for other in others {
            // As far out as both limits allow.
            let largest = limits.iter().map(|limit| used(limit, &other[..costs.len()])).fold(0.0, f64::max).sqrt();
            let other: Vec<f64> = other[..costs.len()].iter().map(|scale| scale / largest).collect();
            prop_assert!(cost(&found) <= cost(&other) * (1.0 + WORTH_A_ROUND), "{found:?} {other:?}");
        }
    }

    /// By cost never costs more than another strategy, whatever adds up or does not, few cases and biases too.
    #[test]
    fn identity_never_dearer_than_another_strategy(
        knobs in prop::collection::vec((positive(3.0), positive(3.0), -1.0..1.0_f64, positive(5.0)), 2..5),
        fixed_sd in positive(1.0),
        limits in (positive(8.0), positive(8.0)),
    ) {
        let model = Additive {
            sds: knobs.iter().map(|knob| [knob.0, knob.1]).collect(),
            biases: knobs.iter().map(|knob| knob.2).collect(),
            fixed_sd,
            cases: 200,
        };
        let costs: Vec<f64> = knobs.iter().map(|knob| knob.3).collect();
        let requirements = [requirement(Output::Inclination, limits.0), requirement(Output::Anteversion, limits.1)];
        let found = searched(&model, &requirements, &costs);
        let (_, by_cost) = found.last().unwrap();
        for (strategy, answers) in &found {
            for (answer, best) in answers.iter().zip(by_cost) {
                if let Answer::Scales { scales: other, .. } = answer {
                    let cost = |scales: &[f64]| total(&costs, &vec![true; costs.len()], scales);
                    if cost(other).is_finite() {
                        prop_assert!(cost(scales(best)) <= cost(other), "{strategy:?} {other:?} {best:?}");
                    }
                }
            }
        }
    }
}
