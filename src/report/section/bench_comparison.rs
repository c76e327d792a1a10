//! Where the simulation was compared with a bench, or that it was not.

use crate::experiment::Plan;
use crate::report::evidence::{Entry, Section};

/// Said where the experiment names no comparison.
pub const NONE: &str = "There is no comparison with bench data in this report: whether the model predicts a real measurement has not \
                        been shown here.";

pub fn section(plan: &Plan) -> Section {
    let text = plan.reporting.bench_comparison.as_ref().map_or_else(
        || {
            format!(
                "{NONE} `navassay replay` takes recordings from a bench through the same procedure, and with `replay.model` holds \
                 their errors against this run; name its report in `report.bench_comparison`."
            )
        },
        |text| format!("{text} (As stated by the writer; this report did not check it.)"),
    );
    Section { id: "bench", title: "Comparison with bench data", entries: vec![Entry::paragraph(text)] }
}
