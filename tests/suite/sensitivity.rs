//! Where the errors come from, on the hip chain: coefficients, shares, studies that go on, and limits on sources.

use crate::support::{Silent, reported};
use nalgebra::{DMatrix, DVector};
use navassay::analysis::Verdict;
use navassay::experiment::Plan;
use navassay::measurement::OUTPUTS;
use navassay::study::budget::{Answer, Strategy, budget};
use navassay::study::sensitivity::{ArmSensitivity, CHANGES, Change, sensitivity};
use navassay::trial::RunFolder;
use std::path::Path;

/// W 240, H 90, cup 40/15, all else without spread; few frames, because no source of these tests is drawn by frame.
const PELVIS: &str = r#"
seed = 11
trials = 2000

[anatomy]
asis_width_mm = 240.0
pubis_drop_mm = 90.0
hip_anterior_mm = 0.0
hip_superior_mm = 0.0
hip_lateral_mm = 0.0
tilt_deg = 0.0
obliquity_deg = 0.0
rotation_deg = 0.0
basis = { kind = "assumed" }

[implant]
inclination_deg = 40.0
anteversion_deg = 15.0
basis = { kind = "assumed" }

[protocol]
tip_pivot_frames = 3
landmark_frames = 1
trace_frames = 12
centre_frames = 3
cup_frames = 1
"#;

fn palpation(sd_mm: f64) -> String {
    let sides = ["asis", "pubis"].map(|landmark| {
        let axes = ["anterior", "superior", "lateral"]
            .map(|axis| format!("{axis}_mm = {{ normal = {{ sd = {sd_mm} }} }}\n"));
        format!("[noise.landmark.palpation.{landmark}]\n{}basis = {{ kind = \"assumed\" }}\n", axes.concat())
    });
    sides.concat()
}

fn asked(plan: &Plan, folder: &Path) -> (RunFolder, Vec<String>) {
    let folder = RunFolder::open(folder, plan, false).expect("a folder");
    let found = sensitivity(plan, &folder, 2, &Silent).expect("room for a small study");
    let words = found.iter().map(|arm| format!("{:?}", arm.indices)).collect();
    (folder, words)
}

fn plan(text: &str) -> Plan {
    Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{text}\n{error}"))
}

fn with_found<T>(text: &str, use_it: impl FnOnce(&ArmSensitivity) -> T) -> T {
    let plan = plan(text);
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let run = RunFolder::open(folder.path(), &plan, false).expect("an empty folder");
    let found = sensitivity(&plan, &run, 2, &Silent).expect("room for a small study");
    use_it(&found[0])
}

/// Change of radiographic inclination and anteversion with one more millimetre of each landmark, right hip, W 240 H 90,
/// cup 40/15: central differences of the plane's closed form, derived and confirmed by an independent simulation.
const SLOPES: [(&str, f64, f64); 6] = [
    ("landmark.palpation.asis.anterior_mm.other", 0.00582, 0.39729),
    ("landmark.palpation.asis.anterior_mm.operated", 0.10382, 0.09038),
    ("landmark.palpation.pubis.anterior_mm", -0.10965, -0.48765),
    ("landmark.palpation.asis.anterior_mm", 0.10965, 0.48765),
    ("landmark.palpation.asis.superior_mm.operated", -0.23873, 0.0),
    ("landmark.palpation.pubis.lateral_mm", 0.0, 0.0),
];

#[test]
fn table_slopes_of_landmarks() {
    let text = format!(
        "{PELVIS}[noise]\nonly = [\"landmark.palpation\"]\n{}[sensitivity]\nask = [\"linear\"]\nrows = 64\n",
        palpation(1.0)
    );
    let done = reported(&text);
    let file = std::fs::read_to_string(done.folder.path().join("tables/coefficients.csv")).expect("the table");
    assert!(file.starts_with("arm,output,input,input_unit,output_unit,slope\n"), "{file}");
    let slope = |output: &str, input: &str| -> f64 {
        let line = file.lines().find(|line| line.starts_with(&format!("base,{output},{input},mm,deg,")));
        let line = line.unwrap_or_else(|| panic!("no slope of {output} with {input}"));
        line.rsplit(',').next().and_then(|cell| cell.parse().ok()).expect("a number")
    };
    for (input, inclination, anteversion) in SLOPES {
        assert!((slope("inclination", input) - inclination).abs() < 1e-4, "{input}");
        assert!((slope("anteversion", input) - anteversion).abs() < 1e-4, "{input}");
    }
}

