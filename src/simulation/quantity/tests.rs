use super::table::ACCURACY;
use super::{Quantity, Shape, normal};

fn quantity(written: &str) -> Quantity {
    let mut table: toml::Table = format!("q = {written}").parse().expect("a line of TOML");
    table.remove("q").and_then(|value| value.try_into().ok()).expect("a quantity")
}

/// Scores over the whole range that is ever drawn, none of them where the tables have their knots.
fn scores() -> impl Iterator<Item = f64> {
    (-8500..=8500).map(|i| f64::from(i) / 1000.0 + 0.000_37)
}

const RARE: &str =
    "{ mixture = { main = { normal = { sd = 0.2 } }, event = { normal = { sd = 2.0 } }, probability = 0.01 } }";
const KNOCK: &str = "{ mixture = { main = 0.0, event = { normal = { mean = 3.0, sd = 1.0 } }, probability = 0.02 } }";
const HEAVY: &str = "{ mixture = { main = { student_t = { scale = 1.0, degrees_of_freedom = 4 } }, \
                     event = { rectangular = { low = -20, high = 30 } }, probability = 0.05 } }";

/// The tabulated quantile against the one that is solved for each score: within the stated accuracy of it, or between
/// its values a two-millionth of a score to either side.
#[test]
fn identity_tabulated_mixture_is_the_mixture() {
    for written in [RARE, KNOCK, HEAVY] {
        let Quantity::Drawn(Shape::Mixture(mixture), None) = quantity(written) else { panic!("a mixture") };
        let centre = mixture.exact(0.0);
        let unit = match 0.5 * (mixture.exact(1.0) - mixture.exact(-1.0)) {
            unit if unit > 0.0 => unit,
            _ => (mixture.exact(6.0) - mixture.exact(-6.0)) / 12.0,
        };
        let mut last = f64::NEG_INFINITY;
        // Solving for a quantile of Student's t takes its time.
        let step = if written == HEAVY { 20 } else { 1 };
        for score in scores().step_by(step) {
            let (found, exact) = (mixture.value(score), mixture.exact(score));
            let allowed = 4.0 * ACCURACY * libm::hypot(unit, exact - centre);
            let near = mixture.exact(score - 1e-6) - allowed..=mixture.exact(score + 1e-6) + allowed;
            assert!(
                (found - exact).abs() <= allowed || near.contains(&found),
                "{written} {score}: {found} for {exact}"
            );
            assert!(found >= last, "{written} {score}: falls");
            last = found;
        }
    }
}

/// Its distribution function is that of the two, weighted; both tails.
#[test]
fn identity_mixture_has_both_tails() {
    let (rare, main, event) = (quantity(RARE), Quantity::normal(0.2), Quantity::normal(2.0));
    for score in [-7.0, -5.0, -2.6, -2.3, -1.0, -0.1, 0.4, 1.7, 2.2, 2.5, 3.0, 6.5] {
        let value = rare.value(score);
        let tail = |sd: f64| normal::complement(value.abs() / sd);
        let expected = 0.99 * tail(0.2) + 0.01 * tail(2.0);
        let found = normal::complement(score.abs());
        assert!((found / expected - 1.0).abs() < 1e-5, "{score}: {found} for {expected}");
        assert_eq!(rare.value(-score).signum(), -value.signum());
    }
    let (mean, sd) = rare.mean_and_sd();
    assert!(mean.abs() < 1e-15 && (sd * sd - (0.99 * 0.04 + 0.01 * 4.0)).abs() < 1e-12);
    assert!(main.mean_and_sd().1 < sd && sd < event.mean_and_sd().1);
}

