//! Columns of measured values that an experiment names: read once, kept with the plan.
//!
//! Where the file writes `empirical = { csv = "bench.csv", column = "name" }`, the column's values are put beside the
//! two as `values`, before anything else looks at the file. So the plan, its hash and the run folder hold the values
//! themselves, and a run can be assessed again where the table no longer is.

use super::diagnostics::Fault;
use super::nearest::suggestion;
use super::tree::{self, Node};
use serde::{Deserialize, Serialize};
use std::fmt::Write as _;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A longer column would make the record of a run unwieldy and its quantiles no better.
const MOST_VALUES: usize = 100_000;

/// One column of a table of measured values.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct DataColumn {
    /// The file as the experiment writes it, relative to the experiment file.
    pub csv: String,
    /// Name of the column.
    pub column: String,
    /// Its values, ascending.
    pub values: Vec<f64>,
}

/// A column that is asked for, and the table that asks.
struct Asked<'t> {
    table: &'t DeTable<'t>,
    csv: &'t str,
    column: &'t str,
}

/// Reads every column that the file names, each once, from the folder of the experiment file; those that were saved
/// with a run are taken from there instead.
pub(super) fn columns(
    written: &DeTable,
    folder: &Path,
    saved: Option<&[DataColumn]>,
    faults: &mut Vec<Fault>,
) -> Vec<DataColumn> {
    let mut columns: Vec<DataColumn> = Vec::new();
    for asked in asked_for(written) {
        if columns.iter().any(|known| known.is(asked.csv, asked.column)) {
            continue;
        }
        let column = match saved {
            None => asked.read(folder),
            Some(saved) => saved.iter().find(|known| known.is(asked.csv, asked.column)).cloned().ok_or_else(|| {
                asked.fault(
                    "csv",
                    "this run has not kept the values of a column",
                    "the run's record does not hold them",
                )
            }),
        };
        match column {
            Ok(column) => columns.push(column),
            Err(fault) => faults.push(fault),
        }
    }
    columns
}

/// The columns as lines of TOML, to be laid into the file by [`fill`].
pub(super) fn as_toml(columns: &[DataColumn]) -> Vec<String> {
    let line = |column: &DataColumn| {
        let mut line = "values = [".to_owned();
        for value in &column.values {
            // Writing to a string cannot fail.
            let _ = write!(line, "{value:?}, ");
        }
        line + "]"
    };
    columns.iter().map(line).collect()
}

/// Puts the values of each column beside its name, wherever it is named.
pub(super) fn fill<'i>(written: &mut DeTable<'i>, columns: &[DataColumn], lines: &'i [String]) -> Result<(), Fault> {
    for (column, line) in columns.iter().zip(lines) {
        let mut parsed = tree::parse(line)?;
        tree::forget_places(&mut parsed);
        for (_, node) in written.iter_mut() {
            put(node, column, &parsed);
        }
    }
    Ok(())
}

fn put<'i>(node: &mut Node<'i>, column: &DataColumn, values: &DeTable<'i>) {
    match node.get_mut() {
        DeValue::Table(table) => {
            let names = |table: &DeTable| {
                let named = named(table);
                named.is_some_and(|(csv, name)| column.is(csv, name)) && !table.contains_key("values")
            };
            if let Some(DeValue::Table(empirical)) = table.get_mut("empirical").map(Spanned::get_mut)
                && names(empirical)
            {
                empirical.extend(values.clone());
            }
            table.iter_mut().for_each(|(_, node)| put(node, column, values));
        }
        DeValue::Array(array) => array.iter_mut().for_each(|node| put(node, column, values)),
        _ => {}
    }
}

/// The file and the column that a table names.
fn named<'t>(table: &'t DeTable) -> Option<(&'t str, &'t str)> {
    let text = |key: &str| table.get(key)?.get_ref().as_str();
    Some((text("csv")?, text("column")?))
}

fn asked_for<'t>(written: &'t DeTable<'t>) -> Vec<Asked<'t>> {
    fn walk<'t>(node: &'t DeValue<'t>, found: &mut Vec<Asked<'t>>) {
        match node {
            DeValue::Table(table) => walk_table(table, found),
            DeValue::Array(array) => array.iter().for_each(|node| walk(node.get_ref(), found)),
            _ => {}
        }
    }
    fn walk_table<'t>(table: &'t DeTable<'t>, found: &mut Vec<Asked<'t>>) {
        for (key, node) in table {
            if let ("empirical", DeValue::Table(table)) = (key.get_ref().as_ref(), node.get_ref())
                && let Some((csv, column)) = named(table)
            {
                found.push(Asked { table, csv, column });
            }
            walk(node.get_ref(), found);
        }
    }
    let mut found = Vec::new();
    walk_table(written, &mut found);
    found
}

impl DataColumn {
    fn is(&self, csv: &str, column: &str) -> bool {
        self.csv == csv && self.column == column
    }
}

impl Asked<'_> {
    fn fault(&self, key: &str, message: impl Into<String>, label: impl Into<String>) -> Fault {
        Fault::new(self.table.get(key).map(Spanned::span), message, label)
    }

    fn read(&self, folder: &Path) -> Result<DataColumn, Fault> {
        let Self { csv, column, .. } = *self;
        if let Some(values) = self.table.get("values") {
            let fault = Fault::new(Some(values.span()), "values and a file that holds values", "found both");
            return Err(fault.help("keep `csv` and `column`, or `values` alone"));
        }
        let path = folder.join(csv);
        let unreadable = |error: &dyn std::fmt::Display| {
            self.fault("csv", format!("cannot read {}", path.display()), error.to_string())
                .help("the path is relative to the folder of the experiment file")
        };
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .flexible(true)
            .from_path(&path)
            .map_err(|error| unreadable(&error))?;
        let header = reader.headers().map_err(|error| unreadable(&error))?.clone();
        let names: Vec<_> = header.iter().collect();
        let Some(place) = names.iter().position(|name| *name == column) else {
            let found = if names.iter().all(|name| name.is_empty()) {
                "found no names of columns in its first line".to_owned()
            } else {
                format!("found the columns {}", names.join(", "))
            };
            let fault = self.fault("column", format!("{csv} has no column `{column}`"), found);
            return Err(fault.help_if(suggestion(column, &names)));
        };
        let mut values = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|error| unreadable(&error))?;
            let cell = record.get(place).unwrap_or_default();
            // Columns of one table may be of different lengths.
            if cell.is_empty() {
                continue;
            }
            match cell.parse::<f64>() {
                Ok(value) if value.is_finite() => values.push(value),
                _ => {
                    let line = record.position().map_or(0, csv::Position::line);
                    let message = format!("column `{column}` of {csv} is not all numbers");
                    let label = format!("found \"{cell}\" in line {line}, expected a finite number");
                    return Err(self.fault("column", message, label).help("an empty cell is passed over"));
                }
            }
        }
        if values.is_empty() {
            let message = format!("column `{column}` of {csv} is empty");
            let fault = self.fault("column", message, "found no value below the name, expected at least one");
            return Err(fault.help("each line holds one value of the column, as a plain number with a point"));
        }
        if values.len() > MOST_VALUES {
            let message = format!("column `{column}` of {csv} is too long");
            let label = format!("found {} values, expected at most {MOST_VALUES}", values.len());
            return Err(self.fault("column", message, label).help("a part of them, drawn at random, does as well"));
        }
        values.sort_by(f64::total_cmp);
        Ok(DataColumn { csv: csv.to_owned(), column: column.to_owned(), values })
    }
}
