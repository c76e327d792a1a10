//! In which settings two plans differ, said so that a user finds each of them in the file.

use serde_json::{Map, Value};
use std::collections::{BTreeMap, BTreeSet};

/// Settings by their path, each with its value as JSON.
type Settings = BTreeMap<String, String>;

/// A setting that differs between two plans.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Change {
    /// Its path in the experiment file, with the variants that it concerns unless it is all.
    pub setting: String,
    /// Its value in the first plan, as JSON; `None` where it is absent.
    pub was: Option<String>,
    /// Its value in the second plan.
    pub is: Option<String>,
}

/// Longest value that is shown whole, in characters.
const LONGEST: usize = 60;

/// Characters shown before the first that differs, of values that are too long.
const BEFORE: usize = 20;

/// Variants named with a change that not all of them share.
const NAMED: usize = 3;

/// What is in the place of a whole variant.
const PRESENT: &str = "present";

impl Change {
    /// Both values, cut to the part where they differ if they are long.
    #[must_use]
    pub fn shown(&self) -> [String; 2] {
        let letters = |value: &Option<String>| value.as_deref().map(|value| value.chars().collect::<Vec<_>>());
        let (was, is) = (letters(&self.was), letters(&self.is));
        let same = was.iter().flatten().zip(is.iter().flatten()).take_while(|(one, other)| one == other).count();
        let cut = |value: Option<Vec<char>>| match value {
            None => "absent".to_owned(),
            Some(value) if value.len() <= LONGEST => value.into_iter().collect(),
            Some(value) => {
                let first = same.saturating_sub(BEFORE);
                let part: String = value.iter().skip(first).take(LONGEST).collect();
                let (before, after) = (first > 0, first + LONGEST < value.len());
                let dots = |cut| if cut { "..." } else { "" };
                format!("{}{part}{}", dots(before), dots(after))
            }
        };
        [cut(was), cut(is)]
    }
}

impl std::fmt::Display for Change {
    fn fmt(&self, out: &mut std::fmt::Formatter) -> std::fmt::Result {
        let [was, is] = self.shown();
        write!(out, "{} was {was} there and is {is} now", self.setting)
    }
}

/// Everything that moves draws or readings and differs between two resolved plans, one line each. What is the same in
/// every variant is said once.
pub fn differences(found: &Value, asked: &Value) -> Vec<String> {
    simulated(found, asked).iter().map(Change::to_string).collect()
}

/// Settings that move draws or readings.
pub fn simulated(found: &Value, asked: &Value) -> Vec<Change> {
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
    let mut found_changes = changes(&head(found), &head(asked));
    found_changes.extend(of_variants(&variants(found, false), &variants(asked, false)));
    found_changes
}

/// Settings that move verdicts and texts: all of `content` (see [`super::resolved::judged`]), and the basis of each input.
pub fn judged([found, asked]: [&Value; 2], content: impl Fn(&Value) -> Map<String, Value>) -> Vec<Change> {
    let all = |plan: &Value| {
        let mut settings = Settings::new();
        for (key, value) in &content(plan) {
            flatten(key, value, false, &mut settings);
        }
        settings
    };
    let mut found_changes = changes(&all(found), &all(asked));
    let bases = |plan| variants(plan, true);
    let (found, asked) = (bases(found), bases(asked));
    let both = |name: &String| found.contains_key(name) && asked.contains_key(name);
    let kept = |of: &BTreeMap<String, Settings>| -> BTreeMap<String, Settings> {
        of.iter().filter(|(name, _)| both(name)).map(|(name, settings)| (name.clone(), settings.clone())).collect()
    };
    found_changes.extend(of_variants(&kept(&found), &kept(&asked)));
    found_changes
}