/// Three groups that hardly interact: first-order and total index are each the linear budget's share, and the first-order
/// indices sum to 1.
#[test]
fn identity_shares_are_those_of_the_linear_budget() {
    let text = format!(
        "{PELVIS}[noise]\nonly = [\"landmark.palpation\", \"cup.attach\"]\n{}[noise.cup.attach]\ntransverse_deg = {{ normal = {{ sd = 0.5 }} }}\n\
         basis = {{ kind = \"assumed\" }}\n[sensitivity]\nask = [\"indices\", \"linear\"]\nrows = 4096\ngroups = {{ asis = \
         [\"landmark.palpation.asis\"], pubis = [\"landmark.palpation.pubis\"], cup = [\"cup\"] }}\n",
        palpation(1.0)
    );
    with_found(&text, |found| {
        let (indices, linear) = (found.indices.as_ref().expect("asked"), found.linear.as_ref().expect("asked"));
        for i in 0..2 {
            let squares = |begins: &str| -> f64 {
                let own = linear.inputs.iter().filter(|input| input.source.starts_with(begins));
                own.filter_map(|input| input.contributions).map(|all| all[i].value * all[i].value).sum()
            };
            let output = &indices.outputs[i];
            assert_eq!((output.indices.rows, output.indices.dropped), (4096, 0));
            for (group, effect) in indices.groups.iter().zip(&output.indices.effects) {
                let begins = match group.name.as_str() {
                    "asis" => "landmark.palpation.asis",
                    "pubis" => "landmark.palpation.pubis",
                    "cup" => "cup",
                    _ => "nothing",
                };
                let share = squares(begins) / squares("");
                for index in [effect.first, effect.total] {
                    // 3.5 standard errors, and what the chain is not linear by: 1 part in 100.
                    let reach = 3.5 * index.standard_error.expect("a resampled index") + 0.01;
                    assert!((index.value - share).abs() < reach, "{}: {index:?} against {share}", group.name);
                }
            }
            let sum = output.indices.first_sum.expect("an output that varies");
            assert!((sum.value - 1.0).abs() < 3.5 * sum.standard_error.expect("resampled"), "{sum:?}");
            let budget = linear.outputs[i];
            assert_eq!(budget.output, OUTPUTS[i]);
        }
    });
}

/// Level and seating of the cup correlated: shares by the closed form for two normal inputs that add up, `V1`, `V2` and `V`
/// being the variances of the one, the other and both: `(V1 (1 - r^2) - V2 (1 - r^2) + V) / 2 V` (Owen AB, Prieur C. SIAM/ASA J
/// Uncertainty Quantification 2017;5:986-1002, section 4, in other words).
#[test]
fn outside_shapley_effects_of_correlated_sources() {
    let r = 0.6;
    let text = format!(
        "{PELVIS}[measure]\nplane = \"level\"\n[noise]\nonly = [\"level.table\", \"cup.seating\"]\n[noise.cup.seating]\n\
         covariance_deg2 = [[0.4, 0.0, 0.0], [0.0, 0.4, 0.0], [0.0, 0.0, 0.0]]\nbasis = {{ kind = \"assumed\" }}\n\
         [[noise.correlation]]\nbetween = [\"level.table.about_y\", \"cup.seating.flexion\"]\ncoefficient = {r}\n\
         [[noise.correlation]]\nbetween = [\"level.table.about_z\", \"cup.seating.adduction\"]\ncoefficient = {r}\n[sensitivity]\n\
         ask = [\"shapley\", \"one-at-a-time\"]\nrows = 4096\ngroups = {{ table = [\"level.table\"], seating = \
         [\"cup.seating\"] }}\n"
    );
    with_found(&text, |found| {
        let (study, alone) = (found.shapley.as_ref().expect("asked"), found.one_at_a_time.as_ref().expect("asked"));
        let variance = |source: &str, output: usize| {
            let source = alone.sources.iter().find(|found| found.part.source == source).expect("a source in use");
            let run = CHANGES.iter().position(|change| *change == Change::Alone).expect("a change");
            let sd = source.runs[run][output].summary.sd.expect("a spread").value;
            sd * sd
        };
        for (place, output) in [(0, "inclination"), (1, "anteversion")] {
            let (_, effects) = &study.outputs[place];
            let (one, other) = (variance("level.table", place), variance("cup.seating", place));
            let all = effects.variance;
            let share = |one: f64, other: f64| 0.5 * ((1.0 - r * r) * (one - other) + all) / all;
            for (name, expected) in [("table", share(one, other)), ("seating", share(other, one)), ("rest", 0.0)] {
                let group = study.groups.iter().position(|group| group.name == name).expect("a group");
                let effect = effects.effects[group];
                // The variances behind the closed form have 1/45 of themselves as standard error.
                let allowed =
                    3.5 * libm::hypot(effect.standard_error.expect("resampled"), 0.5 * (one + other) / all / 45.0);
                assert!(
                    (effect.value - expected).abs() < allowed,
                    "{output} {name}: {} for {expected}",
                    effect.value
                );
            }
            assert!((effects.effects.iter().map(|effect| effect.value).sum::<f64>() - 1.0).abs() < 1e-12);
        }
    });
}

