//! Reads recordings. What is wrong with a row is laid to its case; the others are read on.

use super::{MARKER_COLUMNS, POSE_COLUMNS, RecordedCapture, RecordedCase, RecordedFrames, RecordedStep, Recordings};
use crate::geometry::{Direction, Displacement, Point, Pose, Rotation};
use crate::measurement::{Camera, FemurFeature, Step, Tracker};
use crate::record::sheet::{CellError, Sheet, SheetError, Written};
use std::collections::HashMap;
use std::path::Path;

/// Something wrong with a row of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseFault {
    /// The row: a line of a CSV file, a row of a Parquet file.
    pub row: u64,
    /// What is wrong.
    pub fault: Fault,
}

/// What may be wrong with a row, or with the rows of a capture together.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Fault {
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
    /// No step of this name.
    #[error("no step is called \"{0}\"")]
    UnknownStep(String),
    /// The divots are counted from 1 to 3, and only they.
    #[error("`divot` is {found} at {step}, expected {}", if *most == 1 { "1".to_owned() } else { format!("1 to {most}") })]
    Divot {
        /// What stands there.
        found: u64,
        /// The step.
        step: RecordedStep,
        /// The largest number that may stand there.
        most: u32,
    },
    /// A cell that the step leaves blank.
    #[error("`{column}` is {found} at {step}, expected nothing: {why}")]
    Stray {
        /// The column.
        column: &'static str,
        /// What stands there.
        found: String,
        /// The step.
        step: RecordedStep,
        /// What the step fills instead.
        why: &'static str,
    },
    /// The quaternion is no rotation.
    #[error("the quaternion has the length {0:.4}, expected 1")]
    Quaternion(f64),
    /// The up vector is no direction.
    #[error("the up vector has the length {0:.4}, expected 1")]
    Up(f64),
    /// A frame that is there already.
    #[error("frame {frame} of {step}, take {take}, is there twice{of}", of = marker.map_or_else(String::new, |marker| format!(" (marker {marker})")))]
    Duplicate {
        /// Its number.
        frame: u64,
        /// Its step.
        step: RecordedStep,
        /// Its take.
        take: u64,
        /// The marker, in a recording of markers.
        marker: Option<u64>,
    },
    /// Poses and markers in one capture.
    #[error("{step}, take {take}, holds poses and marker positions, expected one of them")]
    Mixed {
        /// The step.
        step: RecordedStep,
        /// The take.
        take: u64,
    },
    /// Positions that only another unit explains.
    #[error(
        "every position of {step}, take {take}, is within {largest_mm:.3} mm of the camera, expected mm: are these metres?"
    )]
    Unit {
        /// The step.
        step: RecordedStep,
        /// The take.
        take: u64,
        /// The largest distance, if it were in mm.
        largest_mm: f64,
    },
}

/// A quaternion or up vector may be off by what rounding to a few digits does, no more.
const LENGTH_SLACK: f64 = 0.01;

/// No camera sees a tracker this near, mm.
const NEAREST_MM: f64 = 5.0;

/// Faults that are kept of a case; the others are counted.
const KEPT: usize = 5;

/// Reads every case of a file; rows of femoral features that are not among `features` are passed over.
///
/// # Errors
/// If the file cannot be read, is no table or lacks a column. Rows that are wrong are faults of their case.
pub fn read_recordings(path: &Path, features: &[FemurFeature]) -> Result<Recordings, SheetError> {
    let mut sheet = Sheet::open(path)?;
    let columns = Columns::of(&sheet)?;
    let mut reader = Reader::default();
    let mut rows = 0;
    while sheet.advance()? {
        rows += 1;
        reader.row(&sheet, &columns, features);
    }
    let known = |name: &&String| POSE_COLUMNS.iter().chain(&MARKER_COLUMNS).any(|known| known == name);
    Ok(Recordings {
        file: path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        row_word: sheet.row_word(),
        cases: reader.cases.into_iter().map(Gathered::finished).collect(),
        rows,
        unknown_columns: sheet.header().iter().filter(|name| !known(name)).cloned().collect(),
    })
}

/// Where the columns stand.
struct Columns {
    case: usize,
    step: usize,
    take: Option<usize>,
    divot: Option<usize>,
    frame: usize,
    marker: Option<usize>,
    quaternion: [Option<usize>; 4],
    position: [usize; 3],
    up: [Option<usize>; 3],
}

