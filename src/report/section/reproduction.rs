//! How the same numbers are made again.

use crate::experiment::Plan;
use crate::report::evidence::{Entry, Files, Section};
use crate::report::words::{count, quoted};
use crate::simulation::GENERATOR;

/// The command that makes a run again, given in the folder of the experiment file.
pub fn of_run(plan: &Plan) -> String {
    format!("navassay run {} --trials {} --seed {}", quoted(&plan.file_name), plan.trials, plan.seed)
}

pub fn section(plan: &Plan, command: &str, files: &mut Files) -> Section {
    let rows = [
        ("experiment file", plan.file_name.clone()),
        ("command", command.to_owned()),
        ("seed", plan.seed.to_string()),
        ("trials of each variant", count(plan.trials)),
        ("variants", plan.variants.len().to_string()),
        ("generator", GENERATOR.to_owned()),
        ("program", format!("{} {}", env!("CARGO_PKG_NAME"), env!("CARGO_PKG_VERSION"))),
        ("simulation hash (SHA-256)", plan.simulation_hash()),
        ("assessment hash (SHA-256)", plan.assessment_hash()),
    ];
    let rows = rows.map(|(what, value)| vec![what.to_owned(), value]).into();
    let entries = vec![
        Entry::paragraph(
            "The same file, seed and version give the same numbers on any machine and any number of threads. The \
             simulation hash stands for all that moves draws and readings, the assessment hash for requirements, texts \
             and the basis of each input. run.json holds the experiment file as written and the plan with every \
             default filled in; SHA256SUMS holds the checksum of every file of the run.",
        ),
        files.table(
            "reproduction",
            "What fixes the numbers",
            "Equal hashes mean that two runs asked the same thing. The command names what moves a number; the folder of the results and \
             the number of threads move none.",
            &["what", "value"],
            rows,
        ),
    ];
    Section { id: "reproduction", title: "Reproduction", entries }
}
