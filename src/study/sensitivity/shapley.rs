//! Shapley effects on the keyed streams: for each set of groups the cases with that set drawn anew, given all others.

use super::{Asking, CONFIDENCE, errors};
use crate::analysis::shapley::{Shapley, shapley};
use crate::experiment::{Group, Sensitivity, Variant};
use crate::measurement::Output;
use crate::record::Parts;
use crate::study::derive::redrawn_given;
use crate::trial::{Cells, RunError, run_cells};

/// The effects of every group on every output.
#[derive(Clone, Debug)]
pub struct ShapleyStudy {
    /// The groups, the rest last.
    pub groups: Vec<Group>,
    /// Rows asked for.
    pub rows: u64,
    /// Cases of a row.
    pub cases: usize,
    /// One for each output asked for.
    pub outputs: Vec<(Output, Shapley)>,
}

pub(super) fn ask(
    asking: &Asking,
    arm: usize,
    variant: &Variant,
    asked: &Sensitivity,
) -> Result<ShapleyStudy, RunError> {
    let groups = asked.all_groups();
    // Cell 0 is the variant as it is. What is held comes first in the mixing of correlated scores; where that mixes otherwise
    // than the variant does, a set needs a first case of its own.
    let mut variants = vec![variant.clone()];
    let mut cells = Vec::new();
    for set in 1..1_usize << groups.len() {
        let drawn = |id: &str| (0..).zip(&groups).any(|(i, group): (u32, _)| set & (1 << i) != 0 && group.holds(id));
        let (held, anew) = redrawn_given(variant, drawn);
        let first = if held == *variant {
            0
        } else {
            variants.push(held);
            variants.len() - 1
        };
        variants.push(anew);
        cells.push([first, variants.len() - 1]);
    }
    let study = format!("shapley{}", arm + 1);
    let run = Cells { study: &study, variants: &variants, rows: asking.rows };
    let parts = Parts::list(&run_cells(asking.plan, &run, asking.folder, asking.threads, asking.progress)?)?;
    let columns = (0..).zip(&variants).map(|(cell, _)| errors(&parts, cell)).collect::<Result<Vec<_>, _>>()?;
    let seed = super::resampling_seed(asking.plan);
    let of = |output: Output| {
        let pairs: Vec<[&[f64]; 2]> =
            cells.iter().map(|cells| cells.map(|cell| columns[cell][output.place()].as_slice())).collect();
        (output, shapley(groups.len(), &pairs, CONFIDENCE, seed))
    };
    let outputs = asking.plan.asked().outputs().map(of).collect();
    Ok(ShapleyStudy { groups, rows: asking.rows, cases: variants.len(), outputs })
}
