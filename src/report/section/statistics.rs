//! Estimates in detail: percentiles, shape, statistical tolerance intervals, stability, readings and the truth behind them.

use super::{failures, precision, rare_events, tolerance};
use crate::analysis::adaptive::{FOLLOWED, LEAST_BLOCKS, Stability, Trace};
use crate::analysis::shape::{Deviation, Test};
use crate::analysis::{CONFIDENCE, Estimate};
use crate::experiment::{Plan, Variant};
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, BandPoint, Level, Lines, Series, lines};
use crate::report::evidence::{Chart, Entry, Files, Heading, Section, Table, label, prefix};
use crate::report::words::{count, decimals, estimate, number, percent, short, with_unit};
use crate::study::{Assessment, HELD, OutputAssessment, Together};

/// Significant digits of the standard deviation for which stability is stated.
const DIGITS: [u32; 2] = [1, 2];

pub fn section(plan: &Plan, assessment: &Assessment, files: &mut Files) -> Section {
    let estimates = files.add("estimates", &ESTIMATES, all(assessment, estimate_rows));
    let shapes = files.add("shape", &SHAPE, all(assessment, |assessed| vec![shape_row(assessed)]));
    let independent = assessment.devices.is_none();
    let tolerance =
        independent.then(|| files.add("tolerance", &tolerance::COLUMNS, all(assessment, tolerance::rows)));
    let stability = independent.then(|| files.add("stability", &STABILITY, all(assessment, stability_rows)));
    let of_plan = |assessed: &OutputAssessment| precision::file_rows(&plan.planning, assessed);
    let precise = files.add("precision", &precision::HEADER, all(assessment, of_plan));
    let around = files.add("around", &AROUND, around_rows(plan, assessment));
    let mut entries = vec![Entry::paragraph(format!(
        "Every estimate stands with its {}\u{a0}% interval, its standard error and the number of trials it rests on (file \
         estimates). A percentile is the smallest error that at least the stated proportion of the measured trials do not \
         exceed (the inverse of the empirical distribution function); its interval comes from {}. Bias \
         (trueness) and standard deviation (precision) are stated apart; the root mean square mixes both. The largest error \
         of a run depends on the number of trials and estimates nothing.",
        percent(CONFIDENCE),
        if independent {
            "order statistics, which holds for errors of any shape"
        } else {
            "whole devices drawn again, because cases on one device are not independent"
        },
    ))];
    for (index, (variant, together)) in plan.variants.iter().zip(&assessment.together).enumerate() {
        let view = View {
            plan,
            prefix: prefix(plan, index),
            label: label(plan, variant),
            outputs: assessment.outputs.iter().filter(|assessed| std::ptr::eq(assessed.variant, variant)).collect(),
        };
        let heading =
            view.label.iter().map(|label| Entry::heading(format!("{}statistics", view.prefix), label.clone()));
        entries.extend(heading);
        entries.push(Entry::paragraph(failures::counts(plan, assessment, index)));
        entries.push(Entry::Table(view.percentiles(estimates.clone())));
        entries.push(Entry::Table(view.shapes(shapes.clone())));
        if let Some(csv) = &tolerance {
            entries.push(Entry::Table(view.tolerance(csv.clone())));
        }
        entries.push(Entry::Table(view.around(together, around.clone())));
        entries.push(Entry::Table(view.precision(precise.clone())));
        if let Some(csv) = &stability {
            let title = view.titled("Whether the estimates have settled");
            entries.push(Entry::heading(format!("{}stability", view.prefix), title));
            entries.push(Entry::Table(view.stability(csv.clone())));
            entries.extend(view.stability_charts(files));
        }
    }
    Section { id: "statistics", title: "Statistics in detail", entries }
}

/// One variant.
struct View<'a> {
    plan: &'a Plan,
    prefix: String,
    label: Option<String>,
    outputs: Vec<&'a OutputAssessment<'a>>,
}

