//! What a user reads when an experiment file is wrong.

use miette::{GraphicalReportHandler, GraphicalTheme};
use navassay::experiment::Plan;

/// The message as it is shown, without colours.
fn message(text: &str) -> String {
    let error = Plan::parse("hip.toml", text).expect_err("this file is wrong");
    rendered(&error)
}

fn rendered(finding: &dyn miette::Diagnostic) -> String {
    let mut page = String::new();
    GraphicalReportHandler::new_themed(GraphicalTheme::unicode_nocolor())
        .with_width(100)
        .with_links(false)
        .render_report(&mut page, finding)
        .expect("a report can be written to a string");
    // No spaces at the ends of lines: editors take them away.
    page.lines().map(str::trim_end).collect::<Vec<_>>().join("\n")
}

macro_rules! messages {
    ($($name:ident: $text:literal,)+) => {
        $(#[test]
        fn $name() {
            insta::assert_snapshot!(message($text));
        })+
    };
}

messages! {
    regress_wrong_key: "seed = 1\n\n[protocol]\nframe_rate = 60\n",
    regress_unknown_section: "seed = 1\n\n[mesure]\nplane = \"level\"\n",
    regress_wrong_parameter: "seed = 1\n[anatomy]\ntilt_deg = { normal = { mean = -4, std = 6 } }\n",
    regress_wrong_word: "seed = 1\n\n[measure]\nplane = \"boney\"\n",
    regress_wrong_kind: "seed = 1\n\n[protocol]\ncup_frames = \"forty\"\n",
    regress_fraction_of_a_frame: "seed = 1\n\n[protocol]\ncup_frames = 40.5\n",
    regress_impossible_value: "seed = 1\n\n[protocol]\nframe_rate_hz = 0\ntrace_frames = 4\n",
    regress_not_a_number: "seed = 1\n\n[noise.femur.groove]\neach_axis_mm = { normal = { sd = nan } }\n",
    regress_second_distribution:
        "seed = 1\n\n[implant]\noffset_mm = { normal = { sd = 3 }, rectangular = { low = -1, high = 1 } }\n",
    regress_negative_sd: "seed = 1\n\n[noise.femur.groove]\neach_axis_mm = { normal = { sd = -0.15 } }\n",
    regress_missing_parameter: "seed = 1\n\n[noise.femur.groove]\neach_axis_mm = { normal = { mean = 0.15 } }\n",
    regress_impossible_pelvis:
        "seed = 1\n\n[anatomy]\nasis_width_mm = { normal = { mean = 238, sd = 40 } }\n",
    regress_nearly_collinear_markers:
        "seed = 1\n\n[tools]\nprobe_markers_mm = [[-30.0, 0.0, 0.0], [0.0, 0.2, 0.0], [30.0, 0.0, 0.0]]\n",
    regress_two_markers: "seed = 1\n\n[tools]\nhead_markers_mm = [[-30.0, 0.0, 0.0], [30.0, 0.0, 0.0]]\n",
    regress_coincident_markers:
        "seed = 1\n\n[tools]\nhead_markers_mm = [[-30.0, 0.0, 0.0], [30.0, 0.0, 0.0], [0.0, 9.0, 0.0], [30.0, 0.0, 0.0]]\n",
    regress_three_markers_for_one_camera:
        "seed = 1\n\n[camera]\nmodel = \"pixel\"\n\n[tools]\nhead_markers_mm = [[-30.0, 0.0, 0.0], [30.0, 0.0, 0.0], [0.0, 9.0, 0.0]]\n",
    regress_normals_for_other_markers:
        "seed = 1\n\n[tools]\nhead_marker_normals = [[0.0, 0.0, 1.0], [0.0, 0.0, 0.0]]\n",
    regress_folded_image:
        "seed = 1\n\n[camera]\nmodel = \"pixel\"\n\n[camera.pixel]\nradial_distortion = [-0.9, 0.0, 0.0]\ncameras = 3\n",
    regress_covariance_that_no_pose_has:
        "seed = 1\n\n[camera]\nmodel = \"pose\"\npose_covariance = [[1, 2, 0, 0, 0, 0], [2, 1, 0, 0, 0, 0], \
         [0, 0, 1, 0, 0, 0], [0, 0, 0, 1, 0, 0], [0, 0, 0, 0, 1, 0], [0, 0, 0, 0, 0, 1]]\n",
    regress_poses_of_no_normal_jitter:
        "seed = 1\n\n[camera]\nmodel = \"pose\"\n\n[noise.tracker.jitter]\nalong_mm = { normal = { mean = 0.1, sd = 0.2 } }\n",
    regress_missing_seed: "title = \"Primary hip\"\n\n[measure]\nplane = \"level\"\n",
    regress_empty_file: "",
    regress_not_toml: "seed = 1\n\n[measure]\nplane = level\n",
    regress_table_not_closed: "seed = 1\n\n[measure\nplane = \"level\"\n",
    regress_unknown_arm_path:
        "seed = 1\n\n[[arm]]\nname = \"steady hand\"\nset = { \"noise.probe.tremor.each_axis\" = 0.1 }\n",
    regress_arm_sets_section:
        "seed = 1\n\n[[arm]]\nname = \"level\"\n[arm.set]\nmeasure.plane = \"level\"\n",
    regress_arm_sets_seed: "seed = 1\n\n[[arm]]\nname = \"other draws\"\nset = { seed = 2 }\n",
    regress_arm_sets_impossible_value:
        "seed = 1\n\n[[arm]]\nname = \"no trace\"\nset = { \"protocol.trace_frames\" = 0 }\n",
    regress_sweep_of_an_arm_path:
        "seed = 1\n\n[[arm]]\nname = \"level\"\nset = { \"measure.plane\" = \"level\" }\n\n[[sweep]]\nvary = \"measure.plane\"\nover = [\"bony\", \"level\"]\n",
    regress_wrong_limit_unit:
        "seed = 1\n\n[[requirement]]\nid = \"ACC-01\"\ntext = \"Within 3.\"\noutput = \"inclination\"\nlimit_mm = 3.0\nproportion = 0.95\nconfidence = 0.95\n",
    regress_missing_limit:
        "seed = 1\n\n[[requirement]]\nid = \"ACC-01\"\ntext = \"Within 3.\"\noutput = \"offset\"\nproportion = 0.95\nconfidence = 0.95\n",
    regress_percent_for_proportion:
        "seed = 1\n\n[[requirement]]\nid = \"ACC-01\"\ntext = \"Within 3.\"\noutput = \"offset\"\nlimit_mm = 3\nproportion = 95\nconfidence = 0.95\n",
    regress_off_names_nothing: "seed = 1\n\n[noise]\noff = [\"tracker\", \"probe.tremer\"]\n",
    regress_off_and_only: "seed = 1\n\n[noise]\noff = [\"tracker\"]\nonly = [\"probe\"]\n",
    regress_published_without_source:
        "seed = 1\n\n[noise.femur.groove]\neach_axis_mm = 0.1\nbasis = { kind = \"published\" }\n",
    regress_no_degrees_of_freedom:
        "seed = 1\n\n[noise.femur.groove]\neach_axis_mm = { student_t = { scale = 0.1, degrees_of_freedom = 0 } }\n",
    regress_probability_in_percent:
        "seed = 1\n\n[noise.femur.groove]\neach_axis_mm = { mixture = { main = 0, event = { normal = { sd = 1 } }, probability = 5 } }\n",
    regress_wrong_key_in_a_mixture:
        "seed = 1\n\n[noise.femur.groove]\neach_axis_mm = { mixture = { main = 0, event = { normal = { std = 1 } }, probability = 0.05 } }\n",
    regress_arm_sets_a_column_alone:
        "seed = 1\n\n[noise.femur.groove]\neach_axis_mm = { empirical = { values = [0.1, 0.2] } }\n\n[[arm]]\nname = \"a\"\nset = { \"noise.femur.groove.each_axis_mm.empirical.column\" = \"b\" }\n",
    regress_covariance_that_cannot_be:
        "seed = 1\n\n[noise.landmark.palpation.asis]\ncovariance_mm2 = [[4, 5, 0], [5, 4, 0], [0, 0, 1]]\n",
    regress_lopsided_covariance:
        "seed = 1\n\n[noise.posture.baseline]\ncovariance_deg2 = [[4, 1, 0], [2, 4, 0], [0, 0, 1]]\n",
    regress_covariance_of_two:
        "seed = 1\n\n[noise.camera.remount]\ntranslation_covariance_mm2 = [[4, 1], [1, 4]]\n",
    regress_correlation_of_an_unknown_source:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis\", \"landmark.palpation.pubes\"]\ncoefficient = 0.5\n",
    regress_correlation_beyond_one:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis\", \"landmark.palpation.pubis\"]\ncoefficient = 1.5\n",
    regress_correlation_across_strata:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"posture.baseline\", \"posture.reduction\"]\ncoefficient = 0.5\n",
    regress_correlation_of_other_frames:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"probe.tremor\", \"femur.groove\"]\ncoefficient = 0.5\n",
    regress_correlation_of_itself:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis\", \"landmark.palpation.asis\"]\ncoefficient = 0.5\n",
    regress_correlation_twice:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis\", \"landmark.palpation.pubis\"]\ncoefficient = 0.5\n\n[[noise.correlation]]\nbetween = [\"landmark.palpation.pubis\", \"landmark.palpation.asis.other.lateral\"]\ncoefficient = 0.4\n",
    regress_correlations_that_cannot_all_be:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"landmark.tissue.factor\", \"posture.baseline.flexion\"]\ncoefficient = 0.9\n\n[[noise.correlation]]\nbetween = [\"landmark.tissue.factor\", \"level.table.about_y\"]\ncoefficient = 0.8\n",
    regress_correlation_of_all_items_beyond_what_is_possible:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis\", \"landmark.palpation.pubis\"]\ncoefficient = 0.8\n",
    regress_correlation_without_like_axes:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"level.table\", \"cup.seating\"]\ncoefficient = 0.5\n",
    regress_correlation_of_an_unknown_item:
        "seed = 1\n\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis.left\", \"landmark.palpation.pubis\"]\ncoefficient = 0.5\n",
    regress_correlation_of_components_with_a_covariance:
        "seed = 1\n\n[noise.landmark.palpation.asis]\ncovariance_mm2 = [[4, 1, 0], [1, 4, 0], [0, 0, 4]]\n\n[[noise.correlation]]\nbetween = [\"landmark.palpation.asis\", \"landmark.palpation.pubis\"]\ncoefficient = 0.5\n",
    regress_correlation_in_single_brackets:
        "seed = 1\n\n[noise.correlation]\nbetween = [\"landmark.tissue\", \"level.table\"]\ncoefficient = 0.9\n",
    regress_indices_of_correlated_groups: "seed = 1\n\n[sensitivity]\nask = [\"indices\"]\ngroups = { table = [\"level.table\"] }\n\n\
        [[noise.correlation]]\nbetween = [\"level.table.about_y\", \"cup.seating.flexion\"]\ncoefficient = 0.5\n",
    regress_stillness_limit_of_nothing: "seed = 1\n\n[protocol]\nstillness_limit_mm = 0\nstillness_tries = 0\n",
    regress_hold_without_a_direction: "seed = 1\n\n[protocol]\nhold_direction = [0, 0, 0]\n",
    regress_two_arms_of_one_name: "seed = 1\n\n[[arm]]\nname = \"a\"\n\n[[arm]]\nname = \"a\"\n",
}

