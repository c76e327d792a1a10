//! Components of the variance in a nested design: how much of the error is new from device to device, from case to case,
//! and from repeat to repeat of a case. The last is the repeatability variance of ISO 5725-1; the conditions are simulated.

mod anova;
mod large_sample;
#[cfg(test)]
mod tests;

pub use anova::{Analysis, Cell, MeanSquare, analysis_of_variance};

use super::interval::Interval;
use super::nested::Nested;
use super::rare_events::{self, RareEvents};

/// With fewer cases in which a rare event was recorded there is no interval.
pub const LEAST_EVENT_CASES: u64 = 5;

/// One component, or a sum of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// At which stratum it arises, or of what it is the sum.
    pub stratum: &'static str,
    /// What it is, under simulated conditions.
    pub term: &'static str,
    /// The estimate as it came out: negative where chance has it so.
    pub raw: f64,
    /// Interval, cut off at 0; `None` without degrees of freedom, or with too few rare events.
    pub interval: Option<Interval>,
    /// Standard error from the same degrees of freedom as the interval; `None` likewise.
    pub standard_error: Option<f64>,
    /// Whether it is one of the parts that add up to the whole.
    pub part: bool,
}

impl Component {
    /// The variance to report: a negative estimate is reported as 0.
    #[must_use]
    pub fn variance(&self) -> f64 {
        self.raw.max(0.0)
    }
}

/// Parts and sums, or nothing for fewer than two devices or no degree of freedom within them.
#[must_use]
pub fn components(nested: &Nested, rare: &RareEvents, confidence: f64) -> Vec<Component> {
    let (mut groups, mut fired) = (Vec::new(), Vec::new());
    let mut events = rare.recorded.as_ref().map_or(&[][..], |recorded| &recorded.fired).iter();
    for device in nested.devices().iter().filter(|device| !device.values.is_empty()) {
        let mut rest = device.values.as_slice();
        let (mut cells, mut cells_fired) = (Vec::new(), Vec::new());
        for &count in &device.cases {
            let (mine, others) = rest.split_at(count);
            rest = others;
            cells.push(Cell::of(mine));
            // Every trial is looked at, so that the next case begins at its own.
            cells_fired.push(events.by_ref().take(count).fold(false, |any, &fired| any | fired));
        }
        groups.push(cells);
        fired.push(cells_fired);
    }
    match &rare.recorded {
        Some(recorded) if recorded.once_a_case => {
            let event = CaseEvent { probability: recorded.weights()[1], centred: recorded.centred, fired: &fired };
            with_case_events(&groups, &event, rare.count_of_cases([]).unrecorded, confidence)
        }
        _ => {
            // Events that are new in each repeat make no strata of cases: there must be many.
            let many = rare.count().allows(rare_events::MANY_EVENTS_RECORDED);
            withheld_unless(many, |_| true, from_cells(&groups, confidence))
        }
    }
}

/// The same without the intervals of those that need what there is not.
fn withheld_unless(
    given: bool,
    needs: impl Fn(&Component) -> bool,
    mut components: Vec<Component>,
) -> Vec<Component> {
    for component in components.iter_mut().filter(|component| !given && needs(component)) {
        (component.interval, component.standard_error) = (None, None);
    }
    components
}

/// Components of devices, each a list of cases.
#[must_use]
pub fn from_cells(groups: &[Vec<Cell>], confidence: f64) -> Vec<Component> {
    let Some(found) = analysis_of_variance(groups) else { return Vec::new() };
    Strata::of(&found).map_or_else(Vec::new, |strata| {
        let weights = found.weights();
        let squares = [found.device, found.case, found.repeat];
        strata.components(|parts| Value::of(sum_of(parts, weights), &squares, confidence))
    })
}

