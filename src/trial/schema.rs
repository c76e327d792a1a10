//! The shape of run.json, from which its published JSON schema is made (docs/run.schema.json).

use crate::experiment::{DataColumn, FrozenPlan};
use crate::record::LookRecord;
use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// The record of a run: what was asked, how often it failed, and all that is needed to make it again. It holds nothing
/// of when or where the run took place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RunRecord {
    /// The program that made the run.
    pub program: Program,
    /// How random numbers are made from the seed.
    pub generator: String,
    /// SHA-256 of all that moves draws and readings.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub simulation_hash: String,
    /// SHA-256 of all that moves verdicts and texts, but no reading.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub assessment_hash: String,
    /// Trials of each variant.
    #[schemars(range(min = 1, max = 1_000_000_000))]
    pub trials: u64,
    /// Looks at verdicts up to the first assessment of these trials in this folder, oldest first, and those since.
    pub looks: Vec<LookRecord>,
    /// Trials and failures of each variant, in the order of the plan; empty until the run is finished.
    pub counts: Vec<Count>,
    /// The plan with every default filled in.
    pub plan: PlanRecord,
    /// The experiment file.
    pub experiment: ExperimentText,
    /// The plan that had been frozen before the run, with its amendments; absent if none was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frozen: Option<FrozenPlan>,
}

/// A program.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Program {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// Trials of one variant.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Count {
    /// Trials attempted.
    pub trials: u64,
    /// Trials in which at least one output has no reading, by their last reduction.
    pub failed: u64,
    /// The same by the earliest failure in the procedure, `step: reason`.
    pub by_reason: BTreeMap<String, u64>,
}

/// The experiment file as it was written.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ExperimentText {
    /// Name of the file, without folders.
    pub file: String,
    /// Its text.
    pub text: String,
    /// The columns of measured values that it names; absent if it names none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub data: Vec<DataColumn>,
}

/// A plan with every default filled in. Members that later versions add are allowed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PlanRecord {
    /// Name of the experiment.
    pub title: String,
    /// The question that it answers.
    pub question: Option<String>,
    /// What the answer is used for.
    pub context_of_use: Option<String>,
    /// Seed of all draws.
    pub seed: u64,
    /// Trials of each variant.
    pub trials: u64,
    /// What is to be shown of every variant.
    pub requirements: Vec<RequirementRecord>,
    /// Points of the grid over all sweeps; one without values if there is no sweep.
    pub points: Vec<PointRecord>,
    /// Every arm at every point of the sweeps.
    pub variants: Vec<VariantRecord>,
    /// What later versions add.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

/// A limit on the error of an output.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RequirementRecord {
    /// Its id.
    pub id: String,
    /// Id in the user's risk file.
    pub risk: Option<String>,
    /// The requirement in words.
    pub text: String,
    /// Id of the output that it limits.
    pub output: String,
    /// Unit of the limit: `deg` or `mm`.
    pub unit: String,
    /// Limit of the absolute error.
    pub limit: f64,
    /// Proportion of cases within the limit.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub proportion: f64,
    /// Confidence with which it is to be shown.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub confidence: f64,
    /// What later versions add.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

/// One point of the sweeps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PointRecord {
    /// Its index, from 0.
    pub index: u32,
    /// Path and value, as written, of each sweep.
    pub values: Vec<SweptValue>,
}

/// A value that a sweep takes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SweptValue {
    /// Path of the setting.
    pub path: String,
    /// The value as written.
    pub value: String,
}

/// One arm at one point. The sections hold the settings of the experiment file; `navassay explain` says what each means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct VariantRecord {
    /// Name of the arm.
    pub arm: String,
    /// Index of the point.
    pub point: u32,
    /// What is measured.
    pub measure: Map<String, Value>,
    /// The patients.
    pub anatomy: Map<String, Value>,
    /// The true change made.
    pub implant: Map<String, Value>,
    /// What is done how often.
    pub protocol: Map<String, Value>,
    /// The camera.
    pub camera: Map<String, Value>,
    /// The tools.
    pub tools: Map<String, Value>,
    /// The trial reductions.
    pub reductions: Vec<Value>,
    /// Each noise source by its id.
    pub noise: BTreeMap<String, SourceRecord>,
    /// What later versions add.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

/// A noise source with its parameters and basis.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SourceRecord {
    /// Whether it is on.
    pub on: bool,
    /// Factor on what it draws.
    pub scale: f64,
    /// Which set of draws.
    pub replicate: u32,
    /// Its parameters and basis.
    #[serde(flatten)]
    pub parameters: Map<String, Value>,
}

/// The JSON schema of run.json, as text.
#[must_use]
pub fn run_schema() -> String {
    let schema: Schema = schema_for!(RunRecord);
    format!("{:#}\n", schema.to_value())
}
