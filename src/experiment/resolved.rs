//! The plan as plain data: what a reader of a run needs, and the hashes that tell one plan from another.

use super::canonical;
use super::comparison::Comparison;
use super::plan::{Plan, Variant};
use super::requirement::{JointRequirement, Requirement};
use super::sensitivity::Sensitivity;
use crate::measurement::{Asked, Output, PivotEstimator, Plane, TemplateShape};
use crate::simulation::model::Replicates;
use crate::simulation::noise::SOURCES;
use serde::Serialize;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

impl Variant {
    /// The population template as the file states it.
    #[must_use]
    pub fn stated_template(&self) -> Value {
        template(&self.template_shape)
    }
}

impl Plan {
    /// Everything the plan holds: each parameter with its value, its basis, and whether its source is on.
    #[must_use]
    pub fn resolved(&self) -> Value {
        json!({
            "title": self.title,
            "question": self.question,
            "context_of_use": self.context_of_use,
            "seed": self.seed,
            "trials": self.trials,
            "design": self.design(),
            "looks": self.looks,
            "planning": self.planning,
            "target_deg": self.target_deg,
            "requirements": requirements(&self.requirements),
            "joint_requirements": self.joint(),
            "requirements_needed": self.requirements_needed.word(),
            "comparisons": comparisons(&self.comparisons),
            "multiplicity": self.multiplicity.word(),
            "points": self.points(),
            "variants": self.variants.iter().map(variant).collect::<Vec<_>>(),
            "sensitivity": self.sensitivity.as_ref().map(sensitivity),
            "report": self.reporting.resolved(),
            "bench": self.bench,
        })
    }

    /// SHA-256, in hexadecimal digits, of all that moves draws and readings.
    #[must_use]
    pub fn simulation_hash(&self) -> String {
        simulation_hash(&self.resolved())
    }

    /// SHA-256, in hexadecimal digits, of all that moves verdicts and texts but no reading.
    #[must_use]
    pub fn assessment_hash(&self) -> String {
        assessment_hash(&self.resolved())
    }

    /// SHA-256, in hexadecimal digits, of what verdicts are given by: requirements, claims and declared looks, without their
    /// texts.
    #[must_use]
    pub fn criteria_hash(&self) -> String {
        let mut content = judged(&self.resolved());
        for text in ["title", "question", "context_of_use", "target_deg", "report", "bench"] {
            content.remove(text);
        }
        for list in content.values_mut().filter_map(Value::as_array_mut) {
            for item in list.iter_mut().filter_map(Value::as_object_mut) {
                item.remove("text");
                item.remove("risk");
            }
        }
        canonical::digest(&Value::Object(content))
    }

    /// Cases and repeats, or null; the number of devices follows from that of the trials.
    fn design(&self) -> Value {
        self.design.map_or(Value::Null, |design| json!({ "cases": design.cases, "repeats": design.repeats }))
    }

    fn joint(&self) -> Value {
        let id = |&member: &usize| self.requirements.get(member).map(|requirement| requirement.id.as_str());
        let one = |joint: &JointRequirement| {
            json!({
                "id": joint.id,
                "risk": joint.risk,
                "text": joint.text,
                "all_of": joint.members.iter().filter_map(id).collect::<Vec<_>>(),
                "proportion": joint.proportion,
                "confidence": joint.confidence,
            })
        };
        self.joint_requirements.iter().map(one).collect()
    }

    /// Settings in which the variants at one point differ from each other, with the value that one of them has: paths of the
    /// experiment file, and values as JSON.
    #[must_use]
    pub fn settings_that_differ(&self, of: &Variant) -> Vec<(String, String)> {
        let flat = |v: &Variant| {
            let mut leaves = BTreeMap::new();
            let mut value = variant(v);
            remove_bases(&mut value);
            flatten(&value, "", &mut leaves);
            leaves
        };
        let same_point = |other: &&Variant| other.point == of.point && !std::ptr::eq(*other, of);
        let others: Vec<_> = self.variants.iter().filter(same_point).map(flat).collect();
        let differs = |key: &str, value: &Value| others.iter().any(|other| other.get(key) != Some(value));
        let own = flat(of)
            .into_iter()
            .filter(|(key, value)| !["arm", "point"].contains(&key.as_str()) && differs(key, value));
        own.map(|(key, value)| (key, value.as_str().map_or_else(|| value.to_string(), str::to_owned))).collect()
    }

