//! A report on disk: its pages and documents, one CSV file a table (some as Parquet too), one SVG file a chart.

use super::chart::with_plain_colours;
use super::document::Document;
use super::evidence::Evidence;
use super::html;
use crate::record::sheet::write_sheet;
use crate::record::tables::write_table;
use crate::record::write_whole;
use crate::record::{Documents, Edited, WriteError};
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
    /// Documents that a person has edited; they are kept.
    pub edited: Vec<Edited>,
    /// Tables, in `tables/`.
    pub tables: usize,
    /// Charts, in `charts/`.
    pub charts: usize,
}

/// Writes a report into the folder of its run. Tables, charts and documents of an earlier report that are no part of this one
/// are removed, so that the folder holds one report and not the remains of two. A document that a person has edited is never
/// replaced or removed; tables and charts are made again.
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
    let mut documents = Documents::of(folder);
    let mut names = write_document(&mut documents, &evidence.report, &evidence.documents)?;
    for document in &evidence.documents {
        names.extend(write_document(&mut documents, document, &[])?);
    }
    documents.remove_others(&names)?;
    Ok(Written { documents: names, edited: documents.edited(), tables: tables.len(), charts: charts.len() })
}

/// Writes a document in every form that this program writes, and names them.
fn write_document(
    documents: &mut Documents,
    document: &Document,
    others: &[Document],
) -> Result<Vec<String>, WriteError> {
    let failed = |ending: &str, source| WriteError { path: format!("{}.{ending}", document.name).into(), source };
    let page = html::page(document, others).map_err(|error| failed("html", io::Error::other(error)))?;
    let names = vec![documents.write(document.name, "html", page.as_bytes())?];
    #[cfg(feature = "docx")]
    let names = {
        let bytes = super::docx::document(document).map_err(|source| failed("docx", source))?;
        let name = documents.write(document.name, "docx", &bytes)?;
        names.into_iter().chain([name]).collect()
    };
    Ok(names)
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

#[cfg(test)]
mod tests {
    use crate::experiment::ReportKind;
    use crate::record::is_document;

    #[test]
    fn identity_every_kind_of_document_is_kept_where_it_was_edited() {
        for stem in ReportKind::ALL.map(ReportKind::word).into_iter().chain(["report"]) {
            for name in [".html", ".docx", ".new.html", ".new-2.docx"].map(|rest| format!("{stem}{rest}")) {
                assert!(is_document(&name), "{name}");
            }
        }
        assert!(!is_document("notes.html") && !is_document("report.txt") && !is_document("run.json"));
    }
}
