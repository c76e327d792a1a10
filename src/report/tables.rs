//! The tables of a run that other programs rely on.

use super::section::answer::needed;
use crate::analysis::{Estimate, Summary};
use crate::experiment::Variant;
use crate::measurement::{OUTPUTS, Output};
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

/// Columns of a summary in brief, for tables of many runs.
pub const BRIEF: [&str; 11] = [
    "n",
    "failed",
    "bias",
    "bias_low",
    "bias_high",
    "sd",
    "sd_low",
    "sd_high",
    "p95_abs",
    "p95_abs_low",
    "p95_abs_high",
];

/// A summary in brief, in the order of [`BRIEF`].
pub fn brief(summary: &Summary) -> [Cell; 11] {
    let [bias, sd] = [summary.bias, summary.sd].map(three);
    let p95 = summary.p95_abs.map(|p95| p95.value);
    let [p95, low, high] = [p95, summary.p95_abs_low, summary.p95_abs_high].map(Cell::from);
    let ([bias, bias_low, bias_high], [sd, sd_low, sd_high]) = (bias, sd);
    let (n, failed) = (summary.n.into(), summary.failed.into());
    [n, failed, bias, bias_low, bias_high, sd, sd_low, sd_high, p95, low, high]
}

/// An estimate that is a number, and the ends of its interval.
pub fn three(estimate: Option<Estimate>) -> [Cell; 3] {
    let interval = estimate.and_then(|estimate| estimate.interval);
    [
        estimate.map(|estimate| estimate.value).filter(|value| value.is_finite()).into(),
        interval.map(|interval| interval.low).into(),
        interval.map(|interval| interval.high).into(),
    ]
}

/// Columns of tables/verdicts.csv.
pub const VERDICTS: [&str; 30] = [
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
    "direction",
    "guard",
    "out",
    "confidence_of_look",
    "measured_only_exceed",
    "measured_only_low",
    "measured_only_high",
    "devices",
    "n_effective",
    "trials_needed",
    "out_of_acceptance",
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
        let value = |estimate: Option<Estimate>| estimate.map(|estimate| estimate.value);
        row.extend([s.rms, s.p50_abs, s.p90_abs, s.p95_abs].map(|estimate| Cell::from(value(estimate))));
        row.extend([s.p95_abs_low, s.p95_abs_high, value(s.p99_abs), s.max_abs].map(Cell::from));
        row
    };
    assessment.outputs.iter().map(row).collect()
}

/// Every requirement for every variant. Of several limits together, the output is `joint` and the limit names the ids.
pub fn verdict_rows(assessment: &Assessment) -> Vec<Vec<Cell>> {
    let row = |assessed: &RequirementAssessment| {
        let (asked, found, variant) = (&assessed.asked, &assessed.judgement, assessed.variant);
        let single = asked.single();
        let mut row: Vec<Cell> =
            vec![asked.id.into(), asked.risk.into(), variant.arm.as_str().into(), variant.point.into()];
        let mut kind = single.map_or_else(|| kind(variant, OUTPUTS[0]), |limit| kind(variant, limit.output));
        if single.is_none() {
            (kind[0], kind[1]) = ("joint".into(), Cell::Blank);
        }
        row.extend(kind);
        let ids = || asked.limits.iter().map(|limit| limit.id.as_str()).collect::<Vec<_>>().join(" ");
        row.push(single.map_or_else(|| Cell::from(ids()), |limit| limit.limit.into()));
        row.extend([asked.proportion, asked.confidence].map(Cell::from));
        row.extend([found.n, found.failed].map(Cell::from));
        row.extend([found.bound, found.exceed].map(Cell::from));
        row.extend([found.exceed_low, found.exceed_high].map(Cell::from));
        row.push(found.verdict.word().into());
        row.push(single.map(|limit| limit.direction.word()).into());
        row.push(single.map(|limit| limit.guard).into());
        row.extend([Cell::from(found.out), found.confidence.into()]);
        row.extend([0, 1, 2].map(|which| Cell::from(found.measured_only.map(|bounds| bounds[which]))));
        row.push(found.devices.map(|devices| devices.count).into());
        row.push(found.devices.and_then(|devices| devices.n_effective).into());
        row.push(needed(asked, found).into());
        row.push(found.out_of_acceptance.into());
        row
    };
    assessment.requirements.iter().map(row).collect()
}
