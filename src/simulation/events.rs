//! Rare events: which sources have one, with what probability, and what happened in a case.

use super::Quantity;
use super::model::Model;
use super::noise::{Drawn, SOURCES, SourceEntry};
use super::source::{Stratum, Switch};
use crate::measurement::{Asked, Outline, Output, Procedure, Step};

/// Number of sources that have a rare event.
pub const EVENT_SOURCES: usize = 3;

/// A source whose rare event may happen in a trial: its probability is stated by the plan, strictly between 0 and 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EventSource {
    /// Id of the source.
    pub source: &'static str,
    /// Its column in the parts, without `event_`.
    pub key: &'static str,
    /// What its event is.
    pub what: &'static str,
    /// The stratum at which it happens anew: a case, or a capture.
    pub stratum: Stratum,
    /// Probability at one chance.
    pub probability: f64,
    /// Chances in one reduction of one trial: 1 for a case, the number of holds of the probe for a capture.
    pub chances: u32,
    /// Whether it displaces with mean 0.
    pub centred: bool,
    /// The step without which it disturbs nothing, if there is one.
    disturbs_only: Option<Step>,
}

impl EventSource {
    /// Probability that the event happens at least once in a trial, as one of its reductions sees it. Exact: the chances
    /// are independent and their number is fixed, as only the first try of a hold counts.
    #[must_use]
    pub fn in_a_trial(&self) -> f64 {
        -libm::expm1(f64::from(self.chances) * libm::log1p(-self.probability))
    }

    /// Whether it can disturb an output.
    #[must_use]
    pub fn acts_on(&self, output: Output, procedure: &Procedure) -> bool {
        let alone = Procedure { asked: Asked::of(&[output]), ..procedure.clone() };
        self.disturbs_only.is_none_or(|step| alone.needs(step))
    }
}

/// What happened in a case, or what may happen: one place for each source of [`event_sources`].
pub type ByEventSource<T> = [T; EVENT_SOURCES];

/// The sources of rare events of a model under a procedure, each at its fixed place; `None` where the event cannot
/// happen, happens always, or belongs to a step that is not needed.
#[must_use]
pub fn event_sources(model: &Model, procedure: &Procedure) -> ByEventSource<Option<EventSource>> {
    let (noise, protocol) = (&model.noise, &model.protocol);
    let count = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
    let landmarks = if procedure.needs(Step::Pubis) { 3 } else { 2 } * protocol.landmark_captures;
    let divots = match (procedure.femur.strategy().outline)(&procedure.instruments) {
        Outline::Places(places) => count(places.len()) * protocol.divot_captures,
        Outline::Groove(_) => 0,
    };
    let located =
        [Step::FemurBaseline, Step::FemurReduction].into_iter().filter(|&step| procedure.needs(step)).count();
    let holds = landmarks + count(located) * divots;
    let drift = EventSource {
        source: "camera.drift",
        key: "camera_drift",
        what: "the camera's mount is knocked",
        stratum: Stratum::Case,
        probability: noise.camera.drift.model.knock_probability,
        chances: u32::from(!noise.camera.drift.is_off() && noise.camera.drift.switch.event != 0.0),
        centred: centred(&[
            &noise.camera.drift.model.knock_rotation_deg,
            &noise.camera.drift.model.knock_translation_mm,
        ]),
        disturbs_only: None,
    };
    let slip = EventSource {
        source: "probe.slip",
        key: "probe_slip",
        what: "the probe's tip slips in a hold",
        stratum: Stratum::Capture,
        probability: noise.probe.slip.model.in_hold_probability,
        chances: if noise.probe.slip.is_off() || noise.probe.slip.switch.event == 0.0 { 0 } else { holds },
        centred: centred(&[&noise.probe.slip.model.in_hold_mm]),
        disturbs_only: None,
    };
    let loosening = EventSource {
        source: "femur.loosening",
        key: "femur_loosening",
        what: "the femoral feature moves on the bone",
        stratum: Stratum::Case,
        probability: noise.femur.loosening.model.probability,
        chances: u32::from(!noise.femur.loosening.is_off() && procedure.needs(Step::FemurReduction)),
        centred: centred(&[&noise.femur.loosening.model.rotation_deg, &noise.femur.loosening.model.translation_mm]),
        disturbs_only: Some(Step::FemurReduction),
    };
    [drift, slip, loosening].map(|event| {
        let rare = event.chances > 0 && event.probability > 0.0 && event.probability < 1.0;
        rare.then_some(event)
    })
}

fn centred(quantities: &[&Quantity]) -> bool {
    quantities.iter().all(|quantity| quantity.mean_and_sd().0 == 0.0)
}

/// A drawn quantity that is a mixture: one of its parts is an event that no trial records, as the quantile of the whole is
/// drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnrecordedEvent {
    /// Source or group that draws it.
    pub source: &'static str,
    /// The outermost stratum of its source: no event is rarer.
    pub stratum: Stratum,
    /// Probability of the rarer part in one draw; 0 where the draw itself belongs to a rare event.
    pub probability: f64,
}