const QUATERNION: [&str; 4] = ["qw", "qx", "qy", "qz"];
const POSITION: [&str; 3] = ["x_mm", "y_mm", "z_mm"];
const UP: [&str; 3] = ["up_x", "up_y", "up_z"];

impl Columns {
    fn of(sheet: &Sheet) -> Result<Self, SheetError> {
        let marker = sheet.column("marker");
        let [x, y, z] = POSITION;
        for name in ["case", "step", "frame", x, y, z]
            .into_iter()
            .chain(marker.is_none().then_some(QUATERNION).into_iter().flatten())
        {
            sheet.needed(name)?;
        }
        Ok(Self {
            case: sheet.needed("case")?,
            step: sheet.needed("step")?,
            take: sheet.column("take"),
            divot: sheet.column("divot"),
            frame: sheet.needed("frame")?,
            marker,
            quaternion: QUATERNION.map(|name| sheet.column(name)),
            position: [sheet.needed(x)?, sheet.needed(y)?, sheet.needed(z)?],
            up: UP.map(|name| sheet.column(name)),
        })
    }
}

/// Gathers rows to captures and captures to cases.
#[derive(Default)]
struct Reader {
    cases: Vec<Gathered>,
    by_name: HashMap<String, usize>,
    /// The case of the row before, and its capture: most rows belong to the same.
    last: Option<(usize, usize)>,
}

/// A case while it is read.
struct Gathered {
    case: RecordedCase,
    captures: Vec<Gathering>,
}

/// A capture while it is read.
struct Gathering {
    step: RecordedStep,
    take: u64,
    divot: u32,
    row: u64,
    largest_mm: f64,
    /// Frame, marker (0 for a pose) and row of everything seen.
    places: Vec<(u64, u64, u64)>,
    seen: SeenRows,
}

/// What the rows of a capture hold, in the order of the file.
enum SeenRows {
    Poses(Vec<Pose<Tracker, Camera>>),
    Markers(Vec<Point<Camera>>),
    Ups(Vec<Direction<Camera>>),
}

/// What one row holds.
enum SeenRow {
    Pose(Pose<Tracker, Camera>),
    Marker(u64, Point<Camera>),
    Up(Direction<Camera>),
}

/// Which capture a row belongs to, and its frame.
struct Place {
    step: RecordedStep,
    take: u64,
    divot: u32,
    frame: u64,
}

impl Reader {
    fn row(&mut self, sheet: &Sheet, columns: &Columns, features: &[FemurFeature]) {
        let case = self.case(sheet, columns);
        let row = sheet.number();
        let read = step(sheet, columns).and_then(|step| {
            if step.femur.is_some_and(|femur| !features.contains(&femur)) {
                return Ok(None);
            }
            Ok(Some((place(sheet, columns, step)?, seen(sheet, columns, step)?)))
        });
        let (place, seen) = match read {
            Ok(Some(read)) => read,
            Ok(None) => return,
            Err(fault) => return self.cases[case].fault(row, fault),
        };
        let gathered = &mut self.cases[case];
        let last = self.last.and_then(|(of, capture)| (of == case).then_some(capture));
        let capture = match last.filter(|&last| gathered.captures[last].holds(&place)) {
            Some(last) => last,
            None => gathered.capture(&place, &seen, row),
        };
        self.last = Some((case, capture));
        if !gathered.captures[capture].take_in(&place, seen, row) {
            gathered.fault(row, Fault::Mixed { step: place.step, take: place.take });
        }
    }

    fn case(&mut self, sheet: &Sheet, columns: &Columns) -> usize {
        let name = sheet.words(Some(columns.case));
        if let Some((case, _)) = self.last.filter(|&(case, _)| self.cases[case].case.name == name) {
            return case;
        }
        if let Some(&case) = self.by_name.get(name.as_ref()) {
            return case;
        }
        let name = name.into_owned();
        self.by_name.insert(name.clone(), self.cases.len());
        let case =
            RecordedCase { name, row: sheet.number(), captures: Vec::new(), faults: Vec::new(), fault_count: 0 };
        self.cases.push(Gathered { case, captures: Vec::new() });
        self.cases.len() - 1
    }
}

fn step(sheet: &Sheet, columns: &Columns) -> Result<RecordedStep, Fault> {
    if let Some((found, expected)) = sheet.wrong_length() {
        return Err(Fault::Length { found, expected });
    }
    let word = sheet.words(Some(columns.step));
    RecordedStep::from_word(&word).ok_or_else(|| Fault::UnknownStep(word.into_owned()))
}

