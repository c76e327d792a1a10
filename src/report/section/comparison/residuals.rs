//! What a residual says of the error: next to nothing.

use super::heading;
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::record::{PartError, Schema};
use crate::report::chart::{Against, Alternative, Axis, Drawn, against};
use crate::report::columns::Columns;
use crate::report::evidence::{Chart, Entry, Files, Table};
use crate::report::tables::three;
use crate::report::words::estimate;
use crate::study::{Assessment, ResidualCorrelation, residuals_of};

const FILE: &str = "residuals";
/// Residuals that are drawn, each with the outputs it belongs to: the first that is asked for stands for them.
const DRAWN: [(&str, &[Output]); 3] = [
    ("pose_rms_mm", &Output::CUP),
    ("feature_reduction_rms_mm", &Output::LEG),
    ("centre_new_rms_mm", &Output::CENTRE),
];

pub fn entries(
    plan: &Plan,
    assessment: &Assessment,
    columns: &dyn Columns,
    files: &mut Files,
) -> Result<Vec<Entry>, PartError> {
    let all = &assessment.arms.residuals;
    let row = |found: &ResidualCorrelation| {
        let ends: [Cell; 3] = three(found.correlation);
        let mut cells = vec![Cell::from(found.variant.arm.as_str()), found.variant.point.into()];
        cells.extend([Cell::from(found.residual), found.output.id().into()]);
        cells.push(found.correlation.map(|found| found.count).into());
        cells.extend(ends);
        cells
    };
    let header = ["arm", "point", "residual", "output", "n", "correlation", "correlation_low", "correlation_high"];
    files.add_tidy(FILE, &header, all.iter().map(row).collect());
    let first: Vec<_> = all.iter().filter(|found| found.variant.point == 0).collect();
    let of = |arm: &str, residual: &str, output: Output| {
        let found = first.iter().find(|f| f.variant.arm == arm && f.residual == residual && f.output == output);
        estimate(found.and_then(|found| found.correlation))
    };
    let drawn: Vec<(&str, Output)> = DRAWN
        .into_iter()
        .filter_map(|(residual, outputs)| {
            Some((residual, plan.asked().outputs().find(|output| outputs.contains(output))?))
        })
        .collect();
    let mut rows = Vec::new();
    for variant in plan.variants.iter().filter(|variant| variant.point == 0) {
        for residual in residuals_of(&variant.procedure) {
            let mut line = vec![variant.arm.clone(), words(residual).to_owned()];
            line.extend(drawn.iter().map(|&(_, output)| of(&variant.arm, residual, output)));
            rows.push(line);
        }
    }
    let mut charts = Vec::new();
    for &(residual, output) in &drawn {
        charts.extend(chart(plan, residual, output, columns)?);
    }
    let mut columns = vec![heading("arm", false), heading("residual of", false)];
    columns.extend(drawn.iter().map(|(_, output)| heading(format!("with the error of {}", output.name()), true)));
    Ok(vec![
        Entry::heading("residuals", "What a residual says"),
        Entry::paragraph(
            "A residual says how well points fit together, not whether they lie where they should. What moves all points of a fit \
             alike leaves no residual, and it is the larger part of the error; for point-based registration residual and target \
             error have been shown to be uncorrelated (Fitzpatrick JM. Proc SPIE 7261:726102, 2009; cited from memory, the table \
             below shows it for these trials). So a small residual is no accuracy estimate, and a gate on it does not make \
             readings accurate.",
        ),
        Entry::Charts { charts },
        Entry::Table(Table {
            id: "table-residuals".to_owned(),
            caption: "Correlation of residuals with the size of the error".to_owned(),
            reading: "0: the residual says nothing of the error; 1: it says all. Fisher's 95\u{a0}% intervals, which take both as \
                      normal. None: the residual or the error has no spread in this arm."
                .to_owned(),
            columns,
            rows,
            csv: FILE.to_owned(),
        }),
    ])
}

/// A residual in words.
fn words(residual: &str) -> &'static str {
    match residual {
        "pose_rms_mm" => "tracker poses",
        "tip_pivot_rms_mm" => "tip pivot",
        "centre_native_rms_mm" => "native centre",
        "centre_new_rms_mm" => "new centre",
        "feature_baseline_rms_mm" => "feature at baseline",
        _ => "feature at the reduction",
    }
}

/// Of the first arm; `None` where the residual has no spread.
fn chart(plan: &Plan, residual: &str, output: Output, columns: &dyn Columns) -> Result<Option<Chart>, PartError> {
    let name = Schema::error_column(output);
    let (values, errors) = (columns.of(0, residual)?.unwrap_or_default(), columns.of(0, &name)?.unwrap_or_default());
    let spread = values.iter().filter(|value| value.is_finite()).any(|value| *value != values[0]);
    if !spread {
        return Ok(None);
    }
    let absolute: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    let x = format!("Residual of the {}", words(residual));
    let y = format!("Size of the error of {}", output.name());
    let title = format!("{x} against the error of {}", output.name());
    let description = "Scatter of a residual and the true error of the same trials.";
    let svg = against(
        Alternative { title: &title, description },
        &Against { axis: Axis { label: &y, unit: output.unit().suffix() }, errors: &absolute, limit: None },
        &Drawn { axis: Axis { label: &x, unit: "mm" }, values: &values },
    );
    Ok(Some(Chart {
        id: format!("residual-{}", output.id().replace('_', "-")),
        caption: format!("{title}, {}", plan.variants[0].arm),
        reading: "A dot is a trial; lines are the running median and 5 and 95\u{a0}% quantiles. Flat lines: whoever sees a small \
                  residual knows no more about the error than before."
            .to_owned(),
        svg,
        wide: false,
        csv: FILE.to_owned(),
    }))
}
