//! Tables in CSV: what a report shows, one file each.

use super::whole::{WriteError, write_whole};
use std::io;
use std::path::Path;

/// One cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Words.
    Text(String),
    /// A measured or computed value.
    Number(f64),
    /// How many.
    Count(u64),
    /// Nothing to say.
    Blank,
}

impl Cell {
    /// As it stands in the file: numbers in the shortest form that reads back to the same bits, no `-0`, and
    /// blank for nothing; `None` for a number that is not finite.
    #[must_use]
    pub fn word(&self) -> Option<String> {
        match self {
            Self::Text(text) => Some(text.clone()),
            Self::Number(value) => number(*value),
            Self::Count(count) => Some(count.to_string()),
            Self::Blank => Some(String::new()),
        }
    }
}

fn number(value: f64) -> Option<String> {
    match value.abs() {
        size if !size.is_finite() => None,
        0.0 => Some("0".to_owned()),
        size if (1e-5..1e16).contains(&size) => Some(format!("{value}")),
        _ => Some(format!("{value:e}")),
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

impl From<f64> for Cell {
    fn from(value: f64) -> Self {
        Self::Number(value)
    }
}

impl From<u64> for Cell {
    fn from(count: u64) -> Self {
        Self::Count(count)
    }
}

impl From<u32> for Cell {
    fn from(count: u32) -> Self {
        Self::Count(count.into())
    }
}

impl<T: Into<Self>> From<Option<T>> for Cell {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Blank, Into::into)
    }
}

/// Writes a table, whole or not at all. Lines end in `\n`; a cell is quoted only where it must be.
///
/// # Errors
/// If a row has more or fewer cells than the header, a number is not finite, or the file cannot be written.
pub fn write_table<R>(path: &Path, header: &[&str], rows: impl IntoIterator<Item = R>) -> Result<(), WriteError>
where
    R: AsRef<[Cell]>,
{
    write_whole(path, |file| put(file, header, rows))
}

/// A table as the bytes of its file.
///
/// # Errors
/// If a row has more or fewer cells than the header, or a number is not finite.
pub fn table_bytes<R>(header: &[&str], rows: impl IntoIterator<Item = R>) -> io::Result<Vec<u8>>
where
    R: AsRef<[Cell]>,
{
    let mut bytes = Vec::new();
    put(&mut bytes, header, rows)?;
    Ok(bytes)
}

fn put<R>(file: impl io::Write, header: &[&str], rows: impl IntoIterator<Item = R>) -> io::Result<()>
where
    R: AsRef<[Cell]>,
{
    let mut writer = csv::Writer::from_writer(file);
    writer.write_record(header)?;
    for (row, cells) in rows.into_iter().enumerate() {
        for (column, cell) in cells.as_ref().iter().enumerate() {
            let word = cell.word().ok_or_else(|| {
                let name = header.get(column).unwrap_or(&"beyond the header");
                io::Error::other(format!("row {}, column {name}: not a finite number", row + 1))
            })?;
            writer.write_field(word)?;
        }
        writer.write_record(None::<&[u8]>)?; // ends the row; the writer counts its cells
    }
    writer.flush()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(rows: Vec<Vec<Cell>>) -> Result<String, WriteError> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tables/summary.csv");
        write_table(&path, &["arm", "n", "bias"], rows)?;
        Ok(std::fs::read_to_string(path).unwrap())
    }

    #[test]
    fn identity_cells_as_they_stand_in_the_file() {
        let rows = vec![
            vec!["level, plane".into(), 12_u64.into(), (-0.0).into()],
            vec!["".into(), Cell::Blank, None::<f64>.into()],
            vec!["say \"x\"".into(), 0_u32.into(), Some(0.1 + 0.2).into()],
        ];
        let expected = "arm,n,bias\n\"level, plane\",12,0\n,,\n\"say \"\"x\"\"\",0,0.30000000000000004\n";
        assert_eq!(written(rows).unwrap(), expected);
    }

    #[test]
    fn identity_numbers_read_back_to_the_same_bits() {
        for value in [1.0, -2.5, 1e-300, -1.5e-7, 1e22, f64::MAX, f64::MIN_POSITIVE, 1e16, 123_456_789.123_456_78] {
            let word = Cell::from(value).word().unwrap();
            assert_eq!(word.parse::<f64>().unwrap().to_bits(), value.to_bits());
            assert!(word.len() < 26, "{word}");
        }
    }

    #[test]
    fn identity_what_does_not_fit_is_refused() {
        let bad = |cell| written(vec![vec!["a".into(), 1_u64.into(), cell]]).unwrap_err().to_string();
        assert!(bad(f64::NAN.into()).contains("bias") && bad(f64::INFINITY.into()).contains("summary.csv"));
        assert!(written(vec![vec!["a".into()]]).is_err());
    }
}
