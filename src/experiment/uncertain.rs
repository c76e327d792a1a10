//! Magnitudes that are themselves known only within a range, such as `sd = { between = [2.0, 5.0] }`.
//!
//! The run takes the middle of each range. An outer loop of `[sensitivity]` takes points of a Latin hypercube over all of
//! them, and the combinations of their ends.

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
    /// Combinations of ends of the ranges: the values of each.
    pub ends: Vec<Vec<f64>>,
    /// For each arm a variant for each combination of ends.
    pub variants_at_ends: Vec<Vec<Variant>>,
}

impl Uncertain {
    /// From the changes at each of so many points, and after them those at each combination of ends.
    pub(super) fn without_variants(inputs: Vec<UncertainInput>, all: &[Vec<Override>], points: usize) -> Self {
        let (points, ends) = all.split_at(points.min(all.len()));
        let values = |changes: &Vec<Override>| changes.iter().map(|change| number(&change.value)).collect();
        let [points, ends] = [points, ends].map(|all| all.iter().map(values).collect());
        Self { inputs, points, variants: Vec::new(), ends, variants_at_ends: Vec::new() }
    }

    /// Takes the variants of an arm, in the order of the changes.
    pub(super) fn add_arm(&mut self, mut variants: Vec<Variant>) {
        self.variants_at_ends.push(variants.split_off(self.points.len().min(variants.len())));
        self.variants.push(variants);
    }
}

/// Ranges of which every combination of ends is made; of more, all lower and all upper ends alone.
pub const MOST_COMBINED: usize = 5;

/// Combinations of ends, the lower ones first: 2 to the power of the number of ranges, the first range changing fastest.
fn ends(inputs: &[UncertainInput]) -> Vec<Vec<f64>> {
    let all = |upper: &dyn Fn(usize) -> bool| -> Vec<f64> {
        inputs.iter().enumerate().map(|(i, input)| input.between[usize::from(upper(i))]).collect()
    };
    match inputs.len() {
        0 => Vec::new(),
        few if few <= MOST_COMBINED => (0..1_u32 << few).map(|which| all(&|i| which >> i & 1 == 1)).collect(),
        _ => vec![all(&|_| false), all(&|_| true)],
    }
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

    /// The values of the middle and of the outer loop, points before ends, as text of this format; without points no ends.
    pub fn uncertain_text(inputs: &[UncertainInput], points: usize, seed: u64) -> String {
        let middles: Vec<f64> = inputs.iter().map(|input| 0.5 * (input.between[0] + input.between[1])).collect();
        let mut text = sampled::line(MIDDLE, &middles);
        let ends = if points > 0 { ends(inputs) } else { Vec::new() };
        for (i, UncertainInput { path, between }) in inputs.iter().enumerate() {
            let mut values = sampled::strata(*between, points, sampled::seed(seed, path));
            values.extend(ends.iter().map(|end| end[i]));
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

    /// The points of the outer loop, then the combinations of ends.
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
fn number(value: &Node) -> f64 {
    value.get_ref().as_float().and_then(|number| number.as_str().parse().ok()).unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_every_combination_of_few_ranges() {
        let inputs = |count: usize| -> Vec<UncertainInput> {
            (0..count).map(|i| UncertainInput { path: i.to_string(), between: [i as f64, i as f64 + 0.5] }).collect()
        };
        assert_eq!(ends(&inputs(0)), Vec::<Vec<f64>>::new());
        assert_eq!(ends(&inputs(2)), [[0.0, 1.0], [0.5, 1.0], [0.0, 1.5], [0.5, 1.5]]);
        assert_eq!(ends(&inputs(MOST_COMBINED)).len(), 32);
        let many = ends(&inputs(MOST_COMBINED + 1));
        assert_eq!((many.len(), many[0][5], many[1][5]), (2, 5.0, 5.5));
    }
}
