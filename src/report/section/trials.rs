//! How many trials each requirement takes: the table, and the operating characteristic curve of each rule.

use super::answer::limit_words;
use crate::analysis::Rule;
use crate::analysis::planning::{MOST_DEVICES, Needed};
use crate::experiment::Plan;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, BandPoint, Characteristic, Series, operating_characteristic};
use crate::report::evidence::{Chart, Entry, Files, Heading, Table};
use crate::report::words::{count, percent};
use crate::study::planned::{self, AssumedTruth, PROBABILITIES, PlannedRequirement, PlannedTrials};
use std::fmt::Write as _;

/// The table and the charts; nothing without requirements.
pub fn entries(plan: &Plan, planned: &PlannedTrials, files: &mut Files) -> Vec<Entry> {
    if plan.requirements.is_empty() {
        return Vec::new();
    }
    let mut entries = vec![Entry::Table(table(plan, planned, files))];
    entries.extend(planned.devices.then(|| Entry::paragraph(assumptions_of_devices())));
    entries.push(Entry::Charts { charts: charts(plan, planned, files) });
    entries
}

/// What is assumed where devices are planned.
pub fn assumptions_of_devices() -> String {
    format!(
        "Probabilities of nested designs are simulated (standard error at most 2.5 %). Assumed: the cases of a device are \
         independent of each other given the device, repeats of a case agree, and the stated share of the variance of a normal \
         score is between devices. Numbers of devices are looked for up to {}.",
        count(MOST_DEVICES)
    )
}

/// What the limit of a requirement is called: with a guard band it is not the limit that a pass must hold.
pub fn limits_in_words(planned: &PlannedRequirement) -> &'static str {
    match (planned.asked.limits.len() > 1, planned.guarded()) {
        (false, false) => "its limit",
        (false, true) => "its acceptance limit (the limit less the guard band)",
        (true, false) => "all of its limits",
        (true, true) => "all of its acceptance limits (each limit less its guard band)",
    }
}

/// That the planned trials (devices) cannot pass, and how many could.
pub fn too_few(planned: &PlannedTrials, requirement: &PlannedRequirement) -> String {
    let unit = planned.unit();
    match requirement.least {
        Some(least) => format!("this design cannot pass: at least {} {unit} are needed", count(least)),
        None => format!("no number of {unit} up to a billion can pass"),
    }
}

/// A probability of a pass in percent, never rounded to 0 or 1; with the digits that a simulated one has.
pub fn probability_words(probability: f64, simulated: bool) -> String {
    match (probability, simulated) {
        (p, true) if p > 0.995 => "more than 99 %".to_owned(),
        (p, true) if p < 0.005 => "less than 1 %".to_owned(),
        (p, true) => format!("about {:.0} %", 100.0 * p),
        (p, false) if p > 0.999 => "more than 99.9 %".to_owned(),
        (p, false) if p < 0.001 => "less than 0.1 %".to_owned(),
        (p, false) => format!("{:.1} %", 100.0 * p),
    }
}

/// Both bounds of a probability.
pub fn between([low, high]: [f64; 2], simulated: bool) -> String {
    match [low, high].map(|probability| probability_words(probability, simulated)) {
        [low, high] if low == high => low,
        [_, high] if low <= 0.0 => format!("at most {high}"),
        [low, high] => format!("at least {low} and at most {high}"),
    }
}

/// A number of trials (devices) and, in brackets, that from which all larger ones suffice.
pub fn needed_words(needed: Option<Needed>, devices: bool) -> String {
    match needed {
        None if devices => format!("more than {}", count(MOST_DEVICES)),
        None => "more than a billion".to_owned(),
        Some(Needed { least, .. }) if devices => format!("about {}", count(least)),
        Some(Needed { least, all_from }) if least == all_from => count(least),
        Some(Needed { least, all_from }) => format!("{} ({})", count(least), count(all_from)),
    }
}

const HEADER: [&str; 14] = [
    "requirement",
    "trials",
    "most_out",
    "needed_if_none_out",
    "allowed",
    "confidence_of_look",
    "true_outside",
    "device_share",
    "unit",
    "probability_of_pass",
    "needed_80",
    "all_from_80",
    "needed_90",
    "all_from_90",
];