/// Two spines and one pubis on the hip chain, with errors so small that it is linear: shares by the closed form for linear models
/// of normal inputs from the slopes of the linear budget. With `v(S)` the variance that the inputs of a set explain,
/// `b' C(x, S) C(S, S)^-1 C(S, x) b`, the spines have `(v(spines) + v(both) - v(pubis)) / 2` of the variance (Owen AB, Prieur C. SIAM/ASA
/// J Uncertainty Quantification 2017;5:986-1002, section 4, for sets of inputs); a source that is independent has its variance. The
/// same matrix gives the combined uncertainty of the linear budget.
#[test]
fn outside_shapley_effects_of_correlated_landmarks() {
    let axes = ["anterior", "superior", "lateral"];
    for (asis, pubis, r) in
        [("", "", 0.5), (".operated", "", 0.8), (".operated", "", 0.9), (".other.anterior", ".anterior", 0.95)]
    {
        let text = format!(
            "{PELVIS}[noise]\nonly = [\"landmark.palpation\", \"cup.attach\"]\n{}[noise.cup.attach]\ntransverse_deg = \
             {{ normal = {{ sd = 0.05 }} }}\nbasis = {{ kind = \"assumed\" }}\n[[noise.correlation]]\nbetween = \
             [\"landmark.palpation.asis{asis}\", \"landmark.palpation.pubis{pubis}\"]\ncoefficient = {r}\n[sensitivity]\nask = \
             [\"shapley\", \"linear\"]\nrows = 4096\ngroups = {{ asis = [\"landmark.palpation.asis\"], pubis = \
             [\"landmark.palpation.pubis\"] }}\n",
            palpation(0.2)
        );
        let names: Vec<String> = (0..9)
            .map(|i| match (i / 3, axes[i % 3]) {
                (0, axis) => format!("landmark.palpation.asis.{axis}_mm.operated"),
                (1, axis) => format!("landmark.palpation.asis.{axis}_mm.other"),
                (_, axis) => format!("landmark.palpation.pubis.{axis}_mm"),
            })
            .collect();
        let mut covariance = DMatrix::<f64>::identity(9, 9);
        for (item, axis) in (0..6).map(|i| (i / 3, i % 3)) {
            let item_named = asis.is_empty() || asis.contains([".operated", ".other"][item]);
            let axis_named = pubis.is_empty() || pubis.contains(axes[axis]);
            if item_named && axis_named {
                covariance[(3 * item + axis, 6 + axis)] = r;
                covariance[(6 + axis, 3 * item + axis)] = r;
            }
        }
        covariance *= 0.2 * 0.2;
        with_found(&text, |found| {
            let (study, linear) = (found.shapley.as_ref().expect("asked"), found.linear.as_ref().expect("asked"));
            for place in [0, 1] {
                let slope = |name: &String| {
                    let input = linear.inputs.iter().find(|input| input.id == *name).expect("an input");
                    input.slopes.expect("a slope")[place]
                };
                let b = DVector::from_iterator(9, names.iter().map(slope));
                let with_output = &covariance * &b;
                let explained = |first: usize, count: usize| {
                    let inside = covariance.view((first, first), (count, count)).into_owned();
                    let with_output = with_output.rows(first, count).into_owned();
                    with_output.dot(&(inside.try_inverse().expect("a positive definite matrix") * &with_output))
                };
                let landmarks = b.dot(&with_output);
                let of_cup = linear.inputs.iter().filter(|input| input.source == "cup.attach");
                let cup: f64 = of_cup
                    .filter_map(|input| input.contributions)
                    .map(|all| all[place].value * all[place].value)
                    .sum();
                let all = landmarks + cup;
                let asis_share = 0.5 * (explained(0, 6) + landmarks - explained(6, 3));
                let (_, effects) = &study.outputs[place];
                for (name, part) in [("asis", asis_share), ("pubis", landmarks - asis_share), ("rest", cup)] {
                    let group = study.groups.iter().position(|group| group.name == name).expect("a group");
                    let effect = effects.effects[group];
                    // What the chain is not linear by: 3 parts in 1000.
                    let allowed = 3.5 * effect.standard_error.expect("resampled") + 0.003;
                    let expected = part / all;
                    assert!(
                        allowed < 0.08 && (effect.value - expected).abs() < allowed,
                        "{r} {place} {name}: {} for {expected}",
                        effect.value
                    );
                }
                let combined = linear.outputs[place].combined;
                assert!((combined * combined / all - 1.0).abs() < 1e-9, "{combined} for {}", all.sqrt());
                // The variance of the draws, within 4 of its standard errors.
                assert!(
                    (effects.variance / all - 1.0).abs() < 4.0 * (2.0 / 4096.0_f64).sqrt() + 0.003,
                    "{}",
                    effects.variance
                );
            }
        });
    }
}