impl View<'_> {
    /// With the variant's name behind it, where there are several.
    fn titled(&self, what: &str) -> String {
        self.label.as_ref().map_or_else(|| what.to_owned(), |label| format!("{what}, {label}"))
    }

    fn table(
        &self,
        name: &str,
        (caption, reading): (&str, String),
        columns: &[(String, bool)],
        rows: Vec<Vec<String>>,
        csv: String,
    ) -> Table {
        Table {
            id: format!("table-{}{name}", self.prefix),
            caption: self.titled(caption),
            reading,
            columns: columns.iter().cloned().map(|(name, numbers)| Heading { name, numbers }).collect(),
            rows,
            csv,
        }
    }

    fn percentiles(&self, csv: String) -> Table {
        let level = format!("({}\u{a0}% interval)", percent(CONFIDENCE));
        let within = |share: &str| (format!("{share} within {level}"), true);
        let columns = [
            ("error of".to_owned(), false),
            ("unit".to_owned(), false),
            (format!("root mean square {level}"), true),
            within("half"),
            within("90\u{a0}%"),
            within("99\u{a0}%"),
        ];
        let row = |assessed: &&OutputAssessment| {
            let s = &assessed.summary;
            let mut row = names(assessed);
            row.extend([s.rms, s.p50_abs, s.p90_abs, s.p99_abs].map(estimate));
            row
        };
        let reading = "So large is the absolute error of the stated proportion of measured trials at most; the proportion of \
                       95\u{a0}% stands in the summary. The file holds every estimate with its standard error and count, and the \
                       proportion out of each limit."
            .to_owned()
            + &rare_events::without_interval(self.outputs.iter().map(|assessed| &assessed.summary));
        let rows = self.outputs.iter().map(row).collect();
        self.table(
            "percentiles",
            ("Root mean square and percentiles of the absolute error", reading),
            &columns,
            rows,
            csv,
        )
    }

    fn precision(&self, csv: String) -> Table {
        let rows = self.outputs.iter().map(|assessed| precision::row(&self.plan.planning, assessed)).collect();
        Table {
            id: format!("table-{}precision", self.prefix),
            caption: self.titled("Monte Carlo standard errors and the trials for those aimed at"),
            reading: precision::READING.to_owned(),
            columns: precision::columns(),
            rows,
            csv,
        }
    }

    fn shapes(&self, csv: String) -> Table {
        let columns = ["error of", "skewness", "excess kurtosis", "lag-1", "Anderson-Darling p", "Shapiro-Wilk p"];
        let columns: Vec<(String, bool)> =
            columns.iter().enumerate().map(|(at, name)| ((*name).to_owned(), at > 0)).collect();
        let row = |assessed: &&OutputAssessment| {
            let shape = &assessed.shape;
            vec![
                assessed.output.name().to_owned(),
                coefficient(shape.skewness),
                coefficient(shape.kurtosis),
                shape.lag_one.map_or_else(|| "none".to_owned(), |lag| number(lag, 3)),
                p_value(shape.anderson_darling),
                p_value(shape.shapiro_wilk),
            ]
        };
        let reading = "Skewness and excess kurtosis are 0 for normal errors; behind ± stands the standard error that they have \
                       for normal ones. Lag-1 is the correlation of each trial with the next one: near 0 where trials are \
                       independent. A small p means that errors so far from normal would be rare among normal ones; with \
                       many trials any departure is found. Shapiro-Wilk takes up to 2,000 values, Anderson-Darling up to \
                       100,000, evenly taken."
            .to_owned();
        let rows = self.outputs.iter().map(row).collect();
        self.table("shape", ("Shape of the errors", reading), &columns, rows, csv)
    }

    fn tolerance(&self, csv: String) -> Table {
        let (reading, rows) = tolerance::table(&self.outputs);
        self.table("tolerance", ("Statistical tolerance intervals", reading), &tolerance::columns(), rows, csv)
    }

    fn stability(&self, csv: String) -> Table {
        let columns = [
            ("error of", false),
            ("blocks", true),
            ("trials a block", true),
            ("digits of the standard deviation", true),
            ("stable within", true),
            ("stable after", true),
            ("expected after", true),
        ]
        .map(|(name, numbers)| (name.to_owned(), numbers));
        let mut rows = Vec::new();
        for assessed in &self.outputs {
            let Some(trace) = &assessed.trace else { continue };
            for stability in DIGITS.iter().filter_map(|&digits| trace.stability(digits)) {
                rows.push(stability_words(assessed.output, trace, &stability));
            }
        }
        let reading = format!(
            "The rule of JCGM 101:2008, 7.9, for estimates: in blocks of 10,000 trials, go on, for at least {LEAST_BLOCKS} blocks, until \
             twice the standard error of the block means of the mean error, the standard deviation and both ends of the \
             symmetric 95\u{a0}% interval is within half a unit of the last digit asked for. Fewer than 100,000 trials are cut into \
             {LEAST_BLOCKS} smaller blocks, for orientation only. It says whether the numbers are stable, not whether a \
             requirement is met: that is judged with the number of trials fixed in the plan.",
        );
        self.table(
            "stability",
            ("Whether there are trials enough for stable estimates", reading),
            &columns,
            rows,
            csv,
        )
    }

    /// How the four quantities settle, of every output with a limit, or of the first if there is none.
    fn stability_charts(&self, files: &mut Files) -> Option<Entry> {
        let limited = |output: Output| self.plan.requirements.iter().any(|requirement| requirement.output == output);
        let any = self.outputs.iter().any(|assessed| limited(assessed.output));
        let wanted = self
            .outputs
            .iter()
            .enumerate()
            .filter(|(at, assessed)| if any { limited(assessed.output) } else { *at == 0 });
        let charts: Vec<Chart> = wanted
            .filter_map(|(_, assessed)| Some(self.stability_chart(assessed, assessed.trace.as_ref()?, files)))
            .collect();
        (!charts.is_empty()).then_some(Entry::Charts { charts })
    }

    fn stability_chart(&self, assessed: &OutputAssessment, trace: &Trace, files: &mut Files) -> Chart {
        let (output, unit) = (assessed.output, assessed.output.unit().suffix());
        let name = format!("{}blocks-{}", self.prefix, output.id().replace('_', "-"));
        let standings: Vec<_> = trace.standings().collect();
        let header: Vec<String> = std::iter::once("trials".to_owned())
            .chain(FOLLOWED.iter().map(|what| format!("{what}_{unit}")))
            .chain(FOLLOWED.iter().map(|what| format!("{what}_standard_error_{unit}")))
            .collect();
        let trials = |blocks: usize| (blocks * trace.block) as u64;
        let row = |standing: &crate::analysis::adaptive::Standing| {
            let numbers = standing.means.into_iter().chain(standing.standard_errors).map(Cell::from);
            std::iter::once(Cell::from(trials(standing.blocks))).chain(numbers).collect()
        };
        let csv = files.add(&name, &header, standings.iter().map(row).collect());
        let points: Vec<Vec<BandPoint>> = (0..FOLLOWED.len())
            .map(|which| {
                let point = |standing: &crate::analysis::adaptive::Standing| BandPoint {
                    x: trials(standing.blocks) as f64,
                    y: 2.0 * standing.standard_errors[which],
                    low: f64::NAN,
                    high: f64::NAN,
                };
                standings.iter().map(point).collect()
            })
            .collect();
        let labels = ["mean", "standard deviation", "lower end", "upper end"];
        let series: Vec<Series> =
            labels.iter().zip(&points).map(|(label, points)| Series { label, points }).collect();
        let levels: Vec<Level> = trace
            .stability(DIGITS[1])
            .filter(|stability| stability.within > 0.0)
            .map(|stability| Level { value: stability.within, label: "two digits:" })
            .into_iter()
            .collect();
        let y = Axis { label: "Twice the standard error", unit };
        let data =
            Lines { x: Axis { label: "Trials", unit: "" }, logarithmic: false, y, series: &series, levels: &levels };
        let description = format!(
            "Twice the standard error of the block means against the number of trials, error of {}, {} blocks of {} trials.",
            output.name(),
            trace.blocks.len(),
            count(trace.block as u64),
        );
        Chart {
            caption: match &self.label {
                Some(label) => format!("How the estimates of the error of {} settle, {label}", output.name()),
                None => format!("How the estimates of the error of {} settle", output.name()),
            },
            reading: "Each line is twice the standard error of one estimate after so many trials; with all of them below the \
                      dashed level, two digits of the standard deviation are stable. The file has the running estimates \
                      themselves."
                .to_owned(),
            svg: lines(
                Alternative { title: &format!("Stability, error of {}", output.name()), description: &description },
                &data,
            ),
            id: name,
            wide: false,
            csv,
        }
    }

    fn around(&self, together: &Together, csv: String) -> Table {
        let columns = [
            ("output", false),
            ("reading", true),
            ("truth, mean", true),
            ("truth, symmetric", true),
            ("truth, shortest", true),
            ("trials", true),
            ("read within", true),
        ]
        .map(|(name, numbers)| (name.to_owned(), numbers));
        let row = |(output, found): &(Output, crate::analysis::around::Around)| {
            let unit = output.unit().symbol();
            let digits = decimals(Some(found.symmetric.length() / 4.0 / (found.count as f64).sqrt()));
            let ends = |low, high| format!("{}\u{a0}to\u{a0}{}", number(low, digits), number(high, digits));
            vec![
                output.name().to_owned(),
                with_unit(&short(found.reading), unit),
                number(found.mean, digits),
                ends(found.symmetric.low, found.symmetric.high),
                ends(found.shortest.low, found.shortest.high),
                count(found.count),
                with_unit(&format!("±{}", number(found.within, digits)), unit),
            ]
        };
        let reading = format!(
            "What a reading says of the truth behind it, in the simulated population: {}\u{a0}% of the truths lie between the ends, \
             as many below as above (symmetric), or between the two that are nearest to each other (shortest; JCGM 101:2008, \
             5.3). Taken from the trials that read nearest, whose number and distance stand in the last columns. With other \
             patients or another spread of true values the interval is another.",
            percent(HELD),
        );
        let rows = together.around.iter().map(row).collect();
        self.table("around", ("What a reading says of the truth", reading), &columns, rows, csv)
    }
}

