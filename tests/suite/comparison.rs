//! Arms beside each other, through whole runs.

use crate::support::{Silent, report_into, reported};
use navassay::analysis::claim::ClaimVerdict;
use navassay::analysis::paired::Measure;
use navassay::experiment::Plan;
use navassay::measurement::Output;
use navassay::record::sheet::Sheet;
use navassay::study::{Assessment, PairedMeasure, assess};
use navassay::trial::{self, RunFolder};
use std::path::Path;

fn with_arms(text: &str, look: impl FnOnce(&Assessment)) {
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let plan = Plan::parse("arms.toml", text).unwrap_or_else(|error| panic!("{text}\n{error}"));
    let run = RunFolder::open(folder.path(), &plan, false).expect("an empty folder");
    trial::run(&plan, &run, 2, &Silent).expect("room for a small run");
    look(&assess(&plan, &run.parts()).expect("parts that were just written"));
}

fn of<'a>(assessment: &'a Assessment, output: Output, measure: Measure) -> Vec<&'a PairedMeasure<'a>> {
    assessment.arms.pairs.iter().filter(|row| row.output == output && row.measure == measure).collect()
}

fn claim(arm: &str, against: &str) -> String {
    format!(
        "[[comparison]]\nid = \"EQ\"\ntext = \"As good.\"\narm = \"{arm}\"\nagainst = \"{against}\"\n\
         output = \"anteversion\"\nmeasure = \"rms\"\nclaim = \"equivalent\"\nmargin_deg = 0.001\nconfidence = 0.95\n\
         primary = true\n"
    )
}

/// A bony and a level plane, both with truth in the level plane.
const PLANES: &str = "[measure]\nmeasurand_plane = \"level\"\n[[arm]]\nname = \"bony\"\n[[arm]]\nname = \"level\"\n\
                      set = { \"measure.plane\" = \"level\" }\n";

/// Two arms that are the same but for their names: every difference is 0 to the last bit, and nothing is claimed of them.
#[test]
fn identity_an_arm_beside_itself() {
    let requirement = "[[requirement]]\nid = \"ACC\"\ntext = \"Within.\"\noutput = \"leg_length\"\nlimit_mm = 3\n\
                       proportion = 0.95\nconfidence = 0.95\n";
    let arms = "[[arm]]\nname = \"one\"\n[[arm]]\nname = \"the same\"\nset = { \"measure.plane\" = \"bony\" }\n";
    let text = format!("seed = 3\ntrials = 300\n{arms}{requirement}{}", claim("one", "the same"));
    with_arms(&text, |assessment| {
        assert_eq!(assessment.arms.pairs.len(), 7 * 6 + 1);
        for row in &assessment.arms.pairs {
            let p = if row.measure.is_proportion() { Some(1.0) } else { None };
            assert_eq!((row.found.difference, row.found.p), (0.0, p), "{row:?}");
        }
        let verdicts: Vec<_> = assessment.arms.claims.iter().map(|judged| judged.verdict.word()).collect();
        assert_eq!(verdicts, ["not shown"]);
        assert!(assessment.arms.ranks.iter().all(|ranked| ranked.proportions == [0.5, 0.5]));
    });
}

/// One capture of each landmark against the mean of three: the arms share patients, case parts and their first capture. What
/// was measured with this seed and 4,000 trials is printed; both standard errors must be at least 1.5 times smaller.
#[test]
fn outside_pairing_saves_for_one_against_three_captures() {
    let arms = "[[arm]]\nname = \"one\"\n[[arm]]\nname = \"three\"\nset = { \"protocol.landmark_captures\" = 3 }\n";
    with_arms(&format!("seed = 7\ntrials = 4000\n{arms}"), |assessment| {
        for output in [Output::Inclination, Output::Anteversion] {
            for measure in [Measure::Bias, Measure::Sd] {
                let saved = of(assessment, output, measure)[0].found.saved().expect("two arms with spread");
                println!("{} {}: {saved:.2} times", output.id(), measure.id());
                assert!(saved > 1.5, "{output:?} {measure:?}: {saved}");
            }
        }
        // The mean of three is better, and the root mean square says so beyond luck.
        let rms = of(assessment, Output::Anteversion, Measure::Rms)[0];
        assert!(rms.found.difference > 0.0 && rms.found.p.expect("a probability") < 1e-6, "{rms:?}");
    });
}

