//! The experiment as it is written: typed sections, read from the tree with places kept.

use super::diagnostics::Fault;
use super::nearest::{nearest, suggestion};
use super::tree::{Node, Tree, described};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use toml::de::{DeValue, ValueDeserializer};

/// A requirement as it is written, without its output, which is read by itself.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenRequirement {
    pub id: String,
    pub risk: Option<String>,
    pub text: String,
    pub limit_deg: Option<f64>,
    pub limit_mm: Option<f64>,
    pub guard_deg: Option<f64>,
    pub guard_mm: Option<f64>,
    pub proportion: f64,
    pub confidence: f64,
}

/// A requirement that several limits hold in the same case, as it is written.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenJoint {
    pub id: String,
    pub risk: Option<String>,
    pub text: String,
    pub all_of: Vec<String>,
    pub proportion: f64,
    pub confidence: f64,
}

/// A nested design as it is written; no devices stand for none.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenDesign {
    pub devices: u64,
    pub cases: u64,
    pub repeats: u64,
}

/// Which noise sources are on, and how strong.
#[derive(Clone, Debug)]
pub(super) struct Switches {
    pub off: Vec<String>,
    pub only: Option<Vec<String>>,
    pub scale: BTreeMap<String, f64>,
}

/// Reads typed values from a tree and collects what is wrong with them.
pub(super) struct Reader<'t, 'i> {
    pub tree: &'t Tree<'i>,
    pub faults: Vec<Fault>,
}

impl<'t, 'i> Reader<'t, 'i> {
    pub fn new(tree: &'t Tree<'i>) -> Self {
        Self { tree, faults: Vec::new() }
    }

    /// The value at a path; `None` with a fault if it is missing or of the wrong kind.
    pub fn value<T: DeserializeOwned>(&mut self, path: &str) -> Option<T> {
        self.section(path, &[])
    }

    /// The value at a path, if it is written.
    pub fn optional<T: DeserializeOwned>(&mut self, path: &str) -> Option<T> {
        self.tree.get(path)?;
        self.value(path)
    }

    /// A section without some of its keys, which are read by themselves.
    pub fn section<T: DeserializeOwned>(&mut self, path: &str, without: &[&str]) -> Option<T> {
        let Some(node) = self.tree.get(path) else {
            self.fault(path, format!("{} is missing", named(path)), "expected this key");
            return None;
        };
        let mut node: Node = node.clone();
        if let DeValue::Table(table) = node.get_mut() {
            for key in without {
                table.remove(*key);
            }
        }
        match T::deserialize(ValueDeserializer::from(node)) {
            Ok(value) => Some(value),
            Err(error) => {
                let fault = self.explained(path, &error);
                self.faults.push(fault);
                None
            }
        }
    }

    /// One of several words at a path.
    pub fn choice<T: Copy>(&mut self, path: &str, options: &[T], word: impl Fn(T) -> &'static str) -> Option<T> {
        let written: String = self.value(path)?;
        let found = options.iter().copied().find(|&option| word(option) == written);
        if found.is_none() {
            let words: Vec<_> = options.iter().map(|&option| word(option)).collect();
            let fault = Fault::new(
                self.tree.span_of(path),
                impossible(path),
                format!("found \"{written}\", expected one of {}", words.join(", ")),
            );
            let near = nearest(&written, words.iter().copied());
            self.faults.push(fault.help_if(near.map(|near| format!("did you mean \"{near}\"?"))));
        }
        found
    }

    /// Adds a fault at a path.
    pub fn fault(&mut self, path: &str, message: impl Into<String>, label: impl Into<String>) {
        self.faults.push(Fault::new(self.tree.span_of(path), message, label));
    }

    /// Adds a fault where a condition does not hold.
    pub fn demand(&mut self, holds: bool, path: &str, found: impl std::fmt::Display, expected: &str) {
        if !holds {
            self.fault(path, impossible(path), format!("found {found}, expected {expected}"));
        }
    }

