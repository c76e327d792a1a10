//! What the catalogue says of one noise source.

use super::component::Item;
use crate::measurement::Step;
use crate::simulation::source::Stratum;

/// One noise source.
#[derive(Clone, Copy, Debug)]
pub struct SourceEntry {
    /// Its id in files.
    pub id: &'static str,
    /// The strata at which it is drawn anew.
    pub strata: &'static [Stratum],
    /// What it is.
    pub meaning: &'static str,
    /// In which axes it acts.
    pub axes: &'static str,
    /// Its parameters.
    pub parameters: &'static [Parameter],
    /// Covariances that may be given in place of parameters.
    pub covariances: &'static [CovarianceEntry],
    /// The components that can be correlated with those of other sources, item by item.
    pub items: &'static [Item],
    /// The step without which it disturbs nothing, if there is one.
    pub disturbs_only: Option<Step>,
    /// A plausible range of its magnitude, in words; those of single parameters are with them.
    pub plausible: &'static str,
    /// Whether a run that says nothing of it draws it.
    pub on_by_default: bool,
}

/// One parameter of a source.
#[derive(Clone, Copy, Debug)]
pub struct Parameter {
    /// Its key, with the unit as suffix.
    pub key: &'static str,
    /// What it is.
    pub meaning: &'static str,
    /// Plausible range of its standard deviation, or of itself where it is no distribution, in the unit of the key.
    pub plausible: Option<[f64; 2]>,
}

/// A covariance of three components that may stand in place of what is said of each.
#[derive(Clone, Copy, Debug)]
pub struct CovarianceEntry {
    /// Its key, with the square of the unit as suffix.
    pub key: &'static str,
    /// The parameters it stands for.
    pub in_place_of: &'static [&'static str],
}

impl SourceEntry {
    /// Whether an entry of `off`, `only` or `scale` names this source: its id, or the beginning of it.
    #[must_use]
    pub fn is_named_by(&self, prefix: &str) -> bool {
        self.id.strip_prefix(prefix).is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
    }
}
