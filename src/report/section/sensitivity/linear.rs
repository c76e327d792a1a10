//! Coefficients, the uncertainty budget, and whether the linear budget is good enough.

use super::linear_charts::{departure_chart, offset_chart};
use super::{Arm, Tables, capital, shown_outputs};
use crate::analysis::Estimate;
use crate::experiment::{Question, Variant};
use crate::measurement::{OUTPUTS, Output};
use crate::record::tables::Cell;
use crate::report::evidence::{Chart, Entry, Files, Heading, Table};
use crate::report::section::inputs::{InputBasis, bases, basis_words, plain, value_words};
use crate::report::words::{number, percent, short, unit_of_key, with_unit};
use crate::study::sensitivity::{
    AddedVariance, CONFIDENCE, LinearInput, LinearStudy, MULTIPLES, OutputBudget, WITHOUT_QUANTITY,
};

/// Lines of an output's budget in the page, at most; the file has all.
const MOST_LINES: usize = 12;
/// Lines below this share of the variance are left to the file.
const LEAST_SHARE: f64 = 0.001;

/// Rows of the files.
#[derive(Default)]
pub struct Rows {
    coefficients: Vec<Vec<Cell>>,
    budget: Vec<Vec<Cell>>,
    check: Vec<Vec<Cell>>,
    offsets: Vec<Vec<Cell>>,
}

impl Rows {
    pub fn write(self, files: &mut Files) {
        let mut add = |name: &str, header: &[&str], rows: Vec<Vec<Cell>>| {
            if !rows.is_empty() {
                files.add(name, header, rows);
            }
        };
        add("coefficients", &["arm", "output", "input", "input_unit", "output_unit", "slope"], self.coefficients);
        add(
            "uncertainty-budget",
            &[
                "arm",
                "output",
                "output_unit",
                "source",
                "input",
                "input_unit",
                "distribution",
                "standard_uncertainty",
                "coefficient",
                "contribution",
                "contribution_low",
                "contribution_high",
                "share",
                "evaluated",
                "linear_up_to",
                "basis",
            ],
            self.budget,
        );
        add(
            "linear-check",
            &[
                "arm",
                "output",
                "unit",
                "expected",
                "u_linear",
                "linear_low",
                "linear_high",
                "u_monte_carlo",
                "monte_carlo_low",
                "monte_carlo_high",
                "allowed_two_digits",
                "allowed_one_digit",
                "digits",
            ],
            self.check,
        );
        add(
            "offsets",
            &["arm", "output", "input", "input_unit", "output_unit", "multiple", "offset", "effect", "linear"],
            self.offsets,
        );
    }
}

pub fn entries(arm: &Arm, variant: &Variant, study: &LinearStudy, tables: &mut Tables) -> Vec<Entry> {
    add_rows(arm, variant, study, &mut tables.linear);
    let asks = |question| arm.plan.sensitivity.as_ref().is_some_and(|asked| asked.asks(question));
    let mut entries = Vec::new();
    if asks(Question::Linear) {
        entries.extend([
            Entry::heading(format!("{}linear-check", arm.prefix), arm.caption("The linear budget against the trials")),
            Entry::paragraph(format!(
                "The law of propagation of uncertainty (JCGM 100, 5.1): each input's standard uncertainty times its \
                 coefficient is its part in the output, and the parts add as squares. Coefficients are central differences \
                 through the whole chain, in the case in which every quantity has its mean. What is drawn many times in a case \
                 (frames, markers, traces, rare events) has no single coefficient: its part is the standard deviation of \
                 the output with that input alone drawn, with a {}\u{a0}% interval. Correlated components add \
                 twice the product of their coefficients and their covariance (JCGM 100, 5.2), which may be below 0; the ends given \
                 with it replace each coefficient by the change over one standard uncertainty to either side. JCGM 101, clause 8, then says whether the \
                 budget is good enough: both ends of its {}\u{a0}% interval must agree with those of the trials of this run \
                 within half a unit of the last digit that is wanted of the uncertainty.",
                percent(CONFIDENCE),
                percent(CONFIDENCE),
            )),
            Entry::List { items: study.outputs.iter().map(check_sentence).collect() },
            Entry::heading(format!("{}linear", arm.prefix), arm.caption("Linear uncertainty budget")),
            budget_table(arm, variant, study),
            coefficient_table(arm, study),
        ]);
    }
    let charts: Vec<Chart> =
        shown_outputs(arm.plan).into_iter().filter_map(|output| departure_chart(arm, study, output)).collect();
    if asks(Question::Linear) && !charts.is_empty() {
        entries.push(Entry::Charts { charts });
    }
    let charts: Vec<Chart> =
        shown_outputs(arm.plan).into_iter().filter_map(|output| offset_chart(arm, study, output)).collect();
    if asks(Question::Offsets) && !charts.is_empty() {
        entries.extend([
            Entry::heading(format!("{}offsets", arm.prefix), arm.caption("What a fixed offset does")),
            Entry::paragraph(
                "A fixed bias in one input, all else at its mean: what soft tissue, a table out of level, a bent inserter or \
                 a finger that always misses on the same side would do to every case alike. The file offsets.csv holds \
                 every input that can be held off, up to six standard uncertainties to either side.",
            ),
            Entry::Charts { charts },
        ]);
    }
    entries
}

