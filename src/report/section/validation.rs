//! A bench held against its model.

use crate::analysis::agreement::{Agreement, Agreements, INSIDE};
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, BandPoint, IntervalRow, Intervals, Lines, Series, intervals, lines};
use crate::report::evidence::{Chart, Entry, Files, Heading, Section, Table, label, prefix};
use crate::report::words::{count, decimals, number, percent};
use crate::study::{Range, ValidatedVariant, Validation};

/// Columns of tables/validation.csv.
const COLUMNS: [&str; 23] = [
    "arm",
    "point",
    "output",
    "unit",
    "trials",
    "cases",
    "predicted_bias",
    "observed_bias",
    "bias_difference",
    "bias_difference_low",
    "bias_difference_high",
    "predicted_sd",
    "observed_sd",
    "sd_ratio",
    "sd_ratio_low",
    "sd_ratio_high",
    "predicted_low",
    "predicted_high",
    "inside",
    "inside_low",
    "inside_high",
    "p",
    "p_adjusted",
];

/// Where a band of predicted errors begins and ends in tables/quantiles-*.csv.
const QUANTILES: [&str; 4] = ["predicted", "observed", "low", "high"];

/// Recorded cases of `plan`, the bench's, against the run that predicts them.
pub fn section(plan: &Plan, validation: &Validation, files: &mut Files) -> Section {
    Section { id: "validation", title: "Model against bench", entries: entries(plan, validation, files) }
}

/// What stands in the section.
pub fn entries(plan: &Plan, validation: &Validation, files: &mut Files) -> Vec<Entry> {
    let mut entries = vec![Entry::paragraph(format!(
        "The errors of the bench are compared with those that the simulated run \"{}\" predicts. One test looks at all \
         outputs together: it asks how often cases drawn at random from the model would lie at least as unevenly among \
         the predicted errors. A small probability is evidence that the model does not predict this bench; a large one is \
         no proof that it does, for a small bench shows only large differences. Cases of one device and one operator \
         hang together: what differs from device to device then looks like a bias.",
        validation.model
    ))];
    if !validation.unmatched.is_empty() {
        entries.push(Entry::paragraph(format!(
            "Not compared, because the run has no arm that measures so: {}.",
            validation.unmatched.join(", ")
        )));
    }
    let (mut cells, mut range_cells) = (Vec::new(), Vec::new());
    for validated in &validation.variants {
        cells.extend(agreement_cells(plan, validated));
        range_cells.extend(ranges_cells(plan, validated));
    }
    let csv = files.add("validation", &COLUMNS, cells);
    let header = ["arm", "condition", "unit", "covered_low", "covered_high", "asked_low", "asked_high", "proportion"];
    let range_csv = files.add("validation-range", &header, range_cells);
    for validated in &validation.variants {
        let variant = &plan.variants[validated.variant];
        let prefix = prefix(plan, validated.variant);
        let label = label(plan, variant);
        entries.extend(label.iter().map(|label| Entry::heading(format!("{prefix}validation"), label.clone())));
        entries.push(Entry::paragraph(statement(&validated.agreements)));
        entries.push(Entry::Table(table(&prefix, validated, csv.clone())));
        entries.push(Entry::Charts { charts: overview(&prefix, validated, &csv) });
        for (output, agreement) in of_outputs(validated) {
            if let Some(agreement) = agreement {
                let charts =
                    vec![quantiles(&prefix, output, agreement, files), curves(&prefix, output, agreement, files)];
                entries.push(Entry::Charts { charts });
            }
        }
        entries.push(Entry::Table(range_table(&prefix, &validated.ranges, range_csv.clone())));
    }
    entries
}

/// Every output that was compared, with what was found.
fn of_outputs(validated: &ValidatedVariant) -> impl Iterator<Item = (Output, &Option<Agreement>)> {
    validated.compared.outputs().zip(&validated.agreements.outputs)
}