/// The sum of the weights of the chosen components.
fn sum_of(parts: [bool; 3], weights: [[f64; 3]; 3]) -> [f64; 3] {
    let chosen = || weights.iter().zip(parts).filter(|(_, chosen)| *chosen);
    std::array::from_fn(|square| chosen().map(|(weights, _)| weights[square]).sum())
}

/// A component's estimate with what is known of it.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Value {
    raw: f64,
    interval: Option<Interval>,
    standard_error: Option<f64>,
}

impl Value {
    fn of(weights: [f64; 3], squares: &[MeanSquare; 3], confidence: f64) -> Self {
        let raw = weights.iter().zip(squares).map(|(weight, square)| weight * square.value).sum();
        let interval = large_sample::interval(weights, squares, raw, confidence);
        let variance = |(weight, square): (&f64, &MeanSquare)| {
            let size = weight * square.value;
            if size == 0.0 { 0.0 } else { 2.0 * size * size / square.shown }
        };
        let standard_error = weights.iter().zip(squares).map(variance).sum::<f64>().sqrt();
        Self { raw, interval, standard_error: interval.map(|_| standard_error) }
    }

    const fn without_interval(raw: f64) -> Self {
        Self { raw, interval: None, standard_error: None }
    }
}

/// Which strata a design can tell apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Strata {
    All,
    /// One value a case.
    NoRepeats,
    /// One case a device.
    NoCases,
}

impl Strata {
    /// `None` without a degree of freedom within devices.
    fn of(found: &Analysis) -> Option<Self> {
        match (found.case.degrees_of_freedom > 0.0, found.repeat.degrees_of_freedom > 0.0) {
            (true, true) => Some(Self::All),
            (true, false) => Some(Self::NoRepeats),
            (false, true) => Some(Self::NoCases),
            (false, false) => None,
        }
    }

    /// The components in order, from the value of each set of the strata device, case and repeat.
    fn components(self, value: impl Fn([bool; 3]) -> Value) -> Vec<Component> {
        let make = |(stratum, term): (&'static str, &'static str), part: bool, strata: [bool; 3]| {
            let Value { raw, interval, standard_error } = value(strata);
            Component { stratum, term, raw, interval, standard_error, part }
        };
        let device = ("device", "variance between devices, simulated");
        let repeat = ("repeat", "repeatability variance (same device, same case), simulated");
        let same_device = ("case and repeat", "variance on one device, simulated");
        let total = ("total", "total variance (all devices, all cases), simulated");
        let mut all = match self {
            Self::All => vec![
                make(device, true, [true, false, false]),
                make(("case", "variance between cases on one device, simulated"), true, [false, true, false]),
                make(repeat, true, [false, false, true]),
                make(same_device, false, [false, true, true]),
            ],
            Self::NoRepeats => {
                vec![make(device, true, [true, false, false]), make(same_device, true, [false, true, true])]
            }
            Self::NoCases => vec![
                make(
                    ("device and case", "variance between devices and between cases, simulated"),
                    true,
                    [true, false, false],
                ),
                make(repeat, true, [false, false, true]),
            ],
        };
        all.push(make(total, false, [true, true, true]));
        all
    }
}

/// A rare event that is drawn once for a case.
struct CaseEvent<'e> {
    /// Its probability in a case.
    probability: f64,
    /// Whether it displaces with mean 0.
    centred: bool,
    /// Of each case of each device, whether it happened.
    fired: &'e [Vec<bool>],
}

