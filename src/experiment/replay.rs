//! What the experiment says of recorded cases: `[replay]`.

use super::diagnostics::Fault;
use super::nearest::nearest;
use super::spec::Reader;
use super::tree::Tree;
use crate::measurement::{Procedure, Step};
use crate::record::recording::RecordedStep;
use serde::Deserialize;

/// Where recorded cases stand, and what is to be made of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Replay {
    /// The recordings, from the folder of the experiment file.
    pub recordings: String,
    /// What is known to be true of them.
    pub truth: Option<String>,
    /// Folder of a simulated run that predicts their errors.
    pub model: Option<String>,
    /// Steps in which the tool was held still by a fixture.
    pub still: Vec<RecordedStep>,
    /// Steps whose takes have the camera taken off and put back between them.
    pub remount: Vec<RecordedStep>,
    /// Confidence of fitted intervals and of the statement that a bench is not predicted.
    pub confidence: f64,
}

/// The section as it is written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    recordings: String,
    truth: Option<String>,
    model: Option<String>,
    still: Vec<String>,
    remount: Vec<String>,
    confidence: f64,
}

impl Reader<'_, '_> {
    /// The section, if the file has one; `None` with faults if it is wrong.
    pub fn replay(&mut self) -> Option<Replay> {
        if !self.tree.is_written("replay") {
            return None;
        }
        let Written { recordings, truth, model, still, remount, confidence } = self.value("replay")?;
        let holds = 0.0 < confidence && confidence < 1.0;
        self.demand(holds, "replay.confidence", confidence, "more than 0 and less than 1");
        self.demand(!recordings.trim().is_empty(), "replay.recordings", "no letters", "the name of a file");
        let (still, remount) = (self.steps("replay.still", &still), self.steps("replay.remount", &remount));
        Some(Replay { recordings, truth, model, still, remount, confidence })
    }

    fn steps(&mut self, path: &str, words: &[String]) -> Vec<RecordedStep> {
        let known: Vec<RecordedStep> = RecordedStep::all().filter(|step| step.step != Step::Level).collect();
        let mut steps = Vec::new();
        for (i, word) in words.iter().enumerate() {
            if let Some(&step) = known.iter().find(|step| step.to_string() == *word) {
                steps.push(step);
                continue;
            }
            let names: Vec<String> = known.iter().map(ToString::to_string).collect();
            let fault = Fault::new(
                self.tree.span_of(&format!("{path}.{i}")),
                format!("no step with frames of a tool is called `{word}`"),
                "expected a step as recordings name it",
            );
            self.faults.push(fault.help(match nearest(word, names.iter().map(String::as_str)) {
                Some(near) => format!("did you mean \"{near}\"?"),
                None => format!("the steps are {}", names.join(", ")),
            }));
        }
        steps
    }
}

/// A file that is replayed and says nothing of what is to be replayed.
pub(super) fn missing(tree: &Tree) -> Option<Fault> {
    if tree.is_written("replay") {
        return None;
    }
    Some(
        Fault::new(Some(0..0), "`[replay]` is missing", "expected a section [replay] that names the recordings")
            .help("[replay]\nrecordings = \"recordings.csv\"   # from the folder of this file"),
    )
}

/// Drawings of tools that recorded cases would be measured with although the file does not state them.
pub(super) fn borrowed_tools(tree: &Tree, procedure: &Procedure, warnings: &mut Vec<Fault>) {
    let axis = procedure.needs(Step::Cup).then_some("tools.cup_axis");
    let drawing = procedure.femur.strategy().drawing.filter(|_| procedure.needs(Step::FemurReduction));
    for path in axis.into_iter().chain(drawing).filter(|path| !tree.is_written(path)) {
        warnings.push(
            Fault::new(
                tree.span_of("tools"),
                format!("`{path}` is not stated, and recorded cases are measured with it"),
                "found the built-in drawing only",
            )
            .help("write the drawing of the tool that was recorded"),
        );
    }
}