#[test]
fn regress_missing_file() {
    let error = Plan::read("no-such-file.toml").expect_err("there is no such file");
    let page = rendered(&error);
    assert!(page.contains("cannot read no-such-file.toml"), "{page}");
}

#[test]
fn regress_warnings() {
    let text = "seed = 1\ntrials = 50\n\n[anatomy]\ntilt_deg = 30.0\n\n[noise.landmark.tissue]\nasis_mm = 0.0\n\
                pubis_mm = 0.0\n\n[[requirement]]\nid = \"ACC-01\"\ntext = \"Within 3.\"\noutput = \"offset\"\n\
                limit_mm = 3\nproportion = 0.95\nconfidence = 0.95\n";
    let plan = Plan::parse("hip.toml", text).expect("warnings stop nothing");
    let pages: Vec<_> = plan.warnings.iter().map(|warning| rendered(warning)).collect();
    insta::assert_snapshot!(pages.join("\n"));
}

/// An experiment in a folder with a table of measured values; what is said of it, without the folder's name.
fn message_beside(table: &str, empirical: &str) -> String {
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    std::fs::write(folder.path().join("bench.csv"), table).expect("room for a small file");
    let file = folder.path().join("hip.toml");
    let text = format!("seed = 1\n\n[noise.femur.groove]\neach_axis_mm = {{ empirical = {{ {empirical} }} }}\n");
    std::fs::write(&file, text).expect("room for a small file");
    let page = rendered(&Plan::read(&file).expect_err("this file is wrong"));
    page.replace(&format!("{}/", folder.path().display()), "")
}

