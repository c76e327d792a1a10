//! Worked examples of the guides to uncertainty, through the same scores, distributions and estimates as the trials.

use super::Mark::{Derived, Published};
use super::{Check, Found, Mark, Tolerance};
use crate::analysis::components::{Analysis, Cell, Component, analysis_of_variance, from_cells};
use crate::analysis::coverage::{shortest, symmetric};
use crate::analysis::joint::Bivariate;
use crate::analysis::{CONFIDENCE, moments, quantile_estimate};
use crate::simulation::{Quantity, Shape, StreamKey, normal, source_key};
use std::sync::LazyLock;

const EXAMPLE_9_2: &str = "JCGM 101:2008, 9.2";
const EXAMPLE_9_3: &str = "JCGM 101:2008, 9.3";
const EXAMPLE_9_4: &str = "JCGM 101:2008, 9.4";
const H2: &str = "GUM, JCGM 100:2008, H.2, and JCGM 102:2011, 9.4";
const H5: &str = "GUM, JCGM 100:2008, H.5";
const GUM_5: &str = "JCGM GUM-5:2026, example 12, doi 10.59161/YNLY8209";

/// Draws of each example.
const DRAWS: u64 = 400_000;

/// Checks of propagated uncertainty and of the analysis of variance.
pub const CHECKS: &[&[Check]] = &[ADDITIVE, MASS, COMPARISON, IMPEDANCE, VARIANCE];

