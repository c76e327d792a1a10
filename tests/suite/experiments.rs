//! The experiments that ship, the defaults, and what the parts of a file mean.

use navassay::experiment::{DEFAULTS, Plan, Variant};
use navassay::simulation::noise::SOURCES;
use std::path::{Path, PathBuf};

fn plan(text: &str) -> Plan {
    Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{text}\n{error}"))
}

fn only_variant(text: &str) -> Variant {
    let mut variants = plan(text).variants;
    assert_eq!(variants.len(), 1);
    variants.remove(0)
}

/// Scales of all sources by id.
fn scale(variant: &Variant, id: &str) -> f64 {
    let mut noise = variant.model.noise.clone();
    let (_, switch) = noise.switches().into_iter().find(|(source, _)| source.id == id).expect("a known source");
    switch.scale
}

fn shipped() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("experiments");
    let mut files = Vec::new();
    for folder in [folder.clone(), folder.join("controls")] {
        let entries = std::fs::read_dir(folder).expect("the experiments stand beside the source");
        files.extend(entries.map(|entry| entry.expect("a readable folder").path()));
    }
    files.retain(|path| path.extension().is_some_and(|ending| ending == "toml"));
    files
}

#[test]
fn identity_every_shipped_experiment_has_a_plan() {
    let files = shipped();
    assert!(files.len() >= 4, "{files:?}");
    for path in files {
        let plan = Plan::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        assert!(plan.question.is_some() && plan.context_of_use.is_some(), "{}", path.display());
        assert!(!plan.requirements.is_empty(), "{}", path.display());
        for warning in &plan.warnings {
            let assumed = warning.to_string().contains("every noise source in use is assumed");
            assert!(assumed, "{}: {warning}", path.display());
        }
    }
}

#[test]
fn identity_primary_experiment_writes_every_default() {
    let written = Plan::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("experiments/primary.toml"));
    let mut written = written.expect("a shipped experiment").variants.remove(0);
    let default = only_variant("seed = 7");
    written.model.reductions.clone_from(&default.model.reductions);
    assert_eq!(written, default);
}

#[test]
fn identity_defaults_and_catalogue_name_the_same_sources() {
    fn walk(table: &toml::Table, path: &str, found: &mut Vec<(String, Vec<String>)>) {
        if table.contains_key("basis") {
            let keys = table.keys().filter(|key| *key != "basis").cloned().collect();
            found.push((path.to_owned(), keys));
            return;
        }
        for (key, value) in table {
            if let toml::Value::Table(inner) = value {
                let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                walk(inner, &path, found);
            }
        }
    }
    let defaults: toml::Table = DEFAULTS.parse().expect("the defaults are TOML");
    let mut found = Vec::new();
    walk(defaults["noise"].as_table().expect("a section"), "", &mut found);
    let mut catalogue: Vec<(String, Vec<String>)> = SOURCES
        .iter()
        .map(|source| {
            let mut keys: Vec<_> = source.parameters.iter().map(|parameter| parameter.key.to_owned()).collect();
            keys.sort();
            (source.id.to_owned(), keys)
        })
        .collect();
    found.sort();
    catalogue.sort();
    assert_eq!(found, catalogue);
}

#[test]
fn identity_arm_and_file_mean_the_same() {
    // Written in the file, set by an arm, varied by a sweep: the same model and procedure.
    for (section, path, value) in [
        ("measure", "plane", "\"level\""),
        ("protocol", "cup_frames", "12"),
        ("noise.landmark.palpation.asis", "anterior_mm", "{ rectangular = { low = -1, high = 1 } }"),
        ("noise.landmark.palpation.asis.anterior_mm.normal", "sd", "4"),
        ("noise.cup.seating", "each_axis_deg", "0.5"),
        ("noise.landmark.palpation.asis", "covariance_mm2", "[[4, 1, 0], [1, 4, 0], [0, 0, 1]]"),
        ("noise.posture.baseline", "flexion_deg", "{ empirical = { values = [1.0, 2.0] } }"),
        ("protocol", "stillness_limit_mm", "0.8"),
        ("noise", "only", "[\"probe\"]"),
        ("noise.scale", "tracker", "0.5"),
        ("anatomy", "side", "\"left\""),
        ("measure", "measurand_plane", "\"level\""),
        ("camera", "position_mm", "[80, 50, 30]"),
    ] {
        let written = only_variant(&format!("seed = 1\n[{section}]\n{path} = {value}\n"));
        let set = only_variant(&format!(
            "seed = 1\n[[arm]]\nname = \"base\"\nset = {{ \"{section}.{path}\" = {value} }}\n"
        ));
        let varied = only_variant(&format!("seed = 1\n[[sweep]]\nvary = \"{section}.{path}\"\nover = [{value}]\n"));
        assert_eq!(written, set, "{section}.{path}");
        assert_eq!(written, varied, "{section}.{path}");
        assert_ne!(written, only_variant("seed = 1"), "{section}.{path}");
    }
}

