//! A report on disk: its page, one CSV file a table, one SVG file a chart.

use super::chart::with_plain_colours;
use super::evidence::Evidence;
use super::html;
use crate::record::WriteError;
use crate::record::tables::write_table;
use crate::record::write_whole;
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The page.
pub const PAGE: &str = "report.html";

/// The same report for a word processor, written by a program that was built with the feature `docx`.
pub const DOCUMENT: &str = "report.docx";

/// What a report left in its folder.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// The page.
    pub page: PathBuf,
    /// Tables, in `tables/`.
    pub tables: usize,
    /// Charts, in `charts/`.
    pub charts: usize,
}

/// Writes a report into the folder of its run. Tables and charts of an earlier report that are no part of this one are
/// removed, so that the folder holds one report and not the remains of two.
///
/// # Errors
/// If a file cannot be written or an old one not removed.
pub fn write_report(folder: &Path, evidence: &Evidence) -> Result<Written, WriteError> {
    let (mut tables, mut charts) = (BTreeSet::new(), BTreeSet::new());
    for file in &evidence.files {
        let path = folder.join("tables").join(format!("{}.csv", file.name));
        let header: Vec<&str> = file.header.iter().map(String::as_str).collect();
        write_table(&path, &header, &file.rows)?;
        tables.insert(path);
    }
    for chart in evidence.charts() {
        let path = folder.join("charts").join(format!("{}.svg", chart.id));
        write_whole(&path, |file| file.write_all(with_plain_colours(&chart.svg).as_bytes()))?;
        charts.insert(path);
    }
    remove_others(&folder.join("tables"), "csv", &tables)?;
    remove_others(&folder.join("charts"), "svg", &charts)?;
    let page = folder.join(PAGE);
    write_whole(&page, |file| file.write_all(html::page(evidence).map_err(io::Error::other)?.as_bytes()))?;
    write_document(&folder.join(DOCUMENT), evidence)?;
    Ok(Written { page, tables: tables.len(), charts: charts.len() })
}

#[cfg(feature = "docx")]
fn write_document(path: &Path, evidence: &Evidence) -> Result<(), WriteError> {
    write_whole(path, |file| file.write_all(&super::docx::document(evidence)?))
}

/// Without the feature there is no document, and none of an earlier report.
#[cfg(not(feature = "docx"))]
fn write_document(path: &Path, _: &Evidence) -> Result<(), WriteError> {
    match std::fs::remove_file(path) {
        Err(source) if source.kind() != io::ErrorKind::NotFound => Err(WriteError { path: path.to_owned(), source }),
        _ => Ok(()),
    }
}

fn remove_others(folder: &Path, ending: &str, keep: &BTreeSet<PathBuf>) -> Result<(), WriteError> {
    let failed = |source| WriteError { path: folder.to_owned(), source };
    let entries = match std::fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        entries => entries.map_err(failed)?,
    };
    for entry in entries {
        let path = entry.map_err(failed)?.path();
        if path.extension().is_some_and(|found| found == ending) && !keep.contains(&path) {
            std::fs::remove_file(&path).map_err(failed)?;
        }
    }
    Ok(())
}
