//! Components of the variance in a nested design: how much of the error repeats on a device, in a case, and how much is
//! new each time. Terms of ISO 5725-1 and 5725-3; the conditions are simulated.

use super::interval::Interval;
use super::invert::{chi_squared_around, fisher_above};
use super::nested::Nested;

/// One component, or a sum of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// At which stratum it arises, or of what it is the sum.
    pub stratum: &'static str,
    /// What ISO 5725 calls it, under simulated conditions.
    pub term: &'static str,
    /// The estimate as it came out: negative where chance has it so.
    pub raw: f64,
    /// Interval, cut off at 0; `None` without degrees of freedom.
    pub interval: Option<Interval>,
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
pub fn components(nested: &Nested, confidence: f64) -> Vec<Component> {
    let groups: Vec<Vec<Cell>> = nested
        .devices()
        .iter()
        .filter(|device| !device.values.is_empty())
        .map(|device| {
            let mut rest = device.values.as_slice();
            let mut cells = Vec::with_capacity(device.cases.len());
            for &count in &device.cases {
                let (mine, others) = rest.split_at(count);
                rest = others;
                cells.push(Cell::of(mine));
            }
            cells
        })
        .collect();
    from_cells(&groups, confidence)
}

/// Count, mean and sum of squared deviations of the repeats of one case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// Number of values.
    pub count: f64,
    /// Their mean.
    pub mean: f64,
    /// Sum of the squared deviations from it.
    pub squares: f64,
}

impl Cell {
    /// Of the repeats of one case; empty for none.
    #[must_use]
    pub fn of(values: &[f64]) -> Self {
        super::moments::moments(values).map_or(Self { count: 0.0, mean: 0.0, squares: 0.0 }, |moments| Self {
            count: moments.count as f64,
            mean: moments.mean,
            squares: moments.squares,
        })
    }

    fn joined(cells: &[Self]) -> Self {
        let count: f64 = cells.iter().map(|cell| cell.count).sum();
        let mean = cells.iter().map(|cell| cell.count * cell.mean).sum::<f64>() / count;
        let between = |cell: &Self| cell.count * (cell.mean - mean) * (cell.mean - mean);
        Self { count, mean, squares: cells.iter().map(|cell| cell.squares + between(cell)).sum() }
    }
}

/// A mean square and its degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanSquare {
    /// The mean square.
    pub value: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
}

/// Mean squares between devices, between cases of a device, and within cases, with what they expect: the first
/// `repeat + per_case[1] case + per_device device`, the second `repeat + per_case[0] case`, the third `repeat`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Analysis {
    /// Between devices.
    pub device: MeanSquare,
    /// Between cases.
    pub case: MeanSquare,
    /// Within cases.
    pub repeat: MeanSquare,
    per_case: [f64; 2],
    per_device: f64,
}

/// The analysis of variance of devices, each a list of cases (Searle SR, Casella G, `McCulloch` CE. Variance Components, 3.6
/// and 5.3). `None` for fewer than two devices.
#[must_use]
pub fn analysis_of_variance(groups: &[Vec<Cell>]) -> Option<Analysis> {
    if groups.len() < 2 {
        return None;
    }
    let devices: Vec<Cell> = groups.iter().map(|cells| Cell::joined(cells)).collect();
    let all = Cell::joined(&devices);
    let cells = || groups.iter().flatten();
    let within: f64 = cells().map(|cell| cell.squares).sum();
    let of_devices: f64 = devices.iter().map(|device| device.squares).sum();
    let [a, b] = [groups.len() as f64, cells().count() as f64];
    let square = |value: f64, degrees_of_freedom: f64| MeanSquare {
        value: if degrees_of_freedom > 0.0 { value.max(0.0) / degrees_of_freedom } else { 0.0 },
        degrees_of_freedom,
    };
    let (device, case, repeat) = (
        square(all.squares - of_devices, a - 1.0),
        square(of_devices - within, b - a),
        square(within, all.count - b),
    );
    let in_device =
        |cells: &[Cell], device: &Cell| cells.iter().map(|c| c.count * c.count).sum::<f64>() / device.count;
    let by_device: f64 = groups.iter().zip(&devices).map(|(cells, device)| in_device(cells, device)).sum();
    let by_all = cells().map(|cell| cell.count * cell.count).sum::<f64>() / all.count;
    let devices_squared = devices.iter().map(|device| device.count * device.count).sum::<f64>() / all.count;
    Some(Analysis {
        device,
        case,
        repeat,
        per_case: [(all.count - by_device) / (b - a).max(1.0), (by_device - by_all) / (a - 1.0)],
        per_device: (all.count - devices_squared) / (a - 1.0),
    })
}

