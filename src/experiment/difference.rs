//! In which settings two plans differ, said so that a user finds each of them in the file.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// Settings by their path, each as it is shown.
type Settings = BTreeMap<String, String>;

/// One setting that differs: its path, and what it was and is; `None` where it is not there.
type Change = (String, Option<String>, Option<String>);

/// Longest value that is shown whole.
const LONGEST: usize = 60;

/// Variants named with a change that not all of them share.
const NAMED: usize = 3;

/// Everything that moves draws or readings and differs between two resolved plans, one line each. What is the same in
/// every variant is said once.
pub fn differences(found: &Value, asked: &Value) -> Vec<String> {
    let head = |plan: &Value| {
        let mut settings = Settings::from(["seed", "design"].map(|key| (key.to_owned(), plan[key].to_string())));
        for (index, point) in plan["points"].as_array().into_iter().flatten().enumerate() {
            let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
            let values = point["values"].as_array().into_iter().flatten();
            let values: Vec<_> = values.map(|v| format!("{} = {}", text(&v["path"]), text(&v["value"]))).collect();
            settings.insert(format!("sweep point {index}"), values.join("; "));
        }
        settings
    };
    let mut lines: Vec<_> = changes(&head(found), &head(asked)).iter().map(sentence).collect();

    let (found, asked) = (variants(found), variants(asked));
    let both: Vec<&String> = found.keys().filter(|name| asked.contains_key(*name)).collect();
    let mut changed: BTreeMap<Change, Vec<&str>> = BTreeMap::new();
    for name in &both {
        for change in changes(&found[*name], &asked[*name]) {
            changed.entry(change).or_default().push(name);
        }
    }
    for (change, names) in &changed {
        lines.push(sentence(change) + &whose(names, both.len()));
    }
    lines.extend(found.keys().filter(|name| !asked.contains_key(*name)).map(|name| format!("{name} is gone")));
    lines.extend(asked.keys().filter(|name| !found.contains_key(*name)).map(|name| format!("{name} is new")));
    lines
}

fn variants(plan: &Value) -> BTreeMap<String, Settings> {
    let named = |variant: &Value| {
        let mut settings = Settings::new();
        for (key, value) in variant.as_object().into_iter().flatten().filter(|(key, _)| !is_name(key)) {
            flatten(key, value, &mut settings);
        }
        (format!("arm {} at point {}", variant["arm"], variant["point"]), settings)
    };
    plan["variants"].as_array().into_iter().flatten().map(named).collect()
}

fn is_name(key: &str) -> bool {
    ["arm", "point"].contains(&key)
}

/// Every setting below a place. The basis of a number moves nothing.
fn flatten(at: &str, value: &Value, settings: &mut Settings) {
    match value {
        Value::Object(map) => {
            for (key, value) in map.iter().filter(|(key, _)| *key != "basis") {
                flatten(&format!("{at}.{key}"), value, settings);
            }
        }
        Value::Array(items) if items.iter().any(Value::is_object) => {
            for (index, item) in items.iter().enumerate() {
                flatten(&format!("{at}.{index}"), item, settings);
            }
        }
        plain => drop(settings.insert(at.to_owned(), plain.to_string())),
    }
}

fn changes(found: &Settings, asked: &Settings) -> Vec<Change> {
    let keys: BTreeSet<&String> = found.keys().chain(asked.keys()).collect();
    let changed = keys.into_iter().filter(|key| found.get(*key) != asked.get(*key));
    changed.map(|key| (key.clone(), found.get(key).cloned(), asked.get(key).cloned())).collect()
}

fn sentence((key, was, is): &Change) -> String {
    let shown = |value: &Option<String>| match value {
        None => "absent".to_owned(),
        Some(value) if value.chars().count() > LONGEST => {
            format!("{}...", value.chars().take(LONGEST).collect::<String>())
        }
        Some(value) => value.clone(),
    };
    format!("{key} was {} there and is {} now", shown(was), shown(is))
}

/// Which variants a change concerns, unless it is all.
fn whose(names: &[&str], all: usize) -> String {
    if names.len() == all {
        return String::new();
    }
    let rest = match names.len().saturating_sub(NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    format!(" ({}{rest})", names.iter().take(NAMED).copied().collect::<Vec<_>>().join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::Plan;

    fn resolved(text: &str) -> Value {
        Plan::parse("hip.toml", text).unwrap_or_else(|error| panic!("{error}")).resolved()
    }

    #[test]
    fn identity_every_change_is_said_once() {
        let arms = "[[arm]]\nname = \"one\"\n[[arm]]\nname = \"two\"\n";
        let before = resolved(&format!("seed = 1\n{arms}"));
        assert_eq!(differences(&before, &before), Vec::<String>::new());
        let after = resolved(
            "seed = 2\n[protocol]\ncup_frames = 17\n[[arm]]\nname = \"one\"\n[[arm]]\nname = \"two\"\n\
             set = { \"measure.plane\" = \"level\" }\n[[arm]]\nname = \"three\"\n",
        );
        let lines = differences(&before, &after);
        let frames = before["variants"][0]["protocol"]["cup_frames"].to_string();
        let expected = [
            "seed was 1 there and is 2 now".to_owned(),
            "measure.measurand_plane was \"bony\" there and is \"level\" now (arm \"two\" at point 0)".to_owned(),
            "measure.plane was \"bony\" there and is \"level\" now (arm \"two\" at point 0)".to_owned(),
            format!("protocol.cup_frames was {frames} there and is 17 now"),
            "arm \"three\" at point 0 is new".to_owned(),
        ];
        assert_eq!(lines, expected);
    }

    #[test]
    fn identity_a_swept_value_is_named_and_a_basis_is_not() {
        let sweep = |values: &str| {
            resolved(&format!("seed = 1\n[[sweep]]\nvary = \"protocol.cup_frames\"\nover = [{values}]\n"))
        };
        let lines = differences(&sweep("3, 4"), &sweep("3, 5"));
        assert_eq!(lines.len(), 2, "{lines:?}");
        assert_eq!(lines[0], "sweep point 1 was protocol.cup_frames = 4 there and is protocol.cup_frames = 5 now");
        assert_eq!(lines[1], "protocol.cup_frames was 4 there and is 5 now (arm \"base\" at point 1)");
        let other = "seed = 1\n[anatomy]\nbasis = { kind = \"measured\", note = \"on our own bench\" }\n";
        assert_eq!(differences(&resolved("seed = 1\n"), &resolved(other)), Vec::<String>::new());
    }
}