pub(super) fn names(assessed: &OutputAssessment) -> Vec<String> {
    vec![assessed.output.name().to_owned(), assessed.output.unit().symbol().to_owned()]
}

fn coefficient(found: Option<Deviation>) -> String {
    let words = |found: Deviation| {
        let digits = decimals(Some(found.standard_error));
        format!("{} ±\u{a0}{}", number(found.value, digits), number(found.standard_error, digits))
    };
    found.map_or_else(|| "none".to_owned(), words)
}

fn p_value(test: Option<Test>) -> String {
    match test {
        None => "none".to_owned(),
        Some(test) if test.p_value < 0.0005 => "under 0.001".to_owned(),
        Some(test) => number(test.p_value, 3),
    }
}

fn stability_words(output: Output, trace: &Trace, stability: &Stability) -> Vec<String> {
    let unit = output.unit().symbol();
    vec![
        output.name().to_owned(),
        count(trace.blocks.len() as u64),
        count(trace.block as u64),
        stability.digits.to_string(),
        with_unit(&format!("±{}", short(stability.within)), unit),
        stability.stable_after.map_or_else(|| "not yet".to_owned(), count),
        stability.expected.map_or_else(|| "none".to_owned(), count),
    ]
}

fn all(assessment: &Assessment, rows: impl Fn(&OutputAssessment) -> Vec<Vec<Cell>>) -> Vec<Vec<Cell>> {
    assessment.outputs.iter().flat_map(rows).collect()
}

