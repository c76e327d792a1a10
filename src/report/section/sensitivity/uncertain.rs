//! Magnitudes that are known within a range only, in words, tables and a chart.

use super::{Arm, Tables};
use crate::analysis::Verdict;
use crate::experiment::{MOST_COMBINED, Requirement};
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, TwoIntervals, TwoIntervalsRow, two_intervals};
use crate::report::evidence::{Chart, Entry, Files, Heading, Table};
use crate::report::words::{Bound, bounded_percent, count, number, percent, short, with_unit};
use crate::study::sensitivity::{Moves, UncertainStudy, WorstEnd};

/// Rows of the files.
#[derive(Default)]
pub struct Rows {
    moves: Vec<Vec<Cell>>,
    points: Vec<Vec<Cell>>,
    worst: Vec<Vec<Cell>>,
}

impl Rows {
    pub fn write(self, files: &mut Files, inputs: impl Iterator<Item = String>) {
        if self.points.is_empty() {
            return;
        }
        let header = [
            "arm",
            "requirement",
            "output",
            "unit",
            "input",
            "low",
            "high",
            "rank_correlation",
            "quantile_lower_half",
            "quantile_upper_half",
            "passing_lower_half",
            "passing_upper_half",
        ];
        files.add("uncertain", &header, self.moves);
        let inputs: Vec<String> = inputs.collect();
        let header: Vec<String> =
            ["arm", "point", "requirement", "output", "unit", "quantile", "out", "n", "verdict"]
                .into_iter()
                .map(String::from)
                .chain(inputs.iter().cloned())
                .collect();
        files.add("uncertain-points", &header, self.points);
        let header = ["arm", "requirement", "out_of_acceptance", "n", "exceed_high", "confidence", "verdict"];
        let header: Vec<String> = header.into_iter().map(String::from).chain(inputs).collect();
        files.add("uncertain-ends", &header, self.worst);
    }
}

pub fn entries(arm: &Arm, study: &UncertainStudy, tables: &mut Tables) -> Vec<Entry> {
    add_rows(arm, study, &mut tables.uncertain);
    let plan = arm.plan;
    let mut entries = vec![
        Entry::heading(format!("{}uncertain", arm.prefix), arm.caption("Magnitudes known within a range only")),
        Entry::paragraph(format!(
            "{} magnitudes of the noise are given as a range. The run itself takes the middle of each. Here {} points of a Latin \
             hypercube over all ranges were run, {} cases each with the same draws: the range of the answer is what not \
             knowing these magnitudes costs, and no number of trials makes it smaller.",
            plan.uncertain.inputs.len(),
            plan.uncertain.points.len(),
            count(study.rows),
        )),
        Entry::List {
            items: plan.requirements.iter().zip(0..).map(|(asked, i)| sentence(arm, study, asked, i)).collect(),
        },
        Entry::paragraph(format!(
            "The verdicts of the answer hold for the middle of each range. The table below judges each requirement with every \
             magnitude at the worst end of its range{}, by {} independent cases.",
            if plan.uncertain.inputs.len() > MOST_COMBINED {
                " (the worse of all lower and all upper ends)"
            } else {
                ""
            },
            count(plan.trials),
        )),
        ends(arm, study),
        table(arm, study),
    ];
    let charts = plan.requirements.iter().enumerate().map(|(i, asked)| chart(arm, study, asked, i)).collect();
    entries.push(Entry::Charts { charts });
    entries
}

