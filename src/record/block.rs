//! A block of trial rows, column by column, as the trial loop fills it.

use crate::measurement::{Failure, Output, Step};

/// What a row carries beside what every row does: drawn values by keys with their unit, such as `asis_width_mm`, frames
/// that were lost, and rare events that happened.
///
/// In files they become `anatomy_<key>`, `implant_<key>`, `lost_share_<step>` and `event_<key>`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Schema {
    /// Keys of the patient's drawn values.
    pub anatomy: &'static [&'static str],
    /// Keys of the implant's drawn values.
    pub implant: &'static [&'static str],
    /// Steps of which the proportion of lost frames is recorded; none where the camera loses no frame.
    pub lost: &'static [Step],
    /// Keys of the sources whose rare events are counted, each at its place; none where the event cannot happen or always
    /// does.
    pub events: [Option<&'static str>; 3],
}

impl Schema {
    /// The column of an output's errors.
    #[must_use]
    pub fn error_column(output: Output) -> String {
        let [.., error] = Self::columns_of(output);
        error
    }

    /// The columns of an output: truth, reading, error.
    #[must_use]
    pub fn columns_of(output: Output) -> [String; 3] {
        ["true", "read", "error"].map(|what| format!("{}_{what}_{}", output.id(), output.unit().suffix()))
    }

    /// The column of a step's lost frames.
    #[must_use]
    pub fn lost_column(step: Step) -> String {
        format!("lost_share_{}", step.word().replace('-', "_"))
    }

    /// The column of a source's rare events.
    #[must_use]
    pub fn event_column(key: &str) -> String {
        format!("event_{key}")
    }
}

/// What the estimators say of themselves; NaN where there is nothing to say, which is null in the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Diagnostics {
    /// Residual of the tracker poses, rms, mm.
    pub pose_rms_mm: f64,
    /// Residual of the probe's tip calibration, rms, mm.
    pub tip_pivot_rms_mm: f64,
    /// Residual of the native hip centre, rms, mm.
    pub centre_native_rms_mm: f64,
    /// Residual of the new hip centre, rms, mm.
    pub centre_new_rms_mm: f64,
    /// Residual of the femoral feature at baseline, rms, mm.
    pub feature_baseline_rms_mm: f64,
    /// Residual of the femoral feature at this reduction, rms, mm.
    pub feature_reduction_rms_mm: f64,
    /// Largest part of a groove that was not traced, degrees.
    pub largest_gap_deg: f64,
    /// Captures taken again because they were not still.
    pub retries: u32,
}

impl Diagnostics {
    /// Nothing to say.
    pub const NONE: Self = Self {
        pose_rms_mm: f64::NAN,
        tip_pivot_rms_mm: f64::NAN,
        centre_native_rms_mm: f64::NAN,
        centre_new_rms_mm: f64::NAN,
        feature_baseline_rms_mm: f64::NAN,
        feature_reduction_rms_mm: f64::NAN,
        largest_gap_deg: f64::NAN,
        retries: 0,
    };

    /// Columns of the real-valued diagnostics, in the order of [`Self::reals`].
    pub(super) const REALS: [&'static str; 7] = [
        "pose_rms_mm",
        "tip_pivot_rms_mm",
        "centre_native_rms_mm",
        "centre_new_rms_mm",
        "feature_baseline_rms_mm",
        "feature_reduction_rms_mm",
        "largest_gap_deg",
    ];

    fn reals(&self) -> [f64; 7] {
        [
            self.pose_rms_mm,
            self.tip_pivot_rms_mm,
            self.centre_native_rms_mm,
            self.centre_new_rms_mm,
            self.feature_baseline_rms_mm,
            self.feature_reduction_rms_mm,
            self.largest_gap_deg,
        ]
    }
}

/// One reduction of one trial.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    /// Absolute index of the trial.
    pub trial: u64,
    /// Index of the device.
    pub device: u64,
    /// Index of the case.
    pub case: u64,
    /// Which repeat of the case, from 0.
    pub repeat: u32,
    /// Which reduction of the trial, from 0.
    pub reduction: u32,
    /// The earliest failure in the procedure, if there is one.
    pub failure: Option<Failure>,
    /// The patient's drawn values, in the order of [`Schema::anatomy`].
    pub anatomy: &'a [f64],
    /// The implant's drawn values, in the order of [`Schema::implant`].
    pub implant: &'a [f64],
    /// Proportion of each step's frames that gave no pose, in the order of [`Schema::lost`]; NaN for a step without
    /// frames.
    pub lost: &'a [f64],
    /// How often each rare event happened, at the places of [`Schema::events`].
    pub events: [u32; 3],
    /// True values, in the order of `OUTPUTS` and in their units; NaN for an output that is not asked for.
    pub truth: [f64; 7],
    /// Readings, likewise; a missing or non-finite one is null in the file.
    pub read: [Option<f64>; 7],
    /// What the estimators say of themselves.
    pub diagnostics: Diagnostics,
}

