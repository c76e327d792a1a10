//! Magnitudes known within a range only: what a whole run says of requirements under them.

use crate::support::{cells, reported, table};

/// The requirement is judged at the upper end too, with the counts of a run that has this end as its magnitude.
#[test]
fn identity_a_requirement_is_judged_at_the_worst_end() {
    let run = |sd: &str, asks: &str| {
        let noise = format!(
            "[noise]\nonly = [\"landmark.palpation\"]\n[noise.landmark.palpation.asis]\nanterior_mm = {{ normal = {{ sd = {sd} }} }}\n\
             basis = {{ kind = \"assumed\" }}\n"
        );
        let requirements = [("ONE", "output = \"anteversion\"\nlimit_deg = 3\nguard_deg = 0.2"), ("TWO", "output = \"inclination\"\nlimit_deg = 2"), ("BOTH", "all_of = [\"ONE\", \"TWO\"]")]
            .map(|(id, rest)| format!("[[requirement]]\nid = \"{id}\"\ntext = \"A requirement.\"\n{rest}\nproportion = 0.9\nconfidence = 0.9\n"))
            .concat();
        reported(&format!("seed = 11\ntrials = 200\nlooks = 2\n{noise}{requirements}{asks}"))
    };
    let ask = "[sensitivity]\nask = [\"uncertain\"]\nrows = 64\nouter_points = 4\n";
    let (ranged, upper) = (run("{ between = [0.5, 12.0] }", ask), run("12.0", ""));
    let at_end = table(&ranged, "uncertain-ends");
    let (middle, expected) = (table(&ranged, "verdicts"), table(&upper, "verdicts"));
    for column in ["requirement", "out_of_acceptance", "exceed_high", "n", "verdict"] {
        assert_eq!(cells(&at_end, column), cells(&expected, column), "{column}");
    }
    let out = |cells: Vec<String>| cells[0].parse::<u64>().expect("a count");
    assert!(out(cells(&at_end, "out_of_acceptance")) > out(cells(&middle, "out_of_acceptance")));
    assert!(ranged.page.contains("hold for the middle of each range"));
    assert_eq!(at_end[1].last().and_then(|value| value.parse().ok()), Some(12.0));
}