fn add_rows(arm: &Arm, study: &UncertainStudy, rows: &mut Rows) {
    let plan = arm.plan;
    let finite = |value: f64| Cell::from(value.is_finite().then_some(value));
    for ((id, _), worst) in asked(arm).zip(&study.worst) {
        let judged = &worst.judgement;
        let mut row: Vec<Cell> = vec![arm.name.into(), id.into(), judged.out_of_acceptance.into(), judged.n.into()];
        row.extend([judged.exceed_high, judged.confidence].map(finite));
        row.push(judged.verdict.word().into());
        row.extend(worst.values.iter().map(|&value| finite(value)));
        rows.worst.push(row);
    }
    for (i, asked) in plan.requirements.iter().enumerate() {
        let (output, unit) = (asked.output.id(), asked.output.unit().suffix());
        for (input, moves) in plan.uncertain.inputs.iter().zip(&study.moves[i]) {
            let mut row: Vec<Cell> = vec![arm.name.into(), asked.id.as_str().into(), output.into(), unit.into()];
            row.extend([Cell::from(input.path.as_str()), input.between[0].into(), input.between[1].into()]);
            let Moves { rank_correlation, halves, passing } = *moves;
            row.extend([rank_correlation, halves[0], halves[1], passing[0], passing[1]].map(finite));
            rows.moves.push(row);
        }
        for (k, (point, values)) in study.requirements[i].iter().zip(&plan.uncertain.points).enumerate() {
            let judged = &point.judgement;
            let mut row: Vec<Cell> =
                vec![arm.name.into(), (k as u64).into(), asked.id.as_str().into(), output.into()];
            row.extend([unit.into(), point.quantile.into(), judged.out.into(), judged.n.into()]);
            row.push(judged.verdict.word().into());
            row.extend(values.iter().map(|&value| finite(value)));
            rows.points.push(row);
        }
    }
}

/// The id and the required proportion of each requirement, those that join others last.
fn asked<'a>(arm: &'a Arm) -> impl Iterator<Item = (&'a str, f64)> {
    let joint = arm.plan.joint_requirements.iter().map(|joint| (joint.id.as_str(), joint.proportion));
    arm.plan.requirements.iter().map(|asked| (asked.id.as_str(), asked.proportion)).chain(joint)
}

/// Each requirement at the worst end of the ranges.
fn ends(arm: &Arm, study: &UncertainStudy) -> Entry {
    let inputs = || arm.plan.uncertain.inputs.iter();
    let row = |((id, proportion), worst): ((&str, f64), &WorstEnd)| {
        let judged = &worst.judgement;
        let ends = inputs().zip(&worst.values).map(|(input, value)| {
            let path = input.path.strip_prefix("noise.").unwrap_or(&input.path);
            format!("{path} = {}", short(*value))
        });
        vec![
            id.to_owned(),
            ends.collect::<Vec<_>>().join(", "),
            format!("{} of {}", count(judged.out_of_acceptance), count(judged.n)),
            format!("{}\u{a0}%", bounded_percent(judged.exceed_high, 1.0 - proportion, Bound::Upper)),
            format!("{}\u{a0}%", percent(judged.confidence)),
            judged.verdict.word().to_owned(),
        ]
    };
    let columns = [
        ("requirement", false),
        ("worst end", false),
        ("out", true),
        ("out, at most", true),
        ("confidence", true),
        ("verdict", false),
    ];
    Entry::Table(Table {
        id: format!("table-{}uncertain-ends", arm.prefix),
        caption: arm.caption("Requirements at the worst end of the ranges"),
        reading: "The worst end of each magnitude is the one towards which its rank correlation raises the quantile of the absolute \
                  error. Out is the count out of the acceptance limit, out at most its one-sided bound."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows: asked(arm).zip(&study.worst).map(row).collect(),
        csv: "uncertain-ends".to_owned(),
    })
}

/// The inputs by how much they move a requirement, most first.
fn ranked<'a>(arm: &'a Arm, study: &'a UncertainStudy, which: usize) -> Vec<(&'a str, &'a Moves)> {
    let inputs = arm.plan.uncertain.inputs.iter().map(|input| input.path.as_str());
    let mut found: Vec<_> = inputs.zip(&study.moves[which]).collect();
    found.sort_by(|a, b| b.1.rank_correlation.abs().total_cmp(&a.1.rank_correlation.abs()));
    found
}

