//! The experiment file as a tree over the defaults: every node knows where the user wrote it, if he did.

use super::diagnostics::Fault;
use super::schema::{self, joined};
use std::borrow::Cow;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The defaults of every key that may be left out.
pub const DEFAULTS: &str = include_str!("defaults.toml");

/// The place of a node that the user did not write.
const NOWHERE: Range<usize> = usize::MAX..usize::MAX;

/// A value with its place in the user's file.
pub(super) type Node<'i> = Spanned<DeValue<'i>>;

/// A user's file laid over the defaults.
#[derive(Clone, Debug)]
pub(super) struct Tree<'i> {
    root: Node<'i>,
}

impl<'i> Tree<'i> {
    /// Lays a user's tables over the defaults. Sections merge key by key; everything else is replaced whole.
    /// The keys of the user's tables must be known ones.
    pub fn overlay(defaults: DeTable<'static>, user: DeTable<'i>) -> Self {
        let mut base = Spanned::new(NOWHERE, DeValue::Table(defaults));
        forget_place(&mut base);
        Self { root: merge(base, Spanned::new(NOWHERE, DeValue::Table(user)), "") }
    }

    /// The node at a path.
    pub fn get(&self, path: &str) -> Option<&Node<'i>> {
        let mut node = &self.root;
        let mut rest = path;
        while !rest.is_empty() {
            (node, rest) = child(node.get_ref(), rest)?;
        }
        Some(node)
    }

    /// The text at a path.
    pub fn text(&self, path: &str) -> Option<&str> {
        self.get(path)?.get_ref().as_str()
    }

    /// Where the user wrote the node at a path, or else the nearest thing around it that he wrote.
    pub fn span_of(&self, path: &str) -> Option<Range<usize>> {
        let mut span = None;
        let mut node = &self.root;
        let mut rest = path;
        while !rest.is_empty() {
            let Some(next) = child(node.get_ref(), rest) else { break };
            (node, rest) = next;
            span = written(node).or(span);
        }
        span
    }

    /// Whether the user wrote the node at a path, or anything in it.
    pub fn is_written(&self, path: &str) -> bool {
        self.get(path).is_some_and(any_written)
    }

    /// The path of the node or key written at a span.
    pub fn path_at(&self, span: &Range<usize>) -> Option<String> {
        find(&self.root, span, "")
    }

    /// Whether a node is a section of settings rather than one setting.
    pub fn is_section(&self, path: &str) -> bool {
        self.get(path).is_some_and(|node| is_section(path, node.get_ref()))
    }

    /// Every path that names one setting.
    pub fn paths(&self) -> Vec<String> {
        let mut paths = Vec::new();
        collect(&self.root, "", &mut paths);
        paths
    }

    /// Every path at which a range stands.
    pub fn ranges(&self) -> Vec<String> {
        let mut ranges = Vec::new();
        collect_ranges(&self.root, "", &mut ranges);
        ranges
    }

    /// Puts a value at a path: in place of what stands there, or as an optional key. `None` if the path names
    /// nothing.
    pub fn put(&mut self, path: &str, value: Node<'i>) -> Option<()> {
        if let Some(node) = descend(&mut self.root, path) {
            *node = value;
            return Some(());
        }
        if !schema::may_be_added(path) {
            return None;
        }
        let (parent, key) = match path.strip_prefix(schema::SCALE) {
            Some(rest) => (schema::SCALE, rest.strip_prefix('.')?),
            None => path.rsplit_once('.').unwrap_or(("", path)),
        };
        let DeValue::Table(table) = descend(&mut self.root, parent)?.get_mut() else { return None };
        table.insert(Spanned::new(value.span(), Cow::Owned(key.to_owned())), value);
        Some(())
    }
}

/// Parses TOML with the place of every value.
pub(super) fn parse(text: &str) -> Result<DeTable<'_>, Fault> {
    DeTable::parse(text).map(Spanned::into_inner).map_err(|error| {
        let help = if error.message().contains("quoted") {
            "text stands in quotes, numbers do not"
        } else {
            "https://toml.io shows the whole format on one page"
        };
        Fault::new(error.span().or(Some(0..0)), "this is not valid TOML", error.message()).help(help)
    })
}

