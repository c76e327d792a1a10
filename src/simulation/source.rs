//! A noise source: what it draws, on which stream, at which scale.

use super::covariance::Covariance;
use super::quantity::Quantity;
use super::streams::{CaseKey, Mixing, Scores, StreamKey, continued_key};
use crate::geometry::Lanes;
use crate::measurement::Step;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::sync::Arc;

/// How often something is drawn anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Stratum {
    /// Differs from unit to unit.
    Device,
    /// Differs from patient to patient.
    Case,
    /// Drawn each time something is picked up, attached or pointed at.
    Capture,
    /// Drawn for each camera frame.
    Frame,
}

impl Stratum {
    /// The word for it in tables.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Device => "device",
            Self::Case => "case",
            Self::Capture => "capture",
            Self::Frame => "frame",
        }
    }
}

/// Where the numbers of a source come from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Basis {
    /// Measured, published or assumed.
    pub kind: BasisKind,
    /// The publication; needed where `kind` is published.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// Anything a reader should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// Kinds of basis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BasisKind {
    /// From the user's own bench.
    Measured,
    /// From a publication.
    Published,
    /// Taken as plausible.
    Assumed,
}

impl BasisKind {
    /// The word for it in files.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Published => "published",
            Self::Assumed => "assumed",
        }
    }
}

/// A capture within a case, packed so that its number does not depend on what else is captured: the step from
/// 1, the take (reduction), the item (landmark or divot), and the repeat. Left and right ASIS are keyed as the
/// operated and the other side, so that mirrored cases draw the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CaptureKey(u64);

impl CaptureKey {
    /// The key of a capture. `item` is a divot, or the ASIS: 0 operated, 1 other side.
    #[must_use]
    pub const fn new(step: Step, take: u32, item: u32, repeat: u32) -> Self {
        let step = match step {
            Step::TipPivot => 1,
            Step::Level => 2,
            Step::AsisLeft | Step::AsisRight => 3,
            Step::Pubis => 4,
            Step::FemurBaseline => 5,
            Step::CentreNative => 6,
            Step::Cup => 7,
            Step::CentreNew => 8,
            Step::FemurReduction => 9,
        };
        Self(step << 56 | (take as u64) << 40 | (item as u64) << 32 | repeat as u64)
    }

    /// The packed number.
    #[must_use]
    pub const fn packed(self) -> u64 {
        self.0
    }

    /// The same capture tried once more: draws of the stillness gate's `attempt`, 0 the first, at most 127. Takes are fewer
    /// than 256, so that attempts and takes never meet.
    #[must_use]
    pub const fn again(self, attempt: u32) -> Self {
        Self(self.0 + ((attempt as u64) << 48))
    }

    /// The same capture in a repeat of the case: a number of its own, so captures count on through the repeats of a
    /// design. A capture is repeated fewer than 65,536 times within one.
    #[must_use]
    pub const fn in_repeat(self, repeat: u32) -> Self {
        Self(self.0 ^ ((repeat as u64) << 16))
    }

    /// The bits that say at which step it is, whether before it, and of which item.
    pub(super) const STEP_AND_ITEM: u64 = 0xff << 56 | 0xff << 32;

    /// Whether a packed number is that of a hold taken again.
    pub(super) const fn is_again(packed: u64) -> bool {
        packed >> 48 & 0x7f != 0
    }

    /// Whether it is the first try of a hold, as [`Self::again`] counts them.
    #[must_use]
    pub const fn is_first_try(self) -> bool {
        !Self::is_again(self.0)
    }

    /// What happens between the steps `before` and the next one: something seated or put back.
    #[must_use]
    pub const fn before(step: Step) -> Self {
        Self(Self::new(step, 0, 0, 0).0 | 1 << 63)
    }
}

/// A source with its switch. `model` holds what the experiment file says of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Source<M> {
    /// Parameters.
    pub model: M,
    /// Stream and scale.
    pub switch: Switch,
}

/// On which stream a source draws, and by how much its draws are multiplied.
#[derive(Clone, Debug, PartialEq)]
pub struct Switch {
    /// Key of the source in the stream.
    pub key: u64,
    /// 0 or 1: which of two independent sets of draws.
    pub replicate: u64,
    /// Factor on every drawn value; 0 is off.
    pub scale: f64,
    /// Factor on what is drawn beside a rare event of the source, where it has one. Studies change it; no file can.
    pub steady: f64,
    /// Factor on the size of the rare event, likewise; 0 removes the event.
    pub event: f64,
    /// What goes into its scores besides its own stream, where it is correlated.
    pub mixing: Option<Arc<Mixing>>,
}

impl Default for Switch {
    fn default() -> Self {
        Self { key: 0, replicate: 0, scale: 1.0, steady: 1.0, event: 1.0, mixing: None }
    }
}

impl<M> Source<M> {
    /// Whether it draws nothing.
    #[inline]
    #[must_use]
    pub fn is_off(&self) -> bool {
        self.switch.scale == 0.0
    }

    /// The drawn value at a score, scaled.
    #[inline]
    #[must_use]
    pub fn value(&self, quantity: &Quantity, score: f64) -> f64 {
        self.switch.scale * quantity.value(score)
    }

