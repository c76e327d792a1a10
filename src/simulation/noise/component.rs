//! The components of noise sources by name: the one declaration of what each source really draws and can be correlated.
//!
//! A component is one standard normal score, known by source, item and axis: `landmark.palpation.asis.operated.anterior`. What
//! is drawn frame by frame, trace by trace, or only after a rare event has no component here.

use super::catalogue::SOURCES;
use super::entry::SourceEntry;
use crate::measurement::Step;
use crate::simulation::source::{CaptureKey, Stratum};
use crate::simulation::streams::Spot;

/// One vector that a source draws: a landmark, a rotation, a translation.
#[derive(Clone, Copy, Debug)]
pub struct Item {
    /// Its name; empty where the source has this item alone.
    pub name: &'static str,
    /// Its axes, in the order in which their scores are drawn.
    pub axes: &'static [Axis],
    /// When it is drawn.
    pub drawn: Occasion,
    /// Place of its first score in the stream of the device, the case or, where there is no such stream, the capture.
    first: usize,
}

/// One axis of an item.
#[derive(Clone, Copy, Debug)]
pub struct Axis {
    /// Its name.
    pub name: &'static str,
    /// The key of the quantity that its score is drawn from.
    pub key: &'static str,
}

/// When an item is drawn. Only items of the same occasion have scores that belong together one by one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Occasion {
    /// Once for each device.
    Device,
    /// Once for each case.
    Case,
    /// A part once for each case and a part at each capture of a landmark, of which this is the first.
    Landmark(CaptureKey),
    /// Once in each repeat of a case, at this capture.
    Capture(CaptureKey),
    /// At each reduction.
    Reduction,
}

impl Occasion {
    /// When that is, in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Device => "once for each device",
            Self::Case => "once for each case",
            Self::Landmark(_) => "for each case and for each capture of the landmark",
            Self::Capture(_) => "once in each repeat of a case",
            Self::Reduction => "for each reduction",
        }
    }
}

/// One score: a source, an item and an axis.
#[derive(Clone, Copy, Debug)]
pub struct Component {
    /// The source that draws it.
    pub source: &'static SourceEntry,
    /// The item.
    pub item: &'static Item,
    /// The axis.
    pub axis: &'static Axis,
    /// Place of the axis in the item.
    place: usize,
}

impl PartialEq for Component {
    fn eq(&self, other: &Self) -> bool {
        let id = |of: &Self| (of.source.id, of.item.name, of.axis.name);
        id(self) == id(other)
    }
}

impl Component {
    /// Its name: source, item where there are several, and axis.
    #[must_use]
    pub fn id(&self) -> String {
        format!("{}.{}", self.source.id, self.short_id())
    }

    /// Its name without the source.
    #[must_use]
    pub fn short_id(&self) -> String {
        match self.item.name {
            "" => self.axis.name.to_owned(),
            item => format!("{item}.{}", self.axis.name),
        }
    }

    /// Whether two components are drawn at occasions that belong together.
    #[must_use]
    pub fn is_drawn_with(&self, other: &Self) -> bool {
        std::mem::discriminant(&self.item.drawn) == std::mem::discriminant(&other.item.drawn)
    }

    /// Where its scores are drawn: one stream, or for a landmark that of the case and that of its captures.
    pub(super) fn spots(&self) -> impl Iterator<Item = Spot> + use<> {
        let Item { first, drawn, .. } = *self.item;
        let spot = |stratum, capture, first| Some(Spot { stratum, capture, place: first + self.place });
        let spots = match drawn {
            Occasion::Device => [spot(Stratum::Device, 0, first), None],
            Occasion::Case => [spot(Stratum::Case, 0, first), None],
            Occasion::Landmark(capture) => {
                [spot(Stratum::Case, 0, first), spot(Stratum::Capture, capture.packed(), 0)]
            }
            Occasion::Capture(capture) => [spot(Stratum::Capture, capture.packed(), first), None],
            Occasion::Reduction => [spot(Stratum::Capture, at(Step::FemurReduction, 0).packed(), first), None],
        };
        spots.into_iter().flatten()
    }
}

