//! How the readings of two arms agree: difference against mean.

use super::{MOST_PAIRS, against, heading, point_file_columns, shown, suffix};
use crate::analysis::limits_of_agreement::DEVICES_FOR_AN_INTERVAL;
use crate::analysis::{CONFIDENCE, Estimate};
use crate::experiment::{Plan, Variant};
use crate::measurement::Output;
use crate::record::PartError;
use crate::record::tables::Cell;
use crate::report::chart::{AgreementLine, AgreementPlot, Alternative, Axis, agreement_plot};
use crate::report::columns::Columns;
use crate::report::evidence::{Chart, Entry, Files, Table};
use crate::report::words::{count, estimate, number, percent};
use crate::study::{Agreement, Assessment};

const FILE: &str = "agreement";
const HEADER: [&str; 16] = [
    "arm_a",
    "arm_b",
    "point",
    "output",
    "unit",
    "n",
    "bias",
    "bias_low",
    "bias_high",
    "sd",
    "lower_limit",
    "lower_limit_low",
    "lower_limit_high",
    "upper_limit",
    "upper_limit_low",
    "upper_limit_high",
];

pub fn entries(
    plan: &Plan,
    assessment: &Assessment,
    columns: &dyn Columns,
    files: &mut Files,
) -> Result<Vec<Entry>, PartError> {
    let all = &assessment.arms.agreements;
    files.add_tidy(FILE, &HEADER, all.iter().filter_map(row).collect());
    let shown = shown(plan);
    let first: Vec<&Agreement> =
        all.iter().filter(|found| found.arms[0].point == 0 && shown.contains(&found.output)).collect();
    let mut charts = Vec::new();
    for output in shown {
        for (place, found) in first.iter().filter(|found| found.output == output).take(MOST_PAIRS).enumerate() {
            charts.push(chart(plan, found, place, columns)?);
        }
    }
    let level = format!("({}\u{a0}% interval)", percent(CONFIDENCE));
    let line = |found: &&Agreement| {
        let limits = found.limits;
        let of = |which: fn(crate::analysis::limits_of_agreement::LimitsOfAgreement) -> Estimate| {
            estimate(limits.map(which))
        };
        vec![
            against(found.arms),
            found.output.name().to_owned(),
            found.output.unit().symbol().to_owned(),
            count(limits.map_or(0, |limits| limits.bias.count)),
            of(|limits| limits.bias),
            limits.map_or_else(|| "none".to_owned(), |limits| number(limits.sd, 3)),
            of(|limits| limits.lower),
            of(|limits| limits.upper),
        ]
    };
    let devices = match &assessment.devices {
        None => String::new(),
        Some(devices) if devices.iter().any(|&devices| devices < DEVICES_FOR_AN_INTERVAL as u64) => format!(
            " Trials of one device are not independent, and fewer than {DEVICES_FOR_AN_INTERVAL} devices allow no interval of the \
             limits."
        ),
        Some(_) => " Trials of one device are not independent: intervals rest on whole devices.".to_owned(),
    };
    Ok(vec![
        Entry::heading("agreement-of-readings", "Agreement of readings"),
        Entry::paragraph(format!(
            "Two arms may agree and both be wrong: agreement compares readings with each other and never with the truth. It is \
             what a bench without a reference would show. The limits hold 95 of 100 differences if these are normal and do not \
             change with the size of the reading (Bland JM, Altman DG. Lancet 1986;327:307-310), which the picture shows.{devices}{}",
            if assessment.arms.apart.is_empty() {
                ""
            } else {
                " Between arms with different estimands the mean difference includes that of what is estimated."
            }
        )),
        Entry::Charts { charts },
        Entry::Table(Table {
            id: "table-agreement".to_owned(),
            caption: "Limits of agreement".to_owned(),
            reading: "First reading minus second. Between the two limits lie about 95\u{a0}% of the differences; whether one arm may \
                      stand in for the other is a matter of how large a difference one would bear, not of a test."
                .to_owned(),
            columns: vec![
                heading("arms", false),
                heading("output", false),
                heading("unit", false),
                heading("trials", true),
                heading(format!("mean difference {level}"), true),
                heading("standard deviation", true),
                heading(format!("lower limit {level}"), true),
                heading(format!("upper limit {level}"), true),
            ],
            rows: first.iter().map(line).collect(),
            csv: FILE.to_owned(),
        }),
    ])
}

fn row(found: &Agreement) -> Option<Vec<Cell>> {
    let limits = found.limits?;
    let mut cells: Vec<Cell> = point_file_columns(found.arms).into();
    cells.extend([Cell::from(found.arms[0].point), found.output.id().into(), found.output.unit().suffix().into()]);
    cells.push(limits.bias.count.into());
    cells.extend(crate::report::tables::three(Some(limits.bias)));
    cells.push(limits.sd.into());
    cells
        .extend([limits.lower, limits.upper].into_iter().flat_map(|limit| crate::report::tables::three(Some(limit))));
    Some(cells)
}

/// Readings of one arm.
fn readings(plan: &Plan, arm: &Variant, output: Output, columns: &dyn Columns) -> Result<Vec<f64>, PartError> {
    let index = plan.variants.iter().position(|other| std::ptr::eq(other, arm)).unwrap_or(0);
    let name = format!("{}_read_{}", output.id(), output.unit().suffix());
    Ok(columns.of(u32::try_from(index).unwrap_or(0), &name)?.unwrap_or_default())
}

fn chart(plan: &Plan, found: &Agreement, place: usize, columns: &dyn Columns) -> Result<Chart, PartError> {
    let [one, other] = [
        readings(plan, found.arms[0], found.output, columns)?,
        readings(plan, found.arms[1], found.output, columns)?,
    ];
    let pairs: Vec<[f64; 2]> =
        one.iter().zip(&other).map(|(one, other)| [0.5 * (one + other), one - other]).collect();
    let (name, unit) = (found.output.name(), found.output.unit().suffix());
    let (x, y) =
        (format!("Mean of both readings, {name}"), format!("{} minus {}", found.arms[0].arm, found.arms[1].arm));
    let line = |label: &'static str, estimate: Estimate| {
        let interval = estimate.interval.map_or([f64::NAN; 2], |ends| [ends.low, ends.high]);
        AgreementLine { label, value: estimate.value, interval }
    };
    let drawn: Vec<AgreementLine> = found.limits.map_or_else(Vec::new, |limits| {
        vec![line("lower limit", limits.lower), line("mean", limits.bias), line("upper limit", limits.upper)]
    });
    let title = format!("Agreement of {}, {name}", against(found.arms));
    let description = format!("Difference against mean of two readings of {name} in the same trials.");
    let data =
        AgreementPlot { x: Axis { label: &x, unit }, y: Axis { label: &y, unit }, pairs: &pairs, lines: &drawn };
    Ok(Chart {
        id: format!("agreement-{}-pair-{}", suffix(plan, found.output, 0), place + 1),
        caption: format!("{}, {name}", against(found.arms)),
        reading: "A dot is a trial. Dashed lines are the mean difference and the limits of agreement, with their intervals as \
                  bands. A cloud that widens or slopes says that the difference depends on the size of the reading: one pair of \
                  limits does not describe it."
            .to_owned(),
        svg: agreement_plot(Alternative { title: &title, description: &description }, &data),
        wide: false,
        csv: FILE.to_owned(),
    })
}