/// Level and seating of the cup in the linear budget: their correlation adds `2 r` times the product of both coefficients and both
/// standard uncertainties (JCGM 100:2008, 5.2.2), and in proportion to `r`; the ends hold it.
#[test]
fn outside_correlated_sources_add_their_covariance_to_the_linear_budget() {
    let text = |r: f64| {
        format!(
            "{PELVIS}[measure]\nplane = \"level\"\n[noise]\nonly = [\"level.table\", \"cup.seating\"]\n[noise.level.table]\n\
             about_y_deg = {{ normal = {{ sd = 0.7 }} }}\nabout_z_deg = 0.0\nbasis = {{ kind = \"assumed\" }}\n\
             [noise.cup.seating]\ncovariance_deg2 = [[0.4, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]]\n\
             basis = {{ kind = \"assumed\" }}\n[[noise.correlation]]\nbetween = [\"level.table.about_y\", \
             \"cup.seating.flexion\"]\ncoefficient = {r}\n[sensitivity]\nask = [\"linear\"]\n"
        )
    };
    let found = |r: f64| {
        with_found(&text(r), |found| {
            let study = found.linear.as_ref().expect("asked");
            assert_eq!((study.correlated.len(), study.correlated[0].sources), (1, ["level.table", "cup.seating"]));
            let slope = |id: &str, output: usize| {
                let input = study.inputs.iter().find(|input| input.id == id).expect("an input");
                input.slopes.expect("a slope")[output]
            };
            [0, 1].map(|output| {
                let parts: f64 = study
                    .inputs
                    .iter()
                    .filter_map(|input| input.contributions)
                    .map(|all| all[output].value * all[output].value)
                    .sum();
                let product =
                    slope("level.table.about_y_deg", output) * slope("cup.seating.each_axis_deg.flexion", output);
                (
                    parts,
                    2.0 * product * 0.7 * 0.4_f64.sqrt(),
                    study.correlated[0].variances[output],
                    study.outputs[output].combined,
                )
            })
        })
    };
    for r in [0.95, 0.5, -0.5] {
        for (parts, whole, added, combined) in found(r) {
            assert!((parts + added.value - combined * combined).abs() < 1e-12 * parts);
            assert!((added.value - r * whole).abs() < 1e-12 * parts, "{r}: {added:?} for {}", r * whole);
            assert!(
                added.low <= added.value && added.value <= added.high && added.high - added.low < 0.1 * parts,
                "{added:?}"
            );
        }
    }
    // The test can tell: it adds more than rounding.
    let seen = found(0.95).iter().map(|(parts, _, added, _)| added.value.abs() / parts).fold(0.0, f64::max);
    assert!(seen > 0.3, "{seen}");
}

