//! Cases from the text of an experiment to the errors of its readings: the whole chain as users run it.

use crate::experiment::{Plan, Variant};
use crate::measurement::OUTPUTS;
use crate::simulation::Truth;
use crate::trial::TrialRunner;

/// An experiment of one variant, ready to run.
pub struct Chain {
    variant: Variant,
    runner: TrialRunner,
}

/// What one case gave at its first reduction, in the order of the outputs and in their units.
#[derive(Clone, Copy, Debug)]
pub struct Scored {
    /// True values.
    pub truth: [f64; OUTPUTS.len()],
    /// Readings less truth.
    pub error: [f64; OUTPUTS.len()],
}

impl Chain {
    /// Reads an experiment.
    pub fn of(text: &str) -> Result<Self, String> {
        let plan = Plan::parse("check", text).map_err(|error| format!("the experiment cannot be read: {error}"))?;
        let seed = plan.seed;
        let variant = plan.variants.into_iter().next().ok_or("the experiment has no variant")?;
        Ok(Self { runner: TrialRunner::new(&variant, seed), variant })
    }

    /// What is simulated and measured.
    pub fn variant(&self) -> &Variant {
        &self.variant
    }

    /// The first cases; one that fails fails the check.
    pub fn cases(&self, count: u64) -> Result<Vec<Scored>, String> {
        (0..count).map(|index| self.case(index)).collect()
    }

    /// Errors of one output over the first cases.
    pub fn errors(&self, count: u64, output: usize) -> Result<Vec<f64>, String> {
        Ok(self.cases(count)?.iter().map(|case| case.error[output]).collect())
    }

    /// One case.
    pub fn case(&self, index: u64) -> Result<Scored, String> {
        let (_, estimates, truth) = self.runner.case(index);
        let readings = estimates.reductions.first().ok_or("no reduction")?.readings;
        let truth = truth.reading(0, self.variant.measurand_plane, self.variant.procedure.angles);
        let mut error = [0.0; OUTPUTS.len()];
        for ((error, truth), output) in error.iter_mut().zip(truth).zip(OUTPUTS) {
            *error = readings.get(output).map_err(|failure| format!("case {index}: {failure}"))? - truth;
        }
        Ok(Scored { truth, error })
    }

    /// The truth of one case.
    pub fn truth(&self, index: u64) -> Truth {
        self.runner.case(index).2
    }
}