const fn row(
    id: &'static str,
    quantity: &'static str,
    unit: &'static str,
    (expected, tolerance): (f64, Tolerance),
    (source, mark): (&'static str, Mark),
    function: fn() -> Result<Found, String>,
) -> Check {
    Check { id, quantity, unit, expected, tolerance, source, mark, function }
}

const fn near(distance: f64) -> Tolerance {
    Tolerance::Absolute(distance)
}

/// By chance, and half a unit in the last place printed.
const fn chance(rounding: f64) -> Tolerance {
    Tolerance::StandardErrors { times: 4.0, rounding }
}

const ADDITIVE: &[Check] = &[
    row(
        "uncertainty.additive.normal.u",
        "standard uncertainty of the sum of four standard normal quantities",
        "",
        (2.0, chance(0.0)),
        (EXAMPLE_9_2, Published),
        || Ok(NORMAL.sd()),
    ),
    row(
        "uncertainty.additive.normal.95",
        "half the symmetric 95 % interval of that sum",
        "",
        (3.92, chance(0.005)),
        (EXAMPLE_9_2, Published),
        || Ok(NORMAL.half_symmetric()),
    ),
    row(
        "uncertainty.additive.rectangular.u",
        "standard uncertainty of the sum of four rectangular quantities of standard deviation 1",
        "",
        (2.0, chance(0.0)),
        (EXAMPLE_9_2, Published),
        || Ok(RECTANGULAR.sd()),
    ),
    row(
        "uncertainty.additive.rectangular.95",
        "half the symmetric 95 % interval of that sum",
        "",
        (3.879_407, chance(0.0)),
        (EXAMPLE_9_2, Published),
        || Ok(RECTANGULAR.half_symmetric()),
    ),
    row(
        "uncertainty.additive.one-wide.u",
        "standard uncertainty of the same sum, one quantity of standard deviation 10",
        "",
        (10.15, chance(0.005)),
        (EXAMPLE_9_2, Published),
        || Ok(ONE_WIDE.sd()),
    ),
    row(
        "uncertainty.additive.one-wide.95",
        "half the symmetric 95 % interval of that sum",
        "",
        (17.0, chance(0.05)),
        (EXAMPLE_9_2, Published),
        || Ok(ONE_WIDE.half_symmetric()),
    ),
    row(
        "uncertainty.additive.one-wide.linear",
        "half the 95 % interval of that sum by the linear budget and a normal distribution",
        "",
        (19.9, near(0.05)),
        (EXAMPLE_9_2, Published),
        || Ok(Found::exact(normal::quantile(0.975) * linear(&one_wide(), |x| x.iter().sum()).1)),
    ),
];

const MASS: &[Check] = &[
    row(
        "uncertainty.mass.linear",
        "mass calibration: deviation from nominal by the linear budget",
        "mg",
        (1.2340, near(5e-5)),
        (EXAMPLE_9_3, Published),
        || Ok(Found::exact(linear(&weights(), deviation_mg).0)),
    ),
    row(
        "uncertainty.mass.linear.u",
        "its standard uncertainty by the linear budget",
        "mg",
        (0.0539, near(5e-5)),
        (EXAMPLE_9_3, Published),
        || Ok(Found::exact(linear(&weights(), deviation_mg).1)),
    ),
    row(
        "uncertainty.mass.u",
        "its standard uncertainty by Monte Carlo",
        "mg",
        (0.0755, chance(5e-5)),
        (EXAMPLE_9_3, Published),
        || Ok(MASS_DRAWS.sd()),
    ),
    row(
        "uncertainty.mass.low",
        "lower end of its symmetric 95 % interval",
        "mg",
        (1.0844, near(2e-3)),
        (EXAMPLE_9_3, Derived),
        || Ok(MASS_DRAWS.symmetric_end(0.025)),
    ),
    row(
        "uncertainty.mass.high",
        "upper end of its symmetric 95 % interval",
        "mg",
        (1.3836, near(2e-3)),
        (EXAMPLE_9_3, Derived),
        || Ok(MASS_DRAWS.symmetric_end(0.975)),
    ),
];

macro_rules! comparison {
    ($id:literal, $draws:ident, $x:literal: y $y:literal, u $u:literal, length $length:literal within $within:literal) => {
        [
            row(
                concat!("uncertainty.comparison.", $id, ".y"),
                concat!("comparison loss of two uncorrelated quantities, the first ", $x, ", times 1e6"),
                "",
                ($y, chance(0.5)),
                (EXAMPLE_9_4, Published),
                || Ok($draws.mean()),
            ),
            row(
                concat!("uncertainty.comparison.", $id, ".u"),
                "its standard uncertainty",
                "",
                ($u, chance(0.5)),
                (EXAMPLE_9_4, Published),
                || Ok($draws.sd()),
            ),
            row(
                concat!("uncertainty.comparison.", $id, ".length"),
                "length of its shortest 95 % interval (its ends are ill-conditioned)",
                "",
                ($length, near($within)),
                (EXAMPLE_9_4, Published),
                || Ok($draws.shortest_length()),
            ),
        ]
    };
}

const AT_0: [Check; 3] = comparison!("0", LOSS_0, "0": y 50.0, u 50.0, length 150.0 within 1.25);
const AT_10: [Check; 3] = comparison!("10", LOSS_10, "0.010": y 150.0, u 112.0, length 366.0 within 2.3);
const AT_50: [Check; 3] = comparison!("50", LOSS_50, "0.050": y 2550.0, u 502.0, length 1955.0 within 9.775);

const COMPARISON: &[Check] = &[
    AT_0[0],
    AT_0[1],
    AT_0[2],
    AT_10[0],
    AT_10[1],
    AT_10[2],
    AT_50[0],
    AT_50[1],
    AT_50[2],
    row(
        "uncertainty.comparison.10.content",
        "proportion of the draws inside the published shortest interval, 0 to 366",
        "",
        (0.95, chance(1e-3)),
        (EXAMPLE_9_4, Published),
        || Ok(LOSS_10.content(0.0, 366.0)),
    ),
    row(
        "uncertainty.comparison.50.content",
        "proportion of the draws inside the published shortest interval, 1593.6 to 3548.6",
        "",
        (0.95, chance(1e-3)),
        (EXAMPLE_9_4, Published),
        || Ok(LOSS_50.content(1593.6, 3548.6)),
    ),
];

/// Draws of an output quantity, ascending.
struct Draws(Vec<f64>);

type Lazy = LazyLock<Draws>;

static NORMAL: Lazy = LazyLock::new(|| draws("normal", &[const { Quantity::normal(1.0) }; 4], |x| x.iter().sum()));
static RECTANGULAR: Lazy = LazyLock::new(|| {
    draws("rectangular", &std::array::from_fn::<_, 4, _>(|_| flat(0.0, 3.0_f64.sqrt())), |x| x.iter().sum())
});
static ONE_WIDE: Lazy = LazyLock::new(|| draws("one wide", &one_wide(), |x| x.iter().sum()));
static MASS_DRAWS: Lazy = LazyLock::new(|| draws("mass", &weights(), deviation_mg));
static LOSS_0: Lazy = LazyLock::new(|| loss("loss 0", 0.0));
static LOSS_10: Lazy = LazyLock::new(|| loss("loss 10", 0.010));
static LOSS_50: Lazy = LazyLock::new(|| loss("loss 50", 0.050));

fn flat(centre: f64, half_width: f64) -> Quantity {
    Quantity::Drawn(Shape::Rectangular { low: centre - half_width, high: centre + half_width }, None)
}

fn bell(mean: f64, sd: f64) -> Quantity {
    Quantity::Drawn(Shape::Normal { mean, sd }, None)
}

fn one_wide() -> [Quantity; 4] {
    let root = 3.0_f64.sqrt();
    [flat(0.0, root), flat(0.0, root), flat(0.0, root), flat(0.0, 10.0 * root)]
}

/// Reference weight and its small weights in mg, density of air, of the weight and of the reference in kg/m^3.
fn weights() -> [Quantity; 5] {
    [bell(100_000.0, 0.05), bell(1.234, 0.02), flat(1.2, 0.1), flat(8000.0, 1000.0), flat(8000.0, 50.0)]
}

fn deviation_mg(x: &[f64]) -> f64 {
    let &[reference, small, air, weight, of_reference] = x else { return f64::NAN };
    (reference + small) * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / of_reference)) - 100_000.0
}