fn key_unit(input: &LinearInput) -> &'static str {
    match input.input.as_ref().map(|input| unit_of_key(input.key)) {
        Some("°") => "deg",
        Some(unit) => unit,
        None if WITHOUT_QUANTITY.contains(&input.id.as_str()) => "mm",
        None => "",
    }
}

fn distribution(input: &LinearInput, variant: &Variant) -> String {
    match &input.input {
        Some(found) => {
            let words = value_words(&plain(&found.quantity), unit_of_key(found.key));
            if found.scale == 1.0 { words } else { format!("{words}, times {}", short(found.scale)) }
        }
        None => match input.id.as_str() {
            "tracker.lens" => format!("rms {} over the volume", short(variant.model.noise.tracker.lens.model.rms_mm)),
            "centre.liner" => format!(
                "uniform in a ball of {} mm",
                short(variant.model.noise.centre.liner.model.radial_clearance_mm)
            ),
            _ => "normal, three components with a covariance".to_owned(),
        },
    }
}

fn basis_of(bases: &[InputBasis], source: &str) -> String {
    bases.iter().find(|basis| basis.id == source).map_or_else(String::new, |found| basis_words(&found.basis))
}

/// The lines of an output's budget, largest first, with their shares of the variance.
fn lines_of<'s>(study: &'s LinearStudy, budget: &OutputBudget) -> Vec<(&'s LinearInput, Estimate, f64)> {
    let square = budget.combined * budget.combined;
    let mut found: Vec<_> = study
        .inputs
        .iter()
        .filter_map(|input| {
            let part = input.contributions.as_ref()?[budget.output.place()];
            let share = if square > 0.0 { part.value * part.value / square } else { 0.0 };
            Some((input, part, share))
        })
        .collect();
    found.sort_by(|a, b| b.2.total_cmp(&a.2));
    found
}

