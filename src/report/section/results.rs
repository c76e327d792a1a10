//! The errors of every variant: a summary table and charts.

use super::{failures, figures, rare_events};
use crate::analysis::CONFIDENCE;
use crate::experiment::Plan;
use crate::record::PartError;
use crate::report::columns::Columns;
use crate::report::evidence::{Entry, Files, Heading, Section, Table, label, prefix};
use crate::report::tables;
use crate::report::words::{count, estimate, measured, percent, quantile, quantile_decimals};
use crate::study::{Assessment, OutputAssessment};

pub fn section(
    plan: &Plan,
    assessment: &Assessment,
    columns: &dyn Columns,
    files: &mut Files,
) -> Result<Section, PartError> {
    let csv = files.add("summary", &tables::SUMMARY, tables::summary_rows(assessment));
    let mut entries = Vec::new();
    for (index, variant) in plan.variants.iter().enumerate() {
        let prefix = prefix(plan, index);
        let label = label(plan, variant);
        entries.extend(label.iter().map(|label| Entry::heading(format!("{prefix}results"), label.clone())));
        let outputs: Vec<_> =
            assessment.outputs.iter().filter(|assessed| std::ptr::eq(assessed.variant, variant)).collect();
        entries.push(Entry::paragraph(failures::counts(plan, assessment, index)));
        entries.push(Entry::Table(summary(&prefix, label.as_deref(), &outputs, csv.clone())));
        let notes = rare_events::notes(&outputs, assessment.devices.is_some());
        if !notes.is_empty() {
            entries.push(Entry::List { items: notes });
        }
        let of_variant = figures::VariantFigures {
            plan,
            index,
            prefix: &prefix,
            label: label.as_deref(),
            outputs: &outputs,
            together: &assessment.together[index],
        };
        entries.extend(of_variant.draw(columns, files)?);
    }
    Ok(Section { id: "results", title: "Errors found", entries })
}

fn summary(prefix: &str, label: Option<&str>, outputs: &[&OutputAssessment], csv: String) -> Table {
    let level = format!("({}\u{a0}% interval)", percent(CONFIDENCE));
    let columns = [
        ("error of".to_owned(), false),
        ("unit".to_owned(), false),
        ("measured".to_owned(), true),
        ("failed".to_owned(), true),
        (format!("bias {level}"), true),
        (format!("standard deviation {level}"), true),
        (format!("95\u{a0}% of errors within {level}"), true),
        ("largest".to_owned(), true),
    ];
    let row = |assessed: &&OutputAssessment| {
        let s = &assessed.summary;
        let digits = quantile_decimals(s.p95_abs_low, s.p95_abs_high);
        vec![
            assessed.output.name().to_owned(),
            assessed.output.unit().symbol().to_owned(),
            count(s.n - s.failed),
            count(s.failed),
            estimate(s.bias),
            estimate(s.sd),
            quantile(s.p95_abs.map(|p95| p95.value), s.p95_abs_low, s.p95_abs_high),
            s.max_abs.map_or_else(|| "none".to_owned(), |value| measured(value, digits)),
        ]
    };
    let of = label.map_or(String::new(), |label| format!(", {label}"));
    Table {
        id: format!("table-{prefix}summary"),
        caption: format!("Errors in one line each{of}"),
        reading: "Bias is the mean error, reading minus truth; 95\u{a0}% of the absolute errors are within the value of the \
                  last column but one; the largest is that of these trials, more trials find larger ones. The file holds \
                  further quantiles and the root mean square."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name, numbers }).into(),
        rows: outputs.iter().map(row).collect(),
        csv,
    }
}
