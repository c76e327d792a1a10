//! Documents of a folder that a person may have edited. Only what the program itself wrote is ever replaced or removed.

use super::sums::{SUMS_FILE, sum, sum_of};
use super::whole::{WriteError, write_whole};
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// Names of documents without their endings.
const STEMS: [&str; 4] = ["report", "verification", "engineering", "comparison"];

/// Endings of documents.
const ENDINGS: [&str; 2] = ["html", "docx"];

/// Checksums of a run that is being changed, and of each document written since: from the moment `SHA256SUMS` is taken
/// away until it is written again. Hidden, so that it is no evidence.
pub const FORMER_SUMS: &str = ".SHA256SUMS.former";

/// A document that a person has edited.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Edited {
    /// Its name.
    pub name: String,
    /// The name under which the new document was written; `None` where there is none of this kind.
    pub new: Option<String>,
}

/// The documents of a folder, with the checksums that the program recorded for those it wrote.
#[derive(Debug)]
pub struct Documents {
    folder: PathBuf,
    /// Lines of the list of checksums: digest, two spaces, name.
    recorded: BTreeSet<String>,
    edited: Vec<Edited>,
}

impl Documents {
    /// Those of a folder. A list of checksums that is missing or cannot be read names no document, and an unnamed document
    /// is never replaced.
    #[must_use]
    pub fn of(folder: &Path) -> Self {
        let lists = [SUMS_FILE, FORMER_SUMS].map(|name| std::fs::read_to_string(folder.join(name)));
        let recorded = lists.iter().flatten().flat_map(|list| list.lines()).map(str::to_owned).collect();
        Self { folder: folder.to_owned(), recorded, edited: Vec::new() }
    }

    /// Writes a document under its name, or beside it if a person has edited the one of that name. Returns the name.
    ///
    /// # Errors
    /// If a file cannot be written, or an earlier document beside an edited one not removed.
    pub fn write(&mut self, stem: &str, ending: &str, content: &[u8]) -> Result<String, WriteError> {
        let digest = sum_of(content);
        let mut names = names(stem, ending);
        let mut passed = None;
        let name = loop {
            let Some(name) = names.next() else {
                return Err(failed(&self.folder, io::ErrorKind::InvalidInput.into()));
            };
            let same = || sum(&self.folder.join(&name)).is_ok_and(|found| found == digest);
            if !self.folder.join(&name).exists() || self.is_own(&name) || same() {
                break name;
            }
            passed.get_or_insert(name);
        };
        // What is about to be written is recorded first: a run that is killed then knows its own document.
        let line = format!("{digest}  {name}");
        if !self.recorded.contains(&line) {
            let path = self.folder.join(FORMER_SUMS);
            let list = File::options().create(true).append(true).open(&path);
            let added = list.and_then(|mut list| list.write_all(format!("{line}\n").as_bytes()));
            added.map_err(|source| failed(&path, source))?;
            self.recorded.insert(line);
        }
        write_whole(&self.folder.join(&name), |file| file.write_all(content))?;
        self.edited.extend(passed.map(|edited| Edited { name: edited, new: Some(name.clone()) }));
        // Names beside an edited document that is gone now.
        for name in names.take_while(|name| self.folder.join(name).exists()) {
            self.remove_own(&name)?;
        }
        Ok(name)
    }

    /// Removes every document of the program but those named; names those that a person has edited and the program did not
    /// write beside.
    ///
    /// # Errors
    /// If one cannot be removed.
    pub fn remove_others(&mut self, keep: &[String]) -> Result<(), WriteError> {
        for (stem, ending) in STEMS.iter().flat_map(|stem| ENDINGS.map(|ending| (stem, ending))) {
            let mut names = names(stem, ending);
            if let Some(name) = names.next().filter(|name| !keep.contains(name)) {
                let known = self.edited.iter().any(|edited| edited.name == name);
                if !known && !self.remove_own(&name)? && self.folder.join(&name).exists() {
                    self.edited.push(Edited { name, new: None });
                }
            }
            for name in names.take_while(|name| self.folder.join(name).exists()).filter(|name| !keep.contains(name)) {
                self.remove_own(&name)?;
            }
        }
        Ok(())
    }

    /// Documents that a person has edited, found so far.
    #[must_use]
    pub fn edited(self) -> Vec<Edited> {
        self.edited
    }

    /// Whether a document is as the program wrote it.
    fn is_own(&self, name: &str) -> bool {
        sum(&self.folder.join(name)).is_ok_and(|digest| self.recorded.contains(&format!("{digest}  {name}")))
    }