    /// A fault from a deserialiser's error, in our words and with the path it concerns.
    fn explained(&self, section: &str, error: &toml::de::Error) -> Fault {
        let path = error.span().and_then(|span| self.tree.path_at(&span)).unwrap_or_else(|| section.to_owned());
        let span = self.tree.span_of(&path);
        let message = error.message();
        if let Some(rest) = message.strip_prefix("missing field ") {
            let key = rest.trim_matches('`');
            return Fault::new(
                span,
                format!("{} is missing", named(&format!("{path}.{key}"))),
                format!("expected `{key} = ...` here"),
            );
        }
        let found = message
            .strip_prefix("invalid type: ")
            .or_else(|| message.strip_prefix("invalid value: "))
            .or_else(|| message.strip_prefix("invalid length "))
            .and_then(|rest| rest.split_once(", expected "));
        if let Some((found, expected)) = found {
            let found =
                self.tree.get(&path).map_or_else(|| found.to_owned(), |node| counted(node.get_ref(), expected));
            return Fault::new(span, impossible(&path), format!("found {found}, expected {}", in_words(expected)));
        }
        if let Some((found, expected)) =
            message.strip_prefix("unknown variant ").and_then(|m| m.split_once(", expected "))
        {
            let words: Vec<_> = expected.split('`').skip(1).step_by(2).collect();
            let word = found.trim_matches('`');
            return Fault::new(
                span,
                impossible(&path),
                format!("found \"{word}\", expected one of {}", words.join(", ")),
            )
            .help_if(suggestion(word, &words));
        }
        if let Some((found, expected)) =
            message.strip_prefix("unknown field ").and_then(|m| m.split_once(", expected "))
        {
            let words: Vec<_> = expected.split('`').skip(1).step_by(2).collect();
            let word = found.trim_matches('`');
            return Fault::new(
                span,
                format!("unknown key `{word}` in {}", named(&path)),
                "this key is not known here",
            )
            .help_if(suggestion(word, &words));
        }
        // What is said of a quantity may have a second line: how to mend it.
        let (found, help) = message.split_once('\n').map_or((message, None), |(found, help)| (found, Some(help)));
        Fault::new(span, impossible(&path), found).help_if(help.map(str::to_owned))
    }
}

/// The line above a value that cannot be.
pub(super) fn impossible(path: &str) -> String {
    format!("impossible value in {}", named(path))
}

/// A path in words: in a list, people count from 1.
pub(super) fn named(path: &str) -> String {
    let counted = path.match_indices('.').find_map(|(end, _)| {
        let (list, rest) = (&path[..end], &path[end + 1..]);
        let (index, key) = rest.split_once('.').unwrap_or((rest, ""));
        Some((list, index.parse::<usize>().ok()? + 1, key))
    });
    match counted {
        None => format!("`{path}`"),
        Some((list, number, "")) => format!("{list} {number}"),
        Some((list, number, key)) => format!("`{key}` of {list} {number}"),
    }
}

/// What was found; of an array that should have another length, how long it is.
fn counted(value: &DeValue, expected: &str) -> String {
    match value {
        DeValue::Array(array) if expected.contains("length") => format!("{} values", array.len()),
        other => described(other),
    }
}

/// The kinds of values in the user's words.
fn in_words(expected: &str) -> String {
    let kind = expected.split_whitespace().next().unwrap_or_default();
    match kind {
        "f64" => "a number".to_owned(),
        "u64" | "u32" | "usize" => "a whole number, 0 or more".to_owned(),
        "sequence" => "an array".to_owned(),
        "string" => "text in quotes".to_owned(),
        "struct" | "map" => "a table".to_owned(),
        _ => match expected.strip_prefix("an array of length ") {
            Some(length) => format!("{length} values"),
            None => expected.to_owned(),
        },
    }
}