/// Trial rows, column by column.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    pub(super) schema: Schema,
    pub(super) trial: Vec<u64>,
    pub(super) device: Vec<u64>,
    pub(super) case: Vec<u64>,
    pub(super) repeat: Vec<u32>,
    pub(super) reduction: Vec<u32>,
    pub(super) failure: Vec<Option<Failure>>,
    pub(super) anatomy: Vec<Vec<f64>>,
    pub(super) implant: Vec<Vec<f64>>,
    pub(super) lost: Vec<Vec<f64>>,
    pub(super) events: [Vec<u32>; 3],
    pub(super) truth: [Vec<f64>; 7],
    pub(super) read: [Vec<Option<f64>>; 7],
    pub(super) diagnostics: [Vec<f64>; 7],
    pub(super) retries: Vec<u32>,
}

impl Block {
    /// An empty block that takes `rows` rows without allocating.
    #[must_use]
    pub fn with_capacity(schema: Schema, rows: usize) -> Self {
        let columns = |count: usize| (0..count).map(|_| Vec::with_capacity(rows)).collect();
        Self {
            schema,
            trial: Vec::with_capacity(rows),
            device: Vec::with_capacity(rows),
            case: Vec::with_capacity(rows),
            repeat: Vec::with_capacity(rows),
            reduction: Vec::with_capacity(rows),
            failure: Vec::with_capacity(rows),
            anatomy: columns(schema.anatomy.len()),
            implant: columns(schema.implant.len()),
            lost: columns(schema.lost.len()),
            events: schema.events.map(|key| Vec::with_capacity(if key.is_some() { rows } else { 0 })),
            truth: std::array::from_fn(|_| Vec::with_capacity(rows)),
            read: std::array::from_fn(|_| Vec::with_capacity(rows)),
            diagnostics: std::array::from_fn(|_| Vec::with_capacity(rows)),
            retries: Vec::with_capacity(rows),
        }
    }

    /// What its rows carry.
    #[must_use]
    pub fn schema(&self) -> Schema {
        self.schema
    }

    /// Number of rows.
    #[must_use]
    pub fn len(&self) -> usize {
        self.trial.len()
    }

    /// Whether there is no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.trial.is_empty()
    }

    /// How often each rare event happened, row by row, at the places of [`Schema::events`]; empty where none is counted.
    #[cfg(test)]
    pub(crate) fn events(&self) -> &[Vec<u32>; 3] {
        &self.events
    }

    /// Adds a row at the end.
    ///
    /// # Panics
    /// If the row does not carry the values that the schema names: a mistake of the calling code.
    pub fn push(&mut self, row: &Row) {
        assert_eq!(row.anatomy.len(), self.schema.anatomy.len(), "anatomy values of a row");
        assert_eq!(row.implant.len(), self.schema.implant.len(), "implant values of a row");
        assert_eq!(row.lost.len(), self.schema.lost.len(), "lost frames of a row");
        self.trial.push(row.trial);
        self.device.push(row.device);
        self.case.push(row.case);
        self.repeat.push(row.repeat);
        self.reduction.push(row.reduction);
        self.failure.push(row.failure);
        push_each(&mut self.anatomy, row.anatomy.iter().copied());
        push_each(&mut self.implant, row.implant.iter().copied());
        push_each(&mut self.lost, row.lost.iter().copied());
        let counted =
            self.events.iter_mut().zip(self.schema.events).zip(row.events).filter(|((_, key), _)| key.is_some());
        counted.for_each(|((column, _), count)| column.push(count));
        push_each(&mut self.truth, row.truth);
        push_each(&mut self.read, row.read.map(|read| read.filter(|value| value.is_finite())));
        push_each(&mut self.diagnostics, row.diagnostics.reals());
        self.retries.push(row.diagnostics.retries);
    }

    /// Moves the rows of another block behind its own.
    ///
    /// # Panics
    /// If the other block has another schema: a mistake of the calling code.
    pub fn append(&mut self, mut other: Self) {
        assert_eq!(self.schema, other.schema, "blocks of one variant have one schema");
        self.trial.append(&mut other.trial);
        self.device.append(&mut other.device);
        self.case.append(&mut other.case);
        self.repeat.append(&mut other.repeat);
        self.reduction.append(&mut other.reduction);
        self.failure.append(&mut other.failure);
        append_each(&mut self.anatomy, &mut other.anatomy);
        append_each(&mut self.implant, &mut other.implant);
        append_each(&mut self.lost, &mut other.lost);
        append_each(&mut self.events, &mut other.events);
        append_each(&mut self.truth, &mut other.truth);
        append_each(&mut self.read, &mut other.read);
        append_each(&mut self.diagnostics, &mut other.diagnostics);
        self.retries.append(&mut other.retries);
    }
}