/// What the test says, in a sentence that claims no more.
pub fn statement(agreements: &Agreements) -> String {
    let confidence = percent(agreements.confidence);
    match agreements.p {
        None => "Too few cases have a known truth: nothing is compared.".to_owned(),
        Some(p) if agreements.refuted() => format!(
            "Not predicted: if the model held, so large a difference would be seen with a probability of {} at most; at \
             {confidence}\u{a0}% confidence the bench is not one of the model's.",
            probability(p)
        ),
        Some(p) => format!(
            "Not refuted: if the model held, a difference at least this large would be seen with a probability of {}; at \
             {confidence}\u{a0}% confidence the bench does not differ from the model.",
            probability(p)
        ),
    }
}

fn probability(p: f64) -> String {
    if p < 0.001 { "0.001".to_owned() } else { number(p, 3) }
}

fn agreement_cells(plan: &Plan, validated: &ValidatedVariant) -> Vec<Vec<Cell>> {
    let variant = &plan.variants[validated.variant];
    let row = |(output, found): (Output, &Option<Agreement>)| {
        let found = found.as_ref()?;
        let mut cells: Vec<Cell> = vec![
            variant.arm.as_str().into(),
            variant.point.into(),
            output.id().into(),
            output.unit().suffix().into(),
            found.trials.into(),
            found.cases.into(),
            found.predicted_bias.into(),
            found.observed_bias.into(),
            (found.observed_bias - found.predicted_bias).into(),
        ];
        let ends = |interval: Option<crate::analysis::Interval>| {
            [interval.map(|i| i.low), interval.map(|i| i.high)].map(Cell::from)
        };
        cells.extend(ends(found.bias_difference));
        let ratio = found.observed_sd / found.predicted_sd;
        cells.extend([found.predicted_sd, found.observed_sd].map(Cell::from));
        cells.push(ratio.is_finite().then_some(ratio).into());
        cells.extend(ends(found.sd_ratio));
        cells.extend([found.predicted_interval.0, found.predicted_interval.1].map(Cell::from));
        cells.push(found.inside.into());
        cells.extend(ends(Some(found.inside_interval)));
        cells.extend([found.p, found.p_adjusted].map(Cell::from));
        Some(cells)
    };
    of_outputs(validated).filter_map(row).collect()
}

fn heads(names: &[(&str, bool)]) -> Vec<Heading> {
    names.iter().map(|&(name, numbers)| Heading { name: name.to_owned(), numbers }).collect()
}

fn table(prefix: &str, validated: &ValidatedVariant, csv: String) -> Table {
    let between = |value: f64, interval: Option<crate::analysis::Interval>, digits: usize| match interval {
        Some(ends) => {
            format!(
                "{} ({}\u{a0}to\u{a0}{})",
                number(value, digits),
                number(ends.low, digits),
                number(ends.high, digits)
            )
        }
        None => number(value, digits),
    };
    let row = |(output, found): (Output, &Option<Agreement>)| {
        let mut row = vec![output.name().to_owned(), output.unit().symbol().to_owned()];
        match found {
            None => row.extend(["too few".to_owned()].into_iter().chain(vec![String::new(); 5])),
            Some(found) => {
                let se = found.bias_difference.map(|i| (i.high - i.low) / 4.0);
                row.extend([
                    count(found.cases),
                    between(found.observed_bias - found.predicted_bias, found.bias_difference, decimals(se)),
                    between(found.observed_sd / found.predicted_sd, found.sd_ratio, 2),
                    format!("{} of {}", count(found.inside), count(found.cases)),
                    format!(
                        "{} to {}\u{a0}%",
                        number(100.0 * found.inside_interval.low, 1),
                        number(100.0 * found.inside_interval.high, 1)
                    ),
                    probability(found.p_adjusted),
                ]);
            }
        }
        row
    };
    Table {
        id: format!("table-{prefix}validation"),
        caption: "Bench against model, each output".to_owned(),
        reading: format!(
            "The bias is the bench's minus the model's: 0 inside the interval means no difference seen. The ratio of the \
             standard deviations is the bench's over the model's: 1 inside the interval likewise. Of the bench errors about \
             {}\u{a0}% should be inside the predicted interval. The probability is that of so large a difference in any output \
             if the model holds.",
            percent(INSIDE)
        ),
        columns: heads(&[
            ("error of", false),
            ("unit", false),
            ("cases", true),
            ("bias, bench minus model", true),
            ("sd, bench over model", true),
            ("inside the predicted interval", true),
            ("exact interval", true),
            ("probability", true),
        ]),
        rows: of_outputs(validated).map(row).collect(),
        csv,
    }
}

