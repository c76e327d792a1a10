//! Places for those who answer for a document.

use crate::experiment::{PARTS, Plan};
use crate::report::evidence::{Entry, Files, Section};

pub fn section(plan: &Plan, files: &mut Files) -> Section {
    let blank = || "[          ]".to_owned();
    let rows = PARTS
        .iter()
        .zip(&plan.reporting.people)
        .map(|(part, name)| vec![(*part).to_owned(), name.clone().unwrap_or_else(blank), blank(), blank()]);
    let status = if plan.reporting.draft {
        "Status: DRAFT. The mark goes when the person who releases the document sets `report.draft = false`; a program cannot \
         release it."
    } else {
        "Status: the mark DRAFT has been removed by a person, with `report.draft = false` in the experiment file."
    };
    let entries = vec![
        Entry::paragraph(status),
        files.table(
            "signatures",
            "Author, reviewer, approver",
            "To be signed by hand or by the signing system of the house.",
            &["part", "name", "date", "signature"],
            rows.collect(),
        ),
    ];
    Section { id: "signatures", title: "Author, reviewer, approver", entries }
}
