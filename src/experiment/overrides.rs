//! Arms and sweeps: which values they put in which places, and the grid they span.

use super::diagnostics::Fault;
use super::nearest::nearest;
use super::sampled;
use super::schema::{self, WHOLE_EXPERIMENT};
use super::spec::{Reader, impossible, named};
use super::tree::{Node, Tree, described};
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// More variants than this are a slip of the finger.
const MOST_VARIANTS: usize = 10_000;

/// The word for a sweep that is one side of a Latin hypercube.
const LATIN_HYPERCUBE: &str = "latin-hypercube";

/// A value for one place of the file.
#[derive(Clone, Debug)]
pub(super) struct Override<'i> {
    pub path: String,
    /// Where the path is written.
    pub written: Range<usize>,
    pub value: Node<'i>,
}

/// An arm as it is written.
#[derive(Clone, Debug)]
pub(super) struct WrittenArm<'i> {
    pub name: String,
    pub set: Vec<Override<'i>>,
}

impl<'i> Reader<'_, 'i> {
    /// The arms; one named `base` if none is written.
    pub fn arms(&mut self) -> Vec<WrittenArm<'i>> {
        let count = self.count("arm");
        if count == 0 {
            return vec![WrittenArm { name: "base".to_owned(), set: Vec::new() }];
        }
        let arms: Vec<_> = (0..count)
            .filter_map(|i| {
                let name = self.value(&format!("arm.{i}.name"))?;
                Some(WrittenArm { name, set: self.set(&format!("arm.{i}.set")) })
            })
            .collect();
        let names: Vec<_> = arms.iter().map(|arm| arm.name.as_str()).collect();
        self.distinct("arm", "name", &names);
        arms
    }

    fn set(&mut self, path: &str) -> Vec<Override<'i>> {
        let Some(node) = self.tree.get(path) else { return Vec::new() };
        let DeValue::Table(table) = node.get_ref() else {
            self.fault(path, format!("{} is a table", named(path)), format!("found {}", described(node.get_ref())));
            self.mend("for example set = { \"measure.plane\" = \"level\" }");
            return Vec::new();
        };
        let of = |(key, value): (&toml::Spanned<std::borrow::Cow<'i, str>>, &Node<'i>)| Override {
            path: key.get_ref().to_string(),
            written: key.span(),
            value: value.clone(),
        };
        table.iter().map(of).collect()
    }

    /// The points of the grid over all sweeps, the first sweep slowest, those of a Latin hypercube fastest; one empty point
    /// if there is no sweep. `sampled` holds the values of sweeps over a range.
    pub fn points(&mut self, sampled: &DeTable<'i>) -> Vec<Vec<Override<'i>>> {
        let mut points = vec![Vec::new()];
        let mut varied: Vec<String> = Vec::new();
        let mut hypercube: Vec<Vec<Override<'i>>> = Vec::new();
        for i in 0..self.count("sweep") {
            let at = format!("sweep.{i}.vary");
            let Some(path) = self.value::<String>(&at) else { continue };
            if varied.contains(&path) {
                self.fault(&at, "two sweeps vary the same path", "found this path again");
            }
            let Some(values) = self.values_of_sweep(i, sampled) else { continue };
            let written = self.tree.span_of(&at).unwrap_or(0..0);
            let step = |value: Node<'i>| Override { path: path.clone(), written: written.clone(), value };
            if self.tree.text(&format!("sweep.{i}.sample")) == Some(LATIN_HYPERCUBE) {
                if hypercube.is_empty() {
                    hypercube = vec![Vec::new(); values.len()];
                }
                self.demand(
                    hypercube.len() == values.len(),
                    &format!("sweep.{i}.points"),
                    values.len(),
                    "as many points as the other sweeps of the Latin hypercube have",
                );
                hypercube.iter_mut().zip(values).for_each(|(point, value)| point.push(step(value)));
            } else {
                if points.len() * values.len() > MOST_VARIANTS {
                    return self.too_many(&format!("sweep.{i}"), points);
                }
                let steps: Vec<_> = values.into_iter().map(|value| vec![step(value)]).collect();
                points = crossed(&points, &steps);
            }
            varied.push(path);
        }
        if hypercube.is_empty() {
            return points;
        }
        if points.len() * hypercube.len() > MOST_VARIANTS {
            return self.too_many("sweep", points);
        }
        crossed(&points, &hypercube)
    }

    fn too_many(&mut self, path: &str, points: Vec<Vec<Override<'i>>>) -> Vec<Vec<Override<'i>>> {
        let found = format!("found more than {MOST_VARIANTS} points in the grid of all sweeps");
        self.fault(path, "too many points", found);
        points
    }

    fn values_of_sweep(&mut self, index: usize, sampled: &DeTable<'i>) -> Option<Vec<Node<'i>>> {
        let (over, between) = (format!("sweep.{index}.over"), format!("sweep.{index}.between"));
        if let Some(place) = self.tree.get(&between).map(toml::Spanned::span) {
            if self.tree.get(&over).is_some() {
                self.fault(
                    &over,
                    "a sweep has values or a range",
                    "found `over` and `between`, expected one of them",
                );
            }
            let values = sampled.get(sampled::key(index).as_str())?.get_ref().as_array()?;
            return Some(values.iter().map(|node| Node::new(place.clone(), node.get_ref().clone())).collect());
        }
        match self.tree.get(&over).map(toml::Spanned::get_ref) {
            Some(DeValue::Array(array)) if !array.is_empty() => Some(array.iter().cloned().collect()),
            found => {
                let found = found.map_or_else(|| "nothing".to_owned(), described);
                self.fault(&over, format!("{} is a list of values", named(&over)), format!("found {found}"));
                self.mend("for example over = [1, 2, 4], or between = [1.0, 4.0] and points = 7");
                None
            }
        }
    }

    /// The values of sweeps over a range, as text of this format: one list for each such sweep.
    pub fn sampled_text(&mut self, seed: u64) -> String {
        let mut text = String::new();
        for i in 0..self.count("sweep") {
            let at = |key: &str| format!("sweep.{i}.{key}");
            if self.tree.get(&at("between")).is_none() {
                continue;
            }
            let path = self.tree.text(&at("vary")).unwrap_or_default().to_owned();
            let (between, count) = (self.value::<[f64; 2]>(&at("between")), self.value::<usize>(&at("points")));
            let sample = match self.tree.get(&at("sample")) {
                Some(_) => self.choice(&at("sample"), &["grid", LATIN_HYPERCUBE], |word| word),
                None => Some("grid"),
            };
            let (Some([low, high]), Some(count), Some(sample)) = (between, count, sample) else { continue };
            self.demand(low < high, &at("between"), format!("[{low}, {high}]"), "the lower end first");
            self.demand((2..=1000).contains(&count), &at("points"), count, "2 to 1000");
            let values = match sample {
                LATIN_HYPERCUBE => sampled::strata([low, high], count.min(1000), sampled::seed(seed, &path)),
                _ => sampled::evenly([low, high], count.min(1000)),
            };
            text.push_str(&sampled::line(&sampled::key(i), &values));
        }
        text
    }

    /// How many tables an array of tables has.
    pub fn count(&self, path: &str) -> usize {
        match self.tree.get(path).map(toml::Spanned::get_ref) {
            Some(DeValue::Array(array)) => array.len(),
            _ => 0,
        }
    }
}

/// Every point with every step after it.
fn crossed<'i>(points: &[Vec<Override<'i>>], steps: &[Vec<Override<'i>>]) -> Vec<Vec<Override<'i>>> {
    points.iter().flat_map(|point| steps.iter().map(|step| [point.as_slice(), step].concat())).collect()
}

/// A path that the arm sets and a sweep varies: one of the two would be lost in silence.
pub(super) fn conflict(arm: &WrittenArm, point: &[Override]) -> Option<Fault> {
    let both = |set: &&Override| point.iter().any(|vary| overlap(&vary.path, &set.path));
    let set = arm.set.iter().find(both)?;
    Some(Fault::new(
        Some(set.written.clone()),
        format!("the arm \"{}\" sets what a sweep varies", arm.name),
        format!("`{}` is varied by a sweep", set.path),
    ))
}

fn overlap(a: &str, b: &str) -> bool {
    let begins = |a: &str, b: &str| a.strip_prefix(b).is_some_and(|rest| rest.is_empty() || rest.starts_with('.'));
    begins(a, b) || begins(b, a)
}

/// Puts the value of an arm or a sweep in its place.
pub(super) fn put<'i>(tree: &mut Tree<'i>, change: &Override<'i>) -> Result<(), Fault> {
    let Override { path, written, value } = change;
    let fault = |message: String, label: &str| Fault::new(Some(written.clone()), message, label);
    let first = path.split('.').next().unwrap_or_default();
    if WHOLE_EXPERIMENT.contains(&first) {
        return Err(fault(format!("`{first}` belongs to the whole experiment"), "an arm or a sweep cannot set this")
            .help("give the other value an experiment file of its own"));
    }
    if tree.is_section(path) {
        let fault = fault(format!("`{path}` is a section, not one setting"), "expected the path of one setting");
        return Err(match value.get_ref() {
            DeValue::Table(inner) => match inner.keys().next() {
                Some(key) => {
                    fault.help(format!("write the whole path in quotes: \"{path}.{}\" = ...", key.get_ref()))
                }
                None => fault,
            },
            _ => fault,
        });
    }
    let parent = path.rsplit_once('.').map_or("", |(parent, _)| parent);
    if parent.ends_with(schema::EMPIRICAL) && !path.ends_with(".truncated") {
        return Err(fault(format!("`{path}` cannot be set alone"), "file, column and values belong together").help(
            "set the whole quantity, for example { empirical = { csv = \"bench.csv\", column = \"error_mm\" } }",
        ));
    }
    let takes_table = tree.get(path).is_none_or(|node| {
        matches!(node.get_ref(), DeValue::Integer(_) | DeValue::Float(_)) || schema::is_distribution(node.get_ref())
    });
    if value.get_ref().is_table() && !takes_table {
        return Err(Fault::new(
            Some(value.span()),
            impossible(path),
            "found a table, which may stand only where a distribution may",
        ));
    }
    if path.is_empty() || tree.put(path, value.clone()).is_none() {
        let paths = tree.paths();
        let near = nearest(path, paths.iter().map(String::as_str));
        return Err(fault(format!("`{path}` names nothing"), "expected the path of a setting").help(match near {
            Some(near) => format!("did you mean `{near}`?"),
            None => {
                "a path joins section and key with dots, for example \"noise.level.table.about_y_deg\"".to_owned()
            }
        }));
    }
    Ok(())
}
