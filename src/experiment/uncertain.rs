//! Magnitudes that are themselves known only within a range, such as `sd = { between = [2.0, 5.0] }`.
//!
//! The run takes the middle of each range. An outer loop of `[sensitivity]` takes points of a Latin hypercube over all of
//! them.

use super::overrides::Override;
use super::plan::Variant;
use super::sampled;
use super::spec::Reader;
use super::tree::Node;
use toml::de::DeTable;

/// What is known within a range only, and the variants of the outer loop over it.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncertain {
    /// The magnitudes.
    pub inputs: Vec<UncertainInput>,
    /// Their values at each point of the outer loop.
    pub points: Vec<Vec<f64>>,
    /// For each arm a variant for each point.
    pub variants: Vec<Vec<Variant>>,
}

/// One magnitude.
#[derive(Clone, Debug, PartialEq)]
pub struct UncertainInput {
    /// Its path.
    pub path: String,
    /// Its range.
    pub between: [f64; 2],
}

/// Under which keys the values stand.
const MIDDLE: &str = "middle";
const POINT: &str = "uncertain";

impl<'i> Reader<'_, 'i> {
    /// Every range of the file; each has its place in the noise.
    pub fn uncertain_inputs(&mut self) -> Vec<UncertainInput> {
        let mut inputs = Vec::new();
        for path in self.tree.ranges() {
            if path.starts_with("sweep") {
                continue;
            }
            let at = format!("{path}.between");
            let Some(between) = self.value::<[f64; 2]>(&at) else { continue };
            let [low, high] = between;
            self.demand(low < high, &at, format!("[{low}, {high}]"), "the lower end first");
            if path.starts_with("noise.") {
                inputs.push(UncertainInput { path, between });
            } else {
                self.fault(&path, format!("`{path}` cannot be a range"), "found a range, expected a number");
                self.mend("a range may stand for a magnitude in [noise]: what is known of a source only so well");
            }
        }
        inputs
    }

    /// The values of the middle and of the outer loop, as text of this format.
    pub fn uncertain_text(inputs: &[UncertainInput], points: usize, seed: u64) -> String {
        let middles: Vec<f64> = inputs.iter().map(|input| 0.5 * (input.between[0] + input.between[1])).collect();
        let mut text = sampled::line(MIDDLE, &middles);
        for (i, UncertainInput { path, between }) in inputs.iter().enumerate() {
            let values = sampled::strata(*between, points, sampled::seed(seed, path));
            text.push_str(&sampled::line(&format!("{POINT}{i}"), &values));
        }
        text
    }

    /// The middle of every range, in its place.
    pub fn middles(&self, inputs: &[UncertainInput], sampled: &DeTable<'i>) -> Vec<Override<'i>> {
        let values = sampled.get(MIDDLE).and_then(|node| node.get_ref().as_array());
        let values = values.into_iter().flat_map(|array| array.iter());
        inputs.iter().zip(values).map(|(input, value)| self.in_place(input, value)).collect()
    }

    /// The points of the outer loop.
    pub fn outer_points(&self, inputs: &[UncertainInput], sampled: &DeTable<'i>) -> Vec<Vec<Override<'i>>> {
        let column = |i: usize| sampled.get(format!("{POINT}{i}").as_str())?.get_ref().as_array();
        let columns: Vec<_> = (0..inputs.len()).filter_map(column).collect();
        let count = columns.first().map_or(0, |column| column.len());
        let point = |k: usize| {
            let values = columns.iter().filter_map(|column| column.get(k));
            inputs.iter().zip(values).map(|(input, value)| self.in_place(input, value)).collect()
        };
        (0..count).map(point).collect()
    }

    fn in_place(&self, input: &UncertainInput, value: &Node<'i>) -> Override<'i> {
        let place = self.tree.span_of(&input.path).unwrap_or(0..0);
        let value = Node::new(place.clone(), value.get_ref().clone());
        Override { path: input.path.clone(), written: place, value }
    }
}

/// The number that a value of the outer loop is.
pub(super) fn number(value: &Node) -> f64 {
    value.get_ref().as_float().and_then(|number| number.as_str().parse().ok()).unwrap_or(f64::NAN)
}
