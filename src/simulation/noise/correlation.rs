//! Correlation of the scores of two noise sources.

use super::catalogue::{SOURCES, SourceEntry};
use super::{Noise, Switch};
use crate::simulation::covariance::lower_factor;
use crate::simulation::source::{CaptureKey, Stratum};
use crate::simulation::streams::{MOST_PARTNERS, Mixing, Partner};
use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

/// Two sources whose scores are correlated: the i-th score of one with the i-th score of the other, for the same device
/// and case and, if they are drawn for captures, at captures that belong together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correlation {
    /// Ids of the two sources.
    pub between: [String; 2],
    /// Correlation of their scores, -1 to 1.
    pub coefficient: f64,
}

/// Why no correlation of two sources can be drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mismatch {
    /// They are drawn anew at different strata.
    Strata,
    /// They draw different numbers of scores in each frame.
    Scores,
    /// They are drawn at captures that do not belong together.
    Captures,
}

/// How the captures of one source are found from those of another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Pairing {
    /// Both are drawn at the same captures, or at none.
    Same,
    /// Each is drawn at one step of its own, and these belong together: the first capture to the first.
    Step(CaptureKey),
}

/// How a capture of `one` leads to a capture of `other`.
fn pairing(one: &SourceEntry, other: &SourceEntry) -> Result<Pairing, Mismatch> {
    if one.strata != other.strata {
        return Err(Mismatch::Strata);
    }
    // Frames belong together only in one capture, because others have other numbers of them, and only if each draws as
    // many scores, because they follow each other in one stream.
    let by_capture = !one.strata.contains(&Stratum::Frame);
    if !by_capture && one.scores != other.scores {
        return Err(Mismatch::Scores);
    }
    let common = one.captures.iter().any(|capture| other.captures.contains(capture));
    match (one.captures, other.captures) {
        (one, other) if one == other || (by_capture && common) => Ok(Pairing::Same),
        ([_], [other]) if by_capture => Ok(Pairing::Step(*other)),
        _ => Err(Mismatch::Captures),
    }
}

/// Whether the scores of two sources can be correlated.
///
/// # Errors
/// With the reason if they cannot.
pub fn can_correlate(one: &SourceEntry, other: &SourceEntry) -> Result<(), Mismatch> {
    pairing(one, other).map(|_| ())
}

/// The sources that correlations name, in the order of the catalogue, and the matrix of their scores' correlations.
#[must_use]
pub fn correlation_matrix(correlations: &[Correlation]) -> (Vec<&'static SourceEntry>, DMatrix<f64>) {
    let named = |id: &str| correlations.iter().any(|correlation| correlation.between.iter().any(|named| named == id));
    let sources: Vec<_> = SOURCES.iter().filter(|source| named(source.id)).collect();
    let mut matrix = DMatrix::identity(sources.len(), sources.len());
    for Correlation { between, coefficient } in correlations {
        let place = |id: &String| sources.iter().position(|source| source.id == id);
        if let (Some(one), Some(other)) = (place(&between[0]), place(&between[1])) {
            matrix[(one, other)] = *coefficient;
            matrix[(other, one)] = *coefficient;
        }
    }
    (sources, matrix)
}

/// Rows of the factor that make a source's scores from those of more than `MOST_PARTNERS` others.
#[must_use]
pub fn too_many_partners(lower: &DMatrix<f64>) -> Option<usize> {
    (0..lower.nrows())
        .find(|&row| lower.row(row).iter().take(row).filter(|weight| **weight != 0.0).count() > MOST_PARTNERS)
}

impl Noise {
    /// Lays the correlations over the streams, with the replicates that the switches have now. What cannot be drawn is
    /// left out; the experiment's checks have refused it before.
    ///
    /// A source's scores are a row of the lower triangular factor of the correlation matrix, in the order of the
    /// catalogue: the first source keeps its own, each later one takes its part of the raw streams of the earlier ones.
    /// These are there whether their sources are on or off, so that switching a partner off moves no draw.
    pub fn correlate(&mut self) {
        self.correlate_given(|_| false);
    }

    /// The same with the sources that are held at the head of the order, so that all others are drawn given them: with other
    /// replicates of these alone, the held ones keep their scores and the correlations stay what they are.
    pub fn correlate_given(&mut self, held: impl Fn(&str) -> bool) {
        let (named, matrix) = correlation_matrix(&self.correlation);
        let mut order: Vec<usize> = (0..named.len()).collect();
        order.sort_by_key(|&place| !held(named[place].id));
        let sources: Vec<_> = order.iter().map(|&place| named[place]).collect();
        let matrix = DMatrix::from_fn(named.len(), named.len(), |i, j| matrix[(order[i], order[j])]);
        let Ok(lower) = lower_factor(&matrix) else { return };
        if too_many_partners(&lower).is_some() {
            return;
        }
        let switches: Vec<(&str, Switch)> =
            self.switches().iter().map(|(source, switch)| (source.id, **switch)).collect();
        for (source, switch) in self.switches() {
            let Some(row) = sources.iter().position(|named| named.id == source.id) else { continue };
            let mut mixing = Mixing::alone(lower[(row, row)]);
            for (column, partner) in sources.iter().take(row).enumerate() {
                let known = switches.iter().find(|(id, _)| *id == partner.id);
                if let (Some((_, partner_switch)), Ok(pairing), true) =
                    (known, pairing(source, partner), lower[(row, column)] != 0.0)
                {
                    mixing.add(Partner {
                        weight: lower[(row, column)],
                        source: partner_switch.key,
                        replicate: partner_switch.replicate,
                        step: match pairing {
                            Pairing::Same => None,
                            Pairing::Step(capture) => Some(capture.packed()),
                        },
                    });
                }
            }
            switch.mixing = mixing;
        }
    }
}
