//! The columns of a Parquet file that somebody else has written, and tables written as such.

use super::Written;
use crate::record::tables::Cell;
use polars::prelude::*;
use std::borrow::Cow;
use std::fs::File;
use std::io::{self, Write};

/// Columns in memory.
pub struct Columns {
    columns: Vec<(String, Values)>,
    rows: usize,
}

enum Values {
    Numbers(Float64Chunked),
    Words(StringChunked),
}

impl Columns {
    /// Every column of a file, numbers as `f64`.
    pub fn read(file: File) -> PolarsResult<Self> {
        let frame = ParquetReader::new(file).finish()?;
        let rows = frame.height();
        let columns = frame.columns().iter().map(|column| {
            let values = if column.dtype().is_primitive_numeric() {
                Values::Numbers(column.cast(&DataType::Float64)?.f64()?.rechunk().into_owned())
            } else {
                Values::Words(column.cast(&DataType::String)?.str()?.rechunk().into_owned())
            };
            Ok((column.name().to_string(), values))
        });
        Ok(Self { columns: columns.collect::<PolarsResult<_>>()?, rows })
    }

    pub fn names(&self) -> Vec<String> {
        self.columns.iter().map(|(name, _)| name.clone()).collect()
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.rows
    }

    pub fn cell(&self, column: usize, row: usize) -> Written<'_> {
        match self.columns.get(column) {
            // Some programs know no blank number and write NaN for it.
            Some((_, Values::Numbers(numbers))) => match numbers.get(row) {
                Some(number) if !number.is_nan() => Written::Number(number),
                _ => Written::Blank,
            },
            Some((_, Values::Words(words))) => match words.get(row).map(str::trim) {
                None | Some("") => Written::Blank,
                Some(text) => Written::Text(Cow::Borrowed(text)),
            },
            None => Written::Blank,
        }
    }
}

/// Writes a table on the calling thread alone: a column of words where any cell holds words, else of counts or of
/// numbers.
pub fn write(file: impl Write, header: &[&str], rows: impl IntoIterator<Item = Vec<Cell>>) -> io::Result<()> {
    let mut columns: Vec<Vec<Cell>> = vec![Vec::new(); header.len()];
    let mut count = 0;
    for row in rows {
        count += 1;
        if row.len() != header.len() {
            return Err(io::Error::other(format!("row {count} has {} cells of {}", row.len(), header.len())));
        }
        columns.iter_mut().zip(row).for_each(|(column, cell)| column.push(cell));
    }
    let columns = header.iter().zip(&columns).map(|(name, cells)| column(name, cells)).collect::<io::Result<_>>()?;
    let mut frame = DataFrame::new(count, columns).map_err(io::Error::other)?;
    let writer = ParquetWriter::new(file).with_compression(ParquetCompression::Zstd(None)).set_parallel(false);
    writer.finish(&mut frame).map_err(io::Error::other)?;
    Ok(())
}

fn column(name: &str, cells: &[Cell]) -> io::Result<Column> {
    if cells.iter().any(|cell| matches!(cell, Cell::Text(_))) {
        let words: Vec<Option<String>> =
            cells.iter().map(|cell| cell.word().filter(|word| !word.is_empty())).collect();
        return Ok(Column::new(name.into(), words));
    }
    if cells.iter().all(|cell| matches!(cell, Cell::Count(_))) {
        let counts = cells.iter().map(|cell| if let Cell::Count(count) = cell { *count } else { 0 });
        return Ok(Column::new(name.into(), counts.collect::<Vec<u64>>()));
    }
    let number = |cell: &Cell| match cell {
        Cell::Number(value) if value.is_finite() => Ok(Some(*value)),
        Cell::Number(_) => Err(io::Error::other(format!("column {name}: not a finite number"))),
        // A count far below 2^53.
        Cell::Count(count) => Ok(Some(*count as f64)),
        Cell::Blank | Cell::Text(_) => Ok(None),
    };
    Ok(Column::new(name.into(), cells.iter().map(number).collect::<io::Result<Vec<Option<f64>>>>()?))
}
