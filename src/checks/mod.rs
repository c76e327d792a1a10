//! The published checks as data: what the program must find, how near, and who says so.
//!
//! Every row goes through the program's own code; the expected value is a literal from outside it. The table is
//! walked by the tests and by the command line alike.

mod anatomy;
mod camera;
mod chain;
mod correlated;
mod cup_angles;
mod landmarks;
mod moments;
mod pivot;
mod posture;
mod registration;
mod sensitivity;
mod statistics;
mod tilt;
mod uncertainty;

use rayon::prelude::*;
use std::fmt;

/// One check.
#[derive(Clone, Copy, Debug)]
pub struct Check {
    /// Its id: section, quantity and case, joined by dots.
    pub id: &'static str,
    /// What is compared, in words.
    pub quantity: &'static str,
    /// Unit of all its numbers; empty for a plain number.
    pub unit: &'static str,
    /// The value from outside the program.
    pub expected: f64,
    /// How near the found value must come.
    pub tolerance: Tolerance,
    /// Who says so.
    pub source: &'static str,
    /// How much the source is worth.
    pub mark: Mark,
    /// Finds the value with the program's own code.
    pub function: fn() -> Result<Found, String>,
}

/// How near a found value must come to the expected one (a numerical tolerance).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tolerance {
    /// Within this distance, in the unit of the check.
    Absolute(f64),
    /// Within so many standard errors of the found value, plus what the expected value is rounded to.
    StandardErrors {
        /// Number of standard errors.
        times: f64,
        /// Half a unit in the last place of the expected value, or the accuracy of the formula behind it.
        rounding: f64,
    },
}

/// Where an expected value comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Mark {
    /// Published.
    Published,
    /// Derived from a stated formula, confirmed by an independent simulation.
    Derived,
    /// Recalled from memory: shown, never judged.
    Recalled,
    /// Published of another set-up, so that only the order of size can agree: shown, never judged.
    Plausibility,
}

/// What a check found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// The value, in the unit of the check.
    pub value: f64,
    /// Its standard error, if it is a Monte Carlo result.
    pub standard_error: Option<f64>,
    /// Number of trials behind it; 1 for a value that chance has no part in.
    pub count: u64,
}

/// What a comparison says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// As near as it must be.
    Passed,
    /// Not as near, or not found at all.
    Failed,
    /// Shown only: the mark allows no verdict.
    Shown,
}

/// A check that was run.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The check.
    pub check: &'static Check,
    /// What it found, or why it found nothing.
    pub found: Result<Found, String>,
    /// What the comparison says.
    pub verdict: Verdict,
}

/// Every check, section by section.
pub fn all() -> impl Iterator<Item = &'static Check> {
    SECTIONS.iter().flat_map(Section::checks)
}

/// Checks of one subject.
#[derive(Clone, Copy, Debug)]
pub struct Section {
    /// What they are about.
    pub title: &'static str,
    tables: &'static [&'static [Check]],
}

impl Section {
    /// The checks, at least one.
    pub fn checks(&self) -> impl Iterator<Item = &'static Check> + use<> {
        self.tables.iter().copied().flatten()
    }
}

/// All sections, in the order of the measurement.
pub const SECTIONS: &[Section] = &[
    Section { title: "Cup angle definitions", tables: cup_angles::CHECKS },
    Section { title: "Pelvic tilt", tables: tilt::CHECKS },
    Section { title: "Landmarks, plane and cup angles", tables: landmarks::CHECKS },
    Section { title: "Leg posture", tables: posture::CHECKS },
    Section { title: "Patients drawn", tables: anatomy::CHECKS },
    Section { title: "Rigid registration", tables: registration::CHECKS },
    Section { title: "Pivot, sphere and centre of rotation", tables: pivot::CHECKS },
    Section { title: "Cameras that form images", tables: camera::CHECKS },
    Section { title: "Uncertainty", tables: uncertainty::CHECKS },
    Section { title: "Statistics", tables: statistics::CHECKS },
    Section { title: "Sensitivity indices", tables: sensitivity::CHECKS },
];

/// Runs every check, on all threads; outcomes in the order of [`all`].
#[must_use]
pub fn run_all() -> Vec<Outcome> {
    let checks: Vec<_> = all().collect();
    checks.into_par_iter().with_max_len(1).map(Check::run).collect()
}

