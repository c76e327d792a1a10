//! Sensitivity indices of functions whose indices are known, through the estimators of the studies.

use super::{Check, Found, Mark, Tolerance};
use crate::analysis::Estimate;
use crate::analysis::indices::functions::{g_function, ishigami, pick_freeze, rows};
use crate::analysis::indices::{Effect, Indices, indices};
use std::sync::LazyLock;

pub const CHECKS: &[&[Check]] = &[ISHIGAMI, G_FUNCTION, ADDITIVE, CORRELATED];

/// So many that an index of 0 is told from one of 0.02.
const ROWS: usize = 65_536;

static ISHIGAMI_INDICES: LazyLock<Indices> = LazyLock::new(|| of(3, 1, |x| ishigami(x, 7.0, 0.1)));
static G_INDICES: LazyLock<Indices> =
    LazyLock::new(|| of(8, 2, |x| g_function(x, &[0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0])));
static ADDITIVE_INDICES: LazyLock<Indices> =
    LazyLock::new(|| of(3, 3, |x| x.iter().zip([3.0, 2.0, 1.0]).map(|(x, c)| c * x).sum()));

fn of(inputs: usize, seed: u64, function: impl Fn(&[f64]) -> f64) -> Indices {
    indices(&pick_freeze(&rows(inputs, ROWS, seed, function)), 0.95, seed)
}

fn index(of: &Indices, input: usize, which: impl Fn(&Effect) -> Estimate) -> Result<Found, String> {
    let effect = of.effects.get(input).ok_or("the function does not vary")?;
    let Estimate { value, standard_error, count, .. } = which(effect);
    Ok(Found { value, standard_error, count })
}

/// One check: the index of an input of a function, within 3.5 standard errors and the rounding of the published value.
macro_rules! check {
    ($id:literal, $quantity:literal, $expected:expr, $source:expr, $of:ident, $input:literal, $which:ident) => {
        Check {
            id: $id,
            quantity: $quantity,
            unit: "",
            expected: $expected,
            tolerance: Tolerance::StandardErrors { times: 3.5, rounding: 5e-7 },
            source: $source.0,
            mark: $source.1,
            function: || index(&$of, $input, |effect| effect.$which),
        }
    };
}

const ISHIGAMI_SOURCE: (&str, Mark) =
    ("Ishigami T, Homma T. ISUMA 1990:398-403; a 7, b 0.1; indices in closed form", Mark::Published);

const ISHIGAMI: &[Check] = &[
    check!(
        "sensitivity.ishigami.first.1",
        "first-order index of input 1, Ishigami",
        0.313_905,
        ISHIGAMI_SOURCE,
        ISHIGAMI_INDICES,
        0,
        first
    ),
    check!(
        "sensitivity.ishigami.first.2",
        "first-order index of input 2, Ishigami",
        0.442_411,
        ISHIGAMI_SOURCE,
        ISHIGAMI_INDICES,
        1,
        first
    ),
    check!(
        "sensitivity.ishigami.first.3",
        "first-order index of input 3, Ishigami",
        0.0,
        ISHIGAMI_SOURCE,
        ISHIGAMI_INDICES,
        2,
        first
    ),
    check!(
        "sensitivity.ishigami.total.1",
        "total index of input 1, Ishigami",
        0.557_589,
        ISHIGAMI_SOURCE,
        ISHIGAMI_INDICES,
        0,
        total
    ),
    check!(
        "sensitivity.ishigami.total.2",
        "total index of input 2, Ishigami",
        0.442_411,
        ISHIGAMI_SOURCE,
        ISHIGAMI_INDICES,
        1,
        total
    ),
    check!(
        "sensitivity.ishigami.total.3",
        "total index of input 3, Ishigami",
        0.243_684,
        ISHIGAMI_SOURCE,
        ISHIGAMI_INDICES,
        2,
        total
    ),
];

