//! Every input that the numbers rest on, with its basis.

use super::input_words::distribution;
pub(super) use super::input_words::{basis_words, plain, value_words};
use crate::experiment::{Plan, Variant};
use crate::measurement::{AngleDefinition, Output, Plane, Step};
use crate::report::evidence::{Entry, Files, Section, label};
use crate::report::words::{key_in_words, short, unit_of_key, with_unit};
use crate::simulation::model::Mount;
use crate::simulation::noise::{JointScores, SOURCES, SourceEntry};
use crate::simulation::{Anatomy, Basis, CameraModel, Implant};
use serde_json::Value;

/// Where an input's numbers come from.
pub struct InputBasis {
    /// `anatomy`, `implant`, or the id of a noise source.
    pub id: &'static str,
    /// Whether it is in use: switched on, and part of what is measured.
    pub on: bool,
    /// The basis.
    pub basis: Basis,
}

/// The basis of every input of a variant that carries one.
pub fn bases(variant: &Variant) -> Vec<InputBasis> {
    let model = &variant.model;
    let mut bases = vec![
        InputBasis { id: "anatomy", on: true, basis: model.anatomy.basis.clone() },
        InputBasis { id: "implant", on: true, basis: model.implant.basis.clone() },
    ];
    let noise = plain(&model.noise);
    for (source, switch) in model.noise.clone().switches() {
        let basis = &noise.pointer(&pointer(source.id)).unwrap_or(&Value::Null)["basis"];
        if let Ok(basis) = serde_json::from_value(basis.clone()) {
            bases.push(InputBasis {
                id: source.id,
                on: switch.scale != 0.0 && missing_step(variant, source).is_none(),
                basis,
            });
        }
    }
    bases
}

/// The step that a source disturbs in vain, because it is left out.
fn missing_step(variant: &Variant, source: &SourceEntry) -> Option<Step> {
    source.disturbs_only.filter(|&step| !variant.procedure.needs(step))
}

pub fn section(plan: &Plan, files: &mut Files) -> Section {
    let mut entries = Vec::new();
    if let Some(first) = plan.variants.first() {
        let name = label(plan, first)
            .map_or(String::new(), |label| format!(" The tables show the first variant ({label})."));
        entries.push(Entry::paragraph(format!(
            "Every number that a result rests on. A basis is measured (on the user's own bench), published (with its \
             source) or assumed.{name}"
        )));
        entries.extend([
            Entry::heading("measured-quantities", "What is measured"),
            Entry::List { items: definitions(first) },
        ]);
        entries.push(Entry::heading("noise", "What disturbs the measurement"));
        entries.extend([sources(first, files), parameters(first, files)]);
        entries.extend(correlations(first, files));
        entries.push(Entry::heading("population", "The patients and the change made"));
        let model = &first.model;
        let anatomy = Anatomy::MEANINGS;
        entries.push(quantities(
            "population",
            "The patients",
            anatomy,
            &model.anatomy.quantities(),
            &model.anatomy.basis,
            files,
        ));
        let implant = Implant::MEANINGS;
        entries.push(quantities(
            "change",
            "The true change made to the hip",
            implant,
            &model.implant.quantities(),
            &model.implant.basis,
            files,
        ));
        entries.push(Entry::heading("protocol", "Protocol and tools"));
        entries.extend(settings(first, files));
    }
    entries.extend(differences(plan, files));
    Section { id: "inputs", title: "Inputs", entries }
}

