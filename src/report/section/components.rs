//! A nested design: components of the variance, and what its trials are worth.

use crate::analysis::CONFIDENCE;
use crate::analysis::components::{Component, LEAST_EVENT_CASES};
use crate::analysis::designs::nearest;
use crate::analysis::rare_events::{MANY_EVENTS, MANY_EVENTS_RECORDED};
use crate::experiment::{Design, Plan};
use crate::measurement::RESOLUTION;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, IntervalRow, Intervals, intervals};
use crate::report::evidence::{Chart, Entry, Files, Heading, Section, Table, label, prefix};
use crate::report::words::{Bound, bounded_percent, count, measured, number, percent};
use crate::simulation::Stratum;
use crate::study::{Assessment, OutputAssessment, rare_sources};

/// Columns of tables/components.csv.
const COMPONENTS: [&str; 13] = [
    "arm",
    "output",
    "unit",
    "stratum",
    "variance",
    "variance_low",
    "variance_high",
    "sd",
    "share",
    "point",
    "confidence",
    "raw_variance",
    "term",
];

/// `None` without a nested design.
pub fn section(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Option<Section> {
    let (design, devices) = plan.design.zip(assessment.devices.as_ref())?;
    let csv = files.add("components", &COMPONENTS, assessment.outputs.iter().flat_map(rows).collect());
    let mut entries = vec![Entry::paragraph(overview(design, devices.first().copied().unwrap_or_default()))];
    for (index, variant) in plan.variants.iter().enumerate() {
        let (prefix, label) = (prefix(plan, index), label(plan, variant));
        let of_variant: Vec<_> =
            assessment.outputs.iter().filter(|assessed| std::ptr::eq(assessed.variant, variant)).collect();
        entries.extend(label.iter().map(|label| Entry::heading(format!("{prefix}components"), label.clone())));
        entries.push(Entry::paragraph(coverage(devices.get(index).copied().unwrap_or_default(), &of_variant)));
        entries.push(Entry::Table(table(&prefix, label.as_deref(), &of_variant, csv.clone())));
        entries.extend(event_note(&of_variant).map(Entry::paragraph));
        let charts = charts(plan, &prefix, label.as_deref(), &of_variant, files);
        if !charts.is_empty() {
            entries.push(Entry::Charts { charts });
        }
    }
    Some(Section { id: "components", title: "Where the error repeats", entries })
}

fn overview(design: Design, devices: u64) -> String {
    format!(
        "{} devices were simulated, {} cases on each, each case measured {}. What a device draws is the same in all its cases, \
         what a case draws in all its repeats. The components are the variances between devices, between cases on one device, \
         and between repeats of a case; they add up to the total variance. Only the last is a variance of ISO 5725-1, the \
         repeatability variance; all conditions are simulated. The standard deviation of an error is the square root of its \
         total variance and has the same interval. The effective unit is the device: intervals of quantiles rest on whole \
         devices drawn again (bias-corrected and accelerated bootstrap), bounds of proportions on counts of whole devices.",
        count(devices),
        count(design.cases),
        if design.repeats == 1 { "once".to_owned() } else { format!("{} times", design.repeats) },
    )
}

/// What the intervals cover in the design tried that is nearest to the least favourable output.
fn coverage(devices: u64, outputs: &[&OutputAssessment]) -> String {
    let share = |assessed: &&OutputAssessment| {
        let parts = || assessed.components.iter().filter(|component| component.part);
        let all: f64 = parts().map(Component::variance).sum();
        parts().next().map_or(0.0, |device| if all > 0.0 { device.variance() / all } else { 0.0 })
    };
    let largest = outputs.iter().map(share).fold(0.0, f64::max);
    let tried = nearest(devices, largest);
    format!(
        "The device's share of the variance is at most {}\u{a0}% here. In the nearest design that was tried ({} devices of {} cases, \
         normal errors, {}\u{a0}% of the variance the device's, {} repeats) the {}\u{a0}% interval of the 95th percentile held the \
         true value in {}\u{a0}% of the repeats.",
        number(100.0 * largest, 0),
        count(tried.devices),
        count(tried.cases),
        percent(tried.device_share),
        count(tried.repeats.into()),
        percent(CONFIDENCE),
        bounded_percent(tried.coverage, CONFIDENCE, Bound::Lower),
    )
}

/// What rare events mean for the components; nothing where there are none.
fn event_note(outputs: &[&OutputAssessment]) -> Option<String> {
    let without = |what: &str| {
        let refused =
            |assessed: &&&OutputAssessment| assessed.components.last().is_some_and(|total| total.interval.is_none());
        let names: Vec<&str> = outputs.iter().filter(refused).map(|assessed| assessed.output.name()).collect();
        if names.is_empty() { String::new() } else { format!(" For {} there are too few: {what}.", names.join("; ")) }
    };
    let sources: Vec<_> =
        outputs.iter().flat_map(|assessed| rare_sources(assessed.variant, assessed.output)).collect();
    if sources.iter().any(|source| source.stratum != Stratum::Case) {
        return Some(format!(
            "A rare event that is drawn at each capture makes no stratum of cases: there must be many of them.{}",
            without(&format!("components have an interval from {MANY_EVENTS_RECORDED} trials with an event on"))
        ));
    }
    if !sources.is_empty() {
        return Some(format!(
            "A rare event that a case draws belongs to the variance between cases, which is estimated from the cases without \
             and with it, weighted by its known probability.{}",
            without(&format!(
                "sums that hold that variance have an interval from {LEAST_EVENT_CASES} cases with an event on"
            ))
        ));
    }
    let mixture = outputs.iter().any(|assessed| assessed.summary.events.unrecorded.is_some());
    mixture.then(|| {
        let many = number(MANY_EVENTS, 0);
        format!(
            "No trial records the rarer part of a mixture: it must be expected often.{}",
            without(&format!("components have an interval where it is expected to be drawn {many} times or more"))
        )
    })
}

fn share(component: &Component, all: f64) -> Option<f64> {
    (component.part && all > 0.0).then(|| component.variance() / all)
}

fn sum_of_parts(components: &[Component]) -> f64 {
    components.iter().filter(|component| component.part).map(Component::variance).sum()
}

fn table(prefix: &str, label: Option<&str>, outputs: &[&OutputAssessment], csv: String) -> Table {
    let columns = [
        ("error of".to_owned(), false),
        ("stratum".to_owned(), false),
        ("component, simulated conditions".to_owned(), false),
        (format!("variance ({}\u{a0}% interval)", percent(CONFIDENCE)), true),
        ("standard deviation".to_owned(), true),
        ("share".to_owned(), true),
    ];
    let mut rows = Vec::new();
    for assessed in outputs {
        let all = sum_of_parts(&assessed.components);
        for found in &assessed.components {
            let negative = if found.raw < 0.0 { " (estimate negative, reported as 0)" } else { "" };
            let digits = digits(found, all);
            let interval = found.interval.map_or_else(
                || "no\u{a0}interval".to_owned(),
                |ends| format!("{}\u{a0}to\u{a0}{}", squared(ends.low, digits), squared(ends.high, digits)),
            );
            rows.push(vec![
                format!("{}, {}", assessed.output.name(), assessed.output.unit().symbol()),
                found.stratum.to_owned(),
                found.term.to_owned(),
                format!("{} ({interval}){negative}", squared(found.variance(), digits)),
                measured(found.variance().sqrt(), digits),
                share(found, all)
                    .map_or_else(|| "sum".to_owned(), |share| format!("{}\u{a0}%", number(100.0 * share, 1))),
            ]);
        }
    }
    let of = label.map_or(String::new(), |label| format!(", {label}"));
    Table {
        id: format!("table-{prefix}components"),
        caption: format!("Components of the variance{of}"),
        reading: "Parts add up to the total; rows marked sum are sums of parts. Intervals by the modified large-sample method, \
                  with the degrees of freedom that the scatter of each mean square between devices shows, at most those of the \
                  design; an estimate that comes out negative is reported as 0 and marked."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name, numbers }).into(),
        rows,
        csv,
    }
}

