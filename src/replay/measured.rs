//! Readings of recorded cases and, where their truth is known, their errors.

use super::case::{Session, sessions};
use crate::experiment::{Plan, Variant};
use crate::measurement::{
    AngleDefinition, Asked, Failure, OUTPUTS, Output, Plane, Readings, Reason, Step, Trace, Workspace,
};
use crate::record::recording::{RecordedCase, RecordedStep, Recordings};
use crate::record::truths::Truths;
use rayon::prelude::*;
use std::collections::HashMap;

/// One reading: a case, at one reduction, by one variant.
#[derive(Clone, Debug)]
pub struct Reading {
    /// Index of the variant in the plan.
    pub variant: usize,
    /// Index of the case in the file.
    pub case: usize,
    /// The take of its reduction.
    pub take: u64,
    /// The outputs that were asked for.
    pub asked: Asked,
    /// What was read; `None` for a case whose rows are wrong.
    pub read: Option<Readings>,
    /// What was true, in the order of the outputs; `None` where it is not known or not asked for.
    pub truth: [Option<f64>; OUTPUTS.len()],
    /// How well it fitted.
    pub fit: Fit,
}

/// How well the estimates of a reading fitted; NaN where there is nothing to say.
#[derive(Clone, Copy, Debug)]
pub struct Fit {
    /// Residual of the marker fits, rms, mm.
    pub pose_rms_mm: f64,
    /// Residual of the tip pivot, rms, mm.
    pub tip_pivot_rms_mm: f64,
    /// Residual of the native centre, rms, mm.
    pub centre_native_rms_mm: f64,
    /// Residual of the new centre, rms, mm.
    pub centre_new_rms_mm: f64,
    /// Residual of the feature at baseline, rms, mm.
    pub feature_baseline_rms_mm: f64,
    /// Residual of the feature at this reduction, rms, mm.
    pub feature_reduction_rms_mm: f64,
    /// Distance between the spines as touched, mm.
    pub asis_width_mm: f64,
    /// Frames in which too few markers were seen.
    pub unseen_frames: u64,
}

impl Fit {
    const NONE: Self = Self {
        pose_rms_mm: f64::NAN,
        tip_pivot_rms_mm: f64::NAN,
        centre_native_rms_mm: f64::NAN,
        centre_new_rms_mm: f64::NAN,
        feature_baseline_rms_mm: f64::NAN,
        feature_reduction_rms_mm: f64::NAN,
        asis_width_mm: f64::NAN,
        unseen_frames: 0,
    };
}

impl Reading {
    /// One output; `None` without a reading, and where it is not asked for.
    #[must_use]
    pub fn value(&self, output: usize) -> Option<f64> {
        self.read.filter(|_| self.asked.has(OUTPUTS[output])).and_then(|read| read.get(OUTPUTS[output]).ok())
    }

    /// Reading minus truth; `None` if either is missing.
    #[must_use]
    pub fn error(&self, output: usize) -> Option<f64> {
        Some(self.value(output)? - self.truth[output]?)
    }

    /// The failures of what was asked for, each once, in the order of the procedure.
    #[must_use]
    pub fn failures(&self) -> Vec<Failure> {
        let Some(read) = self.read else { return Vec::new() };
        let mut failures: Vec<Failure> = self.asked.outputs().filter_map(|output| read.get(output).err()).collect();
        failures.sort_unstable();
        failures.dedup();
        failures
    }

    /// Whether every output that was asked for was read.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.read.is_some() && self.failures().is_empty()
    }
}

/// All readings of a file of recordings.
#[derive(Clone, Debug)]
pub struct Replayed<'p> {
    /// What was asked.
    pub plan: &'p Plan,
    /// Readings: by case, then take, then variant.
    pub readings: Vec<Reading>,
}

/// Measures every case by every variant of a plan.
#[must_use]
pub fn replay<'p>(plan: &'p Plan, recordings: &Recordings, truths: Option<&Truths>) -> Replayed<'p> {
    let truths = Known::of(truths);
    let measured: Vec<Vec<Reading>> = recordings
        .cases
        .par_iter()
        .enumerate()
        .map_init(Workspace::default, |workspace, (index, case)| {
            let mut readings: Vec<Reading> = Vec::new();
            for (variant, asked) in plan.variants.iter().enumerate() {
                measure(case, asked, workspace, |take, read, fit| {
                    let truth = truths.of_case(&case.name, take, asked);
                    let outputs = asked.procedure.asked;
                    readings.push(Reading { variant, case: index, take, asked: outputs, read, truth, fit });
                });
            }
            readings.sort_by_key(|reading| (reading.take, reading.variant));
            readings
        })
        .collect();
    Replayed { plan, readings: measured.into_iter().flatten().collect() }
}

