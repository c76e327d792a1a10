//! Camera frames that gave no pose, step by step.

use crate::analysis::CONFIDENCE;
use crate::analysis::moments::moments;
use crate::experiment::{Plan, Variant};
use crate::measurement::Step;
use crate::record::tables::Cell;
use crate::record::{PartError, Parts, Rows, Schema};
use crate::report::evidence::{Entry, Files, Heading, Table, label};
use crate::report::words::{count, estimate};
use crate::simulation::CameraModel;

const HEADER: [&str; 9] = [
    "arm",
    "point",
    "step",
    "n",
    "lost_share",
    "lost_share_low",
    "lost_share_high",
    "cases_with_loss",
    "most_lost_share",
];

/// The table of lost frames, with its heading; nothing where no camera of the plan can lose one.
pub fn lost(plan: &Plan, parts: &Parts, files: &mut Files) -> Result<Vec<Entry>, PartError> {
    let (mut rows, mut cells) = (Vec::new(), Vec::new());
    for (index, variant) in (0..).zip(&plan.variants) {
        if variant.model.camera.model != CameraModel::Pixel {
            continue;
        }
        for step in Step::TRACKED {
            let column = parts.column(index, &Schema::lost_column(step), Rows::LastReduction)?;
            let (shares, _) = column.into_present();
            if let Some((row, cell)) = of_step(plan, variant, step, &shares) {
                rows.push(row);
                cells.push(cell);
            }
        }
    }
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let csv = files.add("frames", &HEADER, cells);
    let table = Table {
        id: "table-frames".to_owned(),
        caption: "Camera frames that gave no pose".to_owned(),
        reading: "Lost is the proportion of the frames of a step that gave no pose: too few markers seen, or two poses that \
                  cannot be told apart. It is the mean over the cases with its 95 % interval; frames of one case go \
                  together. A capture goes on with the frames that are left, and fails where they are fewer than \
                  measure.least_tracked_proportion."
            .to_owned(),
        columns: ["variant", "step", "cases", "lost [%]", "cases with a lost frame", "most lost in a case [%]"]
            .iter()
            .enumerate()
            .map(|(i, name)| Heading { name: (*name).to_owned(), numbers: i > 1 })
            .collect(),
        rows,
        csv,
    };
    Ok(vec![Entry::heading("frames", "Frames lost"), Entry::Table(table)])
}

fn of_step(plan: &Plan, variant: &Variant, step: Step, shares: &[f64]) -> Option<(Vec<String>, Vec<Cell>)> {
    let mean = moments(shares)?.bias(CONFIDENCE);
    let most = shares.iter().copied().fold(0.0, f64::max);
    let (n, with_loss) = (shares.len() as u64, shares.iter().filter(|&&share| share > 0.0).count() as u64);
    let percent: Vec<f64> = shares.iter().map(|share| 100.0 * share).collect();
    let row = vec![
        label(plan, variant).unwrap_or_else(|| variant.arm.clone()),
        step.to_string(),
        count(n),
        estimate(moments(&percent).map(|moments| moments.bias(CONFIDENCE))),
        count(with_loss),
        format!("{:.1}", 100.0 * most),
    ];
    let interval = mean.interval;
    let cells = vec![
        variant.arm.as_str().into(),
        variant.point.into(),
        step.word().into(),
        n.into(),
        mean.value.into(),
        interval.map(|interval| interval.low).into(),
        interval.map(|interval| interval.high).into(),
        with_loss.into(),
        most.into(),
    ];
    Some((row, cells))
}
