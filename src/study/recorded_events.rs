//! The rare events that the trials of a variant record, and what the plan says of their probabilities.

use crate::analysis::rare_events::{FREQUENT, RareEvents, Recorded};
use crate::experiment::{Design, Variant};
use crate::measurement::{Output, Procedure};
use crate::record::{PartError, Parts, Rows, Schema};
use crate::simulation::{EventSource, Stratum, event_sources, unrecorded_events};

/// Sources whose rare events can disturb an output and make a stratum of their own.
#[must_use]
pub fn rare_sources(variant: &Variant, output: Output) -> Vec<EventSource> {
    let rare = |source: &EventSource| source.in_a_trial() < FREQUENT && source.acts_on(output, &variant.procedure);
    event_sources(&variant.model, &variant.procedure).into_iter().flatten().filter(rare).collect()
}

/// Events of every trial of one variant.
pub struct RecordedEvents<'v> {
    procedure: &'v Procedure,
    /// Each rare source with whether its event happened in each trial.
    sources: Vec<(EventSource, Vec<bool>)>,
    unrecorded: Option<f64>,
}

impl<'v> RecordedEvents<'v> {
    /// From the parts of a variant (or a cell of a study), at the last reduction of each trial.
    ///
    /// # Errors
    /// If a part cannot be read.
    pub fn read(variant: &'v Variant, design: Option<Design>, parts: &Parts, index: u32) -> Result<Self, PartError> {
        let mut sources = Vec::new();
        for source in event_sources(&variant.model, &variant.procedure).into_iter().flatten() {
            if source.in_a_trial() < FREQUENT {
                let column = parts.column(index, &Schema::event_column(source.key), Rows::LastReduction)?;
                sources.push((source, column.iter().map(|count| count.is_some_and(|count| count > 0.0)).collect()));
            }
        }
        let mixtures = unrecorded_events(&variant.model);
        let unrecorded = if mixtures.is_empty() {
            None
        } else {
            let trials = parts.column(index, "trial", Rows::LastReduction)?.len() as u64;
            let units = |stratum| match (stratum, design) {
                (Stratum::Device, Some(design)) => design.devices(trials),
                (Stratum::Case, Some(design)) => trials.div_ceil(u64::from(design.repeats.max(1))),
                _ => trials,
            };
            mixtures.iter().map(|event| units(event.stratum) as f64 * event.probability).reduce(f64::min)
        };
        Ok(Self { procedure: &variant.procedure, sources, unrecorded })
    }

    /// Those that can disturb an output. `measured` says of every trial whether there is a reading.
    #[must_use]
    pub fn of(&self, output: Output, measured: impl Iterator<Item = bool>) -> RareEvents {
        let acting: Vec<_> =
            self.sources.iter().filter(|(source, _)| source.acts_on(output, self.procedure)).collect();
        if acting.is_empty() {
            return RareEvents { recorded: None, unrecorded: self.unrecorded };
        }
        let none: f64 = acting.iter().map(|(source, _)| 1.0 - source.in_a_trial()).product();
        let (mut fired, mut attempted) = (Vec::new(), [0; 2]);
        for (trial, measured) in measured.enumerate() {
            let any = acting.iter().any(|(_, fired)| fired.get(trial).copied().unwrap_or(false));
            attempted[usize::from(any)] += 1;
            if measured {
                fired.push(any);
            }
        }
        let recorded = Recorded {
            probability: 1.0 - none,
            fired,
            attempted,
            once_a_case: acting.iter().all(|(source, _)| source.stratum == Stratum::Case),
            centred: acting.iter().all(|(source, _)| source.centred),
        };
        RareEvents { recorded: Some(recorded), unrecorded: self.unrecorded }
    }
}