/// What is measured and how it is stated, in sentences.
pub fn definitions(variant: &Variant) -> Vec<String> {
    let procedure = &variant.procedure;
    let asked = procedure.asked;
    let angles = match procedure.angles {
        // Each definition is one of both angles together.
        definition if !asked.has_all(&Output::CUP) => &format!("Angles are {}", definition.word()),
        AngleDefinition::Radiographic => {
            "Angles are radiographic: inclination is the angle between the longitudinal axis and the cup axis projected \
             on the coronal plane, anteversion the angle of the cup axis out of that plane"
        }
        AngleDefinition::Operative => {
            "Angles are operative: inclination is the angle of the cup axis out of the sagittal plane, anteversion the \
             angle between the longitudinal axis and the cup axis projected on that plane"
        }
        AngleDefinition::Anatomic => {
            "Angles are anatomic: inclination is the angle between the cup axis and the longitudinal axis, anteversion \
             the angle between the transverse axis and the cup axis projected on the transverse plane"
        }
    };
    let strategy = procedure.plane.strategy();
    let measured = format!("The measured plane is {}, {}.", strategy.word, strategy.meaning);
    let truth = match variant.measurand_plane {
        Plane::Bony | Plane::Template => "Truth is stated in the bony plane of the true landmarks.",
        Plane::Level => {
            "Truth is stated in the level plane: the table's normal when the level is read, with the line between the \
             true spines brought level."
        }
    };
    let differ = if procedure.plane.meant() == variant.measurand_plane {
        ""
    } else {
        " The planes differ, so the error contains how the pelvis lies on the table."
    };
    let femur = procedure.femur.strategy();
    let mut sentences = vec![format!("The operated hip is the {} one.", procedure.side.word())];
    if asked.has_any(&Output::CUP) {
        sentences.push(format!("{angles} (Murray DW. J Bone Joint Surg Br 1993;75-B:228-232)."));
    }
    sentences.extend([measured, format!("{truth}{differ}")]);
    let of = |words: &[(Output, &'static str)]| -> Vec<&str> {
        words.iter().filter(|(output, _)| asked.has(*output)).map(|&(_, words)| words).collect()
    };
    let leg = of(&[
        (Output::LegLength, "leg length (longer is positive)"),
        (Output::Offset, "offset (more lateral is positive)"),
    ]);
    if !leg.is_empty() {
        sentences.push(format!(
            "Change of {} {} from a feature on the femur: {}. Turn of the femur that it shows: {}.",
            leg.join(" and "),
            if leg.len() > 1 { "come" } else { "comes" },
            femur.meaning,
            femur.turn,
        ));
    }
    let centre = of(&[
        (Output::CentreSuperior, "superiorly"),
        (Output::CentreLateral, "laterally"),
        (Output::CentreAnterior, "anteriorly"),
    ]);
    if let [others @ .., last] = &centre[..] {
        let others = if others.is_empty() { String::new() } else { format!("{} and ", others.join(", ")) };
        sentences.push(format!("The shift of the hip centre is positive {others}{last}."));
    }
    sentences
}

fn sources(variant: &Variant, files: &mut Files) -> Entry {
    let bases = bases(variant);
    let rows = variant
        .model
        .noise
        .clone()
        .switches()
        .map(|(source, switch)| {
            let state = match (switch.scale, missing_step(variant, source)) {
                (0.0, _) => "off".to_owned(),
                (_, Some(Step::Level)) => "on, but no level is read".to_owned(),
                (_, Some(_)) => "on, but its step is left out".to_owned(),
                (1.0, None) => "on".to_owned(),
                (scale, None) => format!("on, × {}", short(scale)),
            };
            let basis = bases.iter().find(|entry| entry.id == source.id).map(|entry| basis_words(&entry.basis));
            let strata: Vec<_> = source.strata.iter().map(|stratum| stratum.word()).collect();
            vec![
                source.id.to_owned(),
                state,
                strata.join(", "),
                format!("{}. Axes: {}.", source.meaning, source.axes),
                basis.unwrap_or_default(),
            ]
        })
        .into();
    files.table(
        "noise-sources",
        "Noise sources",
        "A source that is off draws nothing; a factor multiplies every value it draws. Drawn anew says how often: for \
         each device, case, capture or camera frame.",
        &["source", "state", "drawn anew", "what it is", "basis"],
        rows,
    )
}

fn parameters(variant: &Variant, files: &mut Files) -> Entry {
    let noise = plain(&variant.model.noise);
    let mut rows = Vec::new();
    for source in &SOURCES {
        let written = noise.pointer(&pointer(source.id)).unwrap_or(&Value::Null);
        let given = || source.covariances.iter().filter(|covariance| !written[covariance.key].is_null());
        for (index, parameter) in source.parameters.iter().enumerate() {
            let replaced = given().find(|covariance| covariance.in_place_of.contains(&parameter.key));
            rows.push(vec![
                source.id.to_owned(),
                parameter.key.to_owned(),
                parameter.meaning.to_owned(),
                match replaced {
                    Some(covariance) => format!("by {}", covariance.key),
                    None => value_words(&written[parameter.key], unit_of_key(parameter.key)),
                },
                if index == 0 { source.plausible.to_owned() } else { String::new() },
            ]);
        }
        rows.extend(given().map(|covariance| {
            vec![
                source.id.to_owned(),
                covariance.key.to_owned(),
                format!("covariance in place of {}", covariance.in_place_of.join(", ")),
                value_words(&written[covariance.key], unit_of_key(covariance.key)),
                String::new(),
            ]
        }));
    }
    files.table(
        "noise-parameters",
        "Parameters of the noise sources",
        "Values as written, before the factor of the source. A plain number is always the same value; sd is a standard \
         deviation; the plausible range is for comparison and concerns the source as a whole.",
        &["source", "parameter", "what it is", "value", "plausible range"],
        rows,
    )
}

/// Components that are correlated, if there are any.
fn correlations(variant: &Variant, files: &mut Files) -> Option<Entry> {
    let joint = JointScores::of(&variant.model.noise.correlation);
    let rows: Vec<Vec<String>> =
        joint.pairs().map(|([one, other], coefficient)| vec![one.id(), other.id(), short(coefficient)]).collect();
    (!rows.is_empty()).then(|| {
        files.table(
            "noise-correlations",
            "Correlated components",
            "Correlation coefficient of the standard normal scores of two components, named by source, item and axis. Of a \
             landmark, the part that repeats within a case and the part that is new with each capture are each correlated; a \
             hold that the stillness gate has taken again is drawn independently. All other pairs of components are \
             independent.",
            &["component", "with component", "coefficient"],
            rows,
        )
    })
}

fn quantities(
    name: &str,
    caption: &str,
    meanings: &[&str],
    quantities: &[(&str, &crate::simulation::Quantity)],
    basis: &Basis,
    files: &mut Files,
) -> Entry {
    let rows = quantities.iter().zip(meanings).map(|((key, quantity), meaning)| {
        vec![(*key).to_owned(), meaning.trim().to_owned(), value_words(&plain(quantity), unit_of_key(key))]
    });
    let reading =
        format!("Each is drawn anew for each case, independently of the others. Basis: {}", basis_words(basis));
    files.table(name, caption, &reading, &["quantity", "what it is", "distribution"], rows.collect())
}

fn settings(variant: &Variant, files: &mut Files) -> Vec<Entry> {
    let model = &variant.model;
    let rows_of = |value: Value| -> Vec<Vec<String>> {
        let Value::Object(map) = value else { return Vec::new() };
        map.iter().map(|(key, value)| vec![key_in_words(key), value_words(value, unit_of_key(key))]).collect()
    };
    let mut tools = Vec::new();
    let mut camera = |name: &str, value: Value| {
        tools.extend(rows_of(value).into_iter().map(|row| vec![format!("{name}: {}", row[0]), row[1].clone()]));
    };
    let mut place = plain(&model.camera);
    // The cameras themselves only where the model has them.
    let parts = ["pixel", "second"].map(|part| place.as_object_mut().and_then(|place| place.remove(part)));
    let mut drawn = plain(&model.tools);
    if model.camera.mount == Mount::Pelvis {
        // There is no tracker on the pelvis.
        for part in [&mut place, &mut drawn].into_iter().filter_map(Value::as_object_mut) {
            part.retain(|key, _| !key.starts_with("pelvis_"));
        }
    }
    camera("Camera", place);
    let [pixel, second] = parts.map(Option::unwrap_or_default);
    if model.camera.model == CameraModel::Pixel {
        camera("Camera, images", pixel);
        if model.camera.pixel.cameras == 2 {
            camera("Second camera", second);
        }
    }
    tools.extend(rows_of(drawn));
    let reductions = model.reductions.iter().map(|reduction| {
        vec![
            reduction.name.clone(),
            value_words(&plain(&reduction.added_leg_length_mm), "mm"),
            value_words(&plain(&reduction.added_offset_mm), "mm"),
            with_unit(&short(reduction.flexion_deg), "°"),
            with_unit(&short(reduction.adduction_deg), "°"),
            with_unit(&short(reduction.internal_rotation_deg), "°"),
        ]
    });
    let reductions = reductions.collect();
    vec![
        files.table(
            "protocol",
            "Protocol",
            "What the operator does at each step; frames are camera frames of one capture.",
            &["setting", "value"],
            rows_of(plain(&model.protocol)),
        ),
        files.table(
            "reductions",
            "Reductions",
            "Added to the drawn change, and how the leg is meant to lie; results count the last one.",
            &["reduction", "added leg length", "added offset", "flexion", "adduction", "internal rotation"],
            reductions,
        ),
        files.table(
            "tools",
            "Camera and tools as drawn",
            "Places in mm: the camera from the operated side's ASIS and the feature from the meeting point of neck and \
             shaft axes as anterior, superior, lateral; markers and points of tools in the axes of their tracker.",
            &["what", "value"],
            tools,
        ),
    ]
}

/// In what the other variants differ from the first.
fn differences(plan: &Plan, files: &mut Files) -> Vec<Entry> {
    let resolved = plan.resolved();
    let Some([first, others @ ..]) = resolved["variants"].as_array().map(Vec::as_slice) else { return Vec::new() };
    if others.is_empty() {
        return Vec::new();
    }
    let mut rows = Vec::new();
    for (variant, other) in plan.variants.iter().skip(1).zip(others) {
        let mut found = Vec::new();
        collect_differences("", first, other, &mut found);
        let name = label(plan, variant).unwrap_or_default();
        rows.extend(found.into_iter().map(|(path, was, is)| vec![name.clone(), path, was, is]));
    }
    let table = files.table(
        "variants",
        "In what the variants differ",
        "Each row is one input of a variant that is not as in the first; all others are the same, and so are the draws.",
        &["variant", "input", "in the first variant", "in this variant"],
        rows,
    );
    vec![Entry::heading("variants", "Variants"), table]
}

fn collect_differences(path: &str, one: &Value, other: &Value, found: &mut Vec<(String, String, String)>) {
    match (one, other) {
        (Value::Object(a), Value::Object(b)) if !is_distribution(one) && !is_distribution(other) => {
            for key in a.keys().chain(b.keys().filter(|key| !a.contains_key(*key))) {
                if path.is_empty() && ["arm", "point"].contains(&key.as_str()) {
                    continue;
                }
                let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
                collect_differences(&path, &one[key], &other[key], found);
            }
        }
        _ if one != other => {
            let unit = unit_of_key(path);
            found.push((path.to_owned(), value_words(one, unit), value_words(other, unit)));
        }
        _ => {}
    }
}

fn is_distribution(value: &Value) -> bool {
    distribution(value).is_some()
}

fn pointer(id: &str) -> String {
    format!("/{}", id.replace('.', "/"))
}
