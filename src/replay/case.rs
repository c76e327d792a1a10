//! From the rows of a recorded case to the observations that a procedure measures.

use crate::geometry::{Layout, Point, Pose, RigidFit};
use crate::measurement::{Camera, Capture, Instruments, Observations, Procedure, Sightings, Step, Tracker};
use crate::record::recording::{RecordedCapture, RecordedCase, RecordedFrames, RecordedStep};

/// Observations of a case that one measurement takes: reductions that use the same takes of all other steps.
#[derive(Clone, Debug)]
pub struct Session {
    /// What was observed; its reductions are counted from 0.
    pub observed: Observations,
    /// The recorded take of each reduction; of a case without any, its last take.
    pub takes: Vec<u64>,
    /// Whether a reduction was recorded at all.
    pub reduced: bool,
    /// Root mean square residual of the marker fits, mm; NaN where poses were recorded.
    pub pose_rms_mm: f64,
    /// Frames in which too few markers were seen; they are left out.
    pub unseen_frames: u64,
}

impl RecordedCase {
    /// The takes of a step, ascending.
    #[must_use]
    pub fn takes(&self, step: RecordedStep) -> Vec<u64> {
        let mut takes: Vec<u64> = self.of(step).map(|capture| capture.take).collect();
        takes.sort_unstable();
        takes.dedup();
        takes
    }

    /// The captures of a step, in the order of the file.
    pub fn of(&self, step: RecordedStep) -> impl Iterator<Item = &RecordedCapture> {
        self.captures.iter().filter(move |capture| capture.step == step)
    }
}

/// The take that a reduction uses: the last one not greater than its own, else the first.
fn used(takes: &[u64], reduction: u64) -> Option<u64> {
    takes.iter().rev().find(|&&take| take <= reduction).or(takes.first()).copied()
}

/// The measurements that the reductions of a case ask for.
#[must_use]
pub fn sessions(case: &RecordedCase, procedure: &Procedure) -> Vec<Session> {
    let recorded = |step| RecordedStep::of(step, procedure.femur);
    let others: Vec<RecordedStep> =
        Step::ALL.into_iter().filter(|step| *step != Step::FemurReduction).map(recorded).collect();
    let takes: Vec<Vec<u64>> = others.iter().map(|&step| case.takes(step)).collect();
    let mut reductions = case.takes(recorded(Step::FemurReduction));
    let reduced = !reductions.is_empty();
    if !reduced {
        reductions.push(case.captures.iter().map(|capture| capture.take).max().unwrap_or(1));
    }
    let chosen = |reduction: u64| takes.iter().map(|takes| used(takes, reduction)).collect::<Vec<Option<u64>>>();
    reductions
        .chunk_by(|&one, &next| chosen(one) == chosen(next))
        .map(|reductions| {
            let mut building = Building::new(&procedure.instruments);
            for (&step, take) in others.iter().zip(chosen(reductions[0])) {
                case.of(step).filter(|capture| Some(capture.take) == take).for_each(|c| building.add(c, 0));
            }
            for (number, &reduction) in (0..).zip(reductions) {
                let step = recorded(Step::FemurReduction);
                case.of(step).filter(|capture| capture.take == reduction).for_each(|c| building.add(c, number));
            }
            building.finished(reductions, reduced)
        })
        .collect()
}

/// Observations while they are put together.
struct Building<'a> {
    instruments: &'a Instruments,
    captures: Vec<Capture>,
    poses: Vec<Pose<Tracker, Camera>>,
    observed: Observations,
    squares_mm2: f64,
    fitted: u64,
    unseen_frames: u64,
}

impl<'a> Building<'a> {
    fn new(instruments: &'a Instruments) -> Self {
        Self {
            instruments,
            captures: Vec::new(),
            poses: Vec::new(),
            observed: Observations::of_poses(),
            squares_mm2: 0.0,
            fitted: 0,
            unseen_frames: 0,
        }
    }

    fn add(&mut self, capture: &RecordedCapture, take: u32) {
        let step = capture.step.step;
        let frames = match &capture.frames {
            RecordedFrames::Ups(ups) => {
                let first = self.observed.ups.len();
                self.observed.ups.extend_from_slice(ups);
                first..self.observed.ups.len()
            }
            RecordedFrames::Poses(poses) => {
                let first = self.poses.len();
                self.poses.extend_from_slice(poses);
                first..self.poses.len()
            }
            RecordedFrames::Markers(frames) => {
                let first = self.poses.len();
                for frame in frames {
                    self.fit(step, frame);
                }
                first..self.poses.len()
            }
        };
        self.captures.push(Capture { step, take, divot: capture.divot, frames, still: true });
    }

    fn fit(&mut self, step: Step, seen: &[(usize, Point<Camera>)]) {
        match fitted(self.instruments, step, seen) {
            Some(fit) => {
                self.poses.push(fit.pose);
                self.squares_mm2 += fit.residual_rms_mm * fit.residual_rms_mm;
                self.fitted += 1;
            }
            None => self.unseen_frames += 1,
        }
    }

    fn finished(mut self, takes: &[u64], reduced: bool) -> Session {
        if !reduced {
            // Cup and centre are read without a reduction; what it was recorded for has failed.
            let frames = self.poses.len()..self.poses.len();
            self.captures.push(Capture { step: Step::FemurReduction, take: 0, divot: 0, frames, still: true });
        }
        self.observed.captures = self.captures;
        self.observed.reductions = u32::try_from(takes.len()).unwrap_or(u32::MAX);
        self.observed.sightings = Sightings::Poses(self.poses);
        Session {
            observed: self.observed,
            takes: takes.to_vec(),
            reduced,
            pose_rms_mm: (self.squares_mm2 / self.fitted as f64).sqrt(),
            unseen_frames: self.unseen_frames,
        }
    }
}

/// The poses of a capture: as recorded, or fitted to its markers where enough of them were seen.
#[must_use]
pub fn frame_poses(capture: &RecordedCapture, instruments: &Instruments) -> Vec<Pose<Tracker, Camera>> {
    match &capture.frames {
        RecordedFrames::Poses(poses) => poses.clone(),
        RecordedFrames::Markers(frames) => {
            let pose = |seen: &Vec<_>| Some(fitted(instruments, capture.step.step, seen)?.pose);
            frames.iter().filter_map(pose).collect()
        }
        RecordedFrames::Ups(_) => Vec::new(),
    }
}

/// The pose of one frame of markers; `None` if too few of them were seen.
fn fitted(
    instruments: &Instruments,
    step: Step,
    seen: &[(usize, Point<Camera>)],
) -> Option<RigidFit<Tracker, Camera>> {
    let layout = instruments.layout(step)?;
    let places: Vec<Point<Camera>> = seen.iter().map(|&(_, place)| place).collect();
    if seen.len() == layout.len() && seen.iter().map(|&(marker, _)| marker).eq(0..layout.len()) {
        return layout.fit(&places).ok();
    }
    let drawn: Vec<Point<Tracker>> = layout.points().collect();
    let drawn: Option<Vec<_>> = seen.iter().map(|&(marker, _)| drawn.get(marker).copied()).collect();
    Layout::new(&drawn?).ok()?.fit(&places).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_which_take_a_reduction_uses() {
        assert_eq!(used(&[1, 3, 4], 3), Some(3));
        assert_eq!(used(&[1, 3, 4], 2), Some(1));
        assert_eq!(used(&[1, 3, 4], 9), Some(4));
        assert_eq!(used(&[3, 5], 2), Some(3), "the first where none is early enough");
        assert_eq!(used(&[], 2), None);
    }
}
