//! Shapley effects of correlated sources with unequal numbers of items and axes, through the program's own draws: a plain linear
//! model of what is drawn, whose effects have a closed form.

use super::Found;
use crate::analysis::shapley::{Shapley, shapley};
use crate::experiment::{Plan, Variant};
use crate::measurement::Step;
use crate::simulation::{CaptureKey, CaseKey};
use crate::study::derive::redrawn_given;

/// Rows of the estimate.
const ROWS: u64 = 16_384;

/// Components of the model: the operated and the other spine and the pubis, each anterior, superior and lateral, 1 mm each.
const COMPONENTS: usize = 9;

/// Coefficients of the components in the model.
const COEFFICIENTS: [f64; COMPONENTS] = [0.5, 0.3, -0.2, 1.5, -1.0, 0.6, 0.6, 0.4, 0.3];

/// The Shapley effect of the two spines where the operated one is correlated with the pubis at 0.8, axis by axis.
pub fn effect_of_the_spines() -> Result<Found, String> {
    let correlation = "[[noise.correlation]]\nbetween = [\"landmark.palpation.asis.operated\", \
                       \"landmark.palpation.pubis\"]\ncoefficient = 0.8\n";
    let found = effects_of_landmarks(correlation)?;
    let effect = found.effects.first().ok_or("the model does not vary")?;
    Ok(Found { value: effect.value, standard_error: effect.standard_error, count: effect.count })
}

/// Effects of the spines and of the pubis on the model.
fn effects_of_landmarks(correlation: &str) -> Result<Shapley, String> {
    let landmark = |name: &str| {
        let axes =
            ["anterior", "superior", "lateral"].map(|axis| format!("{axis}_mm = {{ normal = {{ sd = 1.0 }} }}\n"));
        format!("[noise.landmark.palpation.{name}]\n{}basis = {{ kind = \"assumed\" }}\n", axes.concat())
    };
    let text = format!("seed = 7\n{}{}{correlation}", landmark("asis"), landmark("pubis"));
    let plan = Plan::parse("linear.toml", &text).map_err(|error| error.to_string())?;
    let variant = plan.variants.first().ok_or("no variant")?;
    Ok(effects(variant, &["landmark.palpation.asis", "landmark.palpation.pubis"], |variant, case| {
        linear(&landmarks(variant, case), &COEFFICIENTS)
    }))
}

/// Effects of groups, each a source, on a model of a variant and a case.
fn effects(variant: &Variant, groups: &[&str], model: impl Fn(&Variant, u64) -> f64) -> Shapley {
    let columns: Vec<[Vec<f64>; 2]> = (1..1_usize << groups.len())
        .map(|set| {
            let drawn = |id: &str| groups.iter().enumerate().any(|(i, group)| set & (1 << i) != 0 && *group == id);
            let (held, anew) = redrawn_given(variant, drawn);
            let outputs = |variant: &Variant| (0..ROWS).map(|case| model(variant, case)).collect();
            [outputs(&held), outputs(&anew)]
        })
        .collect();
    let pairs: Vec<[&[f64]; 2]> = columns.iter().map(|pair| pair.each_ref().map(Vec::as_slice)).collect();
    shapley(groups.len(), &pairs, 0.95, 7)
}

fn linear(values: &[f64], coefficients: &[f64]) -> f64 {
    values.iter().zip(coefficients).map(|(value, coefficient)| value * coefficient).sum()
}

