//! From each requirement to its result, and to the row of a file that holds it.

use crate::experiment::Plan;
use crate::record::sums::sum_of;
use crate::record::tables::{Cell, table_bytes};
use crate::report::evidence::{Entry, Files, Section, label};
use crate::study::Assessment;

/// The file that the matrix points into.
const FILE: &str = "verdicts";

pub fn section(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Section {
    let text = format!(
        "Each requirement once for each variant, with the risk control of the user's own risk file, the result, and the row of \
         tables/{FILE}.csv that holds it; rows count from 1 below the head. Simulation hash {}, assessment hash {}.",
        plan.simulation_hash(),
        plan.assessment_hash()
    );
    let mut entries = vec![Entry::paragraph(text)];
    if assessment.requirements.is_empty() {
        entries.push(Entry::paragraph("The experiment states no requirement, so there is nothing to trace."));
    }
    let sum = files.get(FILE).and_then(|file| {
        let header: Vec<&str> = file.header.iter().map(String::as_str).collect();
        table_bytes(&header, &file.rows).ok().map(|bytes| sum_of(&bytes))
    });
    let several = plan.variants.len() > 1;
    let rows: Vec<Vec<String>> = (1..)
        .zip(&assessment.requirements)
        .map(|(number, assessed): (usize, _)| {
            let asked = &assessed.asked;
            let mut row = vec![asked.id.to_owned()];
            row.extend(several.then(|| label(plan, assessed.variant).unwrap_or_default()));
            row.extend([
                asked.risk.unwrap_or("[none given]").to_owned(),
                assessed.judgement.verdict.word().to_owned(),
                format!("tables/{FILE}.csv, row {number}"),
                sum.clone().unwrap_or_default(),
            ]);
            row
        })
        .collect();
    let variant = several.then_some("variant");
    let columns: Vec<&str> = std::iter::once("requirement")
        .chain(variant)
        .chain(["risk control", "result", "row that holds it", "SHA-256 of that file"])
        .collect();
    if rows.is_empty() {
        let none: Vec<Vec<Cell>> = Vec::new();
        files.add("traceability", &columns, none);
    } else {
        entries.push(files.table(
            "traceability",
            "Traceability matrix",
            "The checksum is that of the file as it stands in the folder of the run; SHA256SUMS has it too.",
            &columns,
            rows,
        ));
    }
    Section { id: "traceability", title: "Traceability", entries }
}