/// A constant keeps its probability: 98 of 100 draws are exactly nothing.
#[test]
fn identity_rare_event_leaves_the_rest_alone() {
    let knock = quantity(KNOCK);
    // The event goes below 0 with a probability of 0.02 Phi(-3), so nothing happens between these two scores.
    let below = 0.02 * normal::cumulative(-3.0);
    let (from, to) = (normal::quantile(below), normal::quantile(0.98 + below));
    for score in [from + 1e-5, -1.0, 0.0, 1.0, to - 1e-5] {
        assert!(knock.value(score).abs() < 1e-6, "{score}: {}", knock.value(score));
    }
    for (score, sign) in [(from - 1e-3, -1.0), (to + 1e-3, 1.0)] {
        assert!(sign * knock.value(score) > 1e-4, "{score}: {}", knock.value(score));
    }
}

/// No event, nothing but the event, and an event like the main distribution.
#[test]
fn identity_mixtures_that_are_none() {
    let with = |event: &str, probability: f64| {
        quantity(&format!(
            "{{ mixture = {{ main = {{ normal = {{ sd = 0.5 }} }}, event = {event}, probability = {probability} }} }}"
        ))
    };
    let lognormal = "{ lognormal = { median = 2.0, log_sd = 0.3 } }";
    for (mixture, alone) in [
        (with(lognormal, 0.0), Quantity::normal(0.5)),
        (with(lognormal, 1.0), quantity(lognormal)),
        (with("{ normal = { sd = 0.5 } }", 0.3), Quantity::normal(0.5)),
        (with("3.0", 0.0), Quantity::normal(0.5)),
        (with("3.0", 1.0), Quantity::Constant(3.0)),
    ] {
        for score in [-6.3, -2.0, -0.3, 0.0, 1.1, 5.9] {
            let (found, expected) = (mixture.value(score), alone.value(score));
            assert!((found - expected).abs() < 4e-7 * (1.0 + expected.abs()), "{score}: {found} for {expected}");
        }
    }
}

/// Measured values come back at the middles of their shares; the mean of the distribution is theirs.
#[test]
fn identity_empirical_quantiles() {
    let values = [4.0, -1.0, 2.5, 2.5, 0.0];
    let measured = quantity("{ empirical = { values = [4.0, -1.0, 2.5, 2.5, 0.0] } }");
    for (rank, value) in (0..).zip([-1.0, 0.0, 2.5, 2.5, 4.0]) {
        let score = normal::quantile((f64::from(rank) + 0.5) / 5.0);
        assert!((measured.value(score) - value).abs() < 1e-12, "{rank}");
    }
    assert_eq!((measured.value(-9.0), measured.value(9.0)), (-1.0, 4.0));
    assert!((measured.value(normal::quantile(0.2)) + 0.5).abs() < 1e-12, "halfway between the two smallest");
    let (mean, sd) = measured.mean_and_sd();
    assert!((mean - values.iter().sum::<f64>() / 5.0).abs() < 1e-15);
    // The integral over the score says the same.
    let strips = 100_000_u32;
    let drawn: Vec<f64> =
        (0..strips).map(|i| measured.value(normal::quantile((f64::from(i) + 0.5) / f64::from(strips)))).collect();
    let n = f64::from(strips);
    let integrated = drawn.iter().sum::<f64>() / n;
    let variance = drawn.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / n;
    assert!((integrated - mean).abs() < 1e-4 && (variance.sqrt() - sd).abs() < 1e-4);
    // One value is a constant.
    assert!(quantity("{ empirical = { values = [7] } }").is_constant());
}