/// What is touched of the landmarks in a case.
fn landmarks(variant: &Variant, case: u64) -> [f64; COMPONENTS] {
    let palpation = &variant.model.noise.landmark.palpation;
    let key = CaseKey::alone(7, case);
    let touches = [
        palpation.asis.error(&key, 0, CaptureKey::new(Step::AsisRight, 0, 0, 0)),
        palpation.asis.error(&key, 1, CaptureKey::new(Step::AsisLeft, 0, 1, 0)),
        palpation.pubis.error(&key, 0, CaptureKey::new(Step::Pubis, 0, 0, 0)),
    ];
    let axes = touches.map(|touch| [touch.anterior, touch.superior, touch.lateral]);
    std::array::from_fn(|i| axes[i / 3][i % 3])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::Side;
    use nalgebra::{DMatrix, DVector};

    /// Share of the variance of two groups in a linear model of normal inputs: with `v(S)` the variance that the inputs of `S`
    /// explain, `b' C(x, S) C(S, S)^-1 C(S, x) b`, the first has `(v(1) + v(12) - v(2)) / 2 v(12)` (Owen AB, Prieur C. SIAM/ASA J
    /// Uncertainty Quantification 2017;5:986-1002, section 4, for sets of inputs).
    fn first_share(covariance: &DMatrix<f64>, b: &DVector<f64>, first: usize) -> f64 {
        let size = b.len();
        let explained = |places: std::ops::Range<usize>| {
            let inside = covariance.view((places.start, places.start), (places.len(), places.len())).into_owned();
            let with_output = (covariance * b).rows(places.start, places.len()).into_owned();
            (with_output.transpose() * inside.try_inverse().expect("a positive definite matrix") * &with_output)
                [(0, 0)]
        };
        let all = (b.transpose() * covariance * b)[(0, 0)];
        0.5 * (explained(0..first) + all - explained(first..size)) / all
    }

    fn assert_shares(found: &Shapley, expected: f64, what: &str) {
        for (effect, expected) in found.effects.iter().zip([expected, 1.0 - expected]) {
            let error = effect.standard_error.expect("a resampled effect");
            assert!(
                error < 0.02 && (effect.value - expected).abs() < 3.5 * error,
                "{what}: {} for {expected}",
                effect.value
            );
        }
    }

    fn with_correlations(size: usize, pairs: &[(usize, usize, f64)]) -> DMatrix<f64> {
        let mut matrix = DMatrix::identity(size, size);
        for &(i, j, coefficient) in pairs {
            matrix[(i, j)] = coefficient;
            matrix[(j, i)] = coefficient;
        }
        matrix
    }

    /// Two spines against one pubis: all items, one item, one axis of one item; and both items with a correlation of their own,
    /// without which 0.8 is impossible.
    #[test]
    fn outside_shapley_effects_of_items_and_axes() {
        let between = |one: &str, other: &str, coefficient: f64| {
            format!(
                "[[noise.correlation]]\nbetween = [\"landmark.palpation.{one}\", \"landmark.palpation.{other}\"]\n\
                 coefficient = {coefficient}\n"
            )
        };
        let axes = |one: usize, other: usize, r: f64| (0..3).map(move |axis| (3 * one + axis, 3 * other + axis, r));
        let all: Vec<_> = axes(0, 2, 0.5).chain(axes(1, 2, 0.5)).collect();
        let one: Vec<_> = axes(1, 2, 0.8).collect();
        let both: Vec<_> = axes(0, 2, 0.8).chain(axes(1, 2, 0.8)).chain(axes(0, 1, 0.6)).collect();
        for (text, pairs) in [
            (between("asis", "pubis", 0.5), all),
            (between("asis.other", "pubis", 0.8), one),
            (between("pubis.anterior", "asis.other.anterior", 0.95), vec![(3, 6, 0.95)]),
            (between("pubis.lateral", "asis.other.superior", -0.95), vec![(4, 8, -0.95)]),
            (between("asis", "pubis", 0.8) + &between("asis.operated", "asis.other", 0.6), both),
        ] {
            let found = effects_of_landmarks(&text).unwrap_or_else(|error| panic!("{text}{error}"));
            let covariance = with_correlations(COMPONENTS, &pairs);
            assert_shares(&found, first_share(&covariance, &DVector::from_row_slice(&COEFFICIENTS), 6), &text);
            let variance =
                DVector::from_row_slice(&COEFFICIENTS).dot(&(covariance * DVector::from_row_slice(&COEFFICIENTS)));
            assert!((found.variance / variance - 1.0).abs() < 4.0 * (2.0 / ROWS as f64).sqrt(), "{}", found.variance);
        }
    }

    /// Two axes against three, in pairs of other names, one axis with two.
    #[test]
    fn outside_shapley_effects_of_sources_with_other_axes() {
        let text = "seed = 7\n[noise.level.table]\nabout_y_deg = { normal = { sd = 1.0 } }\nabout_z_deg = { normal = { sd = 1.0 } }\n\
                    basis = { kind = \"assumed\" }\n[noise.cup.seating]\neach_axis_deg = { normal = { sd = 1.0 } }\n\
                    basis = { kind = \"assumed\" }\n[[noise.correlation]]\nbetween = [\"level.table.about_y\", \
                    \"cup.seating.internal_rotation\"]\ncoefficient = 0.8\n[[noise.correlation]]\nbetween = \
                    [\"level.table.about_z\", \"cup.seating.internal_rotation\"]\ncoefficient = 0.5\n\
                    [measure]\nplane = \"level\"\n";
        let plan = Plan::parse("linear.toml", text).unwrap_or_else(|error| panic!("{error}"));
        let b = [1.0, -0.5, 0.7, 0.2, 1.2];
        let model = |variant: &Variant, case: u64| {
            let (noise, key) = (&variant.model.noise, CaseKey::alone(7, case));
            let (table, cup) = (noise.level.table.turn(&key, Side::Right), noise.cup.seating.turn(&key));
            linear(
                &[
                    table.about_y_deg,
                    table.about_z_deg,
                    cup.flexion_deg,
                    cup.adduction_deg,
                    cup.internal_rotation_deg,
                ],
                &b,
            )
        };
        let found = effects(&plan.variants[0], &["level.table", "cup.seating"], model);
        let covariance = with_correlations(5, &[(0, 4, 0.8), (1, 4, 0.5)]);
        assert_shares(&found, first_share(&covariance, &DVector::from_row_slice(&b), 2), "table and seating");
    }

    /// A partner that is off, or whose step is left out, is drawn by nobody: all of the variance belongs to the other source.
    #[test]
    fn identity_what_is_not_drawn_has_no_share() {
        let correlation = "[[noise.correlation]]\nbetween = [\"landmark.palpation.asis\", \"landmark.palpation.pubis\"]\n\
                           coefficient = 0.6\n";
        for more in ["[noise]\noff = [\"landmark.palpation.pubis\"]\n", "[measure]\nplane = \"level\"\n"] {
            let plan = Plan::parse("off.toml", &format!("seed = 7\n{more}{correlation}"))
                .unwrap_or_else(|error| panic!("{error}"));
            let model = |variant: &Variant, case: u64| landmarks(variant, case)[..6].iter().sum::<f64>();
            let found = effects(&plan.variants[0], &["landmark.palpation.asis", "landmark.palpation.pubis"], model);
            assert_eq!([found.effects[0].value, found.effects[1].value], [1.0, 0.0], "{more}");
        }
    }
}
