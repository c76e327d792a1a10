//! The charts of one variant.

use crate::analysis::{CONFIDENCE, order};
use crate::experiment::{Plan, Requirement, Variant};
use crate::measurement::Output;
use crate::record::tables::Cell;
use crate::record::{PartError, Schema};
use crate::report::chart::{
    Against, Alternative, Axis, BandPoint, CovarianceEllipse, Drawn, ErrorCurve, Histogram, Joint, OutputRow,
    against_many, error_curve, histogram, histogram_bins, joint, side_by_side,
};
use crate::report::columns::Columns;
use crate::report::evidence::{Chart, Entry, Files};
use crate::report::words::{self, count, key_in_words, number, percent, short, with_unit};
use crate::simulation::Quantity;
use crate::study::{HELD, OutputAssessment, Together};
use rayon::slice::ParallelSliceMut;

/// Trials in a chart that shows each by a dot, at most: evenly taken from all.
const DOTS: usize = 5000;
/// Points on a curve of the absolute error, at most.
const CURVE_POINTS: u64 = 200;

/// What the charts of one variant are drawn from.
pub struct VariantFigures<'a> {
    pub plan: &'a Plan,
    pub index: usize,
    pub prefix: &'a str,
    pub label: Option<&'a str>,
    pub outputs: &'a [&'a OutputAssessment<'a>],
    pub together: &'a Together,
}

/// Errors of one output, evenly thinned, NaN where there is none.
struct Thin(Vec<f64>);

/// One output with its errors in ascending order, those that are missing last, and the sizes of the others likewise.
struct Measured<'a> {
    output: Output,
    assessed: &'a OutputAssessment<'a>,
    errors: Vec<f64>,
    absolute: Vec<f64>,
}

