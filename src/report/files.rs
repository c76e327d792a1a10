//! A report on disk: its pages and documents, one CSV file a table (some as Parquet too), one SVG file a chart.

use super::chart::with_plain_colours;
use super::document::Document;
use super::evidence::Evidence;
use super::html;
use crate::experiment::ReportKind;
use crate::record::WriteError;
use crate::record::sheet::write_sheet;
use crate::record::tables::write_table;
use crate::record::write_whole;
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The page that holds everything; documents for one reader stand beside it, each under the word of its kind.
pub const PAGE: &str = "report.html";

/// What a report left in its folder.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// Names of the pages and documents, the page that holds everything first.
    pub documents: Vec<String>,
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
    let (mut tables, mut twins, mut charts) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    for file in &evidence.files {
        let path = folder.join("tables").join(format!("{}.csv", file.name));
        let header: Vec<&str> = file.header.iter().map(String::as_str).collect();
        write_table(&path, &header, &file.rows)?;
        if file.tidy {
            let twin = path.with_extension("parquet");
            write_sheet(&twin, &header, file.rows.iter().cloned())?;
            twins.insert(twin);
        }
        tables.insert(path);
    }
    for chart in evidence.charts() {
        let path = folder.join("charts").join(format!("{}.svg", chart.id));
        write_whole(&path, |file| file.write_all(with_plain_colours(&chart.svg).as_bytes()))?;
        charts.insert(path);
    }
    remove_others(&folder.join("tables"), "csv", &tables)?;
    remove_others(&folder.join("tables"), "parquet", &twins)?;
    remove_others(&folder.join("charts"), "svg", &charts)?;
    let mut documents = write_document(folder, &evidence.report, &evidence.documents)?;
    for document in &evidence.documents {
        documents.extend(write_document(folder, document, &[])?);
    }
    for name in possible_documents().filter(|name| !documents.contains(name)) {
        remove(&folder.join(name))?;
    }
    Ok(Written { documents, tables: tables.len(), charts: charts.len() })
}

/// Writes a document in every form that this program writes, and names them.
fn write_document(folder: &Path, document: &Document, others: &[Document]) -> Result<Vec<String>, WriteError> {
    let page = html::page(document, others).map_err(io::Error::other);
    let name = format!("{}.html", document.name);
    write_whole(&folder.join(&name), |file| file.write_all(page?.as_bytes()))?;
    let names = vec![name];
    #[cfg(feature = "docx")]
    let names = {
        let name = format!("{}.docx", document.name);
        write_whole(&folder.join(&name), |file| file.write_all(&super::docx::document(document)?))?;
        names.into_iter().chain([name]).collect()
    };
    Ok(names)
}

/// Names of every document that any report may have.
pub fn possible_documents() -> impl Iterator<Item = String> {
    let stems = ReportKind::ALL.iter().map(|kind| kind.word()).chain(["report"]);
    stems.flat_map(|stem| ["html", "docx"].map(|ending| format!("{stem}.{ending}")))
}

fn remove(path: &Path) -> Result<(), WriteError> {
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
