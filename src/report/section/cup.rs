//! Inclination and anteversion together: the covariance ellipse, and what is read and truly lies in the target box.

use crate::analysis::joint::BoxCounts;
use crate::analysis::{CONFIDENCE, Estimate};
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::evidence::{Entry, Files, Heading, Section, Table, label, prefix};
use crate::report::words::{count, decimals, number, percent, short};
use crate::study::{Assessment, Cup, HELD};

/// `None` where not both angles are asked for.
pub fn section(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Option<Section> {
    if !plan.asked().has_all(&Output::CUP) {
        return None;
    }
    let all = || plan.variants.iter().zip(&assessment.together);
    let ellipses = files.add(
        "cup",
        &ELLIPSE,
        all().map(|(variant, t)| ellipse_row(&variant.arm, variant.point, &t.cup)).collect(),
    );
    let boxes = all().flat_map(|(variant, t)| box_rows(&variant.arm, variant.point, &t.cup)).collect();
    let boxes = files.add("target", &TARGET, boxes);
    let nested = if assessment.devices.is_some() {
        " Trials of one device are not independent: intervals of proportions rest on whole devices."
    } else {
        ""
    };
    let mut entries = vec![Entry::paragraph(format!(
        "The target box is inclination {} and anteversion {} (keys report.target_inclination_deg and \
         report.target_anteversion_deg; unless given 40\u{a0}±\u{a0}10° and 15\u{a0}±\u{a0}10°, often quoted and disputed, Lewinnek GE et al. J \
         Bone Joint Surg Am 1978;60:217-220). Truth and reading are compared with the same box.{nested}",
        range(plan.target_deg[0]),
        range(plan.target_deg[1]),
    ))];
    for (index, (variant, together)) in all().enumerate() {
        let (prefix, label) = (prefix(plan, index), label(plan, variant));
        let caption = |what: &str| label.as_ref().map_or_else(|| what.to_owned(), |label| format!("{what}, {label}"));
        entries.extend(label.iter().map(|label| Entry::heading(format!("{prefix}cup"), label.clone())));
        entries.push(Entry::paragraph(ellipse_words(&together.cup)));
        let columns = [("outcome", false), ("trials", true), ("proportion (interval)", true)];
        let (table_ellipse, table_box) = (ellipse_table(&together.cup), box_table(&together.cup));
        entries.push(Entry::Table(Table {
            id: format!("table-{prefix}cup"),
            caption: caption("Errors of inclination and anteversion together"),
            reading: format!(
                "Mean and covariance describe an ellipse that would hold {}\u{a0}% of normal errors; its content is the proportion \
                 of the trials that it holds, with its {}\u{a0}% interval. A content far from {}\u{a0}% says that the errors are not \
                 jointly normal.",
                percent(HELD),
                percent(CONFIDENCE),
                percent(HELD),
            ),
            columns: [("quantity", false), ("value", true)]
                .map(|(name, numbers)| Heading { name: name.to_owned(), numbers })
                .into(),
            rows: table_ellipse,
            csv: ellipses.clone(),
        }));
        entries.push(Entry::Table(Table {
            id: format!("table-{prefix}target"),
            caption: caption("Read and truly in the target box"),
            reading: format!(
                "The two middle rows are the errors that matter for a target: cases read inside that are truly outside, and \
                 the reverse; the last two are the same as proportions of what was read, with {}\u{a0}% intervals. The figures \
                 depend on where the true cups lie, which the experiment draws.",
                percent(CONFIDENCE),
            ),
            columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
            rows: table_box,
            csv: boxes.clone(),
        }));
    }
    Some(Section { id: "cup", title: "Both cup angles together", entries })
}

fn range([low, high]: [f64; 2]) -> String {
    format!("{} to {}°", short(low), short(high))
}

fn ellipse_words(cup: &Cup) -> String {
    let Some((ellipse, content)) = cup.ellipse.zip(cup.content) else {
        return "The errors of the two angles have no spread in two directions, so there is no ellipse.".to_owned();
    };
    format!(
        "The {}\u{a0}% ellipse has semi-axes of {}° and {}°, the longer one turned by {}° from the axis of inclination towards that \
         of anteversion, and holds {} of the trials.",
        percent(HELD),
        number(ellipse.semi_axes[0], 2),
        number(ellipse.semi_axes[1], 2),
        number(ellipse.angle_deg, 0),
        proportion_words(Some(content)),
    )
}

fn proportion_words(found: Option<Estimate>) -> String {
    let Some((found, interval)) = found.and_then(|found| Some((found, found.interval?))) else {
        return "none".to_owned();
    };
    let digits = decimals(found.standard_error.map(|error| 100.0 * error)).min(4);
    let of = |value: f64| number(100.0 * value, digits);
    format!("{}\u{a0}% ({}\u{a0}to\u{a0}{})", of(found.value), of(interval.low), of(interval.high))
}

fn ellipse_table(cup: &Cup) -> Vec<Vec<String>> {
    let covariance = cup.errors.covariance();
    let sd = |which: usize| {
        covariance.map_or_else(|| "none".to_owned(), |c| format!("{}°", number(c[which][which].sqrt(), 3)))
    };
    let bias = |which: usize| match cup.errors.count {
        0 => "none".to_owned(),
        _ => format!("{}°", number(cup.errors.mean[which], 3)),
    };
    // Fisher's interval takes trials as independent.
    let nested = cup.target_of_devices.is_some();
    let r = cup.errors.correlation(CONFIDENCE).map(|r| if nested { Estimate { interval: None, ..r } } else { r });
    let r = r.map_or_else(|| "none".to_owned(), |r| crate::report::words::estimate(Some(r)));
    let rows = [
        ("trials with both angles", count(cup.errors.count)),
        ("trials without", count(cup.target.failed)),
        ("bias of inclination", bias(0)),
        ("bias of anteversion", bias(1)),
        ("standard deviation of inclination", sd(0)),
        ("standard deviation of anteversion", sd(1)),
        (if nested { "correlation" } else { "correlation (interval by Fisher, normal errors)" }, r),
        ("content of the ellipse (interval)", proportion_words(cup.content)),
    ];
    rows.map(|(what, value)| vec![what.to_owned(), value]).into()
}

/// A count of the target box, and of how many it is a proportion.
type Outcome = fn(&BoxCounts) -> (u64, u64);

const OUTCOMES: [(&str, Outcome); 7] = [
    ("read inside, truly inside", |target| (target.both_inside, target.measured())),
    ("read inside, truly outside", |target| (target.read_inside_truly_outside, target.measured())),
    ("read outside, truly inside", |target| (target.read_outside_truly_inside, target.measured())),
    ("read outside, truly outside", |target| (target.both_outside, target.measured())),
    ("truly outside, of those read inside", |target| {
        let wrongly_in = target.read_inside_truly_outside;
        (wrongly_in, target.both_inside + wrongly_in)
    }),
    ("truly inside, of those read outside", |target| {
        let wrongly_out = target.read_outside_truly_inside;
        (wrongly_out, target.both_outside + wrongly_out)
    }),
    ("without both readings", |target| (target.failed, target.measured() + target.failed)),
];

fn box_table(cup: &Cup) -> Vec<Vec<String>> {
    let row = |(what, of): (&str, Outcome)| {
        vec![what.to_owned(), count(of(&cup.target).0), proportion_words(cup.target_proportion(of))]
    };
    OUTCOMES.map(row).into()
}

const ELLIPSE: [&str; 15] = [
    "arm",
    "point",
    "n_measured",
    "failed",
    "bias_inclination_deg",
    "bias_anteversion_deg",
    "variance_inclination_deg2",
    "covariance_deg2",
    "variance_anteversion_deg2",
    "correlation",
    "semi_axis_long_deg",
    "semi_axis_short_deg",
    "angle_deg",
    "proportion",
    "content",
];

fn ellipse_row(arm: &str, point: u32, cup: &Cup) -> Vec<Cell> {
    let covariance = cup.errors.covariance();
    let mean = |which: usize| (cup.errors.count > 0).then(|| cup.errors.mean[which]);
    vec![
        arm.into(),
        point.into(),
        cup.errors.count.into(),
        cup.target.failed.into(),
        mean(0).into(),
        mean(1).into(),
        covariance.map(|c| c[0][0]).into(),
        covariance.map(|c| c[0][1]).into(),
        covariance.map(|c| c[1][1]).into(),
        cup.errors.correlation(CONFIDENCE).map(|r| r.value).into(),
        cup.ellipse.map(|ellipse| ellipse.semi_axes[0]).into(),
        cup.ellipse.map(|ellipse| ellipse.semi_axes[1]).into(),
        cup.ellipse.map(|ellipse| ellipse.angle_deg).into(),
        HELD.into(),
        cup.content.map(|content| content.value).into(),
    ]
}

const TARGET: [&str; 9] =
    ["arm", "point", "outcome", "trials", "of", "proportion", "proportion_low", "proportion_high", "confidence"];

fn box_rows(arm: &str, point: u32, cup: &Cup) -> Vec<Vec<Cell>> {
    let row = |(what, outcome): (&str, Outcome)| {
        let ((number, of), found) = (outcome(&cup.target), cup.target_proportion(outcome));
        let interval = found.and_then(|found| found.interval);
        vec![
            arm.into(),
            point.into(),
            what.into(),
            number.into(),
            of.into(),
            found.map(|found| found.value).into(),
            interval.map(|interval| interval.low).into(),
            interval.map(|interval| interval.high).into(),
            CONFIDENCE.into(),
        ]
    };
    OUTCOMES.map(row).into()
}