/// The columns that begin every row: where it belongs.
pub(super) fn place(variant: &Variant, output: Output) -> Vec<Cell> {
    vec![variant.arm.as_str().into(), variant.point.into(), output.id().into(), output.unit().suffix().into()]
}

const ESTIMATES: [&str; 14] = [
    "arm",
    "point",
    "output",
    "unit",
    "measure",
    "value",
    "low",
    "high",
    "confidence",
    "standard_error",
    "n_measured",
    "failed",
    "n_effective",
    "n_events",
];

fn estimate_rows(assessed: &OutputAssessment) -> Vec<Vec<Cell>> {
    let s = &assessed.summary;
    let simple = [
        ("bias", s.bias),
        ("sd", s.sd),
        ("rms", s.rms),
        ("p50_abs", s.p50_abs),
        ("p90_abs", s.p90_abs),
        ("p95_abs", s.p95_abs),
        ("p99_abs", s.p99_abs),
    ];
    let row = |measure: String, estimate: Option<Estimate>, effective: Option<f64>| {
        let mut row = place(assessed.variant, assessed.output);
        let interval = estimate.and_then(|estimate| estimate.interval);
        row.push(measure.into());
        row.push(estimate.map(|estimate| estimate.value).into());
        row.push(interval.map(|interval| interval.low).into());
        row.push(interval.map(|interval| interval.high).into());
        row.push(interval.map(|interval| interval.confidence).into());
        row.push(estimate.and_then(|estimate| estimate.standard_error).into());
        row.extend([Cell::from(s.n - s.failed), s.failed.into(), effective.into()]);
        let on_events = matches!(row[4], Cell::Text(ref measure) if measure == "sd" || measure == "rms");
        row.push(s.events.recorded.filter(|_| on_events).into());
        row
    };
    let exceed = assessed
        .exceedances
        .iter()
        .map(|exceed| row(format!("exceed {}", exceed.requirement.id), exceed.estimate, exceed.n_effective));
    simple.into_iter().map(|(measure, estimate)| row(measure.to_owned(), estimate, None)).chain(exceed).collect()
}