/// A variance; 0 where its square root is below the resolution of a reading.
fn squared(variance: f64, digits: usize) -> String {
    if variance.sqrt() < RESOLUTION { "0".to_owned() } else { number(variance, digits) }
}

/// Three digits of the variance as a whole.
fn digits(component: &Component, all: f64) -> usize {
    let size = all.max(component.variance());
    if size > 0.0 { crate::report::words::decimals(Some(0.03 * size)) } else { 3 }
}

fn charts(
    plan: &Plan,
    prefix: &str,
    label: Option<&str>,
    outputs: &[&OutputAssessment],
    files: &mut Files,
) -> Vec<Chart> {
    let limited =
        |assessed: &&&OutputAssessment| plan.requirements.iter().any(|asked| asked.output == assessed.output);
    let any = outputs.iter().any(|assessed| limited(&assessed));
    let wanted = outputs.iter().filter(|assessed| !any || limited(assessed)).filter(|a| !a.components.is_empty());
    wanted
        .map(|assessed| {
            let output = assessed.output;
            let name = format!("{prefix}components-{}", output.id().replace('_', "-"));
            let root = |value: f64| value.max(0.0).sqrt();
            let ends = |found: &Component| found.interval.map_or([f64::NAN; 2], |ends| [root(ends.low), root(ends.high)]);
            let data: Vec<IntervalRow> = assessed
                .components
                .iter()
                .map(|found| {
                    let [low, high] = ends(found);
                    IntervalRow { label: found.stratum, point: root(found.variance()), low, high }
                })
                .collect();
            let unit = output.unit().suffix();
            let cells = assessed.components.iter().map(|found| {
                let finite = |value: f64| Cell::from(value.is_finite().then_some(value));
                let [low, high] = ends(found);
                vec![found.stratum.into(), root(found.variance()).into(), finite(low), finite(high)]
            });
            let header = ["stratum".to_owned(), format!("sd_{unit}"), format!("low_{unit}"), format!("high_{unit}")];
            let csv = files.add(&name, &header, cells.collect());
            let axis = Axis { label: "Standard deviation", unit };
            let description = format!("Standard deviation of the error of {} at each stratum, with intervals.", output.name());
            let of = label.map_or(String::new(), |label| format!(", {label}"));
            let title = format!("Components of the error of {}", output.name());
            Chart {
                caption: format!("Standard deviation of the error of {} by stratum{of}", output.name()),
                reading: format!(
                    "Each dot is the square root of a component, the bar its {}\u{a0}% interval; the last rows are sums of those above.",
                    percent(CONFIDENCE)
                ),
                svg: intervals(Alternative { title: &title, description: &description }, &Intervals { axis, rows: &data, reference: None }),
                id: name,
                wide: false,
                csv,
            }
        })
        .collect()
}

fn rows(assessed: &OutputAssessment) -> Vec<Vec<Cell>> {
    let all = sum_of_parts(&assessed.components);
    let row = |found: &Component| {
        vec![
            assessed.variant.arm.as_str().into(),
            assessed.output.id().into(),
            assessed.output.unit().suffix().into(),
            found.stratum.into(),
            found.variance().into(),
            found.interval.map(|ends| ends.low).into(),
            found.interval.map(|ends| ends.high).into(),
            found.variance().sqrt().into(),
            share(found, all).into(),
            assessed.variant.point.into(),
            found.interval.map(|ends| ends.confidence).into(),
            found.raw.into(),
            found.term.into(),
        ]
    };
    assessed.components.iter().map(row).collect()
}