fn push_each<T>(columns: &mut [Vec<T>], values: impl IntoIterator<Item = T>) {
    for (column, value) in columns.iter_mut().zip(values) {
        column.push(value);
    }
}

fn append_each<T>(columns: &mut [Vec<T>], others: &mut [Vec<T>]) {
    for (column, other) in columns.iter_mut().zip(others) {
        column.append(other);
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::measurement::{Reason, Step};

    pub const SCHEMA: Schema = Schema {
        anatomy: &["asis_width_mm"],
        implant: &["leg_length_mm", "offset_mm"],
        lost: &[Step::Cup],
        events: [None, Some("probe_slip"), None],
    };

    /// Rows of `trials`, `reductions` each; every seventh trial has no leg length and no offset.
    pub fn some_block(trials: std::ops::Range<u64>, reductions: u32) -> Block {
        let mut block = Block::with_capacity(SCHEMA, 0);
        for trial in trials {
            for reduction in 0..reductions {
                let failure = (trial % 7 == 3).then_some(Failure { step: Step::Cup, reason: Reason::RankLoss });
                let base = trial as f64 + f64::from(reduction) / 8.0;
                let mut read = [Some(base + 0.25); 7];
                if failure.is_some() {
                    read[2] = None;
                    read[3] = Some(f64::NAN);
                }
                block.push(&Row {
                    trial,
                    device: trial,
                    case: trial,
                    repeat: 0,
                    reduction,
                    failure,
                    anatomy: &[200.0 + base],
                    implant: &[4.0, -base],
                    lost: &[0.125],
                    events: [0, u32::from(trial % 5 == 0), 0],
                    truth: [base; 7],
                    read,
                    diagnostics: Diagnostics {
                        pose_rms_mm: 0.125,
                        tip_pivot_rms_mm: 0.5,
                        centre_native_rms_mm: 0.25,
                        centre_new_rms_mm: 0.25,
                        feature_baseline_rms_mm: 0.25,
                        feature_reduction_rms_mm: 0.25,
                        largest_gap_deg: f64::NAN,
                        retries: 1,
                    },
                });
            }
        }
        block
    }

    #[test]
    fn identity_blocks_joined_are_the_block_filled_at_once() {
        let mut joined = some_block(0..40, 2);
        joined.append(some_block(40..100, 2));
        let whole = some_block(0..100, 2);
        assert_eq!(joined.len(), 200);
        assert_eq!(joined.trial, whole.trial);
        assert_eq!(joined.read, whole.read);
        assert_eq!(joined.failure, whole.failure);
        assert_eq!(joined.implant, whole.implant);
        assert_eq!(joined.events, whole.events);
        assert_eq!(joined.events.map(|column| column.len()), [0, 200, 0]);
    }

    #[test]
    fn identity_filling_within_capacity_does_not_allocate() {
        let mut block = Block::with_capacity(SCHEMA, 1000);
        let source = Row {
            trial: 0,
            device: 0,
            case: 0,
            repeat: 0,
            reduction: 0,
            failure: None,
            anatomy: &[1.0],
            implant: &[1.0, 2.0],
            lost: &[0.0],
            events: [0, 1, 0],
            truth: [0.0; 7],
            read: [Some(1.0); 7],
            diagnostics: Diagnostics {
                pose_rms_mm: 0.0,
                tip_pivot_rms_mm: 0.0,
                centre_native_rms_mm: 0.0,
                centre_new_rms_mm: 0.0,
                feature_baseline_rms_mm: 0.0,
                feature_reduction_rms_mm: 0.0,
                largest_gap_deg: 0.0,
                retries: 0,
            },
        };
        let counted = allocation_counter::measure(|| {
            for trial in 0..1000 {
                block.push(&Row { trial, ..source });
            }
        });
        assert_eq!(counted.count_total, 0);
        assert_eq!(block.len(), 1000);
    }
}