/// What a value is, for "found ...".
pub(super) fn described(value: &DeValue) -> String {
    match value {
        DeValue::String(text) => format!("the text \"{text}\""),
        DeValue::Integer(number) => number.to_string(),
        DeValue::Float(number) => number.to_string(),
        DeValue::Boolean(value) => value.to_string(),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(_) => "an array".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

fn written(node: &Node) -> Option<Range<usize>> {
    Some(node.span()).filter(|span| *span != NOWHERE)
}

fn any_written(node: &Node) -> bool {
    written(node).is_some()
        || match node.get_ref() {
            DeValue::Table(table) => table.values().any(any_written),
            DeValue::Array(array) => array.iter().any(any_written),
            _ => false,
        }
}

/// Makes a table one that the user did not write.
pub(super) fn forget_places(table: &mut DeTable) {
    table.iter_mut().for_each(|(_, node)| forget_place(node));
}

fn forget_place(node: &mut Node) {
    let mut value = std::mem::replace(node.get_mut(), DeValue::Boolean(false));
    match &mut value {
        DeValue::Table(table) => forget_places(table),
        DeValue::Array(array) => array.iter_mut().for_each(forget_place),
        _ => {}
    }
    *node = Spanned::new(NOWHERE, value);
}

fn is_section(path: &str, value: &DeValue) -> bool {
    value.is_table()
        && !schema::is_range(value)
        && !schema::is_distribution(value)
        && !schema::is_basis(path)
        && !schema::has_own_keys(path)
}

fn merge<'i>(base: Node<'i>, user: Node<'i>, path: &str) -> Node<'i> {
    let span = user.span();
    let merges = is_section(path, base.get_ref());
    match (base.into_inner(), user.into_inner()) {
        (DeValue::Table(mut base), DeValue::Table(user)) if merges => {
            for (key, value) in user {
                let path = joined(path, key.get_ref());
                let value = match base.remove(key.get_ref().as_ref()) {
                    Some(default) => merge(default, value, &path),
                    None => value,
                };
                base.insert(key, value);
            }
            Spanned::new(span, DeValue::Table(base))
        }
        (_, user) => Spanned::new(span, user),
    }
}

/// The first step of a path from a value, and the path that remains. A key may itself contain dots.
fn child<'a, 'i, 'p>(value: &'a DeValue<'i>, path: &'p str) -> Option<(&'a Node<'i>, &'p str)> {
    let (key, rest) = path.split_once('.').unwrap_or((path, ""));
    match value {
        DeValue::Table(table) => {
            table.get(path).map(|node| (node, "")).or_else(|| table.get(key).map(|node| (node, rest)))
        }
        DeValue::Array(array) => array.get(key.parse::<usize>().ok()?).map(|node| (node, rest)),
        _ => None,
    }
}

fn descend<'a, 'i>(node: &'a mut Node<'i>, path: &str) -> Option<&'a mut Node<'i>> {
    if path.is_empty() {
        return Some(node);
    }
    let (key, rest) = path.split_once('.').unwrap_or((path, ""));
    match node.get_mut() {
        DeValue::Table(table) => {
            if table.contains_key(path) {
                table.get_mut(path)
            } else {
                descend(table.get_mut(key)?, rest)
            }
        }
        DeValue::Array(array) => descend(array.get_mut(key.parse::<usize>().ok()?)?, rest),
        _ => None,
    }
}

fn find(node: &Node, span: &Range<usize>, path: &str) -> Option<String> {
    let within = match node.get_ref() {
        DeValue::Table(table) => table.iter().find_map(|(key, value)| {
            let path = joined(path, key.get_ref());
            if written(value).is_some() && key.span() == *span {
                return Some(path);
            }
            find(value, span, &path)
        }),
        DeValue::Array(array) => {
            (0_usize..).zip(array.iter()).find_map(|(i, value)| find(value, span, &joined(path, &i.to_string())))
        }
        _ => None,
    };
    within.or_else(|| (node.span() == *span && !path.is_empty()).then(|| path.to_owned()))
}

fn collect_ranges(node: &Node, path: &str, ranges: &mut Vec<String>) {
    if schema::is_range(node.get_ref()) {
        ranges.push(path.to_owned());
    } else if let DeValue::Table(table) = node.get_ref() {
        for (key, value) in table {
            collect_ranges(value, &joined(path, key.get_ref()), ranges);
        }
    }
}

fn collect(node: &Node, path: &str, paths: &mut Vec<String>) {
    if !path.is_empty() && !is_section(path, node.get_ref()) {
        paths.push(path.to_owned());
    }
    if let DeValue::Table(table) = node.get_ref() {
        for (key, value) in table {
            collect(value, &joined(path, key.get_ref()), paths);
        }
    }
}