fn loss(name: &'static str, first: f64) -> Draws {
    draws(name, &[bell(first, 0.005), bell(0.0, 0.005)], |x| 1e6 * x.iter().map(|x| x * x).sum::<f64>())
}

/// Each input quantity has a stream of its own, as a source of the trials has.
fn draws(name: &str, inputs: &[Quantity], model: impl Fn(&[f64]) -> f64) -> Draws {
    let sources: Vec<u64> = (0..inputs.len()).map(|input| source_key(&format!("{name} {input}"))).collect();
    let mut values = vec![0.0; inputs.len()];
    let mut results: Vec<f64> = (0..DRAWS)
        .map(|trial| {
            for ((value, quantity), &source) in values.iter_mut().zip(inputs).zip(&sources) {
                let key = StreamKey { seed: 101, replicate: 0, source, device: trial, case: trial, capture: 0 };
                *value = quantity.value(key.open().next_score());
            }
            model(&values)
        })
        .collect();
    results.sort_unstable_by(f64::total_cmp);
    Draws(results)
}

impl Draws {
    fn mean(&self) -> Found {
        let bias = moments::moments(&self.0).map(|moments| moments.bias(CONFIDENCE));
        bias.map_or(Found::exact(f64::NAN), found)
    }

    fn sd(&self) -> Found {
        let spread = moments::moments(&self.0).and_then(|moments| moments.spread(CONFIDENCE));
        spread.map_or(Found::exact(f64::NAN), found)
    }

    fn symmetric_end(&self, tail: f64) -> Found {
        let value = symmetric(&self.0, 0.95).map(|ends| if tail < 0.5 { ends.low } else { ends.high });
        let standard_error = quantile_estimate(&self.0, tail).and_then(|estimate| estimate.standard_error);
        Found { value: value.unwrap_or(f64::NAN), standard_error, count: DRAWS }
    }

    fn half_symmetric(&self) -> Found {
        let [low, high] = [0.025, 0.975].map(|tail| self.symmetric_end(tail));
        let [a, b] = [low, high].map(|end| end.standard_error.unwrap_or(f64::NAN));
        let standard_error = Some(0.5 * libm::hypot(a, b));
        Found { value: 0.5 * (high.value - low.value), standard_error, count: DRAWS }
    }

    fn shortest_length(&self) -> Found {
        let length = shortest(&self.0, 0.95).map_or(f64::NAN, |ends| ends.length());
        Found { value: length, standard_error: None, count: DRAWS }
    }