/// The claim's arms may stand either way about in the file, and the answer turns with them.
#[test]
fn identity_a_claim_the_other_way_about() {
    let difference = |arm: &str, against: &str| {
        let mut found = f64::NAN;
        with_arms(&format!("seed = 3\ntrials = 500\n{PLANES}{}", claim(arm, against)), |assessment| {
            let judged = &assessment.arms.claims[0];
            assert_eq!(judged.arms.map(|arm| arm.arm.as_str()), [arm, against]);
            assert!(matches!(judged.verdict, ClaimVerdict::Refuted(_)), "{judged:?}");
            found = judged.found.expect("readings of both").difference;
        });
        found
    };
    assert_eq!(difference("bony", "level"), -difference("level", "bony"));
}

/// Two primary claims at two points are one family of four tests; a claim that is not primary has an interval and no verdict.
#[test]
fn identity_the_family_of_primary_claims() {
    let arms = "[[arm]]\nname = \"one\"\n[[arm]]\nname = \"three\"\nset = { \"protocol.landmark_captures\" = 3 }\n";
    let sweep = "[[sweep]]\nvary = \"noise.scale.landmark\"\nover = [0.5, 1.0]\n";
    let claim = |id: &str, words: &str| {
        format!(
            "[[comparison]]\nid = \"{id}\"\ntext = \"T.\"\narm = \"three\"\nagainst = \"one\"\noutput = \"anteversion\"\n\
             confidence = 0.95\n{words}\n"
        )
    };
    let better = claim("B", "measure = \"rms\"\nclaim = \"better\"\nmargin_deg = 0.0\nprimary = true");
    let equivalent = claim("E", "measure = \"p95_abs\"\nclaim = \"equivalent\"\nmargin_deg = 0.01\nprimary = true");
    let other = claim("X", "measure = \"sd\"\nclaim = \"equivalent\"\nmargin_deg = 5.0");
    let text = format!("seed = 3\ntrials = 2000\nlooks = 2\n{arms}{sweep}{better}{equivalent}{other}");
    with_arms(&text, |assessment| {
        let (claims, level) = (&assessment.arms.claims, assessment.arms.level.expect("primary claims"));
        assert_eq!((level.tests, claims.len()), (4, 6));
        assert!((level.alpha - 0.025).abs() < 1e-15);
        let primary: Vec<_> = claims.iter().filter(|judged| judged.claim.primary).collect();
        let p: Vec<f64> = primary.iter().map(|judged| judged.test.expect("a test").shown).collect();
        let adjusted: Vec<f64> = primary.iter().map(|judged| judged.adjusted.expect("a p")).collect();
        // Holm by hand: the smallest four times, and so on, never less than the one before.
        let mut order: Vec<usize> = (0..4).collect();
        order.sort_by(|&one, &other| p[one].total_cmp(&p[other]));
        let mut least: f64 = 0.0;
        for (rank, which) in order.into_iter().enumerate() {
            least = least.max((4.0 - rank as f64) * p[which]).min(1.0);
            assert!((adjusted[which] - least).abs() < 1e-15, "{p:?} {adjusted:?}");
        }
        for judged in &primary {
            let shown = judged.adjusted.expect("a p") <= 0.025;
            assert_eq!(matches!(judged.verdict, ClaimVerdict::Shown(_)), shown, "{judged:?}");
            let interval = judged.found.and_then(|found| found.interval).expect("an interval");
            assert!((interval.confidence - (1.0 - 0.025 / 4.0)).abs() < 1e-12);
        }
        let words: Vec<_> = claims.iter().map(|judged| judged.verdict.word()).collect();
        // At the full noise of landmarks the mean of three is better, and a margin of 0.01 degrees is too narrow for either.
        assert_eq!((words[1], &words[4..]), ("better", &["exploratory", "exploratory"][..]));
        assert!(!words.contains(&"equivalent"), "{words:?}");
        assert!(claims[4].adjusted.is_none() && claims[4].found.and_then(|found| found.interval).is_some());
    });
    // In a fixed sequence nothing is shown after the first that is not.
    let text =
        format!("seed = 3\ntrials = 2000\nmultiplicity = \"fixed-sequence\"\n{arms}{sweep}{equivalent}{better}");
    with_arms(&text, |assessment| {
        let words: Vec<_> = assessment.arms.claims.iter().map(|judged| judged.verdict.word()).collect();
        assert!(!words.contains(&"better") && !words.contains(&"equivalent"), "{words:?}");
    });
}

