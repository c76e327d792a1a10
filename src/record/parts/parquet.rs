//! The only place that speaks to the Parquet library.

use super::compare::Compared;
use super::digest;
use super::id::PartId;
use super::origin::{Entries, Origin, entries};
use crate::measurement::OUTPUTS;
use crate::record::block::{Block, Diagnostics, Schema};
use polars::io::mmap::MmapBytesReader;
use polars::prelude::*;
use std::fs::File;
use std::io::{self, Cursor};
use std::path::Path;

/// Why a file could not be read.
#[derive(Debug)]
pub enum FileError {
    NoColumn(String),
    Unreadable(String),
}

impl From<PolarsError> for FileError {
    fn from(error: PolarsError) -> Self {
        Self::Unreadable(error.to_string())
    }
}

/// The file of rows and what they share, made on the calling thread alone.
pub fn bytes(id: PartId, origin: Origin, block: &Block) -> io::Result<Vec<u8>> {
    file(id, origin, block, table(origin, block)).map_err(io::Error::other)
}

/// The file of a table with the entries of a part and its digest.
fn file(id: PartId, origin: Origin, block: &Block, table: PolarsResult<DataFrame>) -> PolarsResult<Vec<u8>> {
    let mut entries = entries(&origin, id, block.trial.last().copied().unwrap_or_default());
    entries.push((digest::KEY.to_owned(), digest::blank()));
    let mut bytes = Vec::new();
    let writer = ParquetWriter::new(&mut bytes).with_compression(ParquetCompression::Zstd(None)).set_parallel(false);
    let writer = writer.with_key_value_metadata(Some(KeyValueMetadata::from_static(entries)));
    writer.finish(&mut table?)?;
    polars_ensure!(digest::put(&mut bytes), ComputeError: "the file has no place for its digest");
    Ok(bytes)
}

/// The first thing in which the file of a part differs from rows made again.
pub fn first_difference(
    bytes: &[u8],
    origin: Origin,
    made: &Block,
    compared: Compared,
) -> Result<Option<String>, FileError> {
    let made = table(origin, made)?;
    let found = ParquetReader::new(Cursor::new(bytes)).read_parallel(ParallelStrategy::None).finish()?;
    if made.schema() != found.schema() {
        return Ok(Some("its columns are not those of this run".to_owned()));
    }
    if compared == Compared::Truth && made.height() != found.height() {
        return Ok(Some(format!("it has {} rows, expected {}", found.height(), made.height())));
    }
    let (rows, rows_found) = (keys(&made)?, keys(&found)?);
    let mut places = Vec::with_capacity(rows.len());
    for key in &rows {
        // Both are in ascending order.
        let Ok(place) = rows_found.binary_search(key) else {
            return Ok(Some(format!("trial {}, reduction {} is not there", key.0, key.1)));
        };
        places.push(place);
    }
    for column in made.columns().iter().filter(|column| compared.takes(column.name())) {
        let other = found.column(column.name())?;
        for (row, &place) in places.iter().enumerate() {
            let (made, found) = (column.get(row)?, other.get(place)?);
            if !same(&made, &found) {
                let ((trial, reduction), name) = (rows[row], column.name());
                return Ok(Some(format!(
                    "trial {trial}, reduction {reduction}: {name} is {found}, simulated again {made}"
                )));
            }
        }
    }
    Ok(None)
}

/// Trial and reduction of every row.
fn keys(table: &DataFrame) -> PolarsResult<Vec<(u64, u32)>> {
    let (trials, reductions) = (table.column("trial")?, table.column("reduction")?);
    let rows = trials.u64()?.iter().zip(reductions.u32()?.iter());
    Ok(rows.map(|(trial, reduction)| (trial.unwrap_or(u64::MAX), reduction.unwrap_or(u32::MAX))).collect())
}

/// Whether two values are the same to the last bit.
fn same(a: &AnyValue, b: &AnyValue) -> bool {
    match (a, b) {
        (AnyValue::Float64(a), AnyValue::Float64(b)) => a.to_bits() == b.to_bits(),
        _ => a == b,
    }
}

/// A part in which somebody has changed a column of numbers, with the digest that belongs to it.
#[cfg(test)]
pub fn forged(
    id: PartId,
    origin: Origin,
    block: &Block,
    name: &str,
    forge: impl FnOnce(&mut [Option<f64>]),
) -> PolarsResult<Vec<u8>> {
    let mut table = table(origin, block)?;
    let mut values: Vec<Option<f64>> = table.column(name)?.f64()?.iter().collect();
    forge(&mut values);
    table.with_column(Column::new(name.into(), values))?;
    file(id, origin, block, Ok(table))
}

