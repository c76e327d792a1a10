//! Correlations between components, each by itself and all together.

use super::diagnostics::Fault;
use super::nearest::nearest;
use super::spec::Reader;
use crate::simulation::lower_factor;
use crate::simulation::noise::{
    Component, Correlation, JointScores, Mismatch, NameFault, Noise, SOURCES, Selection, SourceEntry, components_of,
    pairs,
};

impl Reader<'_, '_> {
    /// Correlations that make sense, each and all together.
    pub fn check_correlations(&mut self, noise: &Noise) {
        let faults = self.faults.len();
        let mut known: Vec<[Component; 2]> = Vec::new();
        for (index, correlation) in noise.correlation.iter().enumerate() {
            let found = self.pairs_of(index, correlation, noise);
            let again = found.iter().find(|[a, b]| known.iter().any(|pair| pair.contains(a) && pair.contains(b)));
            if let Some([a, b]) = again {
                let path = format!("noise.correlation.{index}.between");
                let label = format!("found {} with {} again", a.id(), b.id());
                self.fault(&path, "two correlations of the same components", label);
                self.mend(
                    "a pair of components has one coefficient: leave one of them out, or name fewer components",
                );
            }
            known.extend(found);
        }
        if self.faults.len() == faults {
            self.check_together(&noise.correlation);
        }
    }

    /// The pairs of one correlation, none with faults.
    fn pairs_of(&mut self, index: usize, correlation: &Correlation, noise: &Noise) -> Vec<[Component; 2]> {
        let Correlation { between, coefficient } = correlation;
        let path = format!("noise.correlation.{index}");
        self.demand((-1.0..=1.0).contains(coefficient), &format!("{path}.coefficient"), coefficient, "-1 to 1");
        let mut selections = Vec::new();
        for (place, name) in between.iter().enumerate() {
            match Selection::of(name) {
                Ok(selection) => selections.push(selection),
                Err(fault) => self.no_such_component(&format!("{path}.between.{place}"), name, fault),
            }
        }
        let [one, other] = &selections[..] else { return Vec::new() };
        let at = format!("{path}.between");
        let found = pairs(one, other).unwrap_or_else(|mismatch| {
            self.cannot_be_paired(&at, [one, other], mismatch);
            Vec::new()
        });
        let mixed = found.iter().flatten().find_map(|component| Some((component, covariance_of(component, noise)?)));
        if let Some((component, key)) = mixed {
            let message = format!("the components of `{}` have a covariance already", component.source.id);
            self.fault(&at, message, format!("found `{key}` with numbers off its diagonal"));
            self.mend(
                "with it, an axis is drawn from several scores: give a standard deviation for each axis in its place",
            );
            return Vec::new();
        }
        found
    }

    /// A name that stands for no component.
    fn no_such_component(&mut self, path: &str, name: &str, fault: NameFault) {
        let span = self.tree.span_of(path);
        let correlated = || SOURCES.iter().filter(|source| !source.items.is_empty());
        let fault = match fault {
            NameFault::NoSource => {
                let near = nearest(name, correlated().map(|source| source.id));
                Fault::new(
                    span,
                    format!("no noise source is called `{name}`"),
                    "expected the id of a source, alone or followed by an item, an axis, or both",
                )
                .help_if(near.map(|near| format!("did you mean `{near}`?")))
            }
            NameFault::NoComponents(source) => {
                let ids: Vec<&str> = correlated().map(|source| source.id).collect();
                Fault::new(
                    span,
                    format!("`{}` cannot be correlated", source.id),
                    "found a source that draws no score of its own for each device, case or capture",
                )
                .help(format!(
                    "what is drawn for each frame, trace or marker, or after a rare event, has no single partner; these can be \
                     correlated: {}",
                    ids.join(", ")
                ))
            }
            NameFault::NoPart(source) => {
                let rest = name.get(source.id.len() + 1..).unwrap_or_default();
                let names: Vec<String> = components_of(source).map(|component| component.short_id()).collect();
                Fault::new(
                    span,
                    format!("`{}` has no component `{rest}`", source.id),
                    format!("expected {}", parts_in_words(source)),
                )
                .help(format!("its components are {}", names.join(", ")))
            }
        };
        self.faults.push(fault);
    }

