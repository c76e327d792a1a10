//! Correlated sources and vectors with a full covariance: at their targets, and no draw moved that should stay.

use crate::command_line::{Bench, SMALL};
use crate::support::reported;
use navassay::experiment::Plan;
use navassay::measurement::Step;
use navassay::simulation::{CaptureKey, CaseKey, PatientVector};

const CASES: u64 = 20_000;

fn plan(text: &str) -> Plan {
    Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{text}\n{error}"))
}

fn key(case: u64) -> CaseKey {
    CaseKey { seed: 11, device: case, case, repeat: 0 }
}

fn components(vector: PatientVector) -> [f64; 3] {
    [vector.anterior, vector.superior, vector.lateral]
}

/// What is touched of the operated and the other spine and of the pubis in the first capture of each.
fn touched(plan: &Plan, case: u64) -> [[f64; 3]; 3] {
    let palpation = &plan.variants[0].model.noise.landmark.palpation;
    let capture = |step, item| CaptureKey::new(step, 0, item, 0);
    [
        components(palpation.asis.error(&key(case), 0, capture(Step::AsisRight, 0))),
        components(palpation.asis.error(&key(case), 1, capture(Step::AsisLeft, 1))),
        components(palpation.pubis.error(&key(case), 0, capture(Step::Pubis, 0))),
    ]
}

fn correlated(asis: &str, coefficient: f64, noise: &str, more: &str) -> Plan {
    plan(&format!(
        "seed = 11\n[noise]\n{noise}\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis{asis}\", \
         \"landmark.palpation.pubis\"]\ncoefficient = {coefficient}\n{more}"
    ))
}

fn mean_product(pairs: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (sum, n) = pairs.fold((0.0, 0.0), |(sum, n), (a, b)| (sum + a * b, n + 1.0));
    sum / n
}

/// Components have their coefficient, axis by axis and item by item, whatever part of the variance a case keeps; the
/// mean product of two standard normal scores with correlation r has the standard error sqrt((1 + r^2)/n).
#[test]
fn coverage_scores_have_their_correlation() {
    let sds = [2.0, 2.5, 2.5, 2.0, 2.5, 2.5, 3.5, 3.5, 3.5];
    for (asis, coefficient, share, expected_of) in [
        ("", 0.5, 0.0, [0.5, 0.5]),
        ("", 0.5, 1.0, [0.5, 0.5]),
        (".operated", -0.8, 2.0 / 3.0, [-0.8, 0.0]),
        (".other", 0.95, 2.0 / 3.0, [0.0, 0.95]),
    ] {
        let shares: String = ["asis", "pubis"]
            .map(|name| format!("[noise.landmark.palpation.{name}]\ncase_share = {share}\n"))
            .concat();
        let plan = correlated(asis, coefficient, "", &shares);
        let drawn: Vec<[f64; 9]> = (0..CASES)
            .map(|case| {
                let touched = touched(&plan, case);
                std::array::from_fn(|i| touched[i / 3][i % 3] / sds[i])
            })
            .collect();
        for (i, j) in (0..81).map(|k| (k / 9, k % 9)).filter(|(i, j)| i <= j) {
            let expected = match (i / 3, j / 3) {
                _ if i == j => 1.0,
                (item @ 0..2, 2) if i % 3 == j % 3 => expected_of[item],
                _ => 0.0,
            };
            let error = ((1.0 + expected * expected) / CASES as f64).sqrt();
            let found = mean_product(drawn.iter().map(|scores| (scores[i], scores[j])));
            assert!((found - expected).abs() < 4.5 * error, "{asis} {coefficient} {share} {i} {j}: {found}");
        }
    }
}

