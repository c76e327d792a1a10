//! Words and letters that the report uses, from the same catalogue as `navassay explain`.

use crate::experiment::Plan;
use crate::explain::{Kind, catalogue};
use crate::measurement::Output;
use crate::report::evidence::{Files, Section};

/// Symbols that stand in the formulas of some outputs alone.
const OF_SOME: [(&str, &[Output]); 5] =
    [("a", &Output::CUP), ("c0, c1", &Output::LEG), ("R", &Output::LEG), ("g", &Output::LEG), ("D", &Output::LEG)];

pub fn section(plan: &Plan, files: &mut Files) -> Section {
    let catalogue = catalogue();
    let is_used = |kind: Kind, id: &str| {
        let of = OF_SOME.iter().find(|(symbol, _)| kind == Kind::Symbol && *symbol == id);
        of.is_none_or(|(_, outputs)| plan.asked().has_any(outputs))
    };
    let mut of = |kind: Kind, name: &str, caption: &str, reading: &str, column: &str| {
        let entries = catalogue.iter().filter(|entry| entry.kind == kind && is_used(kind, &entry.id));
        let from = |facts: &[(String, String)]| {
            facts.iter().find(|(label, _)| label == "from").map(|(_, text)| text.clone()).unwrap_or_default()
        };
        let rows = entries.map(|entry| vec![entry.id.clone(), entry.meaning.clone(), from(&entry.facts)]).collect();
        files.table(name, caption, reading, &[column, "meaning", "after"], rows)
    };
    let entries = vec![
        of(
            Kind::Term,
            "terms",
            "Terms",
            "The last column names the standard or publication that a term comes from; its meaning is given in the words \
             of this program.",
            "term",
        ),
        of(
            Kind::Symbol,
            "symbols",
            "Symbols",
            "Letters of formulas, of axes and of quantities; the last column names where a convention comes from.",
            "symbol",
        ),
    ];
    Section { id: "glossary", title: "Terms and symbols", entries }
}