    fn cannot_be_paired(&mut self, at: &str, [one, other]: [&Selection; 2], mismatch: Mismatch) {
        let ids = format!("`{}` and `{}`", one.source.id, other.source.id);
        match mismatch {
            Mismatch::Itself => {
                self.fault(at, "a component is not correlated with itself", format!("found {} twice", one.source.id));
                if let [first, second, ..] = one.source.items {
                    let id = one.source.id;
                    self.mend(&format!("name two items: \"{id}.{}\" and \"{id}.{}\"", first.name, second.name));
                }
            }
            Mismatch::NoLikeAxis => {
                let axes = |selection: &Selection| {
                    let mut names: Vec<&str> = selection.components.iter().map(|of| of.axis.name).collect();
                    names.dedup();
                    names.join(", ")
                };
                let label = format!("found the axes {} and {}, expected like axes", axes(one), axes(other));
                self.fault(at, format!("{ids} have no axis in common"), label);
                let first =
                    |selection: &Selection| selection.components.first().map_or_else(String::new, Component::id);
                self.mend(&format!(
                    "a source alone stands for all its axes, each with its like axis; versions before 0.2.0 took the first score \
                     of one with the first of the other. Name one axis of each, one correlation for each pair: between = \
                     [\"{}\", \"{}\"]",
                    first(one),
                    first(other)
                ));
            }
            Mismatch::Occasions => {
                let when = |selection: &Selection| {
                    selection.components.first().map_or("", |component| component.item.drawn.words())
                };
                let label = format!("one is drawn {}, the other {}", when(one), when(other));
                self.fault(at, format!("{ids} cannot be correlated"), label);
                self.mend("these components are drawn at different strata; only components of one stratum can be correlated");
            }
        }
    }

    /// Whether all correlations can hold together: the matrix of components that are correlated, directly or through others,
    /// must be positive semidefinite.
    fn check_together(&mut self, correlations: &[Correlation]) {
        let joint = JointScores::of(correlations);
        let impossible = joint.blocks().into_iter().find_map(|block| Some((block.least_eigenvalue()?, block)));
        let Some((least, block)) = impossible else { return };
        let inside = |correlation: &&Correlation| {
            correlation.pairs().iter().any(|pair| pair.iter().all(|component| block.components.contains(component)))
        };
        let own: Vec<&Correlation> = correlations.iter().filter(inside).collect();
        let place = correlations.iter().position(|correlation| inside(&correlation)).unwrap_or(0);
        // 1 + f (M - 1) has the least eigenvalue 1 + f (least - 1).
        let factor = 1.0 / (1.0 - least);
        let rounded = |value: f64| libm::floor(value * 1e4) / 1e4;
        let size = own.first().map_or(0.0, |correlation| correlation.coefficient.abs());
        let label = if own.iter().all(|correlation| correlation.coefficient.abs() == size) {
            format!("found {size}, possible up to {} for these components", rounded(size * factor))
        } else {
            format!("possible with every coefficient multiplied by at most {}", rounded(factor))
        };
        let path = format!("noise.correlation.{place}.coefficient");
        self.fault(&path, "these correlations cannot hold together", label);
        let ids: Vec<String> = block.components.iter().map(Component::id).collect();
        let several = own.iter().flat_map(|correlation| &correlation.between).find_map(|name| {
            let selection = Selection::of(name).ok()?;
            let [first, second, ..] = selection.source.items else { return None };
            let whole = selection.components.iter().any(|of| of.item.name == first.name)
                && selection.components.iter().any(|of| of.item.name == second.name);
            whole.then_some((selection.source.id, first.name, second.name))
        });
        let advice = match several {
            Some((id, first, second)) => format!(
                "The items of `{id}` are independent of each other. Name one item, `{id}.{first}`, or correlate the items too: \
                 between = [\"{id}.{first}\", \"{id}.{second}\"]"
            ),
            None => "Two components that are correlated with a third are correlated with each other: name that pair too, or bring \
                     the coefficients nearer to 0"
                .to_owned(),
        };
        self.mend(&format!("over {}; pairs that are not named are independent. {advice}", ids.join(", ")));
    }
}

/// The covariance, other than a diagonal one, that a component is drawn from, by its key.
fn covariance_of(component: &Component, noise: &Noise) -> Option<&'static str> {
    let mut noise = noise.clone();
    noise.covariances().into_iter().find_map(|input| {
        let own = input.source == component.source.id && input.entry.in_place_of.contains(&component.axis.key);
        let mixes = input.covariance.as_ref().is_some_and(|covariance| !covariance.is_diagonal());
        (own && mixes).then_some(input.entry.key)
    })
}

/// What may follow the id of a source.
fn parts_in_words(source: &SourceEntry) -> String {
    let mut axes: Vec<&str> = source.items.iter().flat_map(|item| item.axes).map(|axis| axis.name).collect();
    axes.sort_unstable();
    axes.dedup();
    let items: Vec<&str> = source.items.iter().map(|item| item.name).filter(|name| !name.is_empty()).collect();
    if items.is_empty() {
        format!("an axis ({})", axes.join(", "))
    } else {
        format!("an item ({}), an axis ({}), or both joined by a dot", items.join(", "), axes.join(", "))
    }
}

impl JointScores {
    /// The least eigenvalue, if the matrix is not positive semidefinite.
    fn least_eigenvalue(&self) -> Option<f64> {
        lower_factor(&self.matrix).err().and_then(|eigenvalues| eigenvalues.first().copied())
    }
}