impl VariantFigures<'_> {
    /// All charts of the variant; one column of errors is held at a time.
    pub fn draw(&self, columns: &dyn Columns, files: &mut Files) -> Result<Vec<Entry>, PartError> {
        let (mut thin, mut rows, mut charts) = (Vec::new(), Vec::new(), Vec::new());
        for assessed in self.outputs {
            let output = assessed.output;
            let mut errors = self.column(columns, &Schema::error_column(output))?;
            thin.push(Thin(thinned(&errors)));
            errors.par_sort_unstable_by(f64::total_cmp);
            let mut absolute: Vec<f64> = errors.iter().filter(|e| e.is_finite()).map(|e| e.abs()).collect();
            absolute.par_sort_unstable_by(f64::total_cmp);
            let measured = Measured { output, assessed, errors, absolute };
            rows.push(self.output_row(&measured));
            charts.push((self.limit(output).is_none(), self.of_output(&measured, files)));
        }
        let drawn = self.drawn(columns)?;
        let trials = self.trials_file(&thin, &drawn, files);
        let joint = self.joint(&thin, &trials);
        let mut entries =
            vec![Entry::Charts { charts: joint.into_iter().chain([self.side(&rows, files)]).collect() }];
        // Outputs with a requirement first.
        charts.sort_by_key(|(free, _)| *free);
        entries.extend(charts.into_iter().map(|(_, charts)| Entry::Charts { charts }));
        let shown = |output: Output| self.limit(output).is_some() && !drawn.is_empty();
        let limited = self.asked().zip(&thin).filter(|(output, _)| shown(*output));
        for (output, errors) in limited {
            entries.push(Entry::Charts { charts: vec![self.against(output, errors, &drawn, &trials)] });
        }
        Ok(entries)
    }

    fn variant(&self) -> &Variant {
        &self.plan.variants[self.index]
    }

    /// The outputs, in order.
    fn asked(&self) -> impl Iterator<Item = Output> {
        self.outputs.iter().map(|assessed| assessed.output)
    }

    fn column(&self, columns: &dyn Columns, column: &str) -> Result<Vec<f64>, PartError> {
        Ok(columns.of(self.number(), column)?.unwrap_or_default())
    }

    /// The variant as the parts count it.
    fn number(&self) -> u32 {
        u32::try_from(self.index).unwrap_or(u32::MAX)
    }

    /// The smallest limit that a requirement sets on an output.
    fn limit(&self, output: Output) -> Option<f64> {
        self.requirements(output).map(|requirement| requirement.limit).min_by(f64::total_cmp)
    }

    fn requirements(&self, output: Output) -> impl Iterator<Item = &Requirement> {
        self.plan.requirements.iter().filter(move |requirement| requirement.output == output)
    }

    fn name(&self, kind: &str, output: Output) -> String {
        format!("{}{kind}-{}", self.prefix, output.id().replace('_', "-"))
    }

    fn caption(&self, what: &str) -> String {
        self.label.map_or_else(|| what.to_owned(), |label| format!("{what}, {label}"))
    }

    /// Histogram and curves of one output.
    fn of_output(&self, measured: &Measured, files: &mut Files) -> Vec<Chart> {
        let mut charts = vec![self.histogram(measured, files)];
        let mut required: Vec<Option<&Requirement>> = self.requirements(measured.output).map(Some).collect();
        if required.is_empty() {
            required.push(None);
        }
        for (index, requirement) in required.iter().enumerate() {
            charts.push(self.curve(measured, *requirement, index, files));
        }
        charts
    }

    fn histogram(&self, measured: &Measured, files: &mut Files) -> Chart {
        let Measured { output, assessed, errors, .. } = measured;
        let name = self.name("histogram", *output);
        let label = error_label(*output);
        let bias = assessed.summary.bias.map(|bias| bias.value);
        let data = Histogram { axis: axis(&label, *output), errors, limit: self.limit(*output), bias };
        let rows = histogram_bins(&data).into_iter().map(|bin| bin.map(Cell::from).into()).collect();
        let unit = output.unit().suffix();
        let header = [format!("from_{unit}"), format!("to_{unit}"), "proportion_percent".to_owned()];
        let csv = files.add(&name, &header, rows);
        let description = self.describe(measured);
        Chart {
            caption: self.caption(&format!("How the errors of {} are spread", output.name())),
            reading: "A bar's height is the proportion of trials in that bin; errors left of 0 are readings below the \
                      truth. Dashed lines are the limits, bars beyond them have another colour, the solid line is the \
                      bias."
                .to_owned(),
            svg: histogram(Alternative { title: &format!("Histogram, {label}"), description: &description }, &data),
            id: name,
            wide: false,
            csv,
        }
    }

    fn describe(&self, measured: &Measured) -> String {
        let s = &measured.assessed.summary;
        let unit = measured.output.unit().symbol();
        let bias = words::estimate(s.bias);
        let limit = self
            .limit(measured.output)
            .map_or(String::new(), |limit| format!(", limit {}", with_unit(&short(limit), unit)));
        format!(
            "Error of {}: {} trials measured, bias in {unit} {bias}{limit}.",
            measured.output.name(),
            count(s.n - s.failed)
        )
    }

    fn curve(&self, measured: &Measured, asked: Option<&Requirement>, index: usize, files: &mut Files) -> Chart {
        let output = measured.output;
        let name = self.name("curve", output) + &if index == 0 { String::new() } else { format!("-{}", index + 1) };
        let independent = self.plan.design.is_none();
        let points = curve_points(&measured.absolute, independent);
        let unit = output.unit().suffix();
        let header =
            ["proportion".to_owned(), format!("error_{unit}"), format!("low_{unit}"), format!("high_{unit}")];
        let finite = |value: f64| Cell::from(value.is_finite().then_some(value));
        let rows = points.iter().map(|p| vec![p.x.into(), p.y.into(), finite(p.low), finite(p.high)]).collect();
        let csv = files.add(&name, &header, rows);
        let label = format!("Absolute {}", lower_first(&error_label(output)));
        let data = ErrorCurve {
            axis: axis(&label, output),
            points: &points,
            limit: asked.map(|asked| asked.limit),
            required: asked.map(|asked| asked.proportion),
        };
        let s = &measured.assessed.summary;
        let description = format!(
            "Absolute error of {} against the proportion of measured trials within it; 95\u{a0}% are within {} {}.",
            output.name(),
            words::quantile(s.p95_abs.map(|p95| p95.value), s.p95_abs_low, s.p95_abs_high),
            output.unit().symbol(),
        );
        let of = asked.map_or(String::new(), |asked| format!(", with the limit of {}", asked.id));
        Chart {
            caption: self
                .caption(&format!("How large the error of {} is in a proportion of cases{of}", output.name())),
            reading: format!(
                "Choose a proportion below and go up to the curve: that many measured trials have an absolute error of at \
                 most the value on the left.{}",
                if independent {
                    let level = percent(CONFIDENCE);
                    format!(" The band is the {level}\u{a0}% confidence interval at each proportion by itself.")
                } else {
                    " There is no band, because cases on one device are not independent.".to_owned()
                },
            ),
            svg: error_curve(Alternative { title: &format!("Curve, {label}"), description: &description }, &data),
            id: name,
            wide: false,
            csv,
        }
    }

    fn output_row(&self, measured: &Measured) -> Row {
        // What is no number stands at the end.
        let sorted = measured.errors.split_at(measured.absolute.len()).0;
        let quantiles = [0.05, 0.25, 0.5, 0.75, 0.95].map(|p| order::quantile(sorted, p).unwrap_or(f64::NAN));
        let bias = measured.assessed.summary.bias.map_or(f64::NAN, |bias| bias.value);
        Row { output: measured.output, limit: self.limit(measured.output), quantiles, bias }
    }

    fn side(&self, rows: &[Row], files: &mut Files) -> Chart {
        let name = format!("{}side-by-side", self.prefix);
        let labels: Vec<String> = rows.iter().map(|row| short_name(row.output)).collect();
        let data: Vec<OutputRow> = rows
            .iter()
            .zip(&labels)
            .map(|(row, label)| OutputRow {
                label,
                unit: row.output.unit().suffix(),
                limit: row.limit,
                quantiles: row.quantiles,
                bias: row.bias,
            })
            .collect();
        let finite = |value: f64| Cell::from(value.is_finite().then_some(value));
        let cells = rows.iter().map(|row| {
            let mut cells: Vec<Cell> =
                vec![row.output.id().into(), row.output.unit().suffix().into(), row.limit.into()];
            cells.extend(row.quantiles.map(finite));
            cells.push(finite(row.bias));
            cells
        });
        let header = ["output", "unit", "limit", "q05", "q25", "q50", "q75", "q95", "bias"];
        let csv = files.add(&name, &header, cells.collect());
        let limited = rows.iter().filter(|row| row.limit.is_some()).count();
        let description = format!("{limited} of {} outputs have a limit and are drawn in units of it.", rows.len());
        Chart {
            caption: self.caption("All outputs side by side, each in units of its limit"),
            reading: "The box holds the middle half of the errors, the whiskers the middle 90\u{a0}%; a whisker beyond a dashed \
                      line means that more than 5\u{a0}% of the errors are beyond the limit on that side."
                .to_owned(),
            svg: side_by_side(Alternative { title: "Outputs side by side", description: &description }, &data),
            id: name,
            wide: false,
            csv,
        }
    }

    /// `None` where not both cup angles are asked for.
    fn joint(&self, thin: &[Thin], trials: &TrialsFile) -> Option<Chart> {
        let [one, other] = Output::CUP;
        let of =
            |wanted: Output| self.asked().zip(thin).find(|(output, _)| *output == wanted).map(|(_, thin)| &thin.0);
        let pairs: Vec<[f64; 2]> = of(one)?.iter().zip(of(other)?).map(|(&a, &b)| [a, b]).collect();
        let cup = &self.together.cup.errors;
        let ellipse =
            cup.covariance().map(|covariance| CovarianceEllipse { mean: cup.mean, covariance, proportion: HELD });
        let labels = [one, other].map(error_label);
        let axes = [axis(&labels[0], one), axis(&labels[1], other)];
        let data = Joint { axes, errors: &pairs, ellipse, limits: [self.limit(one), self.limit(other)] };
        let correlation = cup.correlation(CONFIDENCE).map_or(String::new(), |r| {
            format!(" Their correlation is {}.", number(r.value, words::decimals(r.standard_error)))
        });
        let description = format!("Errors of inclination and anteversion, one dot a trial.{correlation}");
        Some(Chart {
            caption: self.caption("Error of cup inclination against error of cup anteversion"),
            reading: format!(
                "Each dot is one trial{}; the ellipse would hold {}\u{a0}% of normal errors with the mean and covariance of all \
                 trials, and the box is made of the limits.{correlation}",
                trials.thinning(),
                percent(HELD),
            ),
            svg: joint(Alternative { title: "Inclination against anteversion", description: &description }, &data),
            id: format!("{}joint-cup", self.prefix),
            wide: false,
            csv: trials.name.clone(),
        })
    }

    /// What was drawn of every trial and truly varies, evenly thinned.
    fn drawn(&self, columns: &dyn Columns) -> Result<Vec<DrawnColumn>, PartError> {
        let model = &self.variant().model;
        let (anatomy, implant) = (model.anatomy.quantities(), model.implant.quantities());
        let keys =
            anatomy.iter().map(|entry| ("anatomy", entry)).chain(implant.iter().map(|entry| ("implant", entry)));
        let varied = keys.filter(|(_, (_, quantity))| !Quantity::is_constant(quantity));
        varied
            .filter_map(|(group, (key, _))| {
                let column = format!("{group}_{key}");
                let values = match columns.of(self.number(), &column) {
                    Ok(values) => thinned(&values?),
                    Err(error) => return Some(Err(error)),
                };
                let words = key_in_words(key);
                let label = if group == "implant" { format!("True {}", lower_first(&words)) } else { words };
                Some(Ok(DrawnColumn { column, label, unit: words::unit_of_key(key), values }))
            })
            .collect()
    }

    /// One file behind all charts whose dots are trials.
    fn trials_file(&self, thin: &[Thin], drawn: &[DrawnColumn], files: &mut Files) -> TrialsFile {
        let all = usize::try_from(self.plan.trials).unwrap_or(usize::MAX);
        let step = step(all);
        let shown = thin.first().map_or(0, |thin| thin.0.len());
        let header: Vec<String> = ["trial".to_owned()]
            .into_iter()
            .chain(self.asked().map(Schema::error_column))
            .chain(drawn.iter().map(|drawn| drawn.column.clone()))
            .collect();
        let columns: Vec<&[f64]> = thin
            .iter()
            .map(|thin| thin.0.as_slice())
            .chain(drawn.iter().map(|drawn| drawn.values.as_slice()))
            .collect();
        let value =
            |column: &[f64], row: usize| Cell::from(column.get(row).copied().filter(|value| value.is_finite()));
        let rows = (0..shown).map(|row| {
            let trial = Cell::from((row * step) as u64);
            std::iter::once(trial).chain(columns.iter().map(|column| value(column, row))).collect()
        });
        let name = files.add(&format!("{}trials-drawn", self.prefix), &header, rows.collect());
        TrialsFile { name, step }
    }

    fn against(&self, output: Output, errors: &Thin, drawn: &[DrawnColumn], trials: &TrialsFile) -> Chart {
        let label = error_label(output);
        let data: Vec<Drawn> = drawn
            .iter()
            .map(|drawn| Drawn { axis: Axis { label: &drawn.label, unit: drawn.unit }, values: &drawn.values })
            .collect();
        let description = format!(
            "Error of {} against each of {} drawn values of patient and implant.",
            output.name(),
            drawn.len()
        );
        let error = Against { axis: axis(&label, output), errors: &errors.0, limit: self.limit(output) };
        Chart {
            caption: self
                .caption(&format!("Error of {} against everything drawn of patient and implant", output.name())),
            reading: format!(
                "Each dot is one trial{}; a solid line that is not level shows an error that depends on the drawn value, \
                 dashed lines that spread show a scatter that does. The file holds the trials of all such charts.",
                trials.thinning(),
            ),
            svg: against_many(
                Alternative { title: &format!("{label} against drawn values"), description: &description },
                &error,
                &data,
            ),
            id: self.name("against", output),
            wide: true,
            csv: trials.name.clone(),
        }
    }
}