/// The probability up to a quantile is that of its score, for every distribution, cut off or not.
#[test]
fn identity_tails_undo_quantiles() {
    for written in [
        "{ normal = { mean = 1.0, sd = 2.0 } }",
        "{ rectangular = { low = -1.0, high = 2.0 } }",
        "{ triangular = { low = 0.0, mode = 1.0, high = 4.0 } }",
        "{ lognormal = { median = 1.0, log_sd = 0.5 } }",
        "{ student_t = { location = 1.0, scale = 0.5, degrees_of_freedom = 3 } }",
        "{ empirical = { values = [1.0, 1.5, 4.0, 4.5, 9.0] } }",
        RARE,
        HEAVY,
    ] {
        let truncated = written.replacen(" } }", ", truncated = [0.3, 1.9] } }", 1);
        let at_the_end = format!("{}, truncated = [0.3, 1.9] }} }}", &written[..written.len() - 4]);
        let truncated = if written.contains("mixture") { at_the_end } else { truncated };
        for (drawn, bounds) in [(quantity(written), None), (quantity(&truncated), Some((0.3, 1.9)))] {
            for score in [-3.0, -0.8, -0.2, 0.1, 0.9, 2.5] {
                let value = drawn.value(score);
                assert!(bounds.is_none_or(|(low, high)| (low..=high).contains(&value)), "{written}: {value}");
                let tail = drawn.tails(value);
                // The smallest and the largest value have a probability of their own.
                let step = written.contains("empirical")
                    && (bounds.is_some() || !(0.1..0.9).contains(&normal::cumulative(score)));
                if !step {
                    let off = (tail.lower - normal::cumulative(score)).abs();
                    assert!(off < 1e-6, "{written} {bounds:?} {score}: {value}, {tail:?}");
                }
                assert!((tail.lower + tail.upper - 1.0).abs() < 1e-9);
            }
        }
    }
}

/// Cutting off keeps what has a probability of its own at the bound.
#[test]
fn identity_truncation_keeps_a_step_at_its_bound() {
    let knock = quantity(&KNOCK.replace(", probability", ", truncated = [0.0, 10.0], probability"));
    let zero = normal::quantile(0.97);
    assert!(knock.value(zero).abs() < 1e-6 && knock.value(-8.0) == 0.0, "{}", knock.value(zero));
    let measured = quantity("{ empirical = { values = [0, 0, 0, 5], truncated = [0, 9] } }");
    assert_eq!(measured.value(0.0), 0.0);
}

/// What is written comes back.
#[test]
fn identity_written_and_read_again() {
    for written in [
        "{ student_t = { location = 1.0, scale = 0.5, degrees_of_freedom = 3, truncated = [-2, 4] } }",
        "{ empirical = { csv = \"bench.csv\", column = \"error_mm\", values = [1.0, 0.5] } }",
        RARE,
        KNOCK,
        HEAVY,
        "0.25",
    ] {
        let quantity = quantity(written);
        let json = serde_json::to_value(&quantity).expect("plain data");
        let again: Quantity = serde_json::from_value(json).expect("what was just written");
        assert_eq!(quantity, again);
    }
}

/// The moments of a normal distribution that is cut off are those of the integral over the score.
#[test]
fn identity_moments_of_a_cut_normal() {
    for written in [
        "{ normal = { mean = 1.0, sd = 2.0, truncated = [-3.0, 4.0] } }",
        "{ normal = { sd = 6.4, truncated = [-24.5, 24.5] } }",
        "{ normal = { mean = 240.0, sd = 15.0, truncated = [250.0, 300.0] } }",
        "{ normal = { sd = 1.0, truncated = [0.5, inf] } }",
        "{ normal = { sd = 1.0, truncated = [-0.2, 0.1] } }",
    ] {
        let cut = quantity(written);
        let strips = 400_000_u32;
        let n = f64::from(strips);
        let values = (0..strips).map(|i| cut.value(normal::quantile((f64::from(i) + 0.5) / n)));
        let (sum, squares) = values.fold((0.0, 0.0), |(s, q), v| (s + v, q + v * v));
        let (mean, sd) = (sum / n, (squares / n - sum / n * (sum / n)).sqrt());
        let (found_mean, found_sd) = cut.mean_and_sd();
        // The strips at both ends hold 1/n each. Their middles miss their means by less than a standard deviation, and lie
        // within six of the mean: the variance is off by less than 2 * 2 * 6 / n of itself.
        assert!(
            (found_mean - mean).abs() < 2.0 / n * sd && (found_sd - sd).abs() < 12.0 / n * sd,
            "{written}: {found_mean} {found_sd}"
        );
    }
}
