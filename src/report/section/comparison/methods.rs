//! What each arm estimates, and how.

use super::heading;
use crate::experiment::{Plan, Variant};
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Section, Table};

/// The arms at the first point of the sweeps.
fn arms(plan: &Plan) -> impl Iterator<Item = &Variant> {
    plan.variants.iter().filter(|variant| variant.point == 0)
}

/// What each arm's errors are errors of.
pub fn estimands(plan: &Plan, files: &mut Files) -> Section {
    let rows: Vec<Vec<String>> = arms(plan)
        .map(|arm| {
            let plane = arm.procedure.plane.word();
            let meant = arm.measurand_plane.word();
            let kind = if plane == meant { "technical" } else { "technical and definitional" };
            vec![
                arm.arm.clone(),
                arm.procedure.angles.word().to_owned(),
                plane.to_owned(),
                meant.to_owned(),
                kind.to_owned(),
            ]
        })
        .collect();
    let columns = ["arm", "angles", "plane read", "plane meant", "error"];
    let cells = rows.iter().map(|row| row.iter().map(|word| word.as_str().into()).collect()).collect();
    let header = ["arm", "angles", "plane", "measurand_plane", "error"];
    let csv = files.add("estimands", &header, cells);
    let entries = vec![
        Entry::paragraph(
            "Of every trial the true values of all outputs are known, the same physical truth in every arm. An arm's error is \
             its reading minus that truth, stated in the plane that is meant. Where another plane is read than is meant, the \
             error contains what the two planes differ by in this patient on this table: the definitional error, which no \
             better instrument takes away."
                .to_owned(),
        ),
        Entry::Table(Table {
            id: "table-estimands".to_owned(),
            caption: "What is estimated".to_owned(),
            reading: "Arms whose plane meant differs, or of cup angles the definition, have different estimands; they are not tested \
                      against each other."
                .to_owned(),
            columns: columns.map(|name| heading(name, false)).into(),
            rows,
            csv,
        }),
    ];
    Section { id: "estimands", title: "Estimands", entries }
}

/// Settings in which the arms differ.
pub fn methods(plan: &Plan, files: &mut Files) -> Section {
    let settings: Vec<(String, Vec<(String, String)>)> =
        arms(plan).map(|arm| (arm.arm.clone(), plan.settings_that_differ(arm))).collect();
    let row = |(arm, differ): &(String, Vec<(String, String)>)| {
        let words: Vec<String> = differ.iter().map(|(key, value)| format!("{key} = {value}")).collect();
        vec![arm.clone(), words.join("; ")]
    };
    let cells = settings.iter().flat_map(|(arm, differ)| {
        differ.iter().map(|(key, value)| vec![Cell::from(arm.as_str()), key.as_str().into(), value.as_str().into()])
    });
    let csv = files.add("methods", &["arm", "setting", "value"], cells.collect());
    let entries = vec![
        Entry::paragraph(
            "Each arm is the same experiment but for the settings below. All arms see the same patients and the same true \
             change, and what they have in common of the measurement is disturbed by the same draws: a draw is known by seed, \
             source, case and capture, and the arm is no part of that. So arms differ by what they do and not by luck."
                .to_owned(),
        ),
        Entry::Table(Table {
            id: "table-methods".to_owned(),
            caption: "In what the arms differ".to_owned(),
            reading: "The paths are those of the experiment file; everything not named is equal in all arms.".to_owned(),
            columns: vec![heading("arm", false), heading("settings", false)],
            rows: settings.iter().map(row).collect(),
            csv,
        }),
    ];
    Section { id: "methods", title: "Methods compared", entries }
}