/// One output's quantiles and bias.
struct Row {
    output: Output,
    limit: Option<f64>,
    quantiles: [f64; 5],
    bias: f64,
}

/// What was drawn of one quantity.
struct DrawnColumn {
    column: String,
    label: String,
    unit: &'static str,
    values: Vec<f64>,
}

/// The file behind charts whose dots are trials, and how many trials one dot stands for.
struct TrialsFile {
    name: String,
    step: usize,
}

impl TrialsFile {
    fn thinning(&self) -> String {
        if self.step == 1 { String::new() } else { format!(", every {}th of all", self.step) }
    }
}

fn step(trials: usize) -> usize {
    trials.div_ceil(DOTS).max(1)
}

fn thinned(values: &[f64]) -> Vec<f64> {
    values.iter().step_by(step(values.len())).copied().collect()
}

/// The short name of an output, as a label: `Leg length`.
fn short_name(output: Output) -> String {
    key_in_words(output.id())
}

fn error_label(output: Output) -> String {
    format!("{} error", short_name(output))
}

fn lower_first(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

fn axis(label: &str, output: Output) -> Axis<'_> {
    Axis { label, unit: output.unit().suffix() }
}

/// Empirical quantiles of ascending absolute errors, at evenly spread ranks, with their intervals if trials are
/// independent.
fn curve_points(absolute: &[f64], independent: bool) -> Vec<BandPoint> {
    let n = absolute.len() as u64;
    let points = n.min(CURVE_POINTS);
    (1..=points)
        .filter_map(|point| {
            let rank = (point * n).div_ceil(points);
            let x = rank as f64 / n as f64;
            let y = order::at_rank(absolute, rank)?;
            if !independent {
                return Some(BandPoint { x, y, low: f64::NAN, high: f64::NAN });
            }
            let (low, high) = order::interval(absolute, x, CONFIDENCE);
            Some(BandPoint { x, y, low: low.unwrap_or(0.0), high: high.unwrap_or(f64::INFINITY) })
        })
        .collect()
}