fn table(plan: &Plan, planned: &PlannedTrials, files: &mut Files) -> Table {
    let (mut rows, mut cells) = (Vec::new(), Vec::new());
    for requirement in &planned.requirements {
        for (which, truth) in requirement.assumed.iter().enumerate() {
            rows.push(row(planned, requirement, truth, which == 0));
            cells.push(file_row(plan, planned, requirement, truth));
        }
    }
    let unit = planned.unit();
    let [first, second] = PROBABILITIES.map(|probability| format!("{unit} for {}\u{a0}%", percent(probability)));
    let mut columns =
        vec![("requirement".to_owned(), false), ("limit".to_owned(), true), ("allowed outside".to_owned(), true)];
    if !planned.devices {
        columns.push(("outside at most, for a pass".to_owned(), true));
    }
    columns.extend([(format!("least {unit}"), true), ("true proportion outside".to_owned(), true)]);
    if planned.devices {
        columns.push(("variance between devices".to_owned(), true));
    }
    let last = format!("probability of a pass with {} {unit}", count(planned.units));
    columns.extend([first, second, last].map(|name| (name, true)));
    Table {
        id: "table-sampling".to_owned(),
        caption: format!("Number of {unit} and probability of a pass"),
        reading: reading(planned),
        columns: columns.into_iter().map(|(name, numbers)| Heading { name, numbers }).collect(),
        rows,
        csv: files.add("sampling", &HEADER, cells),
    }
}

fn reading(planned: &PlannedTrials) -> String {
    let unit = planned.unit();
    let mut text = "The true proportion outside is an assumption, stated before the run.".to_owned();
    text.push_str(if planned.devices {
        " For each, about the smallest number of devices that passes with the probability."
    } else {
        " For each, the smallest number of trials that passes with the probability, and in brackets the number from which every \
         larger one does. Outside at most: of the planned trials."
    });
    let _ = write!(text, " Least {unit}: fewer cannot pass even if no trial is outside.");
    if planned.requirements.iter().any(PlannedRequirement::guarded) {
        text.push_str(
            " Where there is a guard band, outside means outside the acceptance limit, which is the limit less the guard band.",
        );
    }
    text
}

fn row(planned: &PlannedTrials, requirement: &PlannedRequirement, truth: &AssumedTruth, first: bool) -> Vec<String> {
    let PlannedRequirement { asked, rule, least, most_outside, .. } = requirement;
    let once = |words: String| if first { words } else { String::new() };
    let limits: Vec<String> = asked.limits.iter().map(|limit| limit_words(limit)).collect();
    let mut row = vec![
        once(asked.id.to_owned()),
        once(limits.join(" and ")),
        once(format!("{}\u{a0}%", percent(1.0 - rule.proportion))),
    ];
    if !planned.devices {
        row.push(once(most_outside.map_or_else(|| "cannot pass".to_owned(), count)));
    }
    row.push(once(least.map_or_else(|| "none".to_owned(), count)));
    row.push(format!("{}\u{a0}%", percent(truth.outside)));
    row.extend(truth.device_share.map(|share| format!("{}\u{a0}%", percent(share))));
    row.extend(truth.needed.map(|needed| needed_words(needed, planned.devices)));
    row.push(probability_words(truth.probability, planned.devices).replace(' ', "\u{a0}"));
    row
}

fn file_row(
    plan: &Plan,
    planned: &PlannedTrials,
    requirement: &PlannedRequirement,
    truth: &AssumedTruth,
) -> Vec<Cell> {
    let PlannedRequirement { asked, rule, least, most_outside, .. } = requirement;
    let mut row: Vec<Cell> = vec![
        asked.id.into(),
        plan.trials.into(),
        (*most_outside).into(),
        (*least).into(),
        (1.0 - rule.proportion).into(),
        rule.confidence.into(),
        truth.outside.into(),
        truth.device_share.into(),
        planned.unit().into(),
        truth.probability.into(),
    ];
    for needed in truth.needed {
        row.extend([needed.map(|needed| needed.least).into(), needed.map(|needed| needed.all_from).into()]);
    }
    row
}

/// A curve of a chart: requirements with one rule, and a share of variance between devices.
struct Curve<'a> {
    rule: Rule,
    ids: Vec<&'a str>,
    device_share: Option<f64>,
    points: Vec<BandPoint>,
}