const G_SOURCE: (&str, Mark) = (
    "Saltelli A, Sobol' IM. Reliab Eng Syst Saf 1995;50:225-239; a 0, 1, 4.5, 9 and four of 99; indices in closed form",
    Mark::Published,
);

const G_FUNCTION: &[Check] = &[
    check!(
        "sensitivity.g.first.1",
        "first-order index of input 1, g-function",
        0.716_192,
        G_SOURCE,
        G_INDICES,
        0,
        first
    ),
    check!(
        "sensitivity.g.first.2",
        "first-order index of input 2, g-function",
        0.179_048,
        G_SOURCE,
        G_INDICES,
        1,
        first
    ),
    check!(
        "sensitivity.g.first.3",
        "first-order index of input 3, g-function",
        0.023_676,
        G_SOURCE,
        G_INDICES,
        2,
        first
    ),
    check!(
        "sensitivity.g.first.4",
        "first-order index of input 4, g-function",
        0.007_162,
        G_SOURCE,
        G_INDICES,
        3,
        first
    ),
    check!("sensitivity.g.total.1", "total index of input 1, g-function", 0.787_144, G_SOURCE, G_INDICES, 0, total),
    check!("sensitivity.g.total.2", "total index of input 2, g-function", 0.242_198, G_SOURCE, G_INDICES, 1, total),
    check!("sensitivity.g.total.3", "total index of input 3, g-function", 0.034_317, G_SOURCE, G_INDICES, 2, total),
    check!("sensitivity.g.total.4", "total index of input 4, g-function", 0.01046, G_SOURCE, G_INDICES, 3, total),
];

const ADDITIVE_SOURCE: (&str, Mark) =
    ("additive linear model: share c^2 u^2 of the sum, first and total alike (9, 4 and 1 of 14)", Mark::Derived);

const ADDITIVE: &[Check] = &[
    check!(
        "sensitivity.additive.first.1",
        "first-order index of input 1, additive model",
        9.0 / 14.0,
        ADDITIVE_SOURCE,
        ADDITIVE_INDICES,
        0,
        first
    ),
    check!(
        "sensitivity.additive.first.2",
        "first-order index of input 2, additive model",
        4.0 / 14.0,
        ADDITIVE_SOURCE,
        ADDITIVE_INDICES,
        1,
        first
    ),
    check!(
        "sensitivity.additive.first.3",
        "first-order index of input 3, additive model",
        1.0 / 14.0,
        ADDITIVE_SOURCE,
        ADDITIVE_INDICES,
        2,
        first
    ),
    check!(
        "sensitivity.additive.total.1",
        "total index of input 1, additive model",
        9.0 / 14.0,
        ADDITIVE_SOURCE,
        ADDITIVE_INDICES,
        0,
        total
    ),
    check!(
        "sensitivity.additive.total.2",
        "total index of input 2, additive model",
        4.0 / 14.0,
        ADDITIVE_SOURCE,
        ADDITIVE_INDICES,
        1,
        total
    ),
    check!(
        "sensitivity.additive.total.3",
        "total index of input 3, additive model",
        1.0 / 14.0,
        ADDITIVE_SOURCE,
        ADDITIVE_INDICES,
        2,
        total
    ),
];

const CORRELATED: &[Check] = &[Check {
    id: "sensitivity.shapley.correlated",
    quantity: "Shapley effect of both spines in a linear model, the operated one correlated with the pubis at 0.8",
    unit: "",
    // Worked out outside the program by sums over all sets of inputs.
    expected: 0.840_726,
    tolerance: Tolerance::StandardErrors { times: 3.5, rounding: 5e-7 },
    source: "linear model of normal inputs: explained variance of every set of inputs, b' C(x, S) C(S, S)^-1 C(S, x) b \
             (after Owen AB, Prieur C. SIAM/ASA J Uncertainty Quantification 2017;5:986-1002)",
    mark: Mark::Derived,
    function: super::correlated::effect_of_the_spines,
}];