fn sentence(arm: &Arm, study: &UncertainStudy, asked: &Requirement, which: usize) -> String {
    let points = &study.requirements[which];
    let of = |verdict| points.iter().filter(|point| point.judgement.verdict == verdict).count();
    let (passed, failed) = (of(Verdict::Pass), of(Verdict::Fail));
    let quantiles = || points.iter().filter_map(|point| point.quantile);
    let (low, high) = (quantiles().fold(f64::INFINITY, f64::min), quantiles().fold(f64::NEG_INFINITY, f64::max));
    let unit = asked.output.unit().symbol();
    let range = format!("{} to {}", number(low, 2), with_unit(&number(high, 2), unit));
    let settled = if passed == points.len() || failed == points.len() {
        "The verdict does not depend on where in the ranges the truth lies.".to_owned()
    } else {
        let most = ranked(arm, study, which);
        let names: Vec<String> = most
            .iter()
            .take(2)
            .map(|(path, moves)| format!("{path} (rank correlation {})", number(moves.rank_correlation, 2)))
            .collect();
        format!(
            "The verdict depends on where the truth lies; what moves it most: {}. Measure that first.",
            names.join(", ")
        )
    };
    format!(
        "{}: {}\u{a0}% of the absolute errors are within {range} over the points, limit {}; {passed} points pass, {failed} fail, {} not \
         shown. {settled}",
        asked.id,
        percent(asked.proportion),
        with_unit(&short(asked.limit), unit),
        points.len() - passed - failed,
    )
}

fn table(arm: &Arm, study: &UncertainStudy) -> Entry {
    let mut rows = Vec::new();
    for (i, asked) in arm.plan.requirements.iter().enumerate() {
        let unit = asked.output.unit().symbol();
        for (path, moves) in ranked(arm, study, i) {
            let between = arm.plan.uncertain.inputs.iter().find(|input| input.path == path);
            let between = between
                .map_or(String::new(), |input| format!("{} to {}", short(input.between[0]), short(input.between[1])));
            let value = |value: f64| with_unit(&number(value, 2), unit);
            let share = |share: f64| format!("{}\u{a0}%", number(100.0 * share, 0));
            rows.push(vec![
                asked.id.clone(),
                path.to_owned(),
                between,
                number(moves.rank_correlation, 2),
                value(moves.halves[0]),
                value(moves.halves[1]),
                share(moves.passing[0]),
                share(moves.passing[1]),
            ]);
        }
    }
    let columns = [
        ("requirement", false),
        ("magnitude", false),
        ("range", true),
        ("rank correlation", true),
        ("quantile, lower half", true),
        ("quantile, upper half", true),
        ("passing, lower half", true),
        ("passing, upper half", true),
    ];
    Entry::Table(Table {
        id: format!("table-{}uncertain", arm.prefix),
        caption: arm.caption("Which range matters"),
        reading: "Rank correlation of the magnitude with the quantile of the absolute error over the points: near 1 or −1 it \
                  decides, near 0 it does not matter. Beside it the mean quantile, and how many points pass, in the lower and in \
                  the upper half of its range."
            .to_owned(),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv: "uncertain".to_owned(),
    })
}

fn chart(arm: &Arm, study: &UncertainStudy, asked: &Requirement, which: usize) -> Chart {
    let ranked = ranked(arm, study, which);
    let point = |value: f64| [value, f64::NAN, f64::NAN];
    let labels: Vec<&str> = ranked.iter().map(|(path, _)| path.strip_prefix("noise.").unwrap_or(path)).collect();
    let rows: Vec<TwoIntervalsRow> = ranked
        .iter()
        .zip(&labels)
        .map(|((_, moves), label)| TwoIntervalsRow {
            label,
            one: point(moves.halves[0]),
            other: point(moves.halves[1]),
        })
        .collect();
    let label = format!("{} % of the errors of {} are within", percent(asked.proportion), asked.output.name());
    let data = TwoIntervals {
        axis: Axis { label: &label, unit: asked.output.unit().suffix() },
        names: ["mean over the lower half of the range", "over the upper half"],
        rows: &rows,
        reference: Some((asked.limit, "limit")),
    };
    let description = sentence(arm, study, asked, which);
    Chart {
        id: format!("{}uncertain-{}", arm.prefix, which + 1),
        caption: arm.caption(&format!("What not knowing the magnitudes does to {}", asked.id)),
        reading: "The further a disc and a diamond lie apart, the more that range matters.".to_owned(),
        svg: two_intervals(Alternative { title: &label, description: &description }, &data),
        wide: false,
        csv: "uncertain".to_owned(),
    }
}
