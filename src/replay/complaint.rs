//! What is wrong with recorded cases, each thing with its file, row and case.

use super::measured::Replayed;
use crate::measurement::{Failure, Reason, Step};
use crate::record::recording::{Fault, RecordedCase, RecordedStep, Recordings};
use crate::record::truths::Truths;
use std::collections::HashSet;
use std::fmt::{self, Write as _};

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Complaint {
    /// Name of the file.
    pub file: String,
    /// What rows are called in it: line or row.
    pub row_word: &'static str,
    /// The row.
    pub row: u64,
    /// Name of the case.
    pub case: String,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub help: Option<String>,
    /// Whether a reading is missing for it.
    pub serious: bool,
}

impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let Self { file, row_word, row, case, what, .. } = self;
        write!(f, "{file}, {row_word} {row}, case {case}: {what}")
    }
}

/// Markers that fit their drawing worse than this were drawn, or numbered, otherwise, mm.
const LARGEST_FRE_MM: f64 = 2.0;

/// Distances between the spines that patients and phantoms have, mm.
const ASIS_WIDTH_MM: std::ops::RangeInclusive<f64> = 100.0..=500.0;

/// Everything that is wrong with the files, in their order: first the recordings.
#[must_use]
pub fn complaints(recordings: &Recordings, truths: Option<&Truths>, replayed: &Replayed) -> Vec<Complaint> {
    let mut complaints = Vec::new();
    for (index, case) in recordings.cases.iter().enumerate() {
        complaints.extend(of_rows(recordings, case));
        complaints.extend(of_readings(recordings, index, case, replayed));
    }
    complaints.extend(truths.into_iter().flat_map(|truths| of_truth(recordings, truths)));
    complaints
}

fn of_rows(recordings: &Recordings, case: &RecordedCase) -> Vec<Complaint> {
    let rest = case.fault_count - case.faults.len() as u64;
    let mut complaints: Vec<Complaint> = case
        .faults
        .iter()
        .map(|found| Complaint {
            help: help(&found.fault),
            ..complaint(recordings, case, found.row, found.fault.to_string())
        })
        .collect();
    if let Some(last) = complaints.last_mut().filter(|_| rest > 0) {
        let _ = write!(last.what, " (and {rest} more wrong rows of this case)");
    }
    complaints
}

fn help(fault: &Fault) -> Option<String> {
    Some(match fault {
        Fault::UnknownStep(word) => {
            let near = |step: &RecordedStep| strsim::jaro_winkler(&step.to_string(), word);
            let near = RecordedStep::all().max_by(|a, b| near(a).total_cmp(&near(b)))?;
            format!("did you mean \"{near}\"?")
        }
        Fault::Quaternion(_) => "a pose is a unit quaternion, scalar first: qw, qx, qy, qz".to_owned(),
        Fault::Unit { .. } => "write positions in mm".to_owned(),
        Fault::Duplicate { .. } => {
            "number the frames of a capture on, or give a repeated capture a take of its own".to_owned()
        }
        _ => return None,
    })
}

fn complaint(recordings: &Recordings, case: &RecordedCase, row: u64, what: String) -> Complaint {
    Complaint {
        file: recordings.file.clone(),
        row_word: recordings.row_word,
        row,
        case: case.name.clone(),
        what,
        help: None,
        serious: true,
    }
}

/// What no estimate could be made from, each thing once.
fn of_readings(recordings: &Recordings, index: usize, case: &RecordedCase, replayed: &Replayed) -> Vec<Complaint> {
    let first = replayed.readings.partition_point(|reading| reading.case < index);
    let readings = replayed.readings[first..].iter().take_while(|reading| reading.case == index);
    let (mut complaints, mut said, mut looked_at) = (Vec::new(), HashSet::new(), HashSet::new());
    for reading in readings {
        let procedure = &replayed.plan.variants[reading.variant].procedure;
        for failure in reading.failures() {
            let step = RecordedStep::of(failure.step, procedure.femur);
            if !said.insert((step, failure.reason)) {
                continue;
            }
            let at = case.of(step).next();
            let what = reason_in_words(failure, step, at.is_some());
            let tip = failure.step == Step::TipPivot && failure.reason == Reason::NotRecorded;
            let help = tip.then(|| "record a tip pivot, or give the tip as drawn: tools.probe_tip_mm".to_owned());
            let row = at.map_or(case.row, |capture| capture.row);
            complaints.push(Complaint { help, ..complaint(recordings, case, row, what) });
        }
        let fit = reading.fit;
        let mut look = |what: String, help: &str| {
            if looked_at.insert(what.clone()) {
                let mut complaint = complaint(recordings, case, case.row, what);
                (complaint.help, complaint.serious) = (Some(help.to_owned()), false);
                complaints.push(complaint);
            }
        };
        if fit.pose_rms_mm > LARGEST_FRE_MM {
            look(
                format!("markers fit their drawing to {:.1} mm only (root mean square)", fit.pose_rms_mm),
                "compare tools.*_markers_mm and the numbers of the markers with the tracker that was recorded",
            );
        }
        if fit.asis_width_mm.is_finite() && !ASIS_WIDTH_MM.contains(&fit.asis_width_mm) {
            look(
                format!("the spines are {:.1} mm apart", fit.asis_width_mm),
                "compare the unit of the positions, the tip, and which points were touched",
            );
        }
        if fit.unseen_frames > 0 {
            look(
                format!("{} frames with too few markers are left out", fit.unseen_frames),
                "a frame needs three markers that are not in a line",
            );
        }
    }
    complaints
}

fn reason_in_words(Failure { reason, .. }: Failure, step: RecordedStep, there: bool) -> String {
    match reason {
        Reason::NotRecorded if !there => format!("no {step} was recorded (the case begins here)"),
        _ => format!("{step}: {reason}"),
    }
}

fn of_truth(recordings: &Recordings, truths: &Truths) -> Vec<Complaint> {
    let named = |row: u64, case: &str, what: String, serious: bool| Complaint {
        file: truths.file.clone(),
        row_word: truths.row_word,
        row,
        case: case.to_owned(),
        what,
        help: None,
        serious,
    };
    let cases: HashSet<&str> = recordings.cases.iter().map(|case| case.name.as_str()).collect();
    let faults = truths.faults.iter().map(|fault| named(fault.row, &fault.case, fault.reason.to_string(), true));
    let unknown = truths
        .rows
        .iter()
        .filter(|row| !cases.contains(row.case.as_str()))
        .map(|row| named(row.row, &row.case, format!("no such case in {}", recordings.file), false));
    let mut complaints: Vec<Complaint> = faults.chain(unknown).collect();
    complaints.sort_by_key(|complaint| complaint.row);
    complaints
}