fn add_rows(arm: &Arm, variant: &Variant, study: &LinearStudy, rows: &mut Rows) {
    let bases = bases(variant);
    for budget in &study.outputs {
        let i = budget.output.place();
        let (output, unit) = (budget.output.id(), budget.output.unit().suffix());
        for input in &study.inputs {
            let head = || -> Vec<Cell> {
                vec![arm.name.into(), output.into(), input.id.as_str().into(), key_unit(input).into()]
            };
            let Some(slopes) = input.slopes.filter(|slopes| slopes[i].is_finite()) else { continue };
            let mut row = head();
            row.extend([unit.into(), slopes[i].into()]);
            rows.coefficients.push(row);
            let uncertainty = input.standard_uncertainty.unwrap_or(0.0);
            let shown = uncertainty > 0.0 && input.effects.iter().all(|effect| effect[i].is_finite());
            for (multiple, effect) in MULTIPLES.iter().zip(&input.effects).filter(|_| shown) {
                let offset = multiple * uncertainty;
                let mut row = head();
                row.extend([unit.into(), (*multiple).into(), offset.into()]);
                row.extend([effect[i].into(), (slopes[i] * offset).into()]);
                rows.offsets.push(row);
            }
        }
        for (input, part, share) in lines_of(study, budget).into_iter().filter(|(_, part, _)| part.value.is_finite())
        {
            let slope = input.slopes.map(|slopes| slopes[i]).filter(|slope| slope.is_finite());
            let by_slope = part.interval.is_none();
            rows.budget.push(vec![
                arm.name.into(),
                output.into(),
                unit.into(),
                input.source.into(),
                input.id.as_str().into(),
                key_unit(input).into(),
                distribution(input, variant).into(),
                input.standard_uncertainty.into(),
                slope.filter(|_| by_slope).into(),
                part.value.into(),
                part.interval.map(|interval| interval.low).into(),
                part.interval.map(|interval| interval.high).into(),
                share.into(),
                if by_slope { "coefficient" } else { "drawn alone" }.into(),
                input.linear_up_to(i).into(),
                basis_of(&bases, input.source).into(),
            ]);
        }
        let square = budget.combined * budget.combined;
        for pair in &study.correlated {
            let AddedVariance { value: variance, low, high } = pair.variances[i];
            let name = pair.sources.join(" with ");
            let mut row: Vec<Cell> =
                vec![arm.name.into(), output.into(), unit.into(), "correlation".into(), name.into()];
            row.extend(["".into(), "".into(), None::<f64>.into(), None::<f64>.into(), signed_root(variance).into()]);
            row.extend([low, high].map(|end| finite(signed_root(end))));
            row.push((square > 0.0).then(|| variance / square).into());
            row.extend(["coefficients".into(), None::<f64>.into(), "".into()]);
            rows.budget.push(row);
        }
        let monte_carlo = budget.monte_carlo;
        let mut row: Vec<Cell> = vec![arm.name.into(), output.into(), unit.into()];
        row.extend([budget.expected, budget.combined, budget.linear.0, budget.linear.1].map(finite));
        row.extend([monte_carlo.map(|m| m.0), monte_carlo.map(|m| m.1), monte_carlo.map(|m| m.2)].map(Cell::from));
        row.extend([budget.allowed.map(|a| a[0]), budget.allowed.map(|a| a[1])].map(Cell::from));
        row.push(budget.digits().into());
        rows.check.push(row);
    }
}

/// What a part of a variance is as a part of the standard deviation, with its sign.
fn signed_root(variance: f64) -> f64 {
    variance.abs().sqrt().copysign(variance)
}

fn finite(value: f64) -> Cell {
    Cell::from(value.is_finite().then_some(value))
}