/// In a nested design devices are the units.
#[test]
fn identity_devices_are_the_units_of_pairs() {
    let arms = "[[arm]]\nname = \"a\"\n[[arm]]\nname = \"c\"\nset = { \"protocol.landmark_captures\" = 2 }\n";
    with_arms(&format!("seed = 3\n{arms}[design]\ndevices = 50\ncases = 2\n"), |assessment| {
        let rows = of(assessment, Output::Anteversion, Measure::Bias);
        assert_eq!(rows.len(), 1);
        assert!(rows.iter().all(|row| row.found.n == 100 && row.found.degrees_of_freedom == 49.0));
    });
}

/// Arms with truth in different planes, or with other angles, are named and neither tested nor ranked against each other.
#[test]
fn identity_arms_with_different_estimands() {
    let arms = "[[arm]]\nname = \"bony\"\n[[arm]]\nname = \"level\"\nset = { \"measure.plane\" = \"level\" }\n\
                [[arm]]\nname = \"bony, operative\"\nset = { \"measure.angles\" = \"operative\" }\n";
    let found = reported(&format!("seed = 3\ntrials = 200\n{arms}"));
    let table = |name: &str| std::fs::read_to_string(found.folder.path().join("tables").join(name)).expect(name);
    let lines = |name: &str, words: [&str; 2]| {
        table(name).lines().filter(|line| words.iter().all(|words| line.contains(words))).count()
    };
    // Only bony and operative share a plane, and they have the same legs and centres but other cup angles.
    assert_eq!(lines("pairs.csv", ["", ",level"]) + lines("pairs.csv", ["level,", ""]), 0);
    assert_eq!((lines("pairs.csv", ["", ",anteversion,"]), lines("pairs.csv", ["", ",offset,"])), (0, 6));
    assert_eq!((lines("ranks.csv", ["", ",anteversion,"]), lines("ranks.csv", ["", ",offset,"])), (0, 4));
    assert!(found.page.contains("These arms have different estimands; they are not tested against each other"));
    assert!(found.page.contains("truth in the level plane, radiographic angles"));
    let text = format!("seed = 3\n{arms}{}", claim("bony", "level"));
    let error = Plan::parse("arms.toml", &text).expect_err("different estimands");
    assert!(
        format!("{error} {error:?}").contains("the arms of comparison \"EQ\" have different estimands"),
        "{error:?}"
    );
}

/// The file other programs rely on, and the page.
#[test]
fn identity_pairs_in_the_report() {
    let found = reported(&format!("seed = 3\ntrials = 200\n{PLANES}{}", claim("bony", "level")));
    let table = |name: &str| std::fs::read_to_string(found.folder.path().join("tables").join(name)).expect(name);
    let pairs = table("pairs.csv");
    assert!(pairs.starts_with("arm_a,arm_b,output,measure,difference,low,high,n,"), "{pairs}");
    assert_eq!(pairs.lines().count(), 1 + 7 * 6);
    for name in ["claims.csv", "ranks.csv", "agreement.csv", "residuals.csv", "estimands.csv", "performance.csv"] {
        assert!(table(name).lines().count() > 1, "{name}");
    }
    assert!(table("methods.csv").contains("level,measure.plane,level"));
    let ids: Vec<&str> = found.evidence.report.sections.iter().map(|section| section.id).collect();
    let place = |id: &str| ids.iter().position(|other| *other == id).expect(id);
    assert!(place("estimands") < place("methods") && place("methods") < place("comparison"));
    for words in [
        "exploratory",
        "Harrell-Davis",
        "How much pairing saved",
        "Limits of agreement",
        "small residual is no accuracy estimate",
    ] {
        assert!(found.page.to_lowercase().contains(&words.to_lowercase()), "{words}");
    }
}

/// Assessed again, the same bytes: the bootstrap has a stream of its own and nothing depends on threads.
#[test]
fn identity_the_same_report_again() {
    let arms = "[[arm]]\nname = \"one\"\n[[arm]]\nname = \"two\"\nset = { \"protocol.landmark_captures\" = 2 }\n";
    let plan = Plan::parse("arms.toml", &format!("seed = 3\ntrials = 200\n{arms}")).expect("a plan");
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let ranks = |path: &Path| std::fs::read(path.join("tables/ranks.csv")).expect("ranks");
    report_into(folder.path(), &plan);
    let first = ranks(folder.path());
    report_into(folder.path(), &plan);
    assert_eq!(first, ranks(folder.path()));
}