/// Ratios of spread, and probabilities of being inside, of all outputs.
fn overview(prefix: &str, validated: &ValidatedVariant, csv: &str) -> Vec<Chart> {
    let found: Vec<(Output, &Agreement)> =
        of_outputs(validated).filter_map(|(output, agreement)| Some((output, agreement.as_ref()?))).collect();
    let ends =
        |interval: Option<crate::analysis::Interval>| interval.map_or((f64::NAN, f64::NAN), |i| (i.low, i.high));
    let ratios: Vec<IntervalRow> = found
        .iter()
        .map(|(output, a)| {
            let (low, high) = ends(a.sd_ratio);
            IntervalRow { label: output.name(), point: a.observed_sd / a.predicted_sd, low, high }
        })
        .collect();
    let inside: Vec<IntervalRow> = found
        .iter()
        .map(|(output, a)| IntervalRow {
            label: output.name(),
            point: 100.0 * a.inside as f64 / a.cases.max(1) as f64,
            low: 100.0 * a.inside_interval.low,
            high: 100.0 * a.inside_interval.high,
        })
        .collect();
    let chart = |id: &str, caption: &str, reading: &str, axis: Axis, rows: &[IntervalRow], at: (f64, &str)| Chart {
        id: format!("{prefix}{id}"),
        caption: caption.to_owned(),
        reading: reading.to_owned(),
        svg: intervals(
            Alternative { title: caption, description: reading },
            &Intervals { axis, rows, reference: Some(at) },
        ),
        wide: false,
        csv: csv.to_owned(),
    };
    vec![
        chart(
            "validation-spread",
            "Standard deviation of the bench in units of the model's",
            "A row whose interval does not hold 1 is an output whose errors scatter otherwise than predicted: to the right \
             more, to the left less.",
            Axis { label: "Bench over model", unit: "" },
            &ratios,
            (1.0, "as predicted"),
        ),
        chart(
            "validation-inside",
            "Bench errors inside the predicted interval",
            "The line is what the model promises; a row whose interval lies left of it has more errors outside than \
             promised.",
            Axis { label: "Proportion inside", unit: "%" },
            &inside,
            (100.0 * INSIDE, "promised"),
        ),
    ]
}

fn named(prefix: &str, kind: &str, output: Output) -> String {
    format!("{prefix}{kind}-{}", output.id().replace('_', "-"))
}

/// Quantiles of the bench against those of the model.
fn quantiles(prefix: &str, output: Output, found: &Agreement, files: &mut Files) -> Chart {
    let name = named(prefix, "quantiles", output);
    let unit = output.unit().suffix();
    let header = QUANTILES.map(|what| format!("{what}_{unit}"));
    let rows = found.quantiles.iter().map(|q| [q.predicted, q.observed, q.low, q.high].map(Cell::from).into());
    let csv = files.add(&name, &header, rows.collect());
    let line = |y: fn(&crate::analysis::agreement::QuantilePair) -> f64, band: bool| -> Vec<BandPoint> {
        let point = |q: &crate::analysis::agreement::QuantilePair| {
            let (low, high) = if band { (q.low, q.high) } else { (f64::NAN, f64::NAN) };
            BandPoint { x: q.predicted, y: y(q), low, high }
        };
        found.quantiles.iter().map(point).collect()
    };
    let (model, bench) = (line(|q| q.predicted, true), line(|q| q.observed, false));
    let series = [Series { label: "model", points: &model }, Series { label: "bench", points: &bench }];
    let caption = format!("Error of {}: quantiles of the bench against those of the model", output.name());
    let reading = "The bench's errors by size against what the model predicts at the same rank. A bench that the model predicts \
                   runs inside the band; steeper than the straight line is more scatter, a shift up or down is a bias. The \
                   band holds at each rank by itself.";
    let data = Lines {
        x: Axis { label: "Predicted error", unit },
        logarithmic: false,
        y: Axis { label: "Error", unit },
        series: &series,
        levels: &[],
    };
    Chart {
        svg: lines(Alternative { title: &caption, description: reading }, &data),
        id: name,
        caption,
        reading: reading.to_owned(),
        wide: false,
        csv,
    }
}

