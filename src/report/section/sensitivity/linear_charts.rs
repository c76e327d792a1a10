//! Charts of the linear study: where an effect stops being linear, and what a fixed offset does.

use super::Arm;
use crate::measurement::{OUTPUTS, Output};
use crate::report::chart::{Alternative, Axis, BandPoint, Lines, Series, lines};
use crate::report::evidence::Chart;
use crate::report::words::percent;
use crate::study::sensitivity::{LINEAR_WITHIN, LinearInput, LinearStudy, MULTIPLES};

/// Inputs in a chart, at most.
const MOST_SERIES: usize = 5;

/// The inputs with the largest contributions that have an effect of a fixed offset.
fn leading(study: &LinearStudy, output: usize) -> Vec<&LinearInput> {
    let largest = |input: &&LinearInput| {
        let reach = input.slopes.map_or(0.0, |slopes| slopes[output].abs());
        reach * input.standard_uncertainty.unwrap_or(0.0)
    };
    let single = |input: &&LinearInput| {
        let whole = input.input.as_ref().is_some_and(|input| input.has_components && !input.is_component());
        !whole && !input.effects.is_empty() && largest(input) > 0.0 && largest(input).is_finite()
    };
    let mut found: Vec<&LinearInput> = study.inputs.iter().filter(single).collect();
    found.sort_by(|a, b| largest(b).total_cmp(&largest(a)));
    found.truncate(MOST_SERIES);
    found
}

/// The end of an id that fits beside a line.
fn short_id(id: &str) -> &str {
    const FITS: usize = 23;
    let mut rest = id;
    while let Some((_, shorter)) = rest.split_once('.').filter(|_| rest.len() > FITS) {
        rest = shorter;
    }
    rest
}

fn chart_of(
    arm: &Arm,
    study: &LinearStudy,
    output: Output,
    (id, what, reading): (&str, &str, &str),
    value: impl Fn(&LinearInput, f64, f64) -> f64,
) -> Option<Chart> {
    let i = output.place();
    let inputs = leading(study, i);
    if inputs.is_empty() {
        return None;
    }
    let points: Vec<Vec<BandPoint>> = inputs
        .iter()
        .map(|input| {
            let points = MULTIPLES.iter().zip(&input.effects);
            let point = |(&x, effect): (&f64, &[f64; OUTPUTS.len()])| BandPoint {
                x,
                y: value(input, x, effect[i]),
                low: f64::NAN,
                high: f64::NAN,
            };
            points.map(point).collect()
        })
        .collect();
    let series: Vec<Series> =
        inputs.iter().zip(&points).map(|(input, points)| Series { label: short_id(&input.id), points }).collect();
    let label = format!("{what} on {}", output.name());
    let data = Lines {
        x: Axis { label: "Offset in standard uncertainties", unit: "" },
        logarithmic: false,
        y: Axis { label: &label, unit: output.unit().suffix() },
        series: &series,
        levels: &[],
    };
    let names: Vec<&str> = inputs.iter().map(|input| input.id.as_str()).collect();
    let description = format!("{label}, for the inputs that matter most: {}.", names.join(", "));
    Some(Chart {
        id: format!("{}{id}-{}", arm.prefix, output.id().replace('_', "-")),
        caption: arm.caption(&format!("{what} on the reading of {}", output.name())),
        reading: format!("{reading} Inputs, the largest first: {}.", names.join(", ")),
        svg: lines(Alternative { title: &label, description: &description }, &data),
        wide: false,
        csv: "offsets".to_owned(),
    })
}

pub fn departure_chart(arm: &Arm, study: &LinearStudy, output: Output) -> Option<Chart> {
    let i = output.place();
    let reading = format!(
        "What the effect of an offset has beyond its coefficient times the offset: a flat line is linear. The budget's file says \
         how far each stays linear within {}\u{a0}%.",
        percent(LINEAR_WITHIN)
    );
    chart_of(
        arm,
        study,
        output,
        ("departure", "Departure from the linear effect", &reading),
        |input, multiple, effect| {
            let slope = input.slopes.map_or(f64::NAN, |slopes| slopes[i]);
            effect - slope * multiple * input.standard_uncertainty.unwrap_or(f64::NAN)
        },
    )
}

pub fn offset_chart(arm: &Arm, study: &LinearStudy, output: Output) -> Option<Chart> {
    let reading = "Choose an offset below, in standard uncertainties of that input, and go up or down to its line: so far the \
                   reading moves in every case alike.";
    chart_of(arm, study, output, ("offset", "Effect of a fixed offset", reading), |_, _, effect| effect)
}
