//! One source at a time: a table, a waterfall of variances and a tornado of the 95 % quantile.

use super::{Arm, Tables, capital, limit, shown_outputs};
use crate::analysis::{Estimate, Summary};
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, Tornado, TornadoRow, Waterfall, WaterfallRow, tornado, waterfall};
use crate::report::evidence::{Chart, Entry, Files, Heading, Table};
use crate::report::section::rare_events;
use crate::report::tables;
use crate::report::words::{count, estimate, percent, quantile};
use crate::study::sensitivity::{CHANGES, CONFIDENCE, Change, Changed, OneAtATime, SourceRuns};

const FILE: &str = "one-at-a-time";
/// Bars of a chart, at most; what is left is one bar of a waterfall.
const MOST_BARS: usize = 9;

/// Rows of the file.
#[derive(Default)]
pub struct Rows(Vec<Vec<Cell>>);

impl Rows {
    pub fn write(self, files: &mut Files) {
        let of_run = ["arm", "output", "unit", "source", "run"];
        let differences = ["bias", "sd", "p95_abs"]
            .into_iter()
            .flat_map(|name| ["", "_low", "_high"].map(|end| format!("{name}_difference{end}")));
        let header: Vec<String> =
            of_run.into_iter().chain(tables::BRIEF).map(String::from).chain(differences).collect();
        if !self.0.is_empty() {
            files.add(FILE, &header, self.0);
        }
    }
}

pub fn entries(arm: &Arm, study: &OneAtATime, tables: &mut Tables) -> Vec<Entry> {
    add_rows(arm, study, &mut tables.one_at_a_time.0);
    let outputs = shown_outputs(arm.plan);
    let charts =
        outputs.iter().flat_map(|&output| [waterfall_chart(arm, study, output), tornado_chart(arm, study, output)]);
    vec![
        Entry::heading(format!("{}one-at-a-time", arm.prefix), arm.caption("One source at a time")),
        Entry::paragraph(format!(
            "For each source four runs over the same {} cases: it alone, all but it, half of it and twice of it, each against \
             everything as it is. A rare event of a source (a knock, a slip in a hold) is changed by itself, in its size; the row of \
             its source holds the rest. Differences are of pairs of the same cases with the same draws; their intervals \
             ({}\u{a0}%) come from resampling whole cases.",
            count(study.rows),
            percent(CONFIDENCE),
        )),
        Entry::Charts { charts: charts.flatten().collect() },
        table(arm, study, &outputs),
    ]
}

fn add_rows(arm: &Arm, study: &OneAtATime, rows: &mut Vec<Vec<Cell>>) {
    let mut add = |output: Output, source: &str, run: &str, s: &Summary, differences: [Option<Estimate>; 3]| {
        let mut row: Vec<Cell> =
            vec![arm.name.into(), output.id().into(), output.unit().suffix().into(), source.into(), run.into()];
        row.extend(tables::brief(s));
        row.extend(differences.into_iter().flat_map(tables::three));
        rows.push(row);
    };
    for output in arm.plan.asked().outputs() {
        let i = output.place();
        add(output, "", "as it is", &study.all[i], [None; 3]);
        for source in &study.sources {
            for (change, run) in CHANGES.into_iter().zip(&source.runs) {
                let Changed { summary, bias_difference, sd_difference, p95_difference, .. } = &run[i];
                let differences = [*bias_difference, *sd_difference, *p95_difference].map(Some);
                add(output, &source.name, change.word(), summary, differences);
            }
        }
    }
}

fn run(source: &SourceRuns, change: Change, output: usize) -> &Changed {
    &source.run(change)[output]
}

fn variance(summary: &Summary) -> f64 {
    summary.sd.map_or(0.0, |sd| sd.value * sd.value)
}

/// The sources by falling variance of an output with each alone.
fn ranked(study: &OneAtATime, output: usize) -> Vec<(&SourceRuns, f64)> {
    let alone = |source| variance(&run(source, Change::Alone, output).summary);
    let mut found: Vec<_> = study.sources.iter().map(|source| (source, alone(source))).collect();
    found.sort_by(|a, b| b.1.total_cmp(&a.1));
    found
}