#[test]
fn identity_what_a_comparison_may_say() {
    let arms = format!("seed = 3\n{PLANES}");
    let error = |claim: &str| {
        let error = Plan::parse("arms.toml", &format!("{arms}{claim}")).expect_err(claim);
        format!("{error} {error:?}")
    };
    let sound = claim("bony", "level");
    assert!(Plan::parse("arms.toml", &format!("{arms}{sound}")).is_ok());
    for (wrong, expected) in [
        (sound.replace("\"level\"", "\"levle\""), "no arm is called"),
        (sound.replace("margin_deg", "margin_mm"), "no margin in the unit of its output"),
        (sound.replace("0.001", "0"), "more than 0"),
        (sound.replace("0.95", "0.4"), "more than 0.5 and less than 1"),
        (sound.replace("equivalent", "not-worse").replace("\"rms\"", "\"bias\""), "a larger bias is not a worse one"),
        (sound.replace("\"level\"", "\"bony\""), "another arm"),
        (sound.replace("rms", "win_rate"), "expected one of bias, sd, rms, p95_abs"),
    ] {
        let found = error(&wrong);
        assert!(found.contains(expected), "{wrong}\n{found}");
    }
    let two = format!("{sound}{}", sound.replace("EQ", "E2").replace("0.95", "0.9"));
    assert!(error(&two).contains("0.95, the confidence of the primary comparison"));
    assert!(error(&format!("{sound}{sound}")).contains("two of `comparison` have the same id"));
}

/// Arms over a grid of two settings: every point has its better arm, and where palpation is poor the level plane is it.
#[test]
fn outside_the_better_arm_turns() {
    // Both planes are one where the pelvis lies level, so each arm has the error of its own measurement only.
    let upright = "[anatomy]\ntilt_deg = 0.0\nobliquity_deg = 0.0\nrotation_deg = 0.0\n";
    let sweeps = "[[sweep]]\nvary = \"noise.scale.landmark\"\nover = [0.01, 1.0]\n\
                  [[sweep]]\nvary = \"noise.level.table.about_z_deg.normal.sd\"\nover = [0.5, 1.0]\n";
    let found = reported(&format!("seed = 3\ntrials = 400\n{upright}{PLANES}{sweeps}"));
    let table = std::fs::read_to_string(found.folder.path().join("tables/better.csv")).expect("better.csv");
    let best = |point: &str| {
        let line =
            table.lines().find(|line| line.starts_with(point) && line.contains(",anteversion,")).expect("a point");
        let cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        (cells[5].clone(), cells[10].clone())
    };
    assert_eq!(table.lines().count(), 1 + 4 * 7, "{table}");
    assert_eq!(best("0,"), ("bony".to_owned(), "yes".to_owned()));
    assert_eq!(best("3,"), ("level".to_owned(), "yes".to_owned()));
    assert!(
        found
            .page
            .contains("the arm with the smallest RMS error changes between noise.scale.landmark = 0.01 and 1.0")
    );
    assert!(found.evidence.charts().any(|chart| chart.id == "better-anteversion"));
}

/// What other programs take in stands as Parquet too: the same rows, numbers to the bit.
#[test]
fn identity_tidy_tables_are_parquet_too() {
    let found = reported(&format!("seed = 3\ntrials = 200\n{PLANES}"));
    let tables = found.folder.path().join("tables");
    for name in ["pairs", "performance", "ranks", "residuals", "agreement"] {
        let read = |ending: &str| {
            let mut sheet = Sheet::open(&tables.join(format!("{name}.{ending}"))).unwrap();
            let header = sheet.header().to_vec();
            let mut rows = Vec::new();
            while sheet.advance().unwrap() {
                let cell = |column| match (sheet.number_if_any(Some(column), "cell"), sheet.words(Some(column))) {
                    (Ok(Some(number)), _) => number.to_bits().to_string(),
                    (_, words) => words.into_owned(),
                };
                rows.push((0..header.len()).map(cell).collect::<Vec<_>>());
            }
            (header, rows)
        };
        assert_eq!(read("csv"), read("parquet"), "{name}");
    }
    assert!(!tables.join("summary.parquet").exists());
    // The page links both where it links one.
    let links = |name: &str| found.page.matches(&format!("href=\"tables/{name}\"")).count();
    assert!(links("pairs.csv") > 0 && links("pairs.csv") == links("pairs.parquet"));
    assert_eq!(links("summary.parquet"), 0);
}

#[test]
#[ignore = "needs python3"]
fn outside_the_tables_read_back() {
    let found = reported(&format!("seed = 3\ntrials = 200\n{PLANES}"));
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("experiments/read_pairs.py");
    let output = std::process::Command::new("python3").arg(script).arg(found.folder.path()).output();
    let output = output.expect("python3 is installed");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(String::from_utf8_lossy(&output.stdout).contains("intervals exclude 0"));
}