impl Check {
    /// Runs it and compares.
    #[must_use]
    pub fn run(&'static self) -> Outcome {
        let found = (self.function)();
        let verdict = self.judge(found.as_ref().ok());
        Outcome { check: self, found, verdict }
    }

    /// Compares what was found, if anything was, with what is expected. A NaN fails.
    #[must_use]
    pub fn judge(&self, found: Option<&Found>) -> Verdict {
        let near = found.is_some_and(|found| (found.value - self.expected).abs() <= self.tolerance.allowed(found));
        match self.mark {
            Mark::Recalled | Mark::Plausibility if found.is_some() => Verdict::Shown,
            _ if near => Verdict::Passed,
            _ => Verdict::Failed,
        }
    }
}

impl Tolerance {
    /// The allowed difference from a found value, in the unit of the check.
    #[must_use]
    pub fn allowed(self, found: &Found) -> f64 {
        match self {
            Self::Absolute(distance) => distance,
            // A check of chance without a standard error has not been carried out.
            Self::StandardErrors { times, rounding } => times * found.standard_error.unwrap_or(f64::NAN) + rounding,
        }
    }

    /// The allowed difference as a number, and how it is made where it comes from a standard error.
    #[must_use]
    pub fn in_words(self, found: Option<&Found>) -> String {
        match (self, found.map(|found| self.allowed(found)).filter(|allowed| allowed.is_finite())) {
            (Self::Absolute(distance), _) => Digits(distance).to_string(),
            (Self::StandardErrors { times, rounding: 0.0 }, Some(allowed)) => {
                format!("{} ({times} standard errors)", Digits(allowed))
            }
            (Self::StandardErrors { times, rounding }, Some(allowed)) => {
                format!("{} ({times} standard errors + {})", Digits(allowed), Digits(rounding))
            }
            (Self::StandardErrors { .. }, None) => self.to_string(),
        }
    }
}

/// Number of checks with a mark, by verdict.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// As near as they must be.
    pub passed: usize,
    /// Not as near, or not found at all.
    pub failed: usize,
}

impl Count {
    /// The checks with a mark.
    #[must_use]
    pub fn of(outcomes: &[Outcome], mark: Mark) -> Self {
        let with = |verdict| {
            outcomes.iter().filter(|outcome| outcome.check.mark == mark && outcome.verdict == verdict).count()
        };
        Self { passed: with(Verdict::Passed), failed: with(Verdict::Failed) }
    }

    /// All that were judged.
    #[must_use]
    pub const fn judged(self) -> usize {
        self.passed + self.failed
    }
}

impl Found {
    /// A value that chance has no part in.
    #[must_use]
    pub const fn exact(value: f64) -> Self {
        Self { value, standard_error: None, count: 1 }
    }

    /// The value times a factor, standard error included.
    #[must_use]
    fn times(self, factor: f64) -> Self {
        Self {
            value: factor * self.value,
            standard_error: self.standard_error.map(|error| factor.abs() * error),
            ..self
        }
    }
}

impl Mark {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::Derived => "derived",
            Self::Recalled => "recalled",
            Self::Plausibility => "plausibility",
        }
    }
}

impl fmt::Display for Tolerance {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Absolute(distance) => write!(f, "within {}", Digits(*distance)),
            Self::StandardErrors { times, rounding: 0.0 } => write!(f, "within {times} standard errors"),
            Self::StandardErrors { times, rounding } => {
                write!(f, "within {times} standard errors plus {}", Digits(*rounding))
            }
        }
    }
}

/// A number with digits enough, however small.
struct Digits(f64);

impl fmt::Display for Digits {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let Self(value) = self;
        if *value == 0.0 || value.abs() >= 1e-3 {
            // Rounded to six decimals and without idle zeros.
            write!(f, "{}", (value * 1e6).round() / 1e6)
        } else {
            write!(f, "{value:.1e}")
        }
    }
}

impl fmt::Display for Found {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self.standard_error {
            None => write!(f, "{}", Digits(self.value)),
            Some(error) => write!(f, "{:.6} (standard error {error:.1e}, {} trials)", self.value, self.count),
        }
    }
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let Check { id, quantity, unit, expected, tolerance, source, mark, .. } = self.check;
        write!(f, "{id}: {quantity}: expected {expected} {unit} {tolerance}, found ")?;
        match &self.found {
            Ok(found) => write!(f, "{found}")?,
            Err(why) => write!(f, "nothing: {why}")?,
        }
        write!(f, " [{}: {source}]", mark.word())
    }
}