/// Digits behind the point for a value of this size: three figures.
fn figures(value: f64) -> usize {
    if !(value.abs() > 0.0) || !value.is_finite() {
        return 3;
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // between 0 and 9
    let digits = (2.0 - libm::floor(libm::log10(value.abs()))).clamp(0.0, 9.0) as usize;
    digits
}

fn three(value: f64) -> String {
    number(value, figures(value))
}

fn check_sentence(budget: &OutputBudget) -> String {
    let (name, unit) = (budget.output.name(), budget.output.unit().symbol());
    let Some((u, low, high)) = budget.monte_carlo else {
        return format!(
            "{}: {} to the first order; the trials are too few to compare.",
            capital(name),
            with_unit(&three(budget.combined), unit)
        );
    };
    let digits = figures(u).min(4);
    let value = |value: f64| number(value, digits);
    let verdict = match budget.digits() {
        Some(2) => "the linear budget is good for two digits of the uncertainty",
        Some(1) => "the linear budget is good for one digit of the uncertainty, not for two",
        Some(_) => "the linear budget is not good enough, use the trials",
        None => "nothing varies, so nothing is compared",
    };
    format!(
        "{}: standard uncertainty {} to the first order, {} in the trials; {}\u{a0}% interval {} to {} against {} to {}: {verdict}.",
        capital(name),
        with_unit(&value(budget.combined), unit),
        with_unit(&value(u), unit),
        percent(CONFIDENCE),
        value(budget.linear.0),
        value(budget.linear.1),
        value(low),
        with_unit(&value(high), unit),
    )
}

fn budget_table(arm: &Arm, variant: &Variant, study: &LinearStudy) -> Entry {
    let bases = bases(variant);
    let mut rows = Vec::new();
    for budget in &study.outputs {
        let i = budget.output.place();
        let unit = budget.output.unit().symbol();
        for (input, part, share) in
            lines_of(study, budget).into_iter().filter(|(_, _, share)| *share >= LEAST_SHARE).take(MOST_LINES)
        {
            let by_slope = part.interval.is_none();
            let key = input.input.as_ref().map_or("", |input| unit_of_key(input.key));
            let slope = input.slopes.map(|slopes| slopes[i]).filter(|_| by_slope);
            let kind =
                bases.iter().find(|basis| basis.id == input.source).map_or("", |found| found.basis.kind.word());
            rows.push(vec![
                budget.output.name().to_owned(),
                input.id.clone(),
                distribution(input, variant),
                input.standard_uncertainty.map_or_else(|| "none".to_owned(), |u| with_unit(&three(u), key)),
                slope.map_or_else(|| "drawn alone".to_owned(), three),
                with_unit(&three(part.value), unit),
                format!("{}\u{a0}%", number(100.0 * share, 1)),
                kind.to_owned(),
            ]);
        }
        let square = budget.combined * budget.combined;
        for pair in study
            .correlated
            .iter()
            .filter(|pair| pair.variances[i].value.abs() >= LEAST_SHARE * square && square > 0.0)
        {
            let variance = pair.variances[i].value;
            let together = ["correlation of components", "none", "from coefficients"].map(str::to_owned);
            let mut row = vec![budget.output.name().to_owned(), pair.sources.join(" with ")];
            row.extend(together);
            row.push(with_unit(&three(signed_root(variance)), unit));
            row.extend([format!("{}\u{a0}%", number(100.0 * variance / square, 1)), String::new()]);
            rows.push(row);
        }
    }
    let columns = [
        ("error of", false),
        ("input", false),
        ("distribution", false),
        ("standard uncertainty", true),
        ("coefficient", true),
        ("contribution", true),
        ("share of the variance", true),
        ("basis", false),
    ];
    Entry::Table(Table {
        id: format!("table-{}uncertainty-budget", arm.prefix),
        caption: arm.caption("Uncertainty budget"),
        reading: format!(
            "Contribution is standard uncertainty times coefficient, in the unit of the output; shares of one output sum to \
             100\u{a0}%. The largest {MOST_LINES} lines above {}\u{a0}% are shown; the file has all, with the basis in full.",
            percent(LEAST_SHARE)
        ),
        columns: columns.map(|(name, numbers)| Heading { name: name.to_owned(), numbers }).into(),
        rows,
        csv: "uncertainty-budget".to_owned(),
    })
}

fn coefficient_table(arm: &Arm, study: &LinearStudy) -> Entry {
    let acts =
        |input: &&LinearInput| input.slopes.is_some_and(|slopes| slopes.iter().any(|slope| slope.abs() > 1e-6));
    let rows = study.inputs.iter().filter(acts).map(|input| {
        let unit = input.input.as_ref().map_or("", |input| unit_of_key(input.key));
        let slopes = input.slopes.unwrap_or([f64::NAN; OUTPUTS.len()]);
        let slope = |slope: f64| if slope.is_finite() { number(slope, 5) } else { "none".to_owned() };
        [input.id.clone(), if unit.is_empty() { "1".to_owned() } else { unit.to_owned() }]
            .into_iter()
            .chain(arm.plan.asked().outputs().map(|output| slope(slopes[output.place()])))
            .collect()
    });
    let head =
        |output: Output| Heading { name: format!("{}, {}", output.name(), output.unit().symbol()), numbers: true };
    Entry::Table(Table {
        id: format!("table-{}coefficients", arm.prefix),
        caption: arm.caption("Coefficients"),
        reading: "Change of the error of each output, in its unit, with one unit more of the input, held in every capture. A \
                  quantity with several components stands first as a whole (all of them together), then by component. \
                  Inputs that move nothing are left to the file."
            .to_owned(),
        columns: [("input", false), ("per", false)]
            .map(|(name, numbers)| Heading { name: name.to_owned(), numbers })
            .into_iter()
            .chain(arm.plan.asked().outputs().map(head))
            .collect(),
        rows: rows.collect(),
        csv: "coefficients".to_owned(),
    })
}
