//! Simulated cases written down as a bench would record them: an example, and the round trip through a replay.

use super::one::TrialRunner;
use crate::experiment::Variant;
use crate::measurement::{OUTPUTS, Observations, Output, Plane, Sightings, Step, Workspace};
use crate::record::recording::{FrameRow, RecordedStep, Seen, write_recordings};
use crate::record::truths::{TruthRow, write_truths};
use crate::record::{WriteError, write_whole};
use crate::simulation::Truth;
use std::collections::HashMap;
use std::io::{self, Write as _};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

/// How cases are written down.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RecordOptions {
    /// Marker positions instead of tracker poses.
    pub markers: bool,
    /// Parquet instead of CSV.
    pub parquet: bool,
}

impl TrialRunner {
    /// Writes trials into a folder: recordings, truth, and an experiment file that replays them. Returns the files.
    ///
    /// # Errors
    /// If a file cannot be written, or markers are asked for and the camera gives none.
    pub fn record(
        &self,
        variant: &Variant,
        trials: RangeInclusive<u64>,
        options: RecordOptions,
        folder: &Path,
    ) -> Result<[PathBuf; 3], WriteError> {
        let ending = if options.parquet { "parquet" } else { "csv" };
        let (recordings, truth) = (format!("recordings.{ending}"), format!("truth.{ending}"));
        let files = [folder.join(&recordings), folder.join(&truth), folder.join("replay.toml")];
        let names: Vec<(u64, String)> = trials.map(|trial| (trial, trial.to_string())).collect();
        let mut truths = Vec::new();
        let mut frames = Vec::new();
        for (trial, name) in &names {
            let (observed, _, truth) = self.case(*trial);
            let seen = self.frames(&observed, name, options.markers);
            frames.extend(seen.map_err(|source| WriteError { path: files[0].clone(), source })?);
            truths.extend(self.truth_rows(&truth, name));
        }
        write_recordings(&files[0], frames, options.markers)?;
        write_truths(&files[1], &truths)?;
        let text = experiment(variant, &recordings, &truth);
        write_whole(&files[2], |file| file.write_all(text.map_err(io::Error::other)?.as_bytes()))?;
        Ok(files)
    }

    /// Every frame of a case. Repeated captures of one thing are one take: its frames are counted on.
    fn frames<'n>(&self, observed: &Observations, case: &'n str, markers: bool) -> io::Result<Vec<FrameRow<'n>>> {
        let procedure = &self.procedure;
        if markers && observed.pelvis.is_some() {
            return Err(io::Error::other(
                "a recording of markers has no place for the tracker on the pelvis that a camera on a stand needs; record the \
                 poses instead, which are those from that tracker",
            ));
        }
        let poses = procedure.poses(observed, &mut Workspace::default());
        let mut counts: HashMap<(Step, u32, u32), u64> = HashMap::new();
        let mut rows = Vec::new();
        let mut unread = match &observed.sightings {
            Sightings::Markers(points) => points.as_slice(),
            Sightings::Poses(_) | Sightings::Images(_) => &[],
        };
        for (capture, poses) in observed.captures.iter().zip(poses) {
            let seen: Vec<Seen> = if capture.step == Step::Level {
                observed.ups[capture.frames.clone()].iter().map(|&up| Seen::Up(up)).collect()
            } else if markers {
                let layout = procedure.instruments.layout(capture.step);
                let size = layout.map_or(1, crate::geometry::Layout::len);
                let (mine, rest) = unread.split_at_checked(size * capture.frames.len()).ok_or_else(|| {
                    io::Error::other("this camera gives no marker positions; record the poses instead")
                })?;
                unread = rest;
                mine.chunks(size).map(|frame| Seen::Markers(frame.to_vec())).collect()
            } else {
                let poses = poses.map_err(|reason| io::Error::other(format!("{}: {reason}", capture.step)))?;
                poses.into_iter().map(Seen::Pose).collect()
            };
            let count = counts.entry((capture.step, capture.take, capture.divot)).or_default();
            for seen in seen {
                *count += 1;
                rows.push(FrameRow {
                    case,
                    step: RecordedStep::of(capture.step, procedure.femur),
                    take: u64::from(capture.take) + 1,
                    divot: capture.divot,
                    frame: *count,
                    seen,
                });
            }
        }
        Ok(rows)
    }

    /// The truth of a case at each reduction, in both planes; of outputs that are asked for.
    fn truth_rows(&self, truth: &Truth, case: &str) -> Vec<TruthRow> {
        let reductions = (0..truth.reductions.len()).zip(1_u64..);
        let row = |(index, take), plane| {
            let values = truth.reading(index, plane, self.procedure.angles);
            let is_asked = |output: Output| self.procedure.asked.has(output);
            let values = OUTPUTS.map(|output| is_asked(output).then_some(values[output.place()]));
            TruthRow { case: case.to_owned(), take, plane, angles: None, values, row: 0 }
        };
        reductions.flat_map(|reduction| Plane::MEANT.map(|plane| row(reduction, plane))).collect()
    }
}

/// An experiment file that measures what was recorded as the variant would have.
fn experiment(variant: &Variant, recordings: &str, truth: &str) -> Result<String, toml::ser::Error> {
    let procedure = &variant.procedure;
    let mut tools = toml::Table::try_from(&variant.model.tools)?;
    // Every case has a tip pivot.
    tools.remove("probe_tip_mm");
    let mut text = format!(
        "# Simulated cases, recorded as a bench would record them: navassay replay replay.toml\n\n\
         title = \"Recorded trials\"\n\n[replay]\nrecordings = \"{recordings}\"\ntruth = \"{truth}\"\n\n\
         [anatomy]\nside = \"{}\"\n\n[measure]\nplane = \"{}\"\nmeasurand_plane = \"{}\"\nfemur = \"{}\"\n\
         angles = \"{}\"\npivot = \"{}\"\n{}\n",
        procedure.side.word(),
        procedure.plane.word(),
        variant.measurand_plane.word(),
        procedure.femur.word(),
        procedure.angles.word(),
        procedure.pivot.word(),
        variant.outputs_line(),
    );
    if procedure.plane == Plane::Template {
        let template =
            toml::Table::from_iter([("template".to_owned(), toml::Value::try_from(variant.stated_template())?)]);
        let measure = toml::Table::from_iter([("measure".to_owned(), toml::Value::Table(template))]);
        text.push_str(&toml::to_string(&measure)?);
    }
    let mut section = toml::Table::new();
    section.insert("tools".to_owned(), toml::Value::Table(tools));
    text.push_str(&toml::to_string(&section)?);
    Ok(text)
}