fn place(sheet: &Sheet, columns: &Columns, step: RecordedStep) -> Result<Place, Fault> {
    let take = sheet.whole_if_any(columns.take, "take")?.unwrap_or(1);
    let divot = sheet.whole_if_any(columns.divot, "divot")?.unwrap_or(1);
    let most = step.places();
    if !(1..=u64::from(most)).contains(&divot) {
        return Err(Fault::Divot { found: divot, step, most });
    }
    let frame = sheet.whole_if_any(Some(columns.frame), "frame")?.ok_or(CellError::Blank("frame"))?;
    // At most `most`.
    #[allow(clippy::cast_possible_truncation)]
    Ok(Place { step, take, divot: (divot - 1) as u32, frame })
}

fn seen(sheet: &Sheet, columns: &Columns, step: RecordedStep) -> Result<SeenRow, Fault> {
    let blank = |column: Option<usize>, name: &'static str, why: &'static str| match sheet.cell(column) {
        Written::Blank => Ok(()),
        _ => Err(Fault::Stray { column: name, found: sheet.words(column).into_owned(), step, why }),
    };
    if step.step == Step::Level {
        let pose = columns.quaternion.iter().copied().chain(columns.position.map(Some)).chain([columns.marker]);
        for (column, name) in pose.zip(QUATERNION.into_iter().chain(POSITION).chain(["marker"])) {
            blank(column, name, "a level reading has an up vector and no pose")?;
        }
        return up(sheet, columns);
    }
    for (column, name) in columns.up.into_iter().zip(UP) {
        blank(column, name, "only level readings have an up vector")?;
    }
    let mut position = [0.0; 3];
    for ((value, column), name) in position.iter_mut().zip(columns.position).zip(POSITION) {
        *value = sheet.number_in(Some(column), name)?;
    }
    let [x, y, z] = position;
    let position = Point::new(x, y, z);
    if let Some(marker) = sheet.whole_if_any(columns.marker, "marker")? {
        for (column, name) in columns.quaternion.into_iter().zip(QUATERNION) {
            blank(column, name, "a marker has a position and no pose")?;
        }
        return Ok(SeenRow::Marker(marker, position));
    }
    let mut quaternion = [0.0; 4];
    for ((value, column), name) in quaternion.iter_mut().zip(columns.quaternion).zip(QUATERNION) {
        *value = match column {
            Some(_) => sheet.number_in(column, name)?,
            None => return Err(CellError::Blank("marker").into()),
        };
    }
    let length = quaternion.iter().map(|q| q * q).sum::<f64>().sqrt();
    if !((length - 1.0).abs() <= LENGTH_SLACK) {
        return Err(Fault::Quaternion(length));
    }
    Ok(SeenRow::Pose(Pose::new(Rotation::from_quaternion(quaternion.map(|q| q / length)), position)))
}

fn up(sheet: &Sheet, columns: &Columns) -> Result<SeenRow, Fault> {
    let mut up = [0.0; 3];
    for ((value, column), name) in up.iter_mut().zip(columns.up).zip(UP) {
        *value = sheet.number_in(column, name)?;
    }
    let [x, y, z] = up;
    let up = Displacement::new(x, y, z);
    let length = up.length();
    match up.direction().filter(|_| (length - 1.0).abs() <= LENGTH_SLACK) {
        Some(direction) => Ok(SeenRow::Up(direction)),
        None => Err(Fault::Up(length)),
    }
}

impl Gathered {
    fn fault(&mut self, row: u64, fault: Fault) {
        self.case.fault_count += 1;
        if self.case.faults.len() < KEPT {
            self.case.faults.push(CaseFault { row, fault });
        }
    }

    /// The capture of a place, begun if it is new.
    fn capture(&mut self, place: &Place, seen: &SeenRow, row: u64) -> usize {
        if let Some(found) = self.captures.iter().position(|capture| capture.holds(place)) {
            return found;
        }
        let &Place { step, take, divot, .. } = place;
        let seen = match seen {
            SeenRow::Pose(_) => SeenRows::Poses(Vec::new()),
            SeenRow::Marker(..) => SeenRows::Markers(Vec::new()),
            SeenRow::Up(_) => SeenRows::Ups(Vec::new()),
        };
        self.captures.push(Gathering { step, take, divot, row, largest_mm: 0.0, places: Vec::new(), seen });
        self.captures.len() - 1
    }

