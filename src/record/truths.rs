//! What is known to be true of recorded cases: one row a case, take and plane.

use super::sheet::{CellError, Sheet, SheetError, write_sheet};
use super::tables::Cell;
use super::whole::WriteError;
use crate::measurement::{AngleDefinition, OUTPUTS, Output, Plane};
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::path::Path;

/// What was true of one case at one take, stated in one plane.
#[derive(Clone, Debug, PartialEq)]
pub struct TruthRow {
    /// Name of the case.
    pub case: String,
    /// The take of the reduction.
    pub take: u64,
    /// The plane in which it is stated.
    pub plane: Plane,
    /// The definition of the cup angles, where the file says it.
    pub angles: Option<AngleDefinition>,
    /// The outputs, in their order and units; `None` for what is not known.
    pub values: [Option<f64>; OUTPUTS.len()],
    /// Its row in the file.
    pub row: u64,
}

/// Something wrong with a row of a file of truth; nothing is known from that row.
#[derive(Clone, Debug, PartialEq)]
pub struct TruthFault {
    /// The row.
    pub row: u64,
    /// Name of the case.
    pub case: String,
    /// What is wrong.
    pub reason: TruthReason,
}

/// What may be wrong with a row of a file of truth.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TruthReason {
    /// A cell.
    #[error(transparent)]
    Cell(#[from] CellError),
    /// Too few or too many cells.
    #[error("{found} cells, expected {expected}")]
    Length {
        /// Cells that are there.
        found: usize,
        /// Columns of the file.
        expected: usize,
    },
    /// No plane of this name.
    #[error("`plane` is \"{0}\", expected bony or level")]
    Plane(String),
    /// No definition of this name.
    #[error("`angles` is \"{0}\", expected radiographic, operative or anatomic")]
    Angles(String),
    /// Another row says the same or something else.
    #[error("the same case, take and plane stand on {word} {first} already")]
    Twice {
        /// What rows are called in this file.
        word: &'static str,
        /// The first row.
        first: u64,
    },
}

/// A file of truth.
#[derive(Clone, Debug)]
pub struct Truths {
    /// Name of the file.
    pub file: String,
    /// What its rows are called.
    pub row_word: &'static str,
    /// Its sound rows.
    pub rows: Vec<TruthRow>,
    /// What is wrong with the others.
    pub faults: Vec<TruthFault>,
    /// Columns that are not known and were not read.
    pub unknown_columns: Vec<String>,
    /// Whether it says by which definition the angles are stated.
    pub states_angles: bool,
}

/// The column of an output: its id with its unit.
#[must_use]
pub fn output_column(output: Output) -> String {
    format!("{}_{}", output.id(), output.unit().suffix())
}

/// Reads a file of truth.
///
/// # Errors
/// If the file cannot be read, is no table or lacks a column.
pub fn read_truths(path: &Path) -> Result<Truths, SheetError> {
    let mut sheet = Sheet::open(path)?;
    let columns = Columns::of(&sheet)?;
    let (mut rows, mut faults, mut first_rows) = (Vec::new(), Vec::new(), HashMap::new());
    while sheet.advance()? {
        let read = row(&sheet, &columns).and_then(|row| {
            match first_rows.entry((row.case.clone(), row.take, row.plane, row.angles)) {
                Entry::Vacant(place) => place.insert(row.row),
                Entry::Occupied(first) => {
                    return Err(TruthReason::Twice { word: sheet.row_word(), first: *first.get() });
                }
            };
            Ok(row)
        });
        match read {
            Ok(row) => rows.push(row),
            Err(reason) => {
                let case = sheet.words(Some(columns.case)).into_owned();
                faults.push(TruthFault { row: sheet.number(), case, reason });
            }
        }
    }
    let known = |name: &&String| {
        ["case", "take", "plane", "angles"].contains(&name.as_str())
            || OUTPUTS.iter().any(|&output| output_column(output) == **name)
    };
    Ok(Truths {
        file: path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        row_word: sheet.row_word(),
        rows,
        faults,
        unknown_columns: sheet.header().iter().filter(|name| !known(name)).cloned().collect(),
        states_angles: columns.angles.is_some(),
    })
}

struct Columns {
    case: usize,
    take: Option<usize>,
    plane: usize,
    angles: Option<usize>,
    values: [Option<usize>; OUTPUTS.len()],
}

/// Names of the outputs' columns, in their order, for messages.
const NAMES: [&str; OUTPUTS.len()] = [
    "inclination_deg",
    "anteversion_deg",
    "leg_length_mm",
    "offset_mm",
    "centre_superior_mm",
    "centre_lateral_mm",
    "centre_anterior_mm",
];