const SHAPE: [&str; 17] = [
    "arm",
    "point",
    "output",
    "unit",
    "n_measured",
    "failed",
    "skewness",
    "skewness_standard_error",
    "excess_kurtosis",
    "excess_kurtosis_standard_error",
    "lag_1",
    "anderson_darling",
    "anderson_darling_p",
    "anderson_darling_n",
    "shapiro_wilk",
    "shapiro_wilk_p",
    "shapiro_wilk_n",
];

fn shape_row(assessed: &OutputAssessment) -> Vec<Cell> {
    let (s, shape) = (&assessed.summary, &assessed.shape);
    let mut row = place(assessed.variant, assessed.output);
    row.extend([Cell::from(s.n - s.failed), s.failed.into()]);
    for found in [shape.skewness, shape.kurtosis] {
        row.push(found.map(|found| found.value).into());
        row.push(found.map(|found| found.standard_error).into());
    }
    row.push(shape.lag_one.into());
    for test in [shape.anderson_darling, shape.shapiro_wilk] {
        row.push(test.map(|test| test.statistic).into());
        row.push(test.map(|test| test.p_value).into());
        row.push(test.map(|test| test.count).into());
    }
    row
}

const STABILITY: [&str; 11] = [
    "arm",
    "point",
    "output",
    "unit",
    "blocks",
    "trials_a_block",
    "block_by_the_guide",
    "digits",
    "within",
    "stable_after",
    "expected_after",
];

fn stability_rows(assessed: &OutputAssessment) -> Vec<Vec<Cell>> {
    let Some(trace) = &assessed.trace else { return Vec::new() };
    let row = |stability: Stability| {
        let mut row = place(assessed.variant, assessed.output);
        row.extend([Cell::from(trace.blocks.len() as u64), (trace.block as u64).into()]);
        row.push(if trace.by_the_guide() { "yes" } else { "no" }.into());
        row.extend([Cell::from(stability.digits), stability.within.into()]);
        row.extend([stability.stable_after, stability.expected].map(Cell::from));
        row
    };
    DIGITS.iter().filter_map(|&digits| trace.stability(digits)).map(row).collect()
}

const AROUND: [&str; 12] = [
    "arm",
    "point",
    "output",
    "unit",
    "reading",
    "proportion",
    "truth_mean",
    "symmetric_low",
    "symmetric_high",
    "shortest_low",
    "shortest_high",
    "trials",
];

fn around_rows(plan: &Plan, assessment: &Assessment) -> Vec<Vec<Cell>> {
    let of_variant = |(variant, together): (&Variant, &Together)| {
        let row = |(output, found): &(Output, crate::analysis::around::Around)| {
            let mut row = place(variant, *output);
            row.extend([found.reading, HELD, found.mean].map(Cell::from));
            for ends in [found.symmetric, found.shortest] {
                row.extend([ends.low, ends.high].map(Cell::from));
            }
            row.push(found.count.into());
            row
        };
        together.around.iter().map(row).collect::<Vec<_>>()
    };
    plan.variants.iter().zip(&assessment.together).flat_map(of_variant).collect()
}