impl Analysis {
    /// The ratio of the mean squares of the two outer strata that have degrees of freedom: Fisher's F.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        let inner = if self.case.degrees_of_freedom > 0.0 { self.case } else { self.repeat };
        self.device.value / inner.value
    }

    /// Weights of the three mean squares in the components of device, case and repeat.
    fn weights(&self) -> [[f64; 3]; 3] {
        let [k1, k2] = self.per_case;
        let case = if k1 > 0.0 { [0.0, 1.0 / k1, -1.0 / k1] } else { [0.0; 3] };
        let repeat = [0.0, 0.0, 1.0];
        let device = [1.0, -k2 * case[1], -1.0 - k2 * case[2]].map(|weight| weight / self.per_device);
        [device, case, repeat]
    }
}

/// Components of devices, each a list of cases.
#[must_use]
pub fn from_cells(groups: &[Vec<Cell>], confidence: f64) -> Vec<Component> {
    let Some(found) = analysis_of_variance(groups) else { return Vec::new() };
    let (has_case, has_repeat) = (found.case.degrees_of_freedom > 0.0, found.repeat.degrees_of_freedom > 0.0);
    if !has_case && !has_repeat {
        return Vec::new();
    }
    let squares = [found.device, found.case, found.repeat];
    let [device, case, repeat] = if has_repeat {
        found.weights()
    } else {
        // One value a case: what is new in a case and what is new in a repeat cannot be told apart.
        [[1.0 / found.per_device, -1.0 / found.per_device, 0.0], [0.0, 1.0, 0.0], [0.0; 3]]
    };
    let add = |one: [f64; 3], other: [f64; 3]| [one[0] + other[0], one[1] + other[1], one[2] + other[2]];
    let make = |(stratum, term): (&'static str, &'static str), weights: [f64; 3], part: bool| {
        let raw = weights.iter().zip(&squares).map(|(weight, square)| weight * square.value).sum();
        Component { stratum, term, raw, interval: interval(weights, &squares, raw, confidence), part }
    };
    let between = "between-device variance, simulated";
    let repeatability = "repeatability variance: same device, same case, simulated";
    let total = ("total", "reproducibility variance: other devices, other cases, simulated");
    match (has_case, has_repeat) {
        (true, true) => {
            let same_device =
                ("case and repeat", "intermediate precision variance: same device, other cases, simulated");
            vec![
                make(("device", between), device, true),
                make(("case", "between-case variance on one device, simulated"), case, true),
                make(("repeat", repeatability), repeat, true),
                make(same_device, add(case, repeat), false),
                make(total, add(device, add(case, repeat)), false),
            ]
        }
        (true, false) => vec![
            make(("device", between), device, true),
            make(
                ("case and repeat", "intermediate precision variance: same device, other cases, simulated"),
                case,
                true,
            ),
            make(total, add(device, case), false),
        ],
        (false, _) => vec![
            make(("device and case", "between-device and between-case variance, simulated"), device, true),
            make(("repeat", repeatability), repeat, true),
            make(total, add(device, repeat), false),
        ],
    }
}