    /// Removes a document if it is as the program wrote it.
    fn remove_own(&self, name: &str) -> Result<bool, WriteError> {
        let path = self.folder.join(name);
        let own = self.is_own(name);
        if own {
            std::fs::remove_file(&path).map_err(|source| failed(&path, source))?;
        }
        Ok(own)
    }
}

/// Whether a file at the top of a folder has the name of a document, or of one written beside it.
#[must_use]
pub fn is_document(name: &str) -> bool {
    let Some((stem, ending)) = name.rsplit_once('.') else { return false };
    let stem = stem.split_once(".new").map_or(stem, |(stem, _)| stem);
    STEMS.contains(&stem) && ENDINGS.contains(&ending)
}

/// The names that a document may take: its own, then those beside an edited one.
fn names<'a>(stem: &'a str, ending: &'a str) -> impl Iterator<Item = String> + use<'a> {
    let beside = (2_u32..).map(move |number| format!("{stem}.new-{number}.{ending}"));
    [format!("{stem}.{ending}"), format!("{stem}.new.{ending}")].into_iter().chain(beside)
}

fn failed(path: &Path, source: io::Error) -> WriteError {
    WriteError { path: path.to_owned(), source }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::sums::write_sums;

    fn names_in(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name());
        let mut names: Vec<_> = entries.map(|name| name.to_string_lossy().into_owned()).collect();
        names.retain(|name| is_document(name));
        names.sort();
        names
    }

    /// One report as a run writes it; the names of what it wrote and what it found edited.
    fn written(folder: &Path, text: &str) -> (String, Vec<Edited>) {
        let mut documents = Documents::of(folder);
        let name = documents.write("report", "html", text.as_bytes()).unwrap();
        documents.remove_others(std::slice::from_ref(&name)).unwrap();
        let edited = documents.edited();
        let except: Vec<&str> = edited.iter().map(|edited| edited.name.as_str()).collect();
        write_sums(folder, &except).unwrap();
        (name, edited)
    }

    #[test]
    fn identity_an_edited_document_is_kept_whatever_follows() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        let edit = |name: &str, text: &str| std::fs::write(path.join(name), text).unwrap();
        let read = |name: &str| std::fs::read_to_string(path.join(name)).unwrap();
        assert_eq!(written(path, "one").0, "report.html");
        assert_eq!(written(path, "two").0, "report.html");
        edit("report.html", "of a person");
        let beside = vec![Edited { name: "report.html".to_owned(), new: Some("report.new.html".to_owned()) }];
        // Again and again: the checksums of the program do not take the edited one for their own.
        for text in ["three", "three", "four"] {
            assert_eq!(written(path, text), ("report.new.html".to_owned(), beside.clone()));
            assert_eq!((read("report.html"), read("report.new.html")), ("of a person".to_owned(), text.to_owned()));
        }
        edit("report.new.html", "of a person too");
        assert_eq!(written(path, "five").0, "report.new-2.html");
        assert_eq!(names_in(path), ["report.html", "report.new-2.html", "report.new.html"]);
        // Once the person has taken the edited documents away, everything is as before.
        std::fs::remove_file(path.join("report.html")).unwrap();
        std::fs::remove_file(path.join("report.new.html")).unwrap();
        assert_eq!(written(path, "six"), ("report.html".to_owned(), Vec::new()));
    }

    #[test]
    fn identity_a_document_that_is_not_written_any_more_is_removed_unless_edited() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        let mut documents = Documents::of(path);
        documents.write("verification", "html", b"one").unwrap();
        documents.write("comparison", "html", b"one").unwrap();
        write_sums(path, &[]).unwrap();
        std::fs::write(path.join("comparison.html"), "of a person").unwrap();
        let (_, edited) = written(path, "only this");
        assert_eq!(edited, [Edited { name: "comparison.html".to_owned(), new: None }]);
        assert_eq!(names_in(path), ["comparison.html", "report.html"]);
    }

    /// A run that was killed between taking the checksums away and writing them again knows its own documents.
    #[test]
    fn identity_a_killed_run_does_not_take_its_own_document_for_edited() {
        let folder = tempfile::tempdir().unwrap();
        Documents::of(folder.path()).write("report", "html", b"one").unwrap();
        assert_eq!(written(folder.path(), "two"), ("report.html".to_owned(), Vec::new()));
    }
}
