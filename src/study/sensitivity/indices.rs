//! Variance-based indices by pick-freeze on the keyed streams: for each group the cases of the first set of draws with that
//! group alone from the second.

use super::{Asking, CONFIDENCE, errors};
use crate::analysis::indices::{Indices, PickFreeze, indices_from};
use crate::experiment::{Group, Sensitivity, Variant};
use crate::measurement::Output;
use crate::record::Parts;
use crate::study::derive::{all_redrawn, redrawn};
use crate::trial::{Cells, RunError, run_cells};

/// With more rows dropped than this proportion no ranking is stated.
pub const MOST_DROPPED: f64 = 0.01;

/// The indices of every group on every output.
#[derive(Clone, Debug)]
pub struct IndexStudy {
    /// The groups, the rest last.
    pub groups: Vec<Group>,
    /// Rows asked for.
    pub rows: u64,
    /// One for each output asked for.
    pub outputs: Vec<OutputIndices>,
}

/// The indices of every group on one output.
#[derive(Clone, Debug)]
pub struct OutputIndices {
    /// The output.
    pub output: Output,
    /// Its indices, in the order of the groups.
    pub indices: Indices,
}

impl OutputIndices {
    /// Whether so many rows were dropped that no ranking may be stated.
    #[must_use]
    pub fn too_many_dropped(&self) -> bool {
        let Indices { rows, dropped, .. } = self.indices;
        dropped as f64 > MOST_DROPPED * (rows + dropped) as f64
    }
}

pub(super) fn ask(
    asking: &Asking,
    arm: usize,
    variant: &Variant,
    asked: &Sensitivity,
) -> Result<IndexStudy, RunError> {
    let groups = asked.all_groups();
    let mut variants = vec![variant.clone(), all_redrawn(variant)];
    variants.extend(groups.iter().map(|group| redrawn(variant, group)));
    let study = format!("indices{}", arm + 1);
    let cells = Cells { study: &study, variants: &variants, rows: asking.rows };
    let parts = Parts::list(&run_cells(asking.plan, &cells, asking.folder, asking.threads, asking.progress)?)?;
    let columns = (0..).zip(&variants).map(|(cell, _)| errors(&parts, cell)).collect::<Result<Vec<_>, _>>()?;
    let of = |output: Output| {
        let column = |cell: usize| columns[cell][output.place()].as_slice();
        let rows = PickFreeze { a: column(0), b: column(1), mixed: (2..columns.len()).map(column).collect() };
        OutputIndices { output, indices: indices_from(&rows, CONFIDENCE, &asking.draws) }
    };
    Ok(IndexStudy { groups, rows: asking.rows, outputs: asking.plan.asked().outputs().map(of).collect() })
}