impl Curve<'_> {
    fn label(&self) -> String {
        let ids = self.ids.join(", ");
        match self.device_share {
            Some(share) => format!("{ids}; {} % between devices", percent(share)),
            None => ids,
        }
    }
}

/// One chart for each allowed proportion, with one curve for each rule.
fn charts(plan: &Plan, planned: &PlannedTrials, files: &mut Files) -> Vec<Chart> {
    let mut groups: Vec<Vec<&PlannedRequirement>> = Vec::new();
    for requirement in &planned.requirements {
        match groups.iter_mut().find(|group| group[0].rule.proportion == requirement.rule.proportion) {
            Some(group) => group.push(requirement),
            None => groups.push(vec![requirement]),
        }
    }
    let mut cells = Vec::new();
    let mut charts = Vec::new();
    for (which, group) in groups.iter().enumerate() {
        let curves = curves(plan, group);
        for curve in &curves {
            for id in &curve.ids {
                cells.extend(curve.points.iter().map(|point| {
                    let place = [(*id).into(), plan.trials.into(), curve.device_share.into()];
                    place.into_iter().chain([(0.01 * point.x).into(), (0.01 * point.y).into()]).collect::<Vec<Cell>>()
                }));
            }
        }
        charts.push(chart(planned, which, group, &curves));
    }
    let header = ["requirement", "trials", "device_share", "true_outside", "probability_of_pass"];
    files.add("operating_characteristic", &header, cells);
    charts
}

fn curves<'a>(plan: &Plan, group: &[&'a PlannedRequirement]) -> Vec<Curve<'a>> {
    let mut curves: Vec<Curve> = Vec::new();
    for requirement in group {
        let mut known = false;
        for curve in curves.iter_mut().filter(|curve| planned::same_rule(&curve.rule, &requirement.rule)) {
            curve.ids.push(requirement.asked.id);
            known = true;
        }
        if !known {
            let found = planned::operating_characteristics(plan, &requirement.rule).into_iter();
            curves.extend(found.map(|(device_share, points)| Curve {
                rule: requirement.rule,
                ids: vec![requirement.asked.id],
                device_share,
                points: points.into_iter().map(|[outside, probability]| percentages(outside, probability)).collect(),
            }));
        }
    }
    curves
}

fn chart(planned: &PlannedTrials, which: usize, group: &[&PlannedRequirement], curves: &[Curve]) -> Chart {
    let labels: Vec<String> = curves.iter().map(Curve::label).collect();
    let series: Vec<Series> =
        curves.iter().zip(&labels).map(|(curve, label)| Series { label, points: &curve.points }).collect();
    let assumed: Vec<BandPoint> = group
        .iter()
        .flat_map(|requirement| &requirement.assumed)
        .map(|truth| percentages(truth.outside, truth.probability))
        .collect();
    let all: Vec<&str> = group.iter().map(|requirement| requirement.asked.id).collect();
    let (all, with) = (all.join(", "), format!("{} {}", count(planned.units), planned.unit()));
    let description = format!("Probability that {with} pass, over the true proportion of cases outside, for {all}.");
    let label = format!("Probability of a pass with {with}");
    Chart {
        id: format!("operating-characteristic-{}", which + 1),
        caption: format!("Operating characteristic with {with}: {all}"),
        reading: format!(
            "Probability of the verdict \u{201c}pass\u{201d} over the true proportion of cases outside. At the allowed proportion, \
             the upright line, a pass is wrong; its probability there is {} 1 minus the confidence. Dots: the assumptions of \
             the table.",
            if planned.devices { "to be compared with" } else { "at most" },
        ),
        svg: operating_characteristic(
            Alternative { title: "Operating characteristic", description: &description },
            &Characteristic {
                x: Axis { label: "True proportion outside", unit: "%" },
                y: Axis { label: &label, unit: "%" },
                curves: &series,
                allowed: group.first().map_or(f64::NAN, |first| 100.0 * (1.0 - first.rule.proportion)),
                assumed: &assumed,
            },
        ),
        wide: false,
        csv: "operating_characteristic".to_owned(),
    }
}

fn percentages(outside: f64, probability: f64) -> BandPoint {
    BandPoint { x: 100.0 * outside, y: 100.0 * probability, low: f64::NAN, high: f64::NAN }
}