/// Over three sources the pairs that are named have their coefficients and the other pairs have none, also where sources have
/// other axes and draw other numbers of scores.
#[test]
fn coverage_three_sources_have_their_matrix() {
    let plan = plan(
        "seed = 11\n[[noise.correlation]]\nbetween = [\"landmark.tissue.factor\", \"posture.baseline.adduction\"]\n\
         coefficient = 0.6\n[[noise.correlation]]\nbetween = [\"landmark.tissue.factor\", \"level.table.about_z\"]\n\
         coefficient = -0.5\n",
    );
    let noise = &plan.variants[0].model.noise;
    let drawn: Vec<[f64; 5]> = (0..CASES)
        .map(|case| {
            let (asis_mm, _) = noise.landmark.tissue.thickness_mm(&key(case));
            let table = noise.level.table.turn(&key(case), navassay::measurement::Side::Right);
            let posture = noise.posture.baseline.turn(|source| source.case_stream(&key(case)));
            let factor = libm::log(asis_mm / 4.0) / 0.5;
            [
                factor,
                table.about_y_deg / 0.5,
                table.about_z_deg / 0.5,
                posture.flexion_deg / 2.0,
                posture.adduction_deg / 2.0,
            ]
        })
        .collect();
    for (i, j) in (0..25).map(|k| (k / 5, k % 5)).filter(|(i, j)| i < j) {
        let expected: f64 = match (i, j) {
            (0, 4) => 0.6,
            (0, 2) => -0.5,
            _ => 0.0,
        };
        let found = mean_product(drawn.iter().map(|scores| (scores[i], scores[j])));
        let error = ((1.0 + expected * expected) / CASES as f64).sqrt();
        assert!((found - expected).abs() < 4.5 * error, "{i} {j}: {found}");
    }
}

/// The first source keeps its own draws; the second keeps its own when the first is switched off; at 1 and -1 the scores
/// are the same up to the sign.
#[test]
fn identity_a_partner_switched_off_moves_no_draw() {
    let alone = plan("seed = 11");
    let both = correlated("", 0.5, "", "");
    let without_asis = correlated("", 0.5, "off = [\"landmark.palpation.asis\"]", "");
    let without_pubis = correlated("", 0.5, "off = [\"landmark.palpation.pubis\"]", "");
    for case in 0..50 {
        let of_both = touched(&both, case);
        assert_eq!(of_both[..2], touched(&alone, case)[..2]);
        assert_ne!(of_both[2], touched(&alone, case)[2]);
        assert_eq!(touched(&without_asis, case), [[0.0; 3], [0.0; 3], of_both[2]]);
        assert_eq!(touched(&without_pubis, case), [of_both[0], of_both[1], [0.0; 3]]);
        for sign in [1.0, -1.0] {
            let [asis, other, pubis] = touched(&correlated(".operated", sign, "", ""), case);
            assert!((asis[0] / 2.0 - sign * pubis[0] / 3.5).abs() < 1e-12);
            assert!((asis[2] / 2.5 - sign * pubis[2] / 3.5).abs() < 1e-12);
            assert_eq!(other, touched(&alone, case)[1]);
        }
        // One axis of one item: no other score of either source moves.
        let [one, rest] = [touched(&one_axis(), case), touched(&alone, case)];
        assert_eq!((one[0], one[1], one[2][0], one[2][2]), (rest[0], rest[1], rest[2][0], rest[2][2]));
        assert!((one[2][1] / 3.5 - one[1][0] / 2.0).abs() < 1e-12);
    }
    // Nothing else is drawn anew: a coefficient of 0 is none.
    let none = correlated("", 0.0, "", "");
    assert_eq!(touched(&none, 3), touched(&alone, 3));
}

fn one_axis() -> Plan {
    plan(
        "seed = 11\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis.other.anterior\", \
         \"landmark.palpation.pubis.superior\"]\ncoefficient = 1.0\n",
    )
}

/// A hold that the gate has taken again has scores of its own: the partner has none for it.
#[test]
fn identity_a_hold_taken_again_is_drawn_independently() {
    let shares =
        "[noise.landmark.palpation.asis]\ncase_share = 0.0\n[noise.landmark.palpation.pubis]\ncase_share = 0.0\n";
    let [both, alone] = [correlated("", 0.5, "", shares), plan(&format!("seed = 11\n{shares}"))];
    let tried = |plan: &Plan, attempt: u32| {
        let capture = CaptureKey::new(Step::Pubis, 0, 0, 0).again(attempt);
        components(plan.variants[0].model.noise.landmark.palpation.pubis.error(&key(1), 0, capture))
    };
    assert_ne!(tried(&both, 0), tried(&alone, 0));
    for attempt in [1, 2, 127] {
        assert_eq!(tried(&both, attempt), tried(&alone, attempt));
    }
    // Further captures and repeats of a case have their partners.
    let repeated = |plan: &Plan, repeat: u32| {
        let key = CaseKey { repeat, ..key(1) };
        let capture = CaptureKey::new(Step::Pubis, 0, 0, 3);
        components(plan.variants[0].model.noise.landmark.palpation.pubis.error(&key, 0, capture))
    };
    for repeat in [0, 1, 2] {
        assert_ne!(repeated(&both, repeat), repeated(&alone, repeat));
    }
}