fn table(arm: &Arm, study: &OneAtATime, outputs: &[Output]) -> Entry {
    let (mut rows, mut shown) = (Vec::new(), Vec::new());
    for &output in outputs {
        let i = output.place();
        let requirement = arm.plan.requirements.iter().position(|requirement| requirement.output == output);
        for place in study.by_removal(requirement, output).into_iter().take(MOST_BARS) {
            let source = &study.sources[place];
            let alone = &run(source, Change::Alone, i).summary;
            shown.push(alone);
            let difference = |change| estimate(Some(run(source, change, i).p95_difference));
            rows.push(vec![
                format!("{}, {}", output.name(), output.unit().symbol()),
                source.name.clone(),
                estimate(alone.bias),
                estimate(alone.sd),
                quantile(alone.p95_abs.map(|p95| p95.value), alone.p95_abs_low, alone.p95_abs_high),
                difference(Change::Without),
                difference(Change::Half),
                difference(Change::Double),
            ]);
        }
    }
    let columns = [
        ("error of", false),
        ("source", false),
        ("bias, alone", true),
        ("standard deviation, alone", true),
        ("95\u{a0}% within, alone", true),
        ("change of it without the source", true),
        ("with half", true),
        ("with twice", true),
    ];
    Entry::Table(Table {
        id: format!("table-{}one-at-a-time", arm.prefix),
        caption: arm.caption("One source at a time"),
        reading: format!(
            "The first figures are of runs with that source alone; the last three say by how much the 95\u{a0}% quantile of the \
             absolute error changes when the source is taken away, halved or doubled and all others stay. An interval that \
             holds 0 means that no change is shown. The {MOST_BARS} sources of an output are shown whose removal lowers most the \
             quantile that its first requirement limits (without a requirement: the 95\u{a0}% quantile); the file has all \
             sources, bias and standard deviation too.{}",
            rare_events::without_interval(shown.into_iter()),
        ),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv: FILE.to_owned(),
    })
}

fn waterfall_chart(arm: &Arm, study: &OneAtATime, output: Output) -> Option<Chart> {
    let i = output.place();
    let whole = variance(&study.all[i]);
    if !(whole > 0.0) {
        return None;
    }
    let found = ranked(study, i);
    let mut rows: Vec<WaterfallRow> = found
        .iter()
        .take(MOST_BARS)
        .map(|(source, adds)| WaterfallRow { label: &source.name, adds: *adds })
        .collect();
    let others: f64 = found.iter().skip(MOST_BARS).map(|(_, adds)| adds).sum();
    if found.len() > MOST_BARS {
        rows.push(WaterfallRow { label: "other sources", adds: others });
    }
    let sum: f64 = found.iter().map(|(_, adds)| adds).sum();
    rows.push(WaterfallRow { label: "together", adds: whole - sum });
    let unit = if output.unit().suffix() == "deg" { "°²" } else { "mm²" };
    let name = output.name();
    let label = format!("Variance of the error of {name}");
    let data = Waterfall { axis: Axis { label: &label, unit }, rows: &rows, whole: "everything" };
    let description = match found.first() {
        Some((source, adds)) => format!(
            "{} alone has {:.0} % of the variance of the error of {name}; the sources alone sum to {:.0} %.",
            capital(&source.name),
            100.0 * adds / whole,
            100.0 * sum / whole
        ),
        None => "No source is on.".to_owned(),
    };
    Some(Chart {
        id: format!("{}waterfall-{}", arm.prefix, output.id().replace('_', "-")),
        caption: arm.caption(&format!("Budget of the variance, {name}")),
        reading: "Each bar is the variance with that source alone, put behind the one above; `together` is what is left to the \
                  variance with everything as it is: what sources do together, the patients, and sampling error."
            .to_owned(),
        svg: waterfall(Alternative { title: &label, description: &description }, &data),
        wide: false,
        csv: FILE.to_owned(),
    })
}

fn tornado_chart(arm: &Arm, study: &OneAtATime, output: Output) -> Option<Chart> {
    let i = output.place();
    let middle = study.all[i].p95_abs?.value;
    let ends = |change: Change, source: &SourceRuns| {
        let difference = run(source, change, i).p95_difference;
        let end = |value: f64| middle + value;
        [
            end(difference.value),
            difference.interval.map_or(f64::NAN, |interval| end(interval.low)),
            difference.interval.map_or(f64::NAN, |interval| end(interval.high)),
        ]
    };
    let mut rows: Vec<TornadoRow> = study
        .sources
        .iter()
        .map(|source| TornadoRow {
            label: &source.name,
            one: ends(Change::Without, source),
            other: ends(Change::Double, source),
        })
        .collect();
    let width = |row: &TornadoRow| (row.one[0] - middle).abs().max((row.other[0] - middle).abs());
    rows.sort_by(|a, b| width(b).total_cmp(&width(a)));
    rows.truncate(MOST_BARS);
    let name = output.name();
    let label = format!("95 % of the errors of {name} are within");
    let data = Tornado {
        axis: Axis { label: &label, unit: output.unit().suffix() },
        middle,
        names: ["without the source", "twice the source"],
        rows: &rows,
        limit: limit(arm.plan, output),
    };
    let description =
        format!("The 95 % quantile of the absolute error of {name}, without each source and with twice of it.");
    Some(Chart {
        id: format!("{}tornado-{}", arm.prefix, output.id().replace('_', "-")),
        caption: arm.caption(&format!("What each source does to the 95\u{a0}% quantile, {name}")),
        reading:
            "A filled bar runs to the quantile without the source, an open one to that with twice of it; strokes are \
                  intervals of the difference. The longest bars are where work pays, and where loosening hurts."
                .to_owned(),
        svg: tornado(Alternative { title: &label, description: &description }, &data),
        wide: false,
        csv: FILE.to_owned(),
    })
}
