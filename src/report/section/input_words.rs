//! Values of inputs in words, with units, and their bases.

use crate::report::words::{short, with_unit};
use crate::simulation::Basis;
use serde_json::Value;

pub(super) fn distribution(value: &Value) -> Option<(&str, &serde_json::Map<String, Value>)> {
    let (kind, parameters) = value.as_object().filter(|map| map.len() == 1)?.iter().next()?;
    crate::simulation::DISTRIBUTIONS.contains(&kind.as_str()).then_some((kind.as_str(), parameters.as_object()?))
}

/// A value as plain data, in words.
pub(super) fn value_words(value: &Value, unit: &str) -> String {
    if let Some((kind, parameters)) = distribution(value) {
        match kind {
            "mixture" => return mixture_words(parameters, unit),
            "empirical" => return empirical_words(parameters, unit),
            _ => {}
        }
        let parameter = |(key, value): (&String, &Value)| match key.as_str() {
            "truncated" => within_words(value, unit),
            "log_sd" => format!("sd of the logarithm {}", value_words(value, "")),
            "degrees_of_freedom" => format!("{} degrees of freedom", value_words(value, "")),
            _ => format!("{key} {}", value_words(value, unit)),
        };
        let parameters: Vec<_> = parameters.iter().map(parameter).collect();
        return format!("{}, {}", kind.replace('_', " "), parameters.join(", "));
    }
    match value {
        Value::Null => "none".to_owned(),
        Value::Number(number) => with_unit(&number.as_f64().map_or_else(|| number.to_string(), short), unit),
        Value::String(text) => text.clone(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::Array(values) => {
            let nested = values.iter().any(Value::is_array);
            let words: Vec<_> = values.iter().map(|value| value_words(value, "")).collect();
            let joined = if nested { format!("({})", words.join("), (")) } else { words.join(", ") };
            with_unit(&joined, unit)
        }
        Value::Object(_) => value.to_string(),
    }
}

fn within_words(bounds: &Value, unit: &str) -> String {
    match bounds.as_array().map(Vec::as_slice) {
        Some([low, high]) => format!("within {} to {}", value_words(low, ""), value_words(high, unit)),
        _ => String::new(),
    }
}

/// A rare event in words.
fn mixture_words(parameters: &serde_json::Map<String, Value>, unit: &str) -> String {
    let words = |key: &str| parameters.get(key).map_or_else(String::new, |value| value_words(value, unit));
    let probability = parameters.get("probability").map_or_else(String::new, |value| value_words(value, ""));
    let mut text = format!("{}; with probability {probability} {}", words("main"), words("event"));
    if let Some(bounds) = parameters.get("truncated") {
        text += "; ";
        text += &within_words(bounds, unit);
    }
    text
}

/// Measured values in words: where they are from, how many, how far they reach.
fn empirical_words(parameters: &serde_json::Map<String, Value>, unit: &str) -> String {
    let values = parameters.get("values").and_then(Value::as_array).map_or(&[][..], Vec::as_slice);
    let numbers: Vec<f64> = values.iter().filter_map(Value::as_f64).collect();
    let (first, last) = (numbers.first().copied().unwrap_or(f64::NAN), numbers.last().copied().unwrap_or(f64::NAN));
    let mean = numbers.iter().sum::<f64>() / numbers.len() as f64;
    let from = match (parameters.get("csv").and_then(Value::as_str), parameters.get("column").and_then(Value::as_str))
    {
        (Some(csv), Some(column)) => format!(" of column {column} in {csv}"),
        _ => String::new(),
    };
    let mut text = format!(
        "empirical, {} values{from}, {} to {}, mean {}",
        numbers.len(),
        short(first),
        with_unit(&short(last), unit),
        with_unit(&short(mean), unit)
    );
    if let Some(bounds) = parameters.get("truncated") {
        text += ", ";
        text += &within_words(bounds, unit);
    }
    text
}

pub(super) fn basis_words(basis: &Basis) -> String {
    let mut text = basis.kind.word().to_owned();
    for more in [&basis.source, &basis.note].into_iter().flatten() {
        text.push_str(": ");
        text.push_str(more);
    }
    text
}

/// Plain structs of numbers and text, which JSON always takes; nothing if ever it should not.
pub(super) fn plain<T: serde::Serialize>(value: &T) -> Value {
    serde_json::to_value(value).unwrap_or_default()
}