/// Every component of a source, in the order in which it is drawn.
pub fn components_of(source: &'static SourceEntry) -> impl Iterator<Item = Component> {
    source.items.iter().flat_map(move |item| {
        item.axes.iter().enumerate().map(move |(place, axis)| Component { source, item, axis, place })
    })
}

/// Components that one name stands for: all of a source, of an item, of an axis in every item, or one alone.
#[derive(Clone, Debug)]
pub struct Selection {
    /// The source.
    pub source: &'static SourceEntry,
    /// The components, at least one.
    pub components: Vec<Component>,
    /// Whether the name ends in an axis.
    pub names_an_axis: bool,
}

/// Why a name stands for no component.
#[derive(Clone, Copy, Debug)]
pub enum NameFault {
    /// No source has this id.
    NoSource,
    /// The source draws nothing that can be correlated.
    NoComponents(&'static SourceEntry),
    /// The source has no such item or axis.
    NoPart(&'static SourceEntry),
}

impl Selection {
    /// What a name stands for.
    ///
    /// # Errors
    /// With the reason if it stands for nothing.
    pub fn of(name: &str) -> Result<Self, NameFault> {
        let rest = |source: &SourceEntry| name.strip_prefix(source.id).map(str::to_owned);
        let named = SOURCES.iter().find_map(|source| {
            let rest = rest(source).filter(|rest| rest.is_empty() || rest.starts_with('.'))?;
            Some((source, rest))
        });
        let (source, rest) = named.ok_or(NameFault::NoSource)?;
        if source.items.is_empty() {
            return Err(NameFault::NoComponents(source));
        }
        let parts: Vec<&str> = rest.split('.').skip(1).collect();
        let chosen = |component: &Component| match parts[..] {
            [] => true,
            [part] => !part.is_empty() && (component.item.name == part || component.axis.name == part),
            [item, axis] => component.item.name == item && component.axis.name == axis,
            _ => false,
        };
        let components: Vec<Component> = components_of(source).filter(chosen).collect();
        let last = parts.last();
        match components.first() {
            None => Err(NameFault::NoPart(source)),
            Some(first) => {
                Ok(Self { source, names_an_axis: last.is_some_and(|last| *last == first.axis.name), components })
            }
        }
    }
}

const fn at(step: Step, item: u32) -> CaptureKey {
    CaptureKey::new(step, 0, item, 0)
}

const fn axis(name: &'static str, key: &'static str) -> Axis {
    Axis { name, key }
}

const fn item(name: &'static str, axes: &'static [Axis], drawn: Occasion, first: usize) -> Item {
    Item { name, axes, drawn, first }
}

const BONY: &[Axis] =
    &[axis("anterior", "anterior_mm"), axis("superior", "superior_mm"), axis("lateral", "lateral_mm")];
const TURN: &[Axis] = &[
    axis("flexion", "flexion_deg"),
    axis("adduction", "adduction_deg"),
    axis("internal_rotation", "internal_rotation_deg"),
];
const EACH_TURN: &[Axis] = &[
    axis("flexion", "each_axis_deg"),
    axis("adduction", "each_axis_deg"),
    axis("internal_rotation", "each_axis_deg"),
];
const ROTATION: &[Axis] = &[axis("x", "rotation_deg"), axis("y", "rotation_deg"), axis("z", "rotation_deg")];
const TRANSLATION: &[Axis] = &[axis("x", "translation_mm"), axis("y", "translation_mm"), axis("z", "translation_mm")];
const LEVEL: &[Axis] = &[axis("about_y", "about_y_deg"), axis("about_z", "about_z_deg")];
const OFFSET: &[Axis] = &[axis("about_y", "offset_about_y_deg"), axis("about_z", "offset_about_z_deg")];
const TRANSVERSE: &[Axis] = &[axis("first", "transverse_deg"), axis("second", "transverse_deg")];

const BEFORE_CUP: Occasion = Occasion::Capture(CaptureKey::before(Step::Cup));

pub(super) const REMOUNT: &[Item] =
    &[item("rotation", ROTATION, BEFORE_CUP, 0), item("translation", TRANSLATION, BEFORE_CUP, 3)];
pub(super) const DRIFT: &[Item] =
    &[item("rotation", ROTATION, Occasion::Case, 0), item("translation", TRANSLATION, Occasion::Case, 3)];
pub(super) const TABLE: &[Item] = &[item("", LEVEL, Occasion::Case, 0)];
pub(super) const SENSOR: &[Item] = &[item("offset", OFFSET, Occasion::Device, 0)];
pub(super) const ASIS: &[Item] = &[
    item("operated", BONY, Occasion::Landmark(at(Step::AsisLeft, 0)), 0),
    item("other", BONY, Occasion::Landmark(at(Step::AsisLeft, 1)), 3),
];
pub(super) const PUBIS: &[Item] = &[item("", BONY, Occasion::Landmark(at(Step::Pubis, 0)), 0)];
pub(super) const TISSUE: &[Item] = &[item("", &[axis("factor", "factor")], Occasion::Case, 0)];
pub(super) const BASELINE: &[Item] = &[item("", TURN, Occasion::Case, 0)];
pub(super) const REDUCTION: &[Item] = &[item("", TURN, Occasion::Reduction, 0)];
pub(super) const ATTACH: &[Item] = &[item("", TRANSVERSE, Occasion::Capture(at(Step::Cup, 0)), 0)];
pub(super) const RUNOUT: &[Item] = &[item("", TRANSVERSE, Occasion::Device, 0)];
pub(super) const SEATING: &[Item] = &[item("", EACH_TURN, Occasion::Case, 0)];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::experiment::Plan;
    use crate::simulation::streams::MOST_PLACES;
    use std::collections::BTreeSet;

    /// Every component is drawn from a quantity of its source, under a name of its own, at a place that mixing reaches.
    #[test]
    fn identity_components_are_what_the_inputs_draw() {
        let plan = Plan::parse("all.toml", "seed = 1").expect("a file of defaults");
        let mut noise = plan.variants[0].model.noise.clone();
        let mut names = BTreeSet::new();
        for source in &SOURCES {
            for component in components_of(source) {
                assert!(names.insert(component.id()), "{} twice", component.id());
                let inputs = noise.inputs();
                let own = inputs.iter().find(|input| input.source == source.id && input.key == component.axis.key);
                let own = own.unwrap_or_else(|| panic!("{} is no input", component.id()));
                let named = |name: &str| name == component.item.name || name == component.axis.name;
                assert!(own.components.is_empty() || own.components.iter().any(|name| named(name)));
                assert!(component.spots().all(|spot| spot.place < MOST_PLACES));
            }
        }
        assert_eq!(names.len(), 6 + 6 + 2 + 2 + 6 + 3 + 1 + 3 + 3 + 2 + 2 + 3);
    }

    #[test]
    fn identity_names_choose_sources_items_axes_or_one() {
        let chosen = |name: &str| -> Vec<String> {
            let selection = Selection::of(name).unwrap_or_else(|fault| panic!("{name}: {fault:?}"));
            selection.components.iter().map(Component::short_id).collect()
        };
        assert_eq!(chosen("landmark.palpation.asis").len(), 6);
        assert_eq!(chosen("landmark.palpation.asis.other"), ["other.anterior", "other.superior", "other.lateral"]);
        assert_eq!(chosen("landmark.palpation.asis.lateral"), ["operated.lateral", "other.lateral"]);
        assert_eq!(chosen("landmark.palpation.asis.operated.lateral"), ["operated.lateral"]);
        assert_eq!(chosen("landmark.palpation.pubis.lateral"), ["lateral"]);
        for (name, expected) in [
            ("landmark.palpation", "NoSource"),
            ("landmark.palpation.asis.left", "NoPart"),
            ("landmark.palpation.asis.", "NoPart"),
            ("landmark.palpation.asis.operated.lateral.", "NoPart"),
            ("landmark.palpation.asis.lateral.operated", "NoPart"),
            ("tracker.jitter", "NoComponents"),
        ] {
            let fault = format!("{:?}", Selection::of(name).expect_err(name));
            assert!(fault.starts_with(expected), "{name}: {fault}");
        }
    }
}