/// The camera's mount creeping and knocked: a knock that is removed is a probability of 0, the rest removed is a drift of 0.
/// The requirement limits the 99 % quantile, which the rare knocks decide, so they rank before the drift, whose variance is
/// larger.
#[test]
fn identity_a_rare_event_is_a_source_of_its_own() {
    let text = |rotation: f64, probability: f64| {
        format!(
            "{PELVIS}[noise]\nonly = [\"camera.drift\", \"cup.attach\"]\n[noise.camera.drift]\nrotation_deg = {{ normal = {{ sd = \
             {rotation} }} }}\ntranslation_mm = 0.0\nknock_probability = {probability}\nknock_rotation_deg = {{ normal = {{ sd = 3.0 \
             }} }}\nknock_translation_mm = 0.0\nbasis = {{ kind = \"assumed\" }}\n[[requirement]]\nid = \"ACC\"\ntext = \"a\"\n\
             output = \"inclination\"\nlimit_deg = 9.0\nproportion = 0.99\nconfidence = 0.95\n[sensitivity]\n\
             ask = [\"one-at-a-time\"]\nrows = 2000\n"
        )
    };
    let summaries = |rotation, probability| {
        with_found(&text(rotation, probability), |found| found.one_at_a_time.as_ref().expect("asked").all.clone())
    };
    with_found(&text(1.0, 0.04), |found| {
        let study = found.one_at_a_time.as_ref().expect("asked");
        let names: Vec<&str> = study.sources.iter().map(|source| source.name.as_str()).collect();
        assert_eq!(names, ["camera.drift", "camera.drift: knock", "cup.attach"]);
        let without = |place: usize| -> Vec<_> {
            study.sources[place].run(Change::Without).iter().map(|changed| changed.summary).collect()
        };
        assert_eq!(without(1), summaries(1.0, 0.0));
        for (found, expected) in without(0).iter().zip(summaries(0.0, 0.04)) {
            assert_eq!(found, &expected);
        }
        assert_eq!(study.by_removal(Some(0), OUTPUTS[0])[0], 1, "knocks decide the 99 % quantile");
        let variance = |place: usize| study.sources[place].run(Change::Alone)[0].summary.sd.expect("a spread").value;
        assert!(variance(0) > variance(1), "of the variance the drift has more");
        let [drift, knock] = [0, 1].map(|place| study.sources[place].limited(Change::Without)[0].quantile.value);
        assert!(knock < drift && drift < 0.0, "{knock} {drift}");
    });
}

const SMALL: &str = "[sensitivity]\nask = [\"indices\"]\nrows = 128\ngroups = { landmarks = [\"landmark\"] }\n";

/// A source that a file names and switches off leaves every index as it is without it.
#[test]
fn identity_a_source_that_is_off_moves_no_index() {
    let without = format!("{PELVIS}[noise]\nonly = [\"landmark.palpation\", \"cup.attach\"]\n{SMALL}");
    let with = format!(
        "{PELVIS}[noise]\nscale = {{ \"cup.seating\" = 0.0 }}\nonly = [\"landmark.palpation\", \"cup.attach\", \"cup.seating\"]\n\
         [noise.cup.seating]\neach_axis_deg = {{ normal = {{ sd = 3.0 }} }}\nbasis = {{ kind = \"assumed\" }}\n{SMALL}"
    );
    let found = [without, with].map(|text| with_found(&text, |found| found.indices.clone().expect("asked")));
    for (one, other) in found[0].outputs.iter().zip(&found[1].outputs) {
        assert_eq!(one.indices, other.indices);
    }
}