    /// SHA-256, in hexadecimal digits, of all that moves draws and readings of variants that a study derives.
    #[must_use]
    pub fn study_hash(&self, variants: &[Variant]) -> String {
        let all = |v: &Variant| {
            let Replicates { anatomy, implant, protocol } = v.model.replicates;
            json!({ "variant": variant(v), "replicates": [anatomy, implant, protocol] })
        };
        let mut content = json!({ "seed": self.seed, "variants": variants.iter().map(all).collect::<Vec<_>>() });
        remove_bases(&mut content);
        canonical::digest(&content)
    }

    fn points(&self) -> Value {
        let values = |values: &[(String, String)]| {
            values.iter().map(|(path, value)| json!({ "path": path, "value": value })).collect::<Vec<_>>()
        };
        self.points.iter().map(|point| json!({ "index": point.index, "values": values(&point.values) })).collect()
    }
}

/// SHA-256 of all that moves draws and readings of a resolved plan: seed, arms, points, models with their switches,
/// procedures. The number of trials is no part of it, because a longer run extends a shorter one; nor is the basis of a number.
pub(super) fn simulation_hash(resolved: &Value) -> String {
    let mut content = Map::new();
    for key in SIMULATED {
        // A design moves draws only where there is one: the hash of a plan without one does not name it.
        if key != "design" || !resolved[key].is_null() {
            content.insert(key.to_owned(), resolved[key].clone());
        }
    }
    let mut content = Value::Object(content);
    remove_bases(&mut content);
    canonical::digest(&content)
}

/// SHA-256 of all that moves verdicts and texts of a resolved plan but no reading: [`judged`], and the basis of each input.
pub(super) fn assessment_hash(resolved: &Value) -> String {
    let mut content = judged(resolved);
    let variants = resolved["variants"].as_array().into_iter().flatten();
    content.insert("bases".to_owned(), variants.map(bases).collect());
    canonical::digest(&Value::Object(content))
}

/// All that moves verdicts and texts of a resolved plan, but the basis of each input: what a later version adds to a plan is a
/// part of it unless it is left out here. Who signs, which documents are made, which questions are put to the errors and what
/// was assumed when trials were planned decides no verdict.
pub(super) fn judged(resolved: &Value) -> Map<String, Value> {
    let mut content = resolved.as_object().cloned().unwrap_or_default();
    for key in SIMULATED.into_iter().chain(["trials", "sensitivity", "planning"]) {
        content.remove(key);
    }
    if let Some(report) = content.get_mut("report").and_then(Value::as_object_mut) {
        report.retain(|key, _| ["model_influence", "decision_consequence", "bench"].contains(&key.as_str()));
    }
    content
}

/// Members of a resolved plan that move draws and readings.
const SIMULATED: [&str; 4] = ["seed", "points", "variants", "design"];

fn sensitivity(asked: &Sensitivity) -> Value {
    let groups: Map<String, Value> =
        asked.groups.iter().map(|group| (group.name.clone(), json!(group.members))).collect();
    let ask: Vec<_> = asked.ask.iter().map(|question| question.word()).collect();
    json!({ "groups": groups, "rows": asked.rows, "ask": ask, "outer_points": asked.outer_points })
}

fn requirements(requirements: &[Requirement]) -> Value {
    let one = |requirement: &Requirement| {
        json!({
            "id": requirement.id,
            "risk": requirement.risk,
            "text": requirement.text,
            "output": requirement.output.id(),
            "unit": requirement.output.unit().suffix(),
            "limit": requirement.limit,
            "direction": requirement.direction.word(),
            "guard": requirement.guard,
            "proportion": requirement.proportion,
            "confidence": requirement.confidence,
        })
    };
    requirements.iter().map(one).collect()
}

fn comparisons(comparisons: &[Comparison]) -> Value {
    let one = |comparison: &Comparison| {
        json!({
            "id": comparison.id,
            "text": comparison.text,
            "arm": comparison.arm,
            "against": comparison.against,
            "output": comparison.output.id(),
            "unit": comparison.output.unit().suffix(),
            "measure": comparison.measure.id(),
            "claim": comparison.claim.word(),
            "margin": comparison.margin,
            "confidence": comparison.confidence,
            "primary": comparison.primary,
        })
    };
    comparisons.iter().map(one).collect()
}

