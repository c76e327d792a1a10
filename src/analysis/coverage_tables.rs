//! Tables of simulated coverage that are kept with the tests.

use super::interval::Interval;

/// How often the interval of a quantity is given, and how often it then holds the true value.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// Quantity that is estimated.
    pub quantity: &'static str,
    /// Shape of the errors.
    pub errors: &'static str,
    /// Probability of an event.
    pub event_probability: f64,
    /// Standard deviation of what an event adds, in that of the errors it adds to.
    pub event_sd: f64,
    /// Trials, or devices of a nested design.
    pub units: usize,
    /// Runs.
    pub runs: u32,
    /// Runs with an interval.
    pub given: u32,
    /// Runs whose interval holds the true value.
    pub covered: u32,
    /// The same of the interval of version 0.1.0, which was given in every run.
    pub covered_before: u32,
}

impl Row {
    pub const HEADER: &str = "quantity,errors,event_probability,event_sd,units,runs,given,covered,covered_before";

    /// Counts a run.
    pub fn count(&mut self, found: Option<Interval>, before: Option<Interval>, truth: f64) {
        let covers = |interval: Option<Interval>| u32::from(interval.is_some_and(|ends| ends.contains(truth)));
        self.runs += 1;
        self.given += u32::from(found.is_some());
        self.covered += covers(found);
        self.covered_before += covers(before);
    }

    /// Proportion of the intervals given that hold the true value.
    pub fn coverage(&self) -> f64 {
        f64::from(self.covered) / f64::from(self.given.max(1))
    }

    /// Proportion of the runs with an interval.
    pub fn given_share(&self) -> f64 {
        f64::from(self.given) / f64::from(self.runs.max(1))
    }

    pub fn line(&self) -> String {
        let Self { quantity, errors, event_probability, event_sd, units, runs, given, covered, covered_before } =
            self;
        format!(
            "{quantity},{errors},{event_probability},{event_sd},{units},{runs},{given},{covered},{covered_before}"
        )
    }

    /// Fails unless the kept row of the same cell agrees, within 3.5 standard errors of the difference.
    pub fn assert_found_in(&self, kept: &[Self]) {
        let same = |other: &&Self| {
            let key = |row: &Self| {
                (row.quantity, row.errors, row.units, [row.event_probability, row.event_sd].map(f64::to_bits))
            };
            key(self) == key(other)
        };
        let kept = kept.iter().find(same).unwrap_or_else(|| panic!("{} is not kept", self.line()));
        for (one, other, [n, m]) in [
            (self.given_share(), kept.given_share(), [self.runs, kept.runs]),
            (self.coverage(), kept.coverage(), [self.given, kept.given]),
        ] {
            let (n, m) = (f64::from(n), f64::from(m));
            // A proportion of 0 or 1 has a standard error too: that of one run more or less.
            let pooled = ((one * n + other * m + 1.0) / (n + m + 2.0)).clamp(0.0, 1.0);
            let allowed = 3.5 * (pooled * (1.0 - pooled) * (1.0 / n.max(1.0) + 1.0 / m.max(1.0))).sqrt();
            assert!((one - other).abs() <= allowed, "{} against {}", self.line(), kept.line());
        }
    }
}

/// The rows of a kept table; lines that begin with `#` say how it was made.
pub fn table(file: &'static str) -> Vec<Row> {
    let mut lines = file.lines().filter(|line| !line.starts_with('#'));
    assert_eq!(lines.next(), Some(Row::HEADER));
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let number = |at: usize| cells[at].parse::<f64>().unwrap_or_else(|_| panic!("{line}"));
            let count = |at: usize| cells[at].parse::<u32>().unwrap_or_else(|_| panic!("{line}"));
            Row {
                quantity: cells[0],
                errors: cells[1],
                event_probability: number(2),
                event_sd: number(3),
                units: count(4) as usize,
                runs: count(5),
                given: count(6),
                covered: count(7),
                covered_before: count(8),
            }
        })
        .collect()
}