#[test]
fn identity_a_study_goes_on_where_it_was_killed() {
    let text = format!("{PELVIS}{SMALL}");
    let plan = plan(&text);
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let (run, before) = asked(&plan, folder.path());
    let study =
        std::fs::read_dir(run.path().join("studies")).expect("studies").next().expect("one").expect("an entry");
    let mut parts: Vec<_> =
        std::fs::read_dir(study.path()).expect("its parts").map(|entry| entry.expect("an entry").path()).collect();
    parts.sort();
    assert_eq!(parts.len(), 4, "two sets of draws, the landmarks and the rest");
    let bytes = parts.each_read();
    std::fs::remove_file(&parts[1]).expect("a part");
    std::fs::write(&parts[2], b"cut short").expect("a part");
    let kept = std::fs::metadata(&parts[0]).expect("a part").modified().expect("a time");
    drop(run);
    let (_, after) = asked(&plan, folder.path());
    assert_eq!(before, after);
    assert_eq!(bytes, parts.each_read());
    assert_eq!(
        kept,
        std::fs::metadata(&parts[0]).expect("a part").modified().expect("a time"),
        "made again for nothing"
    );
}

trait EachRead {
    fn each_read(&self) -> Vec<Vec<u8>>;
}

impl EachRead for Vec<std::path::PathBuf> {
    fn each_read(&self) -> Vec<Vec<u8>> {
        self.iter().map(|path| std::fs::read(path).expect("a part")).collect()
    }
}

const ANTEVERSION: &str = r#"
[[requirement]]
id = "ACC"
text = "Anteversion within 5 degrees in 95 of 100 cases."
output = "anteversion"
limit_deg = 5.0
proportion = 0.95
confidence = 0.95
"#;

fn isotropic(seed: u64, trials: u64) -> String {
    let pelvis = PELVIS
        .replace("seed = 11", &format!("seed = {seed}"))
        .replace("trials = 2000", &format!("trials = {trials}"));
    format!(
        "{pelvis}[noise]\nonly = [\"landmark.palpation\"]\n{}{ANTEVERSION}[sensitivity]\ngroups = {{ palpation = [\"landmark.palpation\"] }}\n",
        palpation(1.0)
    )
}

/// Isotropic palpation alone, W 240 H 90, cup 40/15: 95 % of the errors of anteversion are within 5 degrees at 4.0 mm an axis
/// (the sd of anteversion is 0.6379 degrees a millimetre by the slopes above: 5 / 1.96 / 0.6379 = 4.0).
#[test]
fn outside_budget_of_isotropic_palpation() {
    let plan = plan(&isotropic(3, 20_000));
    let found = budget(&plan, &plan.variants[0], 2, &Silent).expect("a search");
    let alone = found.found.iter().find(|found| found.strategy == Strategy::Alone(0)).expect("one knob");
    let scale = |answer: &Answer| match answer {
        Answer::Scales { scales, .. } => scales[0],
        other => panic!("{other:?}"),
    };
    let (limit, assured) = (scale(&alone.limit), scale(&alone.assured));
    assert!((limit - 4.0).abs() < 0.1, "{limit}");
    assert!(assured < limit && assured > 0.95 * limit, "{assured} of {limit}");
    assert_eq!(alone.fresh.len(), 1);
}

/// Twenty searches, each with a fresh run at its own assured scale: about nine in ten pass.
#[test]
#[ignore = "a minute or two: twenty searches of 20,000 cases a run"]
fn coverage_fresh_runs_at_the_assured_scale() {
    let passed = (0..20)
        .filter(|seed| {
            let plan = plan(&isotropic(100 + seed, 20_000));
            let found = budget(&plan, &plan.variants[0], 2, &Silent).expect("a search");
            found.found[0].fresh[0].verdict == Verdict::Pass
        })
        .count();
    println!("{passed} of 20 fresh runs passed");
    // 18 expected; fewer than 14 or so has a probability below 0.003 if nine in ten pass.
    assert!(passed >= 14, "{passed} of 20");
}