fn table(origin: Origin, block: &Block) -> PolarsResult<DataFrame> {
    let rows = block.len();
    let mut columns = vec![
        Column::new("arm".into(), vec![origin.arm; rows]),
        Column::new("point".into(), vec![origin.point; rows]),
        Column::new("replicate".into(), vec![origin.replicate; rows]),
        Column::new("trial".into(), &block.trial),
        Column::new("device".into(), &block.device),
        Column::new("case".into(), &block.case),
        Column::new("repeat".into(), &block.repeat),
        Column::new("reduction".into(), &block.reduction),
        Column::new("failure".into(), block.failure.iter().map(|f| f.map(|f| f.to_string())).collect::<Vec<_>>()),
    ];
    for (kind, keys, values) in
        [("anatomy", block.schema.anatomy, &block.anatomy), ("implant", block.schema.implant, &block.implant)]
    {
        let drawn = keys.iter().zip(values);
        columns.extend(drawn.map(|(key, values)| reals(&format!("{kind}_{key}"), values.iter().copied())));
    }
    for ((output, truth), read) in OUTPUTS.into_iter().zip(&block.truth).zip(&block.read) {
        let [of_truth, of_reading, of_error] = Schema::columns_of(output);
        let errors: Vec<Option<f64>> = read.iter().zip(truth).map(|(read, truth)| read.map(|r| r - truth)).collect();
        columns.push(reals(&of_truth, truth.iter().copied()));
        columns.push(Column::new(of_reading.into(), read));
        columns.push(Column::new(of_error.into(), errors));
    }
    columns.extend(Diagnostics::REALS.iter().zip(&block.diagnostics).map(|(name, v)| reals(name, v.iter().copied())));
    columns.push(Column::new("retries".into(), &block.retries));
    let lost = block.schema.lost.iter().zip(&block.lost);
    columns.extend(lost.map(|(&step, shares)| reals(&Schema::lost_column(step), shares.iter().copied())));
    let events = block.schema.events.iter().zip(&block.events);
    columns
        .extend(events.filter_map(|(key, counts)| Some(Column::new(Schema::event_column((*key)?).into(), counts))));
    DataFrame::new(rows, columns)
}

/// A column of numbers, null where one is not finite.
fn reals(name: &str, values: impl Iterator<Item = f64>) -> Column {
    let values: Vec<Option<f64>> = values.map(|value| value.is_finite().then_some(value)).collect();
    Column::new(name.into(), values)
}

/// A part that is open for reading, one column at a time.
pub struct Part<R = File> {
    file: R,
    schema: Arc<ArrowSchema>,
}

impl Part {
    pub fn open(path: &Path) -> Result<Self, FileError> {
        let file = File::open(path).map_err(|error| FileError::Unreadable(error.to_string()))?;
        Self::within(file)
    }
}

impl<R: MmapBytesReader> Part<R> {
    pub fn within(mut file: R) -> Result<Self, FileError> {
        let schema = ParquetReader::new(&mut file).schema()?;
        Ok(Self { file, schema })
    }

    /// Entries of the file's metadata.
    pub fn entries(&mut self) -> Result<Entries, FileError> {
        let mut reader = ParquetReader::new(&mut self.file);
        let entries = reader.get_metadata()?.key_value_metadata().iter().flatten();
        Ok(entries.map(|entry| (entry.key.clone(), entry.value.clone().unwrap_or_default())).collect())
    }

    pub fn has(&self, name: &str) -> bool {
        self.schema.contains(name)
    }

    /// Its columns in their order.
    #[cfg(test)]
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.schema.iter_names().map(PlSmallStr::as_str)
    }

    fn column(&mut self, name: &str) -> Result<Column, FileError> {
        if !self.has(name) {
            return Err(FileError::NoColumn(name.to_owned()));
        }
        let reader = ParquetReader::new(&mut self.file).read_parallel(ParallelStrategy::None);
        let frame = reader.with_columns(Some(vec![name.to_owned()])).finish()?;
        Ok(frame.column(name)?.clone())
    }

    /// Columns of numbers of any kind, as `f64`, in the order of their names.
    pub fn many<S: AsRef<str>>(&mut self, names: &[S]) -> Result<Vec<Vec<Option<f64>>>, FileError> {
        let names: Vec<String> = names.iter().map(|name| name.as_ref().to_owned()).collect();
        if let Some(missing) = names.iter().find(|name| !self.has(name)) {
            return Err(FileError::NoColumn(missing.clone()));
        }
        let reader = ParquetReader::new(&mut self.file).read_parallel(ParallelStrategy::None);
        let frame = reader.with_columns(Some(names.clone())).finish()?;
        let numbers = |name: &String| -> Result<Vec<Option<f64>>, FileError> {
            let column = frame.column(name)?;
            if !column.dtype().is_primitive_numeric() {
                return Err(FileError::Unreadable(format!("column {name} does not hold numbers")));
            }
            Ok(column.cast(&DataType::Float64)?.f64()?.iter().collect())
        };
        names.iter().map(numbers).collect()
    }

    /// Indices, each of which must be there.
    pub fn indices(&mut self, name: &str) -> Result<Vec<u64>, FileError> {
        let column = self.column(name)?;
        let indices: Option<Vec<u64>> = column.u64()?.iter().collect();
        indices.ok_or_else(|| FileError::Unreadable(format!("column {name} has holes")))
    }

    pub fn words(&mut self, name: &str) -> Result<Vec<Option<String>>, FileError> {
        Ok(self.column(name)?.str()?.iter().map(|word| word.map(String::from)).collect())
    }
}
