//! Correlation of the scores of named components.

use super::Noise;
use super::catalogue::SOURCES;
use super::component::{Component, Selection, components_of};
use crate::simulation::covariance::lower_factor;
use crate::simulation::source::Switch;
use crate::simulation::streams::{Mixing, Part};
use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Components whose scores are correlated. A name is that of a source, of an item, of an axis in every item, or of one
/// component: `landmark.palpation.asis`, `….asis.operated`, `….asis.anterior`, `….asis.operated.anterior`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correlation {
    /// The two names.
    pub between: [String; 2],
    /// Correlation of each pair of components that [`pairs`] makes of them, -1 to 1.
    pub coefficient: f64,
}

/// Why two names make no pairs of components.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mismatch {
    /// A component would be paired with itself.
    Itself,
    /// No axis of one has the name of an axis of the other, and at least one of the names ends in no axis.
    NoLikeAxis,
    /// They are drawn at different occasions.
    Occasions,
}

/// The pairs of components that two selections stand for: where both name an axis these two, else every axis with its like axis;
/// every item of one with every item of the other.
///
/// # Errors
/// With the reason if there are none.
pub fn pairs(one: &Selection, other: &Selection) -> Result<Vec<[Component; 2]>, Mismatch> {
    let both_name_an_axis = one.names_an_axis && other.names_an_axis;
    let mut pairs = Vec::new();
    for a in &one.components {
        let like = |b: &&Component| both_name_an_axis || a.axis.name == b.axis.name;
        pairs.extend(other.components.iter().filter(like).map(|b| [*a, *b]));
    }
    if pairs.is_empty() {
        return Err(Mismatch::NoLikeAxis);
    }
    if pairs.iter().any(|[a, b]| a == b) {
        return Err(Mismatch::Itself);
    }
    if pairs.iter().any(|[a, b]| !a.is_drawn_with(b)) {
        return Err(Mismatch::Occasions);
    }
    Ok(pairs)
}

impl Correlation {
    /// Its pairs of components; none if its names make none.
    #[must_use]
    pub fn pairs(&self) -> Vec<[Component; 2]> {
        match self.between.each_ref().map(|name| Selection::of(name)) {
            [Ok(one), Ok(other)] => pairs(&one, &other).unwrap_or_default(),
            _ => Vec::new(),
        }
    }
}

/// The components that correlations name, in the order of the catalogue, and the matrix of their scores' correlations.
#[derive(Clone, Debug)]
pub struct JointScores {
    /// The components.
    pub components: Vec<Component>,
    /// Their correlations; 1 on the diagonal.
    pub matrix: DMatrix<f64>,
}

impl JointScores {
    /// Of correlations that were checked.
    #[must_use]
    pub fn of(correlations: &[Correlation]) -> Self {
        let pairs: Vec<([Component; 2], f64)> = correlations
            .iter()
            .flat_map(|correlation| correlation.pairs().into_iter().map(|pair| (pair, correlation.coefficient)))
            .collect();
        let named = |component: &Component| pairs.iter().any(|(pair, _)| pair.contains(component));
        let components: Vec<Component> = SOURCES.iter().flat_map(components_of).filter(named).collect();
        let mut matrix = DMatrix::identity(components.len(), components.len());
        let place = |of: &Component| components.iter().position(|component| component == of);
        for ([a, b], coefficient) in &pairs {
            if let (Some(a), Some(b)) = (place(a), place(b)) {
                matrix[(a, b)] = *coefficient;
                matrix[(b, a)] = *coefficient;
            }
        }
        Self { components, matrix }
    }

    /// Every pair that is correlated, with its coefficient, in the order of the catalogue.
    pub fn pairs(&self) -> impl Iterator<Item = ([Component; 2], f64)> {
        let places = (0..self.components.len()).flat_map(|a| (a + 1..self.components.len()).map(move |b| (a, b)));
        places
            .filter(|&place| self.matrix[place] != 0.0)
            .map(|(a, b)| ([self.components[a], self.components[b]], self.matrix[(a, b)]))
    }

    /// The parts that are independent of each other.
    #[must_use]
    pub fn blocks(&self) -> Vec<Self> {
        let size = self.components.len();
        let mut block_of: Vec<usize> = (0..size).collect();
        for (a, b) in (0..size).flat_map(|a| (0..a).map(move |b| (a, b))).filter(|&place| self.matrix[place] != 0.0) {
            let (joined, kept) = (block_of[a], block_of[b]);
            block_of.iter_mut().filter(|block| **block == joined).for_each(|block| *block = kept);
        }
        let block = |block: usize| {
            let own: Vec<usize> = (0..size).filter(|&place| block_of[place] == block).collect();
            Self {
                components: own.iter().map(|&place| self.components[place]).collect(),
                matrix: DMatrix::from_fn(own.len(), own.len(), |i, j| self.matrix[(own[i], own[j])]),
            }
        };
        (0..size).filter(|&place| block_of[place] == place).map(block).collect()
    }

    /// The same components in another order, by rank; equal ranks keep their order.
    fn sorted_by(&self, rank: impl Fn(&Component) -> u8) -> Self {
        let mut order: Vec<usize> = (0..self.components.len()).collect();
        order.sort_by_key(|&place| rank(&self.components[place]));
        let size = order.len();
        Self {
            components: order.iter().map(|&place| self.components[place]).collect(),
            matrix: DMatrix::from_fn(size, size, |i, j| self.matrix[(order[i], order[j])]),
        }
    }
}

impl Noise {
    /// Lays the correlations over the streams, with the replicates that the switches have now. What cannot be drawn is
    /// left out; the experiment's checks have refused it before.
    ///
    /// A component's score is a row of the lower triangular factor of the correlation matrix of all components, in the order of
    /// the catalogue: the first component keeps its own, each later one takes its part of the raw scores of the earlier ones.
    /// These are there whether their sources are on or off, so that switching a partner off moves no draw.
    pub fn correlate(&mut self) {
        self.correlate_in_order(|_| 0);
    }

    /// The same with the components in the order of their rank, so that those of a higher rank are drawn given those of the
    /// lower ranks: with other replicates of these alone, the lower ranks keep their scores and the correlations stay what they
    /// are.
    pub fn correlate_in_order(&mut self, rank: impl Fn(&Component) -> u8) {
        if self.correlation.is_empty() {
            return;
        }
        let JointScores { components, matrix } = JointScores::of(&self.correlation).sorted_by(rank);
        let Ok(lower) = lower_factor(&matrix) else { return };
        let streams: Vec<(&str, u64, u64)> = self
            .switches()
            .iter()
            .map(|(source, Switch { key, replicate, .. })| (source.id, *key, *replicate))
            .collect();
        for (source, switch) in self.switches() {
            let mut mixing = Mixing::default();
            for (row, component) in components.iter().enumerate() {
                if component.source.id != source.id {
                    continue;
                }
                let weights =
                    components.iter().take(row).enumerate().map(|(column, partner)| (lower[(row, column)], partner));
                let partners: Vec<_> = weights.filter(|(weight, _)| *weight != 0.0).collect();
                if partners.is_empty() {
                    continue;
                }
                for (index, spot) in component.spots().enumerate() {
                    let parts = partners.iter().filter_map(|(weight, partner)| {
                        let &(_, source, replicate) = streams.iter().find(|(id, ..)| *id == partner.source.id)?;
                        Some(Part { weight: *weight, source, replicate, spot: partner.spots().nth(index)? })
                    });
                    mixing.add(spot, lower[(row, row)], parts);
                }
            }
            switch.mixing = (mixing != Mixing::default()).then(|| Arc::new(mixing));
        }
    }
}