#[test]
fn identity_sweeps_span_a_grid_for_every_arm() {
    let plan = plan(
        "seed = 1\n[[arm]]\nname = \"a\"\n[[arm]]\nname = \"b\"\nset = { \"measure.plane\" = \"level\" }\n\
         [[sweep]]\nvary = \"protocol.cup_frames\"\nover = [10, 20]\n\
         [[sweep]]\nvary = \"protocol.divot_frames\"\nover = [1, 2, 3]\n",
    );
    let of = |variant: &Variant| {
        let protocol = &variant.model.protocol;
        (variant.arm.clone(), variant.point, protocol.cup_frames, protocol.divot_frames)
    };
    let mut expected = Vec::new();
    for arm in ["a", "b"] {
        for (point, (cup, divot)) in (0..).zip([(10, 1), (10, 2), (10, 3), (20, 1), (20, 2), (20, 3)]) {
            expected.push((arm.to_owned(), point, cup, divot));
        }
    }
    assert_eq!(plan.variants.iter().map(of).collect::<Vec<_>>(), expected);
    let point = &plan.points[4];
    let values = [("protocol.cup_frames", "20"), ("protocol.divot_frames", "2")];
    assert_eq!(point.values, values.map(|(path, value)| (path.to_owned(), value.to_owned())));
}

#[test]
fn identity_sources_are_switched_by_name() {
    let default = only_variant("seed = 1");
    assert_eq!(scale(&default, "cup.runout"), 1.0);
    assert_eq!(scale(&default, "cup.seating"), 0.0);

    let written = only_variant("seed = 1\n[noise.cup.seating]\neach_axis_deg = 2.0\n");
    assert_eq!(scale(&written, "cup.seating"), 1.0);

    let off = only_variant("seed = 1\n[noise]\noff = [\"landmark.palpation\", \"cup\"]\n");
    assert_eq!(scale(&off, "landmark.palpation.pubis"), 0.0);
    assert_eq!(scale(&off, "landmark.tissue"), 1.0);
    assert_eq!(scale(&off, "cup.attach"), 0.0);

    let only = only_variant("seed = 1\n[noise]\nonly = [\"cup.seating\", \"probe\"]\n");
    assert_eq!(scale(&only, "cup.seating"), 1.0);
    assert_eq!(scale(&only, "probe.slip"), 1.0);
    assert_eq!(scale(&only, "tracker.jitter"), 0.0);

    let scaled = only_variant("seed = 1\n[noise]\nscale = { probe = 0.5, \"probe.slip\" = 3 }\n");
    assert_eq!(scale(&scaled, "probe.slip"), 1.5);
    assert_eq!(scale(&scaled, "probe.attach"), 0.5);
    assert_eq!(scale(&scaled, "femur.groove"), 1.0);
}

#[test]
fn identity_truth_is_stated_in_the_plane_measured_unless_said() {
    let level = only_variant("seed = 1\n[measure]\nplane = \"level\"\n");
    assert_eq!(level.measurand_plane, level.procedure.plane);
    let other = only_variant("seed = 1\n[measure]\nplane = \"level\"\nmeasurand_plane = \"bony\"\n");
    assert_ne!(other.measurand_plane, other.procedure.plane);
}

#[test]
fn identity_hashes_tell_what_moves_draws_from_what_moves_words() {
    let base = plan("seed = 1");
    let differs = |text: &str| {
        let other = plan(text);
        (other.simulation_hash() != base.simulation_hash(), other.assessment_hash() != base.assessment_hash())
    };
    assert_eq!(differs("# the same\nseed = 1\n[measure]\nplane = \"bony\"\n"), (false, false));
    assert_eq!(differs("seed = 1\ntrials = 77\n"), (false, false));
    assert_eq!(differs("seed = 2"), (true, false));
    assert_eq!(differs("seed = 1\n[noise]\noff = [\"cup.attach\"]\n"), (true, false));
    assert_eq!(differs("seed = 1\n[noise]\nscale = { cup = 2 }\n"), (true, false));
    assert_eq!(differs("seed = 1\n[measure]\nangles = \"anatomic\"\n"), (true, false));
    assert_eq!(differs("seed = 1\n[measure]\nmeasurand_plane = \"level\"\n"), (true, false));
    assert_eq!(differs("seed = 1\ntitle = \"Another\"\n"), (false, true));
    assert_eq!(differs("seed = 1\n[noise.cup.attach]\nbasis = { kind = \"measured\" }\n"), (false, true));
    let requirement = "[[requirement]]\nid = \"A\"\ntext = \"t\"\noutput = \"offset\"\nlimit_mm = 3\nproportion = 0.9\n\
                       confidence = 0.9\n";
    assert_eq!(differs(&format!("seed = 1\n{requirement}")), (false, true));
    assert_eq!(base.simulation_hash().len(), 64);
}