impl Columns {
    fn of(sheet: &Sheet) -> Result<Self, SheetError> {
        Ok(Self {
            case: sheet.needed("case")?,
            take: sheet.column("take"),
            plane: sheet.needed("plane")?,
            angles: sheet.column("angles"),
            values: NAMES.map(|name| sheet.column(name)),
        })
    }
}

fn row(sheet: &Sheet, columns: &Columns) -> Result<TruthRow, TruthReason> {
    if let Some((found, expected)) = sheet.wrong_length() {
        return Err(TruthReason::Length { found, expected });
    }
    let word = sheet.words(Some(columns.plane));
    let plane = Plane::MEANT.into_iter().find(|plane| plane.word() == word);
    let plane = plane.ok_or_else(|| TruthReason::Plane(word.into_owned()))?;
    let word = sheet.words(columns.angles);
    let angles = AngleDefinition::ALL.into_iter().find(|angles| angles.word() == word);
    if angles.is_none() && !word.is_empty() {
        return Err(TruthReason::Angles(word.into_owned()));
    }
    let mut values = [None; OUTPUTS.len()];
    for ((value, column), name) in values.iter_mut().zip(columns.values).zip(NAMES) {
        *value = sheet.number_if_any(column, name)?;
    }
    Ok(TruthRow {
        case: sheet.words(Some(columns.case)).into_owned(),
        take: sheet.whole_if_any(columns.take, "take")?.unwrap_or(1),
        plane,
        angles,
        values,
        row: sheet.number(),
    })
}

/// Writes a file of truth, as CSV or as Parquet by its name.
///
/// # Errors
/// If the file cannot be written or a number is not finite.
pub fn write_truths(path: &Path, rows: &[TruthRow]) -> Result<(), WriteError> {
    let stated = rows.iter().any(|row| row.angles.is_some());
    let header: Vec<&str> =
        ["case", "take", "plane"].into_iter().chain(stated.then_some("angles")).chain(NAMES).collect();
    let cells = |row: &TruthRow| {
        let mut cells: Vec<Cell> = vec![row.case.as_str().into(), row.take.into(), row.plane.word().into()];
        if stated {
            cells.push(row.angles.map(AngleDefinition::word).into());
        }
        cells.extend(row.values.map(Cell::from));
        cells
    };
    write_sheet(path, &header, rows.iter().map(cells))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_columns_are_the_outputs_with_their_units() {
        assert_eq!(OUTPUTS.map(output_column), NAMES.map(String::from));
    }

    #[test]
    fn identity_there_and_back_in_both_formats() {
        let folder = tempfile::tempdir().unwrap();
        let row = |case: &str, plane, values| TruthRow {
            case: case.to_owned(),
            take: 2,
            plane,
            angles: None,
            values,
            row: 0,
        };
        let rows = [
            row("B-01", Plane::Bony, [Some(40.25), Some(0.1 + 0.2), None, Some(-2.0), None, None, Some(1e-7)]),
            row("7", Plane::Level, [None; 7]),
        ];
        for (name, first) in [("truth.csv", 2), ("truth.parquet", 1)] {
            let path = folder.path().join(name);
            write_truths(&path, &rows).unwrap();
            let back = read_truths(&path).unwrap();
            assert!(back.faults.is_empty() && back.unknown_columns.is_empty());
            assert_eq!(back.rows.iter().map(|row| row.row).collect::<Vec<_>>(), [first, first + 1]);
            for (back, row) in back.rows.into_iter().zip(&rows) {
                assert_eq!(TruthRow { row: 0, ..back }, *row);
            }
        }
    }

    #[test]
    fn identity_a_wrong_row_is_named_and_the_others_stand() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("truth.csv");
        let text = "case,take,plane,leg_length_mm,note\nA,1,bony,3,x\nB,1,bonny,3,\nC,1,level,three,\nA,1,bony,4,\nD,1,level\n";
        std::fs::write(&path, text).unwrap();
        let truths = read_truths(&path).unwrap();
        assert_eq!(truths.rows.len(), 1);
        assert_eq!(truths.unknown_columns, ["note"]);
        let said: Vec<_> =
            truths.faults.iter().map(|fault| format!("{} {}: {}", fault.row, fault.case, fault.reason)).collect();
        assert_eq!(
            said,
            [
                "3 B: `plane` is \"bonny\", expected bony or level",
                "4 C: `leg_length_mm` is \"three\", expected a finite number",
                "5 A: the same case, take and plane stand on line 2 already",
                "6 D: 3 cells, expected 5",
            ]
        );
    }
}