    /// Drawn values, side by side, of one quantity, scaled.
    #[inline]
    #[must_use]
    pub fn values(&self, quantity: &Quantity, scores: Lanes) -> Lanes {
        self.switch.scale * quantity.values(scores)
    }

    /// The drawn value of one component (or item) of a quantity at a score, scaled.
    #[inline]
    #[must_use]
    pub fn component(&self, quantity: &Quantity, which: usize, score: f64) -> f64 {
        self.switch.scale * quantity.component(which, score)
    }

    /// Three drawn values of one quantity, scaled.
    #[inline]
    #[must_use]
    pub fn three_values(&self, quantity: &Quantity, scores: [f64; 3]) -> [f64; 3] {
        [0, 1, 2].map(|which| self.component(quantity, which, scores[which]))
    }

    /// Three components of a vector, scaled: from their covariance where one is given, else each from its own quantity.
    #[inline]
    #[must_use]
    pub fn vector(&self, covariance: Option<&Covariance>, quantities: [&Quantity; 3], scores: [f64; 3]) -> [f64; 3] {
        match covariance {
            Some(covariance) => covariance.values(scores).map(|value| self.switch.scale * value),
            None => std::array::from_fn(|i| self.component(quantities[i], i, scores[i])),
        }
    }

    /// As [`Self::vector`], for one of several items that are drawn from the same quantities.
    #[inline]
    #[must_use]
    pub fn item_vector(
        &self,
        covariance: Option<&Covariance>,
        quantities: [&Quantity; 3],
        item: usize,
        scores: [f64; 3],
    ) -> [f64; 3] {
        match covariance {
            Some(_) => self.vector(covariance, quantities, scores),
            None => std::array::from_fn(|i| self.component(quantities[i], item, scores[i])),
        }
    }

    /// The stream of this source for the device of a case.
    #[must_use]
    pub fn device_stream(&self, key: &CaseKey) -> Scores {
        self.stream(CaseKey { case: 0, ..*key }, 0, Stratum::Device)
    }

    /// The stream of one part of this source for the device of a case: the part's name, with a dot before it, goes
    /// on the source's id, so that no part moves the draws of another.
    #[must_use]
    pub fn device_part_stream(&self, key: &CaseKey, part: &str) -> Scores {
        let Switch { key: source, replicate, .. } = self.switch;
        let source = continued_key(source, part);
        StreamKey { seed: key.seed, replicate, source, device: key.device, case: 0, capture: 0 }.open()
    }

    /// The stream of this source for a case.
    #[must_use]
    pub fn case_stream(&self, key: &CaseKey) -> Scores {
        self.stream(*key, 0, Stratum::Case)
    }

    /// The stream of this source for a capture; its frames are successive draws.
    #[must_use]
    pub fn capture_stream(&self, key: &CaseKey, capture: CaptureKey) -> Scores {
        self.stream(*key, capture.in_repeat(key.repeat).0, Stratum::Capture)
    }

    /// The stream of a capture whose frames are to be drawn; `None` if the source is off.
    #[must_use]
    pub fn frames(&self, key: &CaseKey, capture: CaptureKey) -> Option<Scores> {
        (!self.is_off()).then(|| self.capture_stream(key, capture))
    }

    /// The stream of one part of this source for a capture whose frames are to be drawn, keyed as
    /// [`Self::device_part_stream`]; `None` if the source is off.
    #[must_use]
    pub fn part_frames(&self, key: &CaseKey, part: &str, capture: CaptureKey) -> Option<Scores> {
        let Switch { key: source, replicate, .. } = self.switch;
        let &CaseKey { seed, device, case, repeat } = key;
        let (source, capture) = (continued_key(source, part), capture.in_repeat(repeat).0);
        (!self.is_off()).then(|| StreamKey { seed, replicate, source, device, case, capture }.open())
    }

    fn stream(&self, key: CaseKey, capture: u64, stratum: Stratum) -> Scores {
        let Switch { key: source, replicate, ref mixing, .. } = self.switch;
        let own = StreamKey { seed: key.seed, replicate, source, device: key.device, case: key.case, capture };
        match mixing {
            None => own.open(),
            Some(mixing) => mixing.open(own, stratum),
        }
    }
}

// A source is written as its model alone; the switch comes from `off`, `only`, `scale` and the catalogue.
impl<'de, M: Deserialize<'de>> Deserialize<'de> for Source<M> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(Self { model: M::deserialize(deserializer)?, switch: Switch::default() })
    }
}

impl<M: Serialize> Serialize for Source<M> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.model.serialize(serializer)
    }
}

/// A score part of whose variance repeats within a case: `sqrt(share) case + sqrt(1 - share) other`, again a
/// standard normal score.
#[derive(Clone, Copy, Debug)]
pub struct SharedScore {
    case_weight: f64,
    other_weight: f64,
}

impl SharedScore {
    /// With the proportion of variance, 0 to 1, that repeats within a case.
    #[must_use]
    pub fn new(case_share: f64) -> Self {
        Self { case_weight: case_share.sqrt(), other_weight: (1.0 - case_share).sqrt() }
    }

    /// The combined score.
    #[inline]
    #[must_use]
    pub fn of(&self, case: f64, other: f64) -> f64 {
        self.case_weight * case + self.other_weight * other
    }
}