macro_rules! messages_beside {
    ($($name:ident: $table:literal, $empirical:literal,)+) => {
        $(#[test]
        fn $name() {
            insta::assert_snapshot!(message_beside($table, $empirical));
        })+
    };
}

messages_beside! {
    regress_empty_column: "case,error_mm\n1,\n2,\n", "csv = \"bench.csv\", column = \"error_mm\"",
    regress_missing_column: "case,error_mm\n1,0.2\n", "csv = \"bench.csv\", column = \"error\"",
    regress_column_of_words: "case,error_mm\n1,0.2\n2,n/a\n", "csv = \"bench.csv\", column = \"error_mm\"",
    regress_missing_table: "case,error_mm\n1,0.2\n", "csv = \"bank.csv\", column = \"error_mm\"",
    regress_file_and_values: "case,error_mm\n1,0.2\n", "csv = \"bench.csv\", column = \"error_mm\", values = [1.0]",
    regress_no_values: "case,error_mm\n1,0.2\n", "csv = \"bench.csv\"",
}

#[test]
fn regress_warning_of_replaced_numbers() {
    let text = "seed = 1\n\n[noise.landmark.palpation.asis]\nsuperior_mm = { normal = { sd = 1 } }\n\
                covariance_mm2 = [[4, 1, 0], [1, 4, 0], [0, 0, 1]]\n\
                basis = { kind = \"measured\", note = \"bench\" }\n";
    let plan = Plan::parse("hip.toml", text).expect("warnings stop nothing");
    insta::assert_snapshot!(rendered(&plan.warnings[0]));
}
