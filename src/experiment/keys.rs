//! Keys that the file does not know, and numbers that are none: found before anything is read.

use super::diagnostics::Fault;
use super::nearest::suggestion;
use super::schema::{self, Place, joined};
use super::spec::{impossible, named};
use super::tree::{Node, described};
use std::borrow::Cow;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Everything wrong with the keys and the bare numbers of a user's file.
pub(super) fn check_keys(defaults: &DeTable<'static>, user: &DeTable) -> Vec<Fault> {
    let mut faults = Vec::new();
    check_section(defaults, user, "", &mut faults);
    check_finite(user, "", &mut faults);
    faults
}

fn check_section(defaults: &DeTable<'static>, user: &DeTable, path: &str, faults: &mut Vec<Fault>) {
    for (key, value) in user {
        let full = joined(path, key.get_ref());
        match (schema::place(defaults, path, key.get_ref()), value.get_ref()) {
            (None, _) => faults.push(unknown(key, path, &schema::keys(defaults, path))),
            (Some(Place::Section(defaults)), DeValue::Table(table)) => {
                check_section(defaults, table, &full, faults);
            }
            (Some(Place::Section(_)), other) => faults.push(Fault::new(
                Some(value.span()),
                format!("`{full}` is a section"),
                format!("found {}, expected a table", described(other)),
            )),
            // Where a range may stand is checked with its value.
            (Some(Place::Number), value) if schema::is_range(value) => {}
            (Some(Place::Number), DeValue::Table(table)) => check_quantity(table, &full, faults),
            (Some(Place::Basis), DeValue::Table(table)) => {
                check_table(table, &full, &schema::BASIS, faults);
            }
            (Some(Place::Records(keys)), DeValue::Array(array)) => {
                for (i, record) in (0_usize..).zip(array.iter()) {
                    if let DeValue::Table(table) = record.get_ref() {
                        check_table(table, &format!("{full}.{i}"), keys, faults);
                    }
                }
            }
            (Some(Place::Records(_)), other) => faults.push(
                Fault::new(
                    Some(value.span()),
                    format!("`{full}` is a list"),
                    format!("found {}, expected tables", described(other)),
                )
                .help(format!("write [[{full}]] in double brackets above each one")),
            ),
            _ => {}
        }
    }
}

/// A table with one distribution; those of a mixture hold quantities themselves.
fn check_quantity(table: &DeTable, path: &str, faults: &mut Vec<Fault>) {
    check_table(table, path, &schema::distributions(), faults);
    for (kind, inner) in table {
        let (Some(known), DeValue::Table(inner)) = (schema::parameters(kind.get_ref()), inner.get_ref()) else {
            continue;
        };
        let path = joined(path, kind.get_ref());
        check_table(inner, &path, known, faults);
        for (key, component) in inner {
            if let ("main" | "event", DeValue::Table(component)) = (key.get_ref().as_ref(), component.get_ref()) {
                check_quantity(component, &joined(&path, key.get_ref()), faults);
            }
        }
    }
}

fn check_table(table: &DeTable, path: &str, known: &[&str], faults: &mut Vec<Fault>) {
    for key in table.keys().filter(|key| !known.contains(&key.get_ref().as_ref())) {
        faults.push(unknown(key, path, known));
    }
}

fn unknown(key: &Spanned<Cow<str>>, path: &str, known: &[&str]) -> Fault {
    let place = if path.is_empty() { "the file".to_owned() } else { named(path) };
    Fault::new(Some(key.span()), format!("unknown key `{}` in {place}", key.get_ref()), "this key is not known here")
        .help_if(suggestion(key.get_ref(), known))
}

fn check_finite(table: &DeTable, path: &str, faults: &mut Vec<Fault>) {
    for (key, value) in table {
        finite(value, &joined(path, key.get_ref()), faults);
    }
}

fn finite(node: &Node, path: &str, faults: &mut Vec<Fault>) {
    match node.get_ref() {
        DeValue::Float(number) if !number.as_str().parse::<f64>().is_ok_and(f64::is_finite) => {
            faults.push(Fault::new(
                Some(node.span()),
                impossible(path),
                format!("found {number}, expected a finite number"),
            ));
        }
        DeValue::Table(table) => check_finite(table, path, faults),
        DeValue::Array(array) => array.iter().for_each(|node| finite(node, path, faults)),
        _ => {}
    }
}
