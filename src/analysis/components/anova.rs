//! The analysis of variance of a nested design, and how many degrees of freedom each of its mean squares shows.

use crate::analysis::moments::moments;

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
        moments(values).map_or(Self { count: 0.0, mean: 0.0, squares: 0.0 }, |moments| Self {
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
    /// Its degrees of freedom by the design.
    pub degrees_of_freedom: f64,
    /// The degrees of freedom that its scatter between devices shows, at most those by the design.
    pub shown: f64,
}

impl MeanSquare {
    /// From sums of squares of each device with their degrees of freedom. The contribution of a device to the mean square
    /// deviates from it by what its sum of squares exceeds its own part by; a mean square of `D` devices with contributions
    /// of variance `v` has the degrees of freedom `2 D MS^2 / v` of a chi-squared variable with the same two moments
    /// (Satterthwaite FE. Biometrics Bull 1946;2:110-114; from memory).
    fn pooled(devices: &[(f64, f64)]) -> Self {
        let (squares, degrees_of_freedom) = devices.iter().fold((0.0, 0.0), |sum, d| (sum.0 + d.0, sum.1 + d.1));
        if !(degrees_of_freedom > 0.0) {
            return Self { value: 0.0, degrees_of_freedom: 0.0, shown: 0.0 };
        }
        let value = squares.max(0.0) / degrees_of_freedom;
        let count = devices.len() as f64;
        let off = |&(squares, degrees): &(f64, f64)| (squares - value * degrees) * count / degrees_of_freedom;
        Self { value, degrees_of_freedom, shown: shown(value, devices.iter().map(off), degrees_of_freedom) }
    }

    /// From the squared deviations of the devices' means, each times its number of values.
    fn between(squares: &[f64]) -> Self {
        let count = squares.len() as f64;
        let degrees_of_freedom = count - 1.0;
        let value = squares.iter().sum::<f64>() / degrees_of_freedom;
        let off = squares.iter().map(|square| square * count / degrees_of_freedom - value);
        Self { value, degrees_of_freedom, shown: shown(value, off, degrees_of_freedom) }
    }
}

/// `2 D MS^2 / v` from the deviations of the contributions of `D` devices, at most `most`.
fn shown(value: f64, off: impl ExactSizeIterator<Item = f64>, most: f64) -> f64 {
    let count = off.len() as f64;
    let variance = off.map(|off| off * off).sum::<f64>() / (count - 1.0);
    if variance > 0.0 { most.min(2.0 * count * value * value / variance) } else { most }
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
    let [a, b] = [groups.len() as f64, cells().count() as f64];
    let square = |device: &Cell| device.count * (device.mean - all.mean) * (device.mean - all.mean);
    let within = |cells: &[Cell]| cells.iter().map(|cell| cell.squares).sum::<f64>();
    let between_cases =
        |(cells, device): (&Vec<Cell>, &Cell)| (device.squares - within(cells), cells.len() as f64 - 1.0);
    let repeats = |cells: &Vec<Cell>| (within(cells), cells.iter().map(|cell| cell.count - 1.0).sum());
    let in_device =
        |cells: &[Cell], device: &Cell| cells.iter().map(|c| c.count * c.count).sum::<f64>() / device.count;
    let by_device: f64 = groups.iter().zip(&devices).map(|(cells, device)| in_device(cells, device)).sum();
    let by_all = cells().map(|cell| cell.count * cell.count).sum::<f64>() / all.count;
    let devices_squared = devices.iter().map(|device| device.count * device.count).sum::<f64>() / all.count;
    Some(Analysis {
        device: MeanSquare::between(&devices.iter().map(square).collect::<Vec<_>>()),
        case: MeanSquare::pooled(&groups.iter().zip(&devices).map(between_cases).collect::<Vec<_>>()),
        repeat: MeanSquare::pooled(&groups.iter().map(repeats).collect::<Vec<_>>()),
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

    /// Weights of the three mean squares in the components of device, case and repeat. Where each case has one value, what is
    /// new in a case and in a repeat cannot be told apart: both are the case's.
    pub(super) fn weights(&self) -> [[f64; 3]; 3] {
        if !(self.repeat.degrees_of_freedom > 0.0) {
            return [[1.0 / self.per_device, -1.0 / self.per_device, 0.0], [0.0, 1.0, 0.0], [0.0; 3]];
        }
        let [k1, k2] = self.per_case;
        let case = if k1 > 0.0 { [0.0, 1.0 / k1, -1.0 / k1] } else { [0.0; 3] };
        let repeat = [0.0, 0.0, 1.0];
        let device = [1.0, -k2 * case[1], -1.0 - k2 * case[2]].map(|weight| weight / self.per_device);
        [device, case, repeat]
    }
}
