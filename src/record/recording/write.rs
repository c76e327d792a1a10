//! Writes recordings, as CSV or as Parquet by the name of the file.

use super::{MARKER_COLUMNS, POSE_COLUMNS, RecordedStep};
use crate::geometry::{Direction, Point, Pose};
use crate::measurement::{Camera, Tracker};
use crate::record::sheet::write_sheet;
use crate::record::tables::Cell;
use crate::record::whole::WriteError;
use std::path::Path;

/// What stands in one frame.
#[derive(Clone, Debug, PartialEq)]
pub enum Seen {
    /// The tracker's pose.
    Pose(Pose<Tracker, Camera>),
    /// The tracker's markers, in the order of its drawing: one row each.
    Markers(Vec<Point<Camera>>),
    /// Up, as the level read it.
    Up(Direction<Camera>),
}

/// One frame of one case.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameRow<'a> {
    /// Name of the case.
    pub case: &'a str,
    /// Its step.
    pub step: RecordedStep,
    /// Its take.
    pub take: u64,
    /// Which of the three divots, from 0; 0 for anything else.
    pub divot: u32,
    /// Its number within the capture.
    pub frame: u64,
    /// What was seen.
    pub seen: Seen,
}

/// Writes frames, all of them poses (and level readings) or all of them markers, whole or not at all.
///
/// # Errors
/// If the file cannot be written or a number is not finite.
pub fn write_recordings<'a>(
    path: &Path,
    frames: impl IntoIterator<Item = FrameRow<'a>>,
    markers: bool,
) -> Result<(), WriteError> {
    let header: &[&str] = if markers { &MARKER_COLUMNS } else { &POSE_COLUMNS };
    write_sheet(path, header, frames.into_iter().flat_map(|frame| cells(&frame, markers)))
}

/// One row, or one for each marker.
fn cells(frame: &FrameRow, markers: bool) -> Vec<Vec<Cell>> {
    let begin = || -> Vec<Cell> {
        vec![
            frame.case.into(),
            frame.step.to_string().into(),
            frame.take.into(),
            (frame.divot + 1).into(),
            frame.frame.into(),
        ]
    };
    let row = |middle: Vec<Cell>, up: [Cell; 3]| {
        let mut row = begin();
        row.extend(middle);
        row.extend(up);
        row
    };
    let blanks = |count: usize| vec![Cell::Blank; count];
    let no_up = [Cell::Blank, Cell::Blank, Cell::Blank];
    let place = |point: &Point<Camera>| [point.x(), point.y(), point.z()].map(Cell::from);
    match &frame.seen {
        Seen::Up(up) => {
            let middle = blanks(if markers { 4 } else { 7 });
            vec![row(middle, [up.x(), up.y(), up.z()].map(Cell::from))]
        }
        Seen::Pose(pose) => {
            let quaternion = pose.rotation.quaternion().map(Cell::from);
            let middle = quaternion.into_iter().chain(place(&pose.origin)).collect();
            vec![row(middle, no_up)]
        }
        Seen::Markers(points) => (1_u64..)
            .zip(points)
            .map(|(marker, point)| {
                let middle = std::iter::once(Cell::from(marker)).chain(place(point)).collect();
                row(middle, no_up.clone())
            })
            .collect(),
    }
}