fn variant(variant: &Variant) -> Value {
    let Variant { arm, point, model, procedure, template_shape, measurand_plane } = variant;
    let mut anatomy = plain(&model.anatomy);
    anatomy["side"] = json!(model.side.word());
    let mut measure = json!({
        "plane": procedure.plane.word(),
        "measurand_plane": measurand_plane.word(),
        "femur": procedure.femur.word(),
        "angles": procedure.angles.word(),
        "least_tracked_proportion": procedure.least_tracked_proportion,
    });
    // What is not used moves no reading: runs made without these keys stay the runs they are.
    if procedure.asked != Asked::ALL {
        measure["outputs"] = procedure.asked.outputs().map(Output::id).collect();
    }
    if procedure.pivot != PivotEstimator::OneStep {
        measure["pivot"] = json!(procedure.pivot.word());
    }
    if procedure.plane == Plane::Template {
        measure["template"] = template(template_shape);
    }
    json!({
        "arm": arm,
        "point": point,
        "measure": measure,
        "anatomy": anatomy,
        "implant": plain(&model.implant),
        "protocol": plain(&model.protocol),
        "camera": plain(&model.camera),
        "tools": plain(&model.tools),
        "reductions": plain(&model.reductions),
        "noise": noise(variant),
    })
}

fn template(shape: &TemplateShape) -> Value {
    json!({
        "asis_width_mm": shape.asis_width_mm,
        "asis_width_sd_mm": shape.asis_width_sd_mm,
        "pubis_drop_mm": shape.pubis_drop_mm,
        "pubis_drop_sd_mm": shape.pubis_drop_sd_mm,
        "hip_ratio": shape.hip_ratio,
        "hip_sd_mm": shape.hip_sd_mm,
        "asis_sd_mm": shape.asis_sd_mm,
        "pubis_sd_mm": shape.pubis_sd_mm,
        "centre_sd_mm": shape.centre_sd_mm,
    })
}

/// Each source by its id: its parameters and basis, whether it is on, and its scale.
fn noise(variant: &Variant) -> Value {
    let mut noise = variant.model.noise.clone();
    let parameters = plain(&noise);
    let mut sources = Map::new();
    for (source, switch) in noise.switches() {
        let mut entry = parameters.pointer(&format!("/{}", source.id.replace('.', "/"))).cloned().unwrap_or_default();
        entry["on"] = json!(switch.scale != 0.0);
        entry["scale"] = json!(switch.scale);
        entry["replicate"] = json!(switch.replicate);
        if (switch.steady, switch.event) != (1.0, 1.0) {
            entry["parts"] = json!([switch.steady, switch.event]);
        }
        sources.insert(source.id.to_owned(), entry);
    }
    if !variant.model.noise.correlation.is_empty() {
        sources.insert("correlation".to_owned(), parameters["correlation"].clone());
    }
    Value::Object(sources)
}

fn bases(variant: &Value) -> Value {
    let noise: Map<String, Value> =
        SOURCES.iter().map(|source| (source.id.to_owned(), variant["noise"][source.id]["basis"].clone())).collect();
    json!({
        "anatomy": variant["anatomy"]["basis"],
        "implant": variant["implant"]["basis"],
        "noise": noise,
    })
}

/// Every value below a value that is no table, by its path.
fn flatten(value: &Value, path: &str, leaves: &mut BTreeMap<String, Value>) {
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                flatten(value, &path, leaves);
            }
        }
        other => {
            leaves.insert(path.to_owned(), other.clone());
        }
    }
}

fn remove_bases(value: &mut Value) {
    match value {
        Value::Object(map) => {
            map.remove("basis");
            map.values_mut().for_each(remove_bases);
        }
        Value::Array(array) => array.iter_mut().for_each(remove_bases),
        _ => {}
    }
}

/// Plain data of plain structs: numbers, text, arrays and tables with text keys, which JSON always takes.
fn plain<T: Serialize>(value: &T) -> Value {
    serde_json::to_value(value).expect("structs of numbers and text have a JSON form")
}