/// Components where some cases have a rare event: those of the cases without it, post-stratified with the mean square of
/// the cases with it.
///
/// With probability `p`, cases without the event have the components `device`, `case` and `repeat`; the mean of the `r`
/// repeats of a case with it is off the mean of the others by a mean square of `theta = device + case' + repeat / r`. So the
/// variance between cases is `(1 - p) case + p (theta - device - repeat / r)`, less `p^2` times the squared mean
/// displacement of an event that has one. The two intervals are joined after Zou GY, Donner A. Stat Med 2008;27:1693-1702
/// (from memory). The repeatability variance rests on all cases.
fn with_case_events(
    groups: &[Vec<Cell>],
    event: &CaseEvent,
    unrecorded: Option<f64>,
    confidence: f64,
) -> Vec<Component> {
    let all = from_cells(groups, confidence);
    let Some(whole) = analysis_of_variance(groups) else { return all };
    let by_event = |fired: bool| -> Vec<Vec<Cell>> {
        let of_device = |(cells, events): (&Vec<Cell>, &Vec<bool>)| {
            cells.iter().zip(events).filter(|(_, event)| **event == fired).map(|(cell, _)| *cell).collect()
        };
        groups.iter().zip(event.fired).map(of_device).filter(|cells: &Vec<Cell>| !cells.is_empty()).collect()
    };
    let kept = by_event(false);
    let hit: Vec<Cell> = by_event(true).concat();
    let many = unrecorded.is_none_or(|count| count >= rare_events::MANY_EVENTS);
    let enough = hit.len() as u64 >= LEAST_EVENT_CASES && many;
    let Some((mut found, strata)) = analysis_of_variance(&kept).and_then(|found| Some((found, Strata::of(&found)?)))
    else {
        return withheld_unless(false, |_| true, all);
    };
    found.repeat = whole.repeat;
    let weights = found.weights();
    let squares = [found.device, found.case, found.repeat];
    let without = |parts: [bool; 3]| Value::of(sum_of(parts, weights), &squares, confidence);
    // Where devices have one case each, the event adds to the variance between them.
    let hit_stratum = usize::from(strata != Strata::NoCases);
    let mean = {
        let cells = || kept.iter().flatten();
        cells().map(|cell| cell.mean).sum::<f64>() / cells().count() as f64
    };
    let off: Vec<f64> = hit.iter().map(|cell| cell.mean - mean).collect();
    let theta = rare_events::MeanSquare::of_squares(off.iter().map(|off| off * off)).filter(|_| enough);
    let repeat = squares[2].value;
    let one_repeat_in = hit.iter().map(|cell| 1.0 / cell.count).sum::<f64>() / hit.len().max(1) as f64;
    let device = if hit_stratum == 1 { without([true, false, false]).raw.max(0.0) } else { 0.0 };
    let p = event.probability;
    let displaced = if event.centred { 0.0 } else { off.iter().sum::<f64>() / off.len().max(1) as f64 };
    strata.components(|parts| {
        let unhit = without(parts);
        if !parts[hit_stratum] {
            return if many { unhit } else { Value::without_interval(unhit.raw) };
        }
        let Some(theta) = theta else {
            let weights = whole.weights();
            let plain = Value::of(sum_of(parts, weights), &[whole.device, whole.case, whole.repeat], confidence);
            return Value::without_interval(plain.raw);
        };
        // The variance of the cases with the event in this sum of strata.
        let hit = theta.value - if parts[0] { 0.0 } else { device } - repeat * one_repeat_in
            + if parts[2] { repeat } else { 0.0 };
        let raw = (1.0 - p) * unhit.raw + p * hit - p * p * displaced * displaced;
        let of_theta = theta.interval(confidence);
        let joined = |unhit_reach: f64, theta_reach: f64| libm::hypot((1.0 - p) * unhit_reach, p * theta_reach);
        let interval = unhit.interval.map(|ends| {
            let down = joined((unhit.raw - ends.low).max(0.0), theta.value - of_theta.low);
            let up = joined((ends.high - unhit.raw).max(0.0), of_theta.high - theta.value);
            Interval { low: (raw - down).max(0.0), high: (raw + up).max(0.0), confidence }
        });
        let of_theta = theta.value * (2.0 / theta.degrees_of_freedom).sqrt();
        let standard_error = unhit.standard_error.map(|error| joined(error, of_theta));
        Value { raw, interval: interval.filter(|ends| ends.high.is_finite()), standard_error }
    })
}