/// Interval of a weighted sum of mean squares by the modified large-sample method, exact for a single one and for normal
/// errors (Graybill FA, Wang CM. J Am Stat Assoc 1980;75:869-873, all weights positive; Ting N et al. J Stat Comput Simul
/// 1990;35:135-143, some negative). It keeps its confidence where Satterthwaite's does not: with few devices and with
/// differences.
fn interval(weights: [f64; 3], squares: &[MeanSquare; 3], raw: f64, confidence: f64) -> Option<Interval> {
    let tail = 0.5 * (1.0 - confidence);
    let used: Vec<(f64, f64, f64)> = weights
        .iter()
        .zip(squares)
        .map(|(&weight, square)| (weight, weight.abs() * square.value, square.degrees_of_freedom))
        .filter(|&(weight, _, degrees)| weight != 0.0 && degrees > 0.0)
        .collect();
    if used.is_empty() {
        return None;
    }
    // How far each mean square may lie above and below its expectation, as parts of itself.
    let reach = |n: f64| {
        let (below, above) = chi_squared_around(tail, n);
        (1.0 - n / above, n / below - 1.0)
    };
    let (mut down, mut up) = (0.0, 0.0);
    for &(weight, size, n) in &used {
        let (g, h) = reach(n);
        let (lower, upper) = if weight > 0.0 { (g, h) } else { (h, g) };
        down += lower * lower * size * size;
        up += upper * upper * size * size;
        for &(_, other_size, m) in used.iter().filter(|other| weight > 0.0 && other.0 < 0.0) {
            let (g_other, h_other) = reach(m);
            let large = fisher_above(tail, n, m);
            let small = 1.0 / fisher_above(tail, m, n);
            let cross =
                |f: f64, mine: f64, theirs: f64| ((f - 1.0) * (f - 1.0) - mine * mine * f * f - theirs * theirs) / f;
            down += cross(large, g, h_other) * size * other_size;
            up += cross(small, h, g_other) * size * other_size;
        }
    }
    let ends = Interval {
        low: (raw - down.max(0.0).sqrt()).max(0.0),
        high: (raw + up.max(0.0).sqrt()).max(0.0),
        confidence,
    };
    (ends.low.is_finite() && ends.high.is_finite()).then_some(ends)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{SeedableRng, rngs::Xoshiro256PlusPlus};
    use rand_distr::{Distribution, StandardNormal};

    fn nested(random: &mut Xoshiro256PlusPlus, (devices, cases, repeats): (u64, u64, u64), sd: [f64; 3]) -> Nested {
        let mut normal = || -> f64 { StandardNormal.sample(random) };
        let mut trials = Vec::new();
        for device in 0..devices {
            let of_device = sd[0] * normal();
            for case in 0..cases {
                let of_case = of_device + sd[1] * normal();
                trials.extend((0..repeats).map(|_| (device, device * cases + case, Some(of_case))));
                let from = trials.len() - usize::try_from(repeats).unwrap();
                trials[from..].iter_mut().for_each(|trial| trial.2 = trial.2.map(|error| error + sd[2] * normal()));
            }
        }
        Nested::new(trials)
    }

    /// Two devices, two cases each, two repeats, by hand: values 1 3 | 5 7 and 2 2 | 4 8. Cases' means 2 6 2 6, devices' 4
    /// 4: between devices 0 (1), between cases 2 * (4+4+4+4) = 32 (2), within 2 + 2 + 0 + 8 = 12 (4).
    #[test]
    fn outside_components_by_hand() {
        let values = [1.0, 3.0, 5.0, 7.0, 2.0, 2.0, 4.0, 8.0];
        let trials = values.iter().zip(0..).map(|(&value, trial): (&f64, u64)| (trial / 4, trial / 2, Some(value)));
        let found = components(&Nested::new(trials), 0.95);
        let raw: Vec<f64> = found.iter().map(|component| component.raw).collect();
        let expected = [(0.0 - 16.0) / 4.0, (16.0 - 3.0) / 2.0, 3.0, 9.5, 5.5];
        assert!(raw.iter().zip(expected).all(|(raw, expected)| (raw - expected).abs() < 1e-12), "{raw:?}");
        assert_eq!((found[0].variance(), found[0].interval.unwrap().low), (0.0, 0.0));
        // The interval of a single mean square is the chi-squared one: 0.4844 and 11.143 with 4 degrees of freedom (NIST
        // handbook 1.3.6.7.4).
        let repeat = found[2].interval.unwrap();
        assert!((repeat.low - 12.0 / 11.143).abs() < 1e-3 && (repeat.high - 12.0 / 0.4844).abs() < 1e-2);
    }

    #[test]
    fn identity_designs_without_a_stratum() {
        let strata = |design| {
            let mut random = Xoshiro256PlusPlus::seed_from_u64(89);
            components(&nested(&mut random, design, [1.0, 1.0, 1.0]), 0.95)
                .iter()
                .filter(|component| component.part)
                .map(|component| component.stratum)
                .collect::<Vec<_>>()
        };
        assert_eq!(strata((3, 4, 2)), ["device", "case", "repeat"]);
        assert_eq!(strata((3, 4, 1)), ["device", "case and repeat"]);
        assert_eq!(strata((3, 1, 4)), ["device and case", "repeat"]);
        assert!(strata((3, 1, 1)).is_empty() && strata((1, 4, 2)).is_empty());
        let same = Nested::new((0..24).map(|trial| (trial / 6, trial / 2, Some(0.25))));
        assert!(components(&same, 0.95).iter().all(|component| component.raw == 0.0));
    }

    /// A missing value changes the weights, not the meaning: unbalanced data of known components.
    #[test]
    fn outside_unbalanced_estimates_are_unbiased() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(97);
        let truth = [0.5, 1.0, 0.7];
        let repeats = 400;
        let mut estimates = vec![Vec::new(); 3];
        for _ in 0..repeats {
            let full = nested(&mut random, (8, 4, 3), truth);
            let mut place = 0;
            let mut trials = Vec::new();
            for (device, found) in (0..).zip(full.devices()) {
                for (value, in_device) in found.values.iter().zip(0..) {
                    place += 1;
                    // Every fifth is missing, and the whole second half of the first device.
                    let missing = place % 5 == 0 || (device == 0 && in_device > 5);
                    trials.push((device, device * 4 + in_device / 3, (!missing).then_some(*value)));
                }
            }
            let found = components(&Nested::new(trials), 0.95);
            estimates.iter_mut().zip(&found).for_each(|(all, component)| all.push(component.raw));
        }
        for (estimates, sd) in estimates.iter().zip(truth) {
            let found = super::super::moments::moments(estimates).unwrap().bias(0.95);
            assert!((found.value - sd * sd).abs() < 3.5 * found.standard_error.unwrap(), "{found:?} {sd}");
        }
    }

    /// How often the intervals hold the true components.
    #[test]
    fn coverage_of_components() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(101);
        let repeats = 1000;
        for sd in [[0.3, 1.0, 0.5], [1.0, 1.0, 1.0], [0.0, 1.0, 1.0]] {
            let [device, case, repeat] = sd.map(|sd: f64| sd * sd);
            let truth = [device, case, repeat, case + repeat, device + case + repeat];
            let mut covered = [0_u32; 5];
            for _ in 0..repeats {
                let found = components(&nested(&mut random, (12, 6, 3), sd), 0.95);
                for ((covered, component), truth) in covered.iter_mut().zip(&found).zip(truth) {
                    *covered += u32::from(component.interval.unwrap().contains(truth));
                }
            }
            let allowed = 3.0 * (0.95_f64 * 0.05 / f64::from(repeats)).sqrt();
            for (covered, at) in covered.iter().zip(0..) {
                let share = f64::from(*covered) / f64::from(repeats);
                // The method is exact for one mean square and known to be a little generous for sums.
                assert!(share >= 0.95 - allowed && share <= 0.99, "{sd:?}, {at}: {share}");
            }
        }
    }
}