    fn content(&self, low: f64, high: f64) -> Found {
        let inside = self.0.iter().filter(|value| (low..=high).contains(*value)).count() as u64;
        crate::analysis::joint::proportion(inside, DRAWS, CONFIDENCE).map_or(Found::exact(f64::NAN), found)
    }
}

fn found(estimate: crate::analysis::Estimate) -> Found {
    Found { value: estimate.value, standard_error: estimate.standard_error, count: estimate.count }
}

/// Value and standard uncertainty by central differences over one standard uncertainty of each input.
fn linear(inputs: &[Quantity], model: impl Fn(&[f64]) -> f64) -> (f64, f64) {
    let (means, sds): (Vec<f64>, Vec<f64>) = inputs.iter().map(Quantity::mean_and_sd).unzip();
    let half_difference = |input: usize| {
        let moved = |by: f64| {
            let mut x = means.clone();
            x[input] += by * sds[input];
            model(&x)
        };
        0.5 * (moved(1e-3) - moved(-1e-3)) / 1e-3
    };
    let squares: f64 = (0..inputs.len()).map(|input| half_difference(input) * half_difference(input)).sum();
    (model(&means), squares.sqrt())
}

macro_rules! impedance {
    ($id:literal, $quantity:literal, $unit:literal: $expected:literal within $within:literal, $which:expr) => {
        row($id, $quantity, $unit, ($expected, near($within)), (H2, Published), || Ok(Found::exact($which)))
    };
}

const IMPEDANCE: &[Check] = &[
    impedance! { "uncertainty.impedance.r", "resistance from five simultaneous observations", "ohm": 127.732 within 5e-4, impedance(0).0 },
    impedance! { "uncertainty.impedance.x", "reactance from the same", "ohm": 219.847 within 5e-4, impedance(1).0 },
    impedance! { "uncertainty.impedance.z", "impedance from the same", "ohm": 254.260 within 5e-4, impedance(2).0 },
    impedance! { "uncertainty.impedance.r.u", "standard uncertainty of the resistance", "ohm": 0.071 within 5e-4, impedance(0).1 },
    // Printed 0.295; the data give 0.2955, which rounds to 0.296.
    impedance! { "uncertainty.impedance.x.u", "standard uncertainty of the reactance", "ohm": 0.2955 within 1e-3, impedance(1).1 },
    impedance! { "uncertainty.impedance.z.u", "standard uncertainty of the impedance", "ohm": 0.236 within 5e-4, impedance(2).1 },
    impedance! { "uncertainty.impedance.rx", "correlation of resistance and reactance", "": -0.588 within 5e-4, together(0, 1) },
    impedance! { "uncertainty.impedance.rz", "correlation of resistance and impedance", "": -0.485 within 5e-4, together(0, 2) },
    impedance! { "uncertainty.impedance.xz", "correlation of reactance and impedance", "": 0.993 within 5e-4, together(1, 2) },
];

/// Numbers of a data file, row by row.
fn rows(text: &str) -> impl Iterator<Item = Vec<f64>> + '_ {
    let data = text.lines().filter(|line| line.starts_with(|first: char| first.is_ascii_digit()));
    data.map(|line| line.split(',').map(|cell| cell.parse().unwrap_or(f64::NAN)).collect())
}

/// Resistance, reactance and impedance of each observation.
fn observed() -> Vec<[f64; 3]> {
    let of_row = |row: Vec<f64>| {
        let (size, phase) = (row[0] / (1e-3 * row[1]), row[2]);
        [size * libm::cos(phase), size * libm::sin(phase), size]
    };
    rows(include_str!("../../tests/data/gum_h2_impedance.csv")).map(of_row).collect()
}

/// Mean of one of the three, and the standard error of it.
fn impedance(which: usize) -> (f64, f64) {
    let values: Vec<f64> = observed().iter().map(|all| all[which]).collect();
    let mean = moments::moments(&values).map(|moments| moments.bias(CONFIDENCE));
    mean.map_or((f64::NAN, f64::NAN), |mean| (mean.value, mean.standard_error.unwrap_or(f64::NAN)))
}

