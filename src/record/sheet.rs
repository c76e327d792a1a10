//! A table that somebody else has written, row by row: CSV, or Parquet with the same columns.

use super::tables::{Cell, write_table};
use super::whole::{WriteError, write_whole};
use parquet::Columns;
use std::borrow::Cow;
use std::fs::File;
use std::path::{Path, PathBuf};

mod parquet;

/// A file that cannot be read as a table at all.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    /// It cannot be opened or is no table.
    #[error("{path} cannot be read: {why}", path = path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// A column that every row needs is not there.
    #[error("{path} has no column `{column}`; it has {found}", path = path.display())]
    NoColumn {
        /// The file.
        path: PathBuf,
        /// The column.
        column: String,
        /// The columns that are there.
        found: String,
    },
}

/// What stands in a cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Written<'a> {
    /// Nothing.
    Blank,
    /// Words, without blanks around them.
    Text(Cow<'a, str>),
    /// A number of a file that holds numbers as such.
    Number(f64),
}

/// Why a cell does not hold what it should.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CellError {
    /// Nothing stands there.
    #[error("`{0}` is blank, expected a number")]
    Blank(&'static str),
    /// Something else than a finite number stands there.
    #[error("`{column}` is {found}, expected a finite number")]
    NotFinite {
        /// The column.
        column: &'static str,
        /// What stands there.
        found: String,
    },
    /// A number that counts nothing.
    #[error("`{column}` is {found}, expected a whole number, 0 or more")]
    NotWhole {
        /// The column.
        column: &'static str,
        /// What stands there.
        found: String,
    },
}

/// A table open for reading.
pub struct Sheet {
    path: PathBuf,
    header: Vec<String>,
    rows: Rows,
    /// Number of the row at hand: its line in a CSV file, its row (from 1) in a Parquet file.
    number: u64,
}

enum Rows {
    Csv { reader: csv::Reader<File>, record: csv::ByteRecord },
    Parquet { columns: Columns, next: usize },
}