#[test]
fn identity_resolved_plan_shows_every_source() {
    let resolved = plan("seed = 1").resolved();
    let noise = &resolved["variants"][0]["noise"];
    for source in &SOURCES {
        let entry = &noise[source.id];
        assert_eq!(entry["on"], source.on_by_default, "{}", source.id);
        assert!(entry["basis"]["kind"].is_string(), "{}", source.id);
        for parameter in source.parameters {
            assert!(!entry[parameter.key].is_null(), "{} {}", source.id, parameter.key);
        }
    }
}

/// Distribution-free n, one-sided, by the largest error. Wilks SS. Ann Math
/// Stat 1941;12:91-96; the figures 59, 299, 90, 29 as commonly tabulated.
#[test]
fn table_fewest_trials_that_can_show_a_requirement() {
    for (proportion, confidence, needed) in [(0.95, 0.95, 59), (0.99, 0.95, 299), (0.95, 0.99, 90), (0.90, 0.95, 29)]
    {
        let warned = |trials: u32| {
            let plan = plan(&format!(
                "seed = 1\ntrials = {trials}\n[[requirement]]\nid = \"A\"\ntext = \"t\"\noutput = \"offset\"\n\
                 limit_mm = 3\nproportion = {proportion}\nconfidence = {confidence}\n"
            ));
            plan.warnings.iter().any(|warning| warning.to_string().contains("too few trials"))
        };
        assert!(warned(needed - 1), "{proportion} {confidence}");
        assert!(!warned(needed), "{proportion} {confidence}");
    }
}

#[test]
fn identity_damaged_files_are_answered_and_never_break_the_reader() {
    use miette::{GraphicalReportHandler, GraphicalTheme};
    let handler = GraphicalReportHandler::new_themed(GraphicalTheme::unicode_nocolor());
    let mut refused = 0;
    let mut read = |text: &str| {
        let Err(error) = Plan::parse("hip.toml", text) else { return };
        refused += 1;
        let mut page = String::new();
        handler.render_report(&mut page, &error).expect("a report can be written to a string");
        assert!(!page.is_empty());
    };
    for path in shipped() {
        let text = std::fs::read_to_string(path).expect("a shipped experiment");
        let lines: Vec<_> = text.lines().collect();
        for missing in 0..lines.len() {
            let rest: Vec<_> =
                lines.iter().enumerate().filter(|(i, _)| *i != missing).map(|(_, line)| *line).collect();
            read(&rest.join("\n"));
        }
        for (end, _) in text.char_indices().step_by(61) {
            read(&text[..end]);
        }
    }
    assert!(refused > 50, "{refused}");
}

/// The plan, its hash and the run folder hold the values of a table: the run can be assessed again without the table, and
/// another table is another plan. Arms may name tables of their own.
#[test]
fn identity_measured_values_are_kept_with_the_run() {
    use navassay::trial::RunFolder;
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let (table, file) = (folder.path().join("bench.csv"), folder.path().join("hip.toml"));
    let text = "seed = 1\n[noise.femur.groove]\neach_axis_mm = { empirical = { csv = \"bench.csv\", column = \"a\" } }\n\
                [[arm]]\nname = \"a\"\n[[arm]]\nname = \"b\"\n\
                set = { \"noise.femur.groove.each_axis_mm\" = { empirical = { csv = \"bench.csv\", column = \"b\" } } }\n";
    let write = |path: &Path, text: &str| std::fs::write(path, text).expect("room for a small file");
    write(&file, text);
    write(&table, "a,b\n0.3,1\n-0.1,\n 0.2 ,2\n");
    let plan = Plan::read(&file).unwrap_or_else(|error| panic!("{error}"));
    let mut values: Vec<_> = plan.data.iter().map(|column| (column.column.as_str(), column.values.clone())).collect();
    values.sort_by_key(|(column, _)| *column);
    assert_eq!(values, [("a", vec![-0.1, 0.2, 0.3]), ("b", vec![1.0, 2.0])]);
    let drawn = &plan.resolved()["variants"][1]["noise"]["femur.groove"]["each_axis_mm"]["empirical"];
    assert_eq!(drawn["values"], serde_json::json!([1.0, 2.0]));

    let run = folder.path().join("run");
    let saved = RunFolder::open(&run, &plan, false).expect("an empty folder").experiment().expect("a run");
    std::fs::remove_file(&table).expect("a file");
    assert!(Plan::read(&file).is_err());
    let again = Plan::parse_saved(&saved.name, &saved.text, &saved.data).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(again.simulation_hash(), plan.simulation_hash());
    assert_eq!(again.variants, plan.variants);

    write(&table, "a,b\n0.3,1\n-0.1,\n 0.25 ,2\n");
    let other = Plan::read(&file).unwrap_or_else(|error| panic!("{error}"));
    assert_ne!(other.simulation_hash(), plan.simulation_hash());
}