    fn finished(mut self) -> RecordedCase {
        // Markers count from 1, or from 0 in all of a case.
        let counts_from = self.captures.iter().map(Gathering::first_marker).min().unwrap_or(1);
        // Who writes metres writes them everywhere: it is said once.
        let mut said = false;
        for capture in std::mem::take(&mut self.captures) {
            let Gathering { step, take, divot, row, .. } = capture;
            // Of the cup only the direction counts, so that a bench may leave its place at any value.
            let placed = !matches!(step.step, Step::Level | Step::Cup);
            if placed && !said && 0.0 < capture.largest_mm && capture.largest_mm < NEAREST_MM {
                said = true;
                self.fault(row, Fault::Unit { step, take, largest_mm: capture.largest_mm });
            }
            match capture.in_order(counts_from) {
                Ok(frames) => self.case.captures.push(RecordedCapture { step, take, divot, row, frames }),
                Err((row, fault)) => self.fault(row, fault),
            }
        }
        self.case
    }
}

impl Gathering {
    fn holds(&self, place: &Place) -> bool {
        (self.step, self.take, self.divot) == (place.step, place.take, place.divot)
    }

    /// Takes a row in; false if it is of another kind than those before.
    fn take_in(&mut self, place: &Place, row_seen: SeenRow, row: u64) -> bool {
        let mut marker = 0;
        match (&mut self.seen, row_seen) {
            (SeenRows::Poses(poses), SeenRow::Pose(pose)) => {
                self.largest_mm = self.largest_mm.max((pose.origin - Point::ORIGIN).length());
                poses.push(pose);
            }
            (SeenRows::Markers(points), SeenRow::Marker(number, point)) => {
                self.largest_mm = self.largest_mm.max((point - Point::ORIGIN).length());
                points.push(point);
                marker = number;
            }
            (SeenRows::Ups(ups), SeenRow::Up(up)) => ups.push(up),
            _ => return false,
        }
        self.places.push((place.frame, marker, row));
        true
    }

    /// The number from which its markers count: 0 if there is one of that number, else 1.
    fn first_marker(&self) -> u64 {
        let zero = matches!(self.seen, SeenRows::Markers(_)) && self.places.iter().any(|place| place.1 == 0);
        u64::from(!zero)
    }

    /// Its frames, ascending; the row of one that is there twice.
    fn in_order(self, counts_from: u64) -> Result<RecordedFrames, (u64, Fault)> {
        let Self { step, take, places, seen, .. } = self;
        let key = |&(frame, marker, _): &(u64, u64, u64)| (frame, marker);
        let mut order: Vec<usize> = Vec::new();
        if !places.is_sorted_by(|one, next| key(one) < key(next)) {
            order = (0..places.len()).collect();
            order.sort_by_key(|&index| key(&places[index]));
            let twice = order.windows(2).find(|pair| key(&places[pair[0]]) == key(&places[pair[1]]));
            if let Some(&[_, second]) = twice {
                let (frame, marker, row) = places[second];
                let marker = matches!(seen, SeenRows::Markers(_)).then_some(marker);
                return Err((row, Fault::Duplicate { frame, step, take, marker }));
            }
        }
        Ok(match seen {
            SeenRows::Poses(poses) => RecordedFrames::Poses(ordered(poses, &order)),
            SeenRows::Ups(ups) => RecordedFrames::Ups(ordered(ups, &order)),
            SeenRows::Markers(points) => {
                let points = ordered(points, &order);
                let places = ordered(places, &order);
                let mut frames: Vec<Vec<(usize, Point<Camera>)>> = Vec::new();
                let mut last = None;
                for ((frame, marker, _), point) in places.into_iter().zip(points) {
                    if last != Some(frame) {
                        frames.push(Vec::new());
                        last = Some(frame);
                    }
                    let place = usize::try_from(marker - counts_from).unwrap_or(usize::MAX);
                    if let Some(markers) = frames.last_mut() {
                        markers.push((place, point));
                    }
                }
                RecordedFrames::Markers(frames)
            }
        })
    }
}

/// In another order; an empty one leaves it as it is.
fn ordered<T: Copy>(values: Vec<T>, order: &[usize]) -> Vec<T> {
    if order.is_empty() { values } else { order.iter().map(|&index| values[index]).collect() }
}
