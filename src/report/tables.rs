//! The tables of a run that other programs rely on.

use crate::experiment::Variant;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::study::{Assessment, OutputAssessment, RequirementAssessment};

/// Columns of tables/summary.csv.
pub const SUMMARY: [&str; 23] = [
    "arm",
    "point",
    "output",
    "unit",
    "plane",
    "measurand_plane",
    "angles",
    "n",
    "failed",
    "bias",
    "bias_low",
    "bias_high",
    "sd",
    "sd_low",
    "sd_high",
    "rms",
    "p50_abs",
    "p90_abs",
    "p95_abs",
    "p95_abs_low",
    "p95_abs_high",
    "p99_abs",
    "max_abs",
];

/// Columns of tables/verdicts.csv.
pub const VERDICTS: [&str; 19] = [
    "requirement",
    "risk",
    "arm",
    "point",
    "output",
    "unit",
    "plane",
    "measurand_plane",
    "angles",
    "limit",
    "proportion",
    "confidence",
    "n",
    "failed",
    "bound",
    "exceed",
    "exceed_low",
    "exceed_high",
    "verdict",
];

/// What an output of a variant is: unit, planes and definition of the angles.
fn kind(variant: &Variant, output: Output) -> [Cell; 5] {
    [
        output.id().into(),
        output.unit().suffix().into(),
        variant.procedure.plane.word().into(),
        variant.measurand_plane.word().into(),
        variant.procedure.angles.word().into(),
    ]
}

/// Every output of every variant.
pub fn summary_rows(assessment: &Assessment) -> Vec<Vec<Cell>> {
    let row = |assessed: &OutputAssessment| {
        let s = &assessed.summary;
        let mut row = vec![assessed.variant.arm.as_str().into(), assessed.variant.point.into()];
        row.extend(kind(assessed.variant, assessed.output));
        row.extend([Cell::from(s.n), s.failed.into()]);
        for estimate in [s.bias, s.sd] {
            row.push(estimate.map(|e| e.value).into());
            row.push(estimate.and_then(|e| e.interval).map(|i| i.low).into());
            row.push(estimate.and_then(|e| e.interval).map(|i| i.high).into());
        }
        let values = [s.rms, s.p50_abs, s.p90_abs, s.p95_abs, s.p95_abs_low, s.p95_abs_high, s.p99_abs, s.max_abs];
        row.extend(values.map(Cell::from));
        row
    };
    assessment.outputs.iter().map(row).collect()
}

/// Every requirement for every variant.
pub fn verdict_rows(assessment: &Assessment) -> Vec<Vec<Cell>> {
    let row = |assessed: &RequirementAssessment| {
        let (asked, found) = (assessed.requirement, &assessed.judgement);
        let mut row: Vec<Cell> = vec![
            asked.id.as_str().into(),
            asked.risk.clone().into(),
            assessed.variant.arm.as_str().into(),
            assessed.variant.point.into(),
        ];
        row.extend(kind(assessed.variant, asked.output));
        row.extend([asked.limit, asked.proportion, asked.confidence].map(Cell::from));
        row.extend([found.n, found.failed].map(Cell::from));
        row.extend([found.bound, found.exceed].map(Cell::from));
        row.extend([found.exceed_low, found.exceed_high].map(Cell::from));
        row.push(found.verdict.word().into());
        row
    };
    assessment.requirements.iter().map(row).collect()
}