/// Both distributions as curves.
fn curves(prefix: &str, output: Output, found: &Agreement, files: &mut Files) -> Chart {
    let name = named(prefix, "distributions", output);
    let unit = output.unit().suffix();
    let all = found.cases;
    let confidence = found.inside_interval.confidence;
    let of_bench: Vec<BandPoint> = (1_u64..)
        .zip(&found.quantiles)
        .map(|(rank, q)| {
            let interval = crate::analysis::binomial::interval(rank, all, confidence);
            let percent = 100.0 * rank as f64 / all as f64;
            BandPoint { x: q.observed, y: percent, low: 100.0 * interval.low, high: 100.0 * interval.high }
        })
        .collect();
    let of_model: Vec<BandPoint> = (1_u64..)
        .zip(&found.quantiles)
        .map(|(rank, q)| {
            let percent = 100.0 * (rank as f64 - 0.5) / all as f64;
            BandPoint { x: q.predicted, y: percent, low: f64::NAN, high: f64::NAN }
        })
        .collect();
    let header =
        ["which".to_owned(), format!("error_{unit}"), "percent".to_owned(), "low".to_owned(), "high".to_owned()];
    let finite = |value: f64| Cell::from(value.is_finite().then_some(value));
    let rows = [("bench", &of_bench), ("model", &of_model)].into_iter().flat_map(|(which, points)| {
        points.iter().map(move |p| vec![Cell::from(which), p.x.into(), p.y.into(), finite(p.low), finite(p.high)])
    });
    let csv = files.add(&name, &header, rows.collect());
    let series = [Series { label: "bench", points: &of_bench }, Series { label: "model", points: &of_model }];
    let caption = format!("Error of {}: both distributions", output.name());
    let reading = "Go up from an error to a curve: that proportion of cases has a smaller or equal error. Where the model's curve \
                   leaves the band of the bench, the two differ there.";
    let data = Lines {
        x: Axis { label: "Error", unit },
        logarithmic: false,
        y: Axis { label: "Proportion at or below", unit: "%" },
        series: &series,
        levels: &[],
    };
    Chart {
        svg: lines(Alternative { title: &caption, description: reading }, &data),
        id: name,
        caption,
        reading: reading.to_owned(),
        wide: false,
        csv,
    }
}

fn ranges_cells(plan: &Plan, validated: &ValidatedVariant) -> Vec<Vec<Cell>> {
    let arm = &plan.variants[validated.variant].arm;
    let row = |range: &Range| -> Vec<Cell> {
        vec![
            arm.as_str().into(),
            range.name.as_str().into(),
            range.unit.into(),
            range.covered.map(|covered| covered.0).into(),
            range.covered.map(|covered| covered.1).into(),
            range.asked.0.into(),
            range.asked.1.into(),
            range.proportion.into(),
        ]
    };
    validated.ranges.iter().map(row).collect()
}

fn range_table(prefix: &str, ranges: &[Range], csv: String) -> Table {
    let between = |(low, high): (f64, f64)| format!("{} to {}", number(low, 1), number(high, 1));
    let row = |range: &Range| {
        vec![
            range.name.clone(),
            range.unit.to_owned(),
            range.covered.map_or_else(|| "not known".to_owned(), between),
            between(range.asked),
            format!("{}\u{a0}%", number(100.0 * range.proportion, 0)),
        ]
    };
    Table {
        id: format!("table-{prefix}validation-range"),
        caption: "Validation range: what the bench covers and what the context of use asks".to_owned(),
        reading: "What is asked holds the middle 95\u{a0}% of the simulated cases. Agreement is shown for what is covered; the \
                  last column says what proportion of the simulated cases lies there, and for the others the model alone \
                  speaks."
            .to_owned(),
        columns: heads(&[
            ("condition", false),
            ("unit", false),
            ("covered by the bench", true),
            ("asked", true),
            ("simulated cases covered", true),
        ]),
        rows: ranges.iter().map(row).collect(),
        csv,
    }
}