/// A covariance in place of three quantities: its own second moments in the draws, the case's part of it, and the first
/// component where it was.
#[test]
fn coverage_vectors_have_their_covariance() {
    let rows = [[4.0, 1.8, -1.0], [1.8, 6.25, 0.5], [-1.0, 0.5, 2.25]];
    let plan = plan(&format!("seed = 11\n[noise.landmark.palpation.asis]\ncovariance_mm2 = {rows:?}\n"));
    let drawn: Vec<_> = (0..CASES).map(|case| touched(&plan, case)[0]).collect();
    for (i, j) in (0..9).map(|k| (k / 3, k % 3)) {
        let found = mean_product(drawn.iter().map(|vector| (vector[i], vector[j])));
        let error = ((rows[i][i] * rows[j][j] + rows[i][j] * rows[i][j]) / CASES as f64).sqrt();
        assert!((found - rows[i][j]).abs() < 4.5 * error, "{i} {j}: {found}");
    }
    let default = self::plan("seed = 11");
    for case in 0..20 {
        // The same sd forwards as the default: the very same draw.
        assert!((touched(&plan, case)[0][0] - touched(&default, case)[0][0]).abs() < 1e-12);
    }
}

/// A diagonal covariance is what it replaces, in every source that takes one.
#[test]
fn identity_a_diagonal_covariance_is_three_quantities() {
    use navassay::measurement::{OUTPUTS, Plane};
    use navassay::simulation::noise::SOURCES;
    use navassay::trial::TrialRunner;
    let mut checked = 0;
    for source in &SOURCES {
        for covariance in source.covariances {
            let [one, two] = [0.4_f64, 0.4].map(|sd| sd * sd);
            let with = |lines: String| {
                plan(&format!(
                    "seed = 3\n[measure]\nfemur = \"divot\"\n[noise]\nonly = [\"{}\"]\n[noise.{}]\n{lines}\n",
                    source.id, source.id
                ))
            };
            let given = with(format!("{} = [[{one}, 0, 0], [0, {two}, 0], [0, 0, {one}]]", covariance.key));
            let written = covariance.in_place_of.iter().map(|key| format!("{key} = {{ normal = {{ sd = 0.4 }} }}\n"));
            let each = with(written.collect());
            let read = |plan: &Plan| {
                let runner = TrialRunner::new(&plan.variants[0], plan.seed);
                (0..3)
                    .map(|case| {
                        let (_, estimates, truth) = runner.case(case);
                        let truth = truth.reading(0, Plane::Bony, plan.variants[0].procedure.angles);
                        OUTPUTS
                            .map(|output| estimates.reductions[0].readings.get(output).expect("a reading") - truth[0])
                    })
                    .collect::<Vec<_>>()
            };
            for (given, each) in read(&given).iter().flatten().zip(read(&each).iter().flatten()) {
                assert!((given - each).abs() < 1e-9, "{} {}", source.id, covariance.key);
            }
            checked += 1;
        }
    }
    assert!(checked >= 14, "{checked}");
}

/// `check` and the report name every pair of components that is correlated, and no other.
#[test]
fn identity_check_and_report_list_correlated_components() {
    let text = format!(
        "{SMALL}[[noise.correlation]]\nbetween = [\"landmark.palpation.asis.other\", \"landmark.palpation.pubis\"]\n\
         coefficient = 0.5\n"
    );
    let bench = Bench::new();
    bench.write("small.toml", &text);
    let shown = bench.run(&["check", "small.toml"]).said;
    let done = reported(&text);
    let file = std::fs::read_to_string(done.folder.path().join("tables/noise-correlations.csv")).expect("the table");
    assert_eq!(file.lines().count(), 4, "{file}");
    assert_eq!(shown.matches(" with landmark.").count(), 3, "{shown}");
    for axis in ["anterior", "superior", "lateral"] {
        let pair = [format!("landmark.palpation.asis.other.{axis}"), format!("landmark.palpation.pubis.{axis}")];
        assert!(shown.contains(&format!("{}: 0.5", pair.join(" with "))), "{shown}");
        assert!(file.contains(&format!("{},0.5", pair.join(","))), "{file}");
    }
}