fn of_variants(found: &BTreeMap<String, Settings>, asked: &BTreeMap<String, Settings>) -> Vec<Change> {
    let both: Vec<&String> = found.keys().filter(|name| asked.contains_key(*name)).collect();
    let mut changed: BTreeMap<Change, Vec<&str>> = BTreeMap::new();
    for name in &both {
        for change in changes(&found[*name], &asked[*name]) {
            changed.entry(change).or_default().push(name);
        }
    }
    let mut lines: Vec<Change> = Vec::new();
    for (change, names) in changed {
        lines.push(Change { setting: change.setting + &whose(&names, both.len()), ..change });
    }
    let present = || Some(PRESENT.to_owned());
    let gone = found.keys().filter(|name| !asked.contains_key(*name));
    lines.extend(gone.map(|name| Change { setting: name.clone(), was: present(), is: None }));
    let new = asked.keys().filter(|name| !found.contains_key(*name));
    lines.extend(new.map(|name| Change { setting: name.clone(), was: None, is: present() }));
    lines
}

/// The settings of each variant, or the bases of its inputs.
fn variants(plan: &Value, bases: bool) -> BTreeMap<String, Settings> {
    let named = |variant: &Value| {
        let mut settings = Settings::new();
        for (key, value) in variant.as_object().into_iter().flatten().filter(|(key, _)| !is_name(key)) {
            flatten(key, value, false, &mut settings);
        }
        settings.retain(|path, _| is_basis(path) == bases);
        (format!("arm {} at point {}", variant["arm"], variant["point"]), settings)
    };
    plan["variants"].as_array().into_iter().flatten().map(named).collect()
}

fn is_name(key: &str) -> bool {
    ["arm", "point"].contains(&key)
}

/// The basis of a number moves no draw.
fn is_basis(path: &str) -> bool {
    path.split('.').any(|key| key == "basis")
}

/// Every setting below a place. Tables of a list are named by their `id` where they have one.
fn flatten(at: &str, value: &Value, in_list: bool, settings: &mut Settings) {
    match value {
        Value::Object(map) if !map.is_empty() => {
            for (key, value) in map {
                // The id is in the path.
                if !(in_list && key == "id") {
                    flatten(&format!("{at}.{key}"), value, false, settings);
                }
            }
        }
        Value::Array(items) if items.iter().any(Value::is_object) => {
            for (index, item) in items.iter().enumerate() {
                let name = item["id"].as_str().map_or_else(|| index.to_string(), str::to_owned);
                flatten(&format!("{at}.{name}"), item, true, settings);
            }
        }
        plain => drop(settings.insert(at.to_owned(), plain.to_string())),
    }
}

fn changes(found: &Settings, asked: &Settings) -> Vec<Change> {
    let keys: BTreeSet<&String> = found.keys().chain(asked.keys()).collect();
    let changed = keys.into_iter().filter(|key| found.get(*key) != asked.get(*key));
    let change =
        |key: &String| Change { setting: key.clone(), was: found.get(key).cloned(), is: asked.get(key).cloned() };
    changed.map(change).collect()
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
            "arm \"three\" at point 0 was absent there and is present now".to_owned(),
        ];
        let expected = expected.map(|line| match line.split_once(" was ") {
            // The variants are named behind the setting.
            Some((setting, rest)) if rest.ends_with(')') => {
                let (rest, whose) = rest.rsplit_once(" (").expect("variants in brackets");
                format!("{setting} ({whose} was {rest}")
            }
            _ => line,
        });
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
        assert_eq!(lines[1], "protocol.cup_frames (arm \"base\" at point 1) was 4 there and is 5 now");
        let other = "seed = 1\n[anatomy]\nbasis = { kind = \"measured\", note = \"on our own bench\" }\n";
        assert_eq!(differences(&resolved("seed = 1\n"), &resolved(other)), Vec::<String>::new());
    }

    #[test]
    fn identity_long_values_are_cut_to_where_they_differ() {
        let long = |end: &str| Some(format!("\"{}{end}\"", "a".repeat(100)));
        let [was, is] = Change { setting: "text".to_owned(), was: long("x"), is: long("y") }.shown();
        assert_eq!((was.as_str(), is.as_str()), ("...aaaaaaaaaaaaaaaaaaaax\"", "...aaaaaaaaaaaaaaaaaaaay\""));
        let short = Change { setting: "limit".to_owned(), was: Some("5.0".to_owned()), is: None };
        assert_eq!(short.shown(), ["5.0", "absent"]);
    }
}