fn measure(
    case: &RecordedCase,
    asked: &Variant,
    workspace: &mut Workspace,
    mut found: impl FnMut(u64, Option<Readings>, Fit),
) {
    let procedure = &asked.procedure;
    if !case.faults.is_empty() {
        let mut takes = case.takes(RecordedStep::of(Step::FemurReduction, procedure.femur));
        if takes.is_empty() {
            takes.push(1);
        }
        return takes.into_iter().for_each(|take| found(take, None, Fit::NONE));
    }
    for Session { observed, takes, reduced, pose_rms_mm, unseen_frames } in sessions(case, procedure) {
        let estimates = procedure.measure(&observed, workspace);
        let rms = |trace: Result<Trace, Failure>| trace.map_or(f64::NAN, |trace| trace.residual_rms_mm);
        let width = estimates.asis_left.and_then(|left| Ok((estimates.asis_right? - left).length()));
        let residuals = &estimates.residuals;
        for (&take, reduction) in takes.iter().zip(&estimates.reductions) {
            let mut readings = reduction.readings;
            if !reduced {
                readings.leg = Err(Failure { step: Step::FemurReduction, reason: Reason::NotRecorded });
            }
            let fit = Fit {
                pose_rms_mm,
                tip_pivot_rms_mm: residuals.tip_pivot_mm,
                centre_native_rms_mm: residuals.native_mm,
                centre_new_rms_mm: residuals.renewed_mm,
                feature_baseline_rms_mm: rms(estimates.baseline),
                feature_reduction_rms_mm: rms(reduction.feature),
                asis_width_mm: width.unwrap_or(f64::NAN),
                unseen_frames,
            };
            found(take, Some(readings), fit);
        }
        workspace.reclaim(estimates);
    }
}

/// Case, take, plane and definition of the angles.
type TruthKey<'t> = (&'t str, u64, Plane, Option<AngleDefinition>);

/// What is known to be true.
struct Known<'t> {
    rows: HashMap<TruthKey<'t>, &'t [Option<f64>; OUTPUTS.len()]>,
}

impl<'t> Known<'t> {
    fn of(truths: Option<&'t Truths>) -> Self {
        let rows = truths.map_or(&[][..], |truths| truths.rows.as_slice()).iter();
        let entry = |row: &'t crate::record::truths::TruthRow| {
            ((row.case.as_str(), row.take, row.plane, row.angles), &row.values)
        };
        Self { rows: rows.map(entry).collect() }
    }

    /// What is known of a case in the plane, and by the definition, of a variant.
    fn of_case(&self, case: &str, take: u64, asked: &Variant) -> [Option<f64>; OUTPUTS.len()] {
        let row = |angles| self.rows.get(&(case, take, asked.measurand_plane, angles));
        let stated = row(Some(asked.procedure.angles));
        // A row that names no definition states its angles by that of the experiment.
        let known = row(None).or(stated).map_or([None; OUTPUTS.len()], |values| **values);
        OUTPUTS.map(|output| known[output.place()].filter(|_| asked.procedure.asked.has(output)))
    }
}

impl Replayed<'_> {
    /// The last reading of every case by a variant.
    #[must_use]
    pub fn last_readings(&self, variant: usize) -> Vec<&Reading> {
        let of_cases = self.readings.chunk_by(|one, next| one.case == next.case);
        of_cases.filter_map(|readings| readings.iter().rfind(|reading| reading.variant == variant)).collect()
    }

    /// The errors case by case, each by its last reduction of which the truth is known: `None` where no truth is known, NaN where there is no reading.
    #[must_use]
    pub fn error_column(&self, variant: usize, output: Output) -> Vec<Option<f64>> {
        let place = output.place();
        let of_cases = self.readings.chunk_by(|one, next| one.case == next.case);
        of_cases
            .map(|readings| {
                let known = |reading: &&Reading| reading.variant == variant && reading.truth[place].is_some();
                let last = readings.iter().rfind(known)?;
                Some(last.error(place).unwrap_or(f64::NAN))
            })
            .collect()
    }
}
