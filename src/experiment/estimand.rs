//! What an arm's errors are errors of.

use super::plan::Variant;
use crate::measurement::{AngleDefinition, Output, Plane};
use std::fmt;

/// What an error of an output is measured from: arms with different ones answer different questions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Estimand {
    /// The plane in which truth is stated.
    pub plane: Plane,
    /// The definition of the cup angles; `None` of other outputs.
    pub angles: Option<AngleDefinition>,
}

impl Variant {
    /// What its errors of an output are measured from.
    #[must_use]
    pub fn estimand(&self, output: Output) -> Estimand {
        let angles = Output::CUP.contains(&output).then_some(self.procedure.angles);
        Estimand { plane: self.measurand_plane, angles }
    }
}

impl fmt::Display for Estimand {
    fn fmt(&self, text: &mut fmt::Formatter) -> fmt::Result {
        write!(text, "truth in the {} plane", self.plane.word())?;
        self.angles.map_or(Ok(()), |angles| write!(text, ", {} angles", angles.word()))
    }
}