/// Every mixture that a model draws for its devices, cases and captures. Draws of single frames are left out: many go into
/// every trial.
#[must_use]
pub fn unrecorded_events(model: &Model) -> Vec<UnrecordedEvent> {
    let mut noise = model.noise.clone();
    let is_on = |(entry, switch): (&SourceEntry, &mut Switch)| (switch.scale != 0.0).then_some(entry.id);
    let on: Vec<&str> = noise.switches().into_iter().filter_map(is_on).collect();
    let stratum = |source: &str| {
        let entry = SOURCES.iter().find(|entry| entry.id == source)?;
        [Stratum::Device, Stratum::Case, Stratum::Capture].into_iter().find(|stratum| entry.strata.contains(stratum))
    };
    let drawn = noise.inputs();
    let of_noise = drawn.iter().filter(|input| on.contains(&input.source)).filter_map(|input| {
        let part = input.quantity.rarer_part()?;
        let probability = if input.drawn == Drawn::Rarely { 0.0 } else { part };
        Some(UnrecordedEvent { source: input.source, stratum: stratum(input.source)?, probability })
    });
    let of_anatomy = model.anatomy.quantities().into_iter().filter_map(|(_, quantity)| {
        let probability = quantity.rarer_part()?;
        Some(UnrecordedEvent { source: "anatomy", stratum: Stratum::Case, probability })
    });
    of_noise.chain(of_anatomy).collect()
}

/// How often each event happened in a case.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Happened {
    /// Whether the camera's mount was knocked.
    pub knocked: bool,
    /// Whether the femoral feature moved on the bone.
    pub loosened: bool,
    /// Holds before the first reduction in whose first try the tip slipped.
    pub slips: u32,
}

impl Happened {
    /// Counts at the places of [`event_sources`], with so many slips at the reduction that is looked at.
    #[must_use]
    pub fn counts(&self, slips_at_reduction: u32) -> ByEventSource<u32> {
        [u32::from(self.knocked), self.slips + slips_at_reduction, u32::from(self.loosened)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::Plan;

    const MIXTURE: &str =
        "{ mixture = { main = { normal = { sd = 0.2 } }, event = { normal = { sd = 2.0 } }, probability = 0.02 } }";

    fn model(text: &str) -> (Model, Procedure) {
        let plan = Plan::parse("events.toml", &format!("seed = 1\n{text}")).expect("a plan");
        (plan.variants[0].model.clone(), plan.variants[0].procedure.clone())
    }

    /// Mixtures of devices, cases and captures are listed where their source is on; those of single frames are not.
    #[test]
    fn identity_mixtures_are_listed_with_their_stratum() {
        let mixed = |table: &str, key: &str, rest: &str| {
            unrecorded_events(&model(&format!("{rest}[noise.{table}]\n{key} = {MIXTURE}\n")).0)
        };
        let event = |source, stratum, probability| vec![UnrecordedEvent { source, stratum, probability }];
        assert_eq!(mixed("cup.runout", "transverse_deg", ""), event("cup.runout", Stratum::Device, 0.02));
        assert_eq!(mixed("camera.drift", "rotation_deg", ""), event("camera.drift", Stratum::Case, 0.02));
        // A mixture that a knock draws is rarer than its parts.
        assert_eq!(mixed("camera.drift", "knock_rotation_deg", ""), event("camera.drift", Stratum::Case, 0.0));
        assert_eq!(mixed("femur.groove", "each_axis_mm", ""), []);
        assert_eq!(mixed("cup.runout", "transverse_deg", "[noise]\noff = [\"cup.runout\"]\n"), []);
        assert_eq!(unrecorded_events(&model("").0), []);
    }

    /// Holds of the probe by hand: three landmarks, or two without the pubis; three divots at baseline and at the reduction.
    #[test]
    fn outside_chances_of_a_slip_are_the_holds() {
        let chances = |text: &str| {
            let (model, procedure) = model(text);
            event_sources(&model, &procedure)[1].map(|slip| (slip.chances, slip.in_a_trial()))
        };
        let holds = |plane: &str, femur: &str, rest: &str| {
            let text = format!("[measure]\nplane = \"{plane}\"\nfemur = \"{femur}\"\n{rest}");
            chances(&text).map(|(chances, _)| chances)
        };
        assert_eq!(holds("bony", "three-divots", ""), Some(9));
        assert_eq!(holds("bony", "ellipse", ""), Some(3));
        assert_eq!(holds("level", "ellipse", "[protocol]\nlandmark_captures = 4\n"), Some(8));
        let (_, probability) = chances("[measure]\nplane = \"bony\"\nfemur = \"ellipse\"\n").expect("slips");
        assert!((probability - (1.0 - 0.95 * 0.95 * 0.95)).abs() < 1e-15);
    }
}
