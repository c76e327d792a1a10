//! A run with its report, through the library, in a folder of its own.

use navassay::experiment::Plan;
use navassay::record::{Parts, sums};
use navassay::report::{Evidence, Run, write_report};
use navassay::study::sensitivity::sensitivity;
use navassay::study::{assess, definitional};
use navassay::trial::{self, Progress, RunFolder};
use std::path::Path;
use tempfile::TempDir;

/// Runs on, in silence.
pub struct Silent;

impl Progress for Silent {
    fn begin(&self, _: u64) {}
    fn advance(&self, _: u64) {}
    fn interrupted(&self) -> bool {
        false
    }
}

/// A report on disk and what it was written from.
pub struct Reported {
    pub folder: TempDir,
    pub evidence: Evidence,
    pub page: String,
}

/// Runs an experiment's text and writes its report.
pub fn reported(text: &str) -> Reported {
    let folder = tempfile::tempdir().expect("a folder for temporary files");
    let plan = Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{text}\n{error}"));
    let evidence = report_into(folder.path(), &plan);
    let page = std::fs::read_to_string(folder.path().join("report.html")).expect("the page was written");
    Reported { folder, evidence, page }
}

/// Lines of a table, by the names of its columns.
pub fn table(report: &Reported, name: &str) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(report.folder.path().join(format!("tables/{name}.csv"))).expect("a table");
    text.lines().map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

/// The cells of a column of such a table.
pub fn cells(table: &[Vec<String>], column: &str) -> Vec<String> {
    let at = table[0].iter().position(|name| name == column).expect("a column");
    table[1..].iter().map(|row| row[at].clone()).collect()
}

/// Runs a plan in a folder, or goes on there, and writes its report.
pub fn report_into(path: &Path, plan: &Plan) -> Evidence {
    let folder = RunFolder::open(path, plan, false).expect("an empty folder");
    trial::run(plan, &folder, 1, &Silent).expect("room for a small run");
    let mut assessment = assess(plan, &folder.parts()).expect("parts that were just written");
    assessment.definitional = definitional(plan, &folder, 1, &Silent).expect("room for a small study");
    let parts = Parts::list(&folder.parts()).expect("parts that were just written");
    let found = sensitivity(plan, &folder, 1, &Silent).expect("room for a small study");
    let run = Run { plan, assessment: &assessment, sensitivity: &found, checks: &[], parts: &parts, bench: None };
    let evidence = Evidence::of(&run).expect("parts that were just written");
    write_report(path, &evidence).expect("room for a report");
    sums::write_sums(path, &[]).expect("room for checksums");
    evidence
}