fn together(one: usize, other: usize) -> f64 {
    let mut both = Bivariate::default();
    for all in observed() {
        both.add([all[one], all[other]]);
    }
    both.correlation(CONFIDENCE).map_or(f64::NAN, |correlation| correlation.value)
}

const VARIANCE: &[Check] = &[
    row(
        "uncertainty.anova.mean",
        "mean of 50 observations of a voltage standard on ten days, minus 10 V",
        "uV",
        (97.0, near(0.5)),
        (H5, Published),
        || Ok(Found::exact(1e6 * (day_means()?.mean - 10.0))),
    ),
    row(
        "uncertainty.anova.days",
        "standard deviation of the ten daily means",
        "uV",
        (57.0, near(0.5)),
        (H5, Published),
        || Ok(Found::exact(1e6 * day_means()?.sd().unwrap_or(f64::NAN))),
    ),
    row(
        "uncertainty.anova.within",
        "standard deviation within days",
        "uV",
        (85.0, near(0.5)),
        (H5, Published),
        || Ok(Found::exact(1e6 * voltage()?.repeat.value.sqrt())),
    ),
    row("uncertainty.anova.f", "ratio of the two mean squares", "", (2.26, near(5e-3)), (H5, Derived), || {
        Ok(Found::exact(voltage()?.ratio()))
    }),
    row(
        "uncertainty.anova.between",
        "standard deviation between days",
        "uV",
        (43.0, near(0.5)),
        (H5, Published),
        || Ok(Found::exact(1e6 * first(&days())?.variance().sqrt())),
    ),
    row(
        "uncertainty.homogeneity.between",
        "mean square between ten bottles of a reference material, five results each",
        "1e-7",
        (3.25, near(5e-3)),
        (GUM_5, Published),
        || Ok(Found::exact(1e7 * bottles_analysed()?.device.value)),
    ),
    row(
        "uncertainty.homogeneity.within",
        "mean square within bottles",
        "1e-7",
        (4.90, near(5e-3)),
        (GUM_5, Published),
        || Ok(Found::exact(1e7 * bottles_analysed()?.repeat.value)),
    ),
    row(
        "uncertainty.homogeneity.variance",
        "variance between bottles: negative as it comes out, reported as 0",
        "1e-7",
        (0.0, near(0.0)),
        (GUM_5, Published),
        || {
            let between = first(&bottles())?;
            if between.raw < 0.0 {
                Ok(Found::exact(between.variance()))
            } else {
                Err(format!("{} is not negative", between.raw))
            }
        },
    ),
];

/// Ten days as devices of one case with five repeats.
fn days() -> Vec<Vec<Cell>> {
    let day = |row: Vec<f64>| vec![Cell { count: row[3], mean: row[1], squares: (row[3] - 1.0) * row[2] * row[2] }];
    rows(include_str!("../../tests/data/gum_h5_zener_anova.csv")).map(day).collect()
}

fn day_means() -> Result<moments::Moments, String> {
    let means: Vec<f64> = days().iter().map(|day| day[0].mean).collect();
    moments::moments(&means).ok_or_else(|| "no data".to_owned())
}

fn voltage() -> Result<Analysis, String> {
    analysis_of_variance(&days()).ok_or_else(|| "no data".to_owned())
}

fn bottles() -> Vec<Vec<Cell>> {
    let all: Vec<Vec<f64>> = rows(include_str!("../../tests/data/jcgm_gum5_ex12_homogeneity.csv")).collect();
    let bottle = |rows: &[Vec<f64>]| vec![Cell::of(&rows.iter().map(|row| row[2]).collect::<Vec<_>>())];
    all.chunk_by(|one, other| one[0] == other[0]).map(bottle).collect()
}

fn bottles_analysed() -> Result<Analysis, String> {
    analysis_of_variance(&bottles()).ok_or_else(|| "no data".to_owned())
}

fn first(groups: &[Vec<Cell>]) -> Result<Component, String> {
    from_cells(groups, CONFIDENCE).first().copied().ok_or_else(|| "no component".to_owned())
}
