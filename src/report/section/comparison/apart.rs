//! Arms whose errors are errors of different quantities: named, and neither tested nor ranked against each other.

use super::against;
use crate::experiment::Plan;
use crate::measurement::Output;
use crate::report::evidence::Entry;
use crate::study::{Assessment, Pair};

/// Nothing where all arms have the same estimands.
pub fn entries(plan: &Plan, assessment: &Assessment) -> Vec<Entry> {
    let apart = &assessment.arms.apart;
    let mut pairs: Vec<(Pair, Vec<Output>)> = Vec::new();
    for found in apart.iter().filter(|found| found.arms[0].point == apart[0].arms[0].point) {
        let same =
            |(arms, _): &&mut (Pair, Vec<Output>)| arms.iter().zip(found.arms).all(|(a, b)| std::ptr::eq(*a, b));
        match pairs.iter_mut().find(same) {
            Some((_, outputs)) => outputs.push(found.output),
            None => pairs.push((found.arms, vec![found.output])),
        }
    }
    if pairs.is_empty() {
        return Vec::new();
    }
    let item = |(arms, outputs): &(Pair, Vec<Output>)| {
        let of = if outputs.len() == plan.asked().outputs().count() {
            "all outputs".to_owned()
        } else {
            outputs.iter().map(|output| output.name()).collect::<Vec<_>>().join(", ")
        };
        let [a, b] = arms.map(|arm| arm.estimand(outputs[0]));
        format!("{}, {of}: {a}; {b}.", against(*arms))
    };
    vec![
        Entry::heading("different-estimands", "Arms with different estimands"),
        Entry::paragraph(
            "These arms have different estimands; they are not tested against each other and not ranked together. Their errors are \
             shown side by side under the performance of each arm.",
        ),
        Entry::List { items: pairs.iter().map(item).collect() },
    ]
}

/// Whether an output of any two arms at the first point has different estimands.
pub fn is_apart(assessment: &Assessment, output: Output) -> bool {
    assessment.arms.apart.iter().any(|found| found.output == output)
}