impl Sheet {
    /// Opens a file: Parquet if its name ends so, else CSV.
    ///
    /// # Errors
    /// [`SheetError::Unreadable`].
    pub fn open(path: &Path) -> Result<Self, SheetError> {
        let unreadable = |why: String| SheetError::Unreadable { path: path.to_owned(), why };
        let file = File::open(path).map_err(|error| unreadable(error.to_string()))?;
        if is_parquet(path) {
            let columns = Columns::read(file).map_err(|error| unreadable(error.to_string()))?;
            let header = columns.names();
            return Ok(Self { path: path.to_owned(), header, rows: Rows::Parquet { columns, next: 0 }, number: 0 });
        }
        // Rows of another length are the reader's to judge: he can name the case.
        let mut reader = csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::Headers).from_reader(file);
        let header = reader.headers().map_err(|error| unreadable(error.to_string()))?;
        // Some programs begin a text file with a mark of its encoding.
        let header = header.iter().map(|name| name.trim_start_matches('\u{feff}').to_owned()).collect();
        let record = csv::ByteRecord::new();
        Ok(Self { path: path.to_owned(), header, rows: Rows::Csv { reader, record }, number: 1 })
    }

    /// Its file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What its rows are called in messages.
    #[must_use]
    pub fn row_word(&self) -> &'static str {
        if matches!(self.rows, Rows::Csv { .. }) { "line" } else { "row" }
    }

    /// Names of its columns.
    #[must_use]
    pub fn header(&self) -> &[String] {
        &self.header
    }

    /// The place of a column.
    #[must_use]
    pub fn column(&self, name: &str) -> Option<usize> {
        self.header.iter().position(|found| found == name)
    }

    /// The place of a column that must be there.
    ///
    /// # Errors
    /// [`SheetError::NoColumn`].
    pub fn needed(&self, name: &str) -> Result<usize, SheetError> {
        self.column(name).ok_or_else(|| SheetError::NoColumn {
            path: self.path.clone(),
            column: name.to_owned(),
            found: if self.header.is_empty() { "none".to_owned() } else { self.header.join(", ") },
        })
    }

    /// Goes to the next row; false at the end.
    ///
    /// # Errors
    /// [`SheetError::Unreadable`] with the line, where the file ceases to be a table.
    pub fn advance(&mut self) -> Result<bool, SheetError> {
        match &mut self.rows {
            Rows::Csv { reader, record } => {
                let there = reader.read_byte_record(record);
                let there = there
                    .map_err(|error| SheetError::Unreadable { path: self.path.clone(), why: error.to_string() })?;
                self.number = record.position().map_or(self.number, csv::Position::line);
                Ok(there)
            }
            Rows::Parquet { columns, next } => {
                *next += 1;
                self.number = *next as u64;
                Ok(*next <= columns.len())
            }
        }
    }

    /// Number of the row at hand.
    #[must_use]
    pub fn number(&self) -> u64 {
        self.number
    }

    /// How many cells the row at hand has too few or too many: found and expected; `None` if as many as the header.
    #[must_use]
    pub fn wrong_length(&self) -> Option<(usize, usize)> {
        match &self.rows {
            Rows::Csv { record, .. } if record.len() != self.header.len() => Some((record.len(), self.header.len())),
            _ => None,
        }
    }

    /// A cell of the row at hand; blank where there is no such column.
    #[must_use]
    pub fn cell(&self, column: Option<usize>) -> Written<'_> {
        let Some(column) = column else { return Written::Blank };
        match &self.rows {
            Rows::Csv { record, .. } => {
                let text = record.get(column).unwrap_or_default().trim_ascii();
                if text.is_empty() { Written::Blank } else { Written::Text(String::from_utf8_lossy(text)) }
            }
            Rows::Parquet { columns, next } => columns.cell(column, next.saturating_sub(1)),
        }
    }

    /// The words of a cell; a whole number is written without a point.
    #[must_use]
    pub fn words(&self, column: Option<usize>) -> Cow<'_, str> {
        match self.cell(column) {
            Written::Blank => Cow::Borrowed(""),
            Written::Text(text) => text,
            Written::Number(number) => Cow::Owned(number.to_string()),
        }
    }

    /// The number in a cell, if anything stands there.
    ///
    /// # Errors
    /// [`CellError::NotFinite`] for words, NaN and infinity.
    pub fn number_if_any(&self, column: Option<usize>, name: &'static str) -> Result<Option<f64>, CellError> {
        let not_finite = |found: String| CellError::NotFinite { column: name, found };
        let number = match self.cell(column) {
            Written::Blank => return Ok(None),
            Written::Number(number) => number,
            Written::Text(text) => text.parse().map_err(|_| not_finite(format!("\"{text}\"")))?,
        };
        if number.is_finite() { Ok(Some(number)) } else { Err(not_finite(number.to_string())) }
    }

    /// The number in a cell that must hold one.
    ///
    /// # Errors
    /// See [`CellError`].
    pub fn number_in(&self, column: Option<usize>, name: &'static str) -> Result<f64, CellError> {
        self.number_if_any(column, name)?.ok_or(CellError::Blank(name))
    }

    /// The whole number in a cell, if anything stands there.
    ///
    /// # Errors
    /// See [`CellError`].
    pub fn whole_if_any(&self, column: Option<usize>, name: &'static str) -> Result<Option<u64>, CellError> {
        let not_whole = |found: String| CellError::NotWhole { column: name, found };
        match self.cell(column) {
            Written::Blank => Ok(None),
            // Some programs write every number with a point.
            Written::Text(text) => match text.parse().ok().or_else(|| whole(text.parse().ok()?)) {
                Some(number) => Ok(Some(number)),
                None => Err(not_whole(format!("\"{text}\""))),
            },
            Written::Number(number) => whole(number).map(Some).ok_or_else(|| not_whole(number.to_string())),
        }
    }
}

/// A number that counts something.
fn whole(number: f64) -> Option<u64> {
    // Whole and below 2^53: the cast is exact.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    (number.trunc() == number && (0.0..9e15).contains(&number)).then_some(number as u64)
}

/// Writes a table as Parquet if the name of its file ends so, else as CSV; whole or not at all.
///
/// # Errors
/// If a row has more or fewer cells than the header, a number is not finite, or the file cannot be written.
pub fn write_sheet(
    path: &Path,
    header: &[&str],
    rows: impl IntoIterator<Item = Vec<Cell>>,
) -> Result<(), WriteError> {
    if is_parquet(path) {
        return write_whole(path, |file| parquet::write(file, header, rows));
    }
    write_table(path, header, rows)
}

/// Whether a file is Parquet, by its name.
#[must_use]
pub fn is_parquet(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("parquet"))
}
