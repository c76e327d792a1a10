//! What the numbers do not say.

use super::hangs;
use super::inputs::bases;
use crate::experiment::Plan;
use crate::report::evidence::{Entry, Files, Section};
use crate::simulation::model::Mount;
use crate::simulation::noise::SOURCES;
use crate::simulation::{BasisKind, CameraModel};
use crate::study::sensitivity::ArmSensitivity;

/// Said in every report, whatever was found.
pub const ALWAYS: [&str; 7] = [
    "The results hold for the model and the inputs stated in this report, and for no others.",
    "More trials reduce the sampling error only; they do not make the model or its inputs more true.",
    "The simulation supports bench, cadaver and clinical testing and does not replace any of them.",
    "The report is not meant for clinical decisions and not for use during surgery.",
    "It states no conformity of any product with any standard or regulation.",
    "A proportion out of a limit is the probability of a measurement error of that size, not the probability of harm.",
    "Local regulations and the review of qualified people prevail over anything said here.",
];

/// Sources that a reader may expect, each said to be missing as long as no source of this name is there.
const EXPECTED_SOURCES: [(&str, &str); 4] = [
    (
        "tracker.lens",
        "The camera's own calibration is taken as perfect: no scale or distortion error over its volume.",
    ),
    ("tracker.build", "Markers sit where the drawing has them: no build tolerance of the trackers."),
    (
        "camera.drift",
        "The camera keeps its place on the pelvis but for one removal: it does not creep and is not knocked.",
    ),
    ("femur.motion", "The femur lies still while its feature is traced or touched."),
];

/// What no source stands for.
const NOT_MODELLED: [&str; 5] = [
    "Tools are rigid: they do not bend, wear or deform under load or in cleaning.",
    "Bones are rigid, and trackers do not move on them except where a source says so.",
    "Operators do not learn, tire or differ from one another beyond the stated noise; captures are not repeated because they looked wrong.",
    "A step is never left out or done in another order, and software faults of a real device are not simulated.",
    "Drawn quantities are independent of one another: a wide pelvis does not come with a large femur.",
];

pub fn section(plan: &Plan, sensitivity: &[ArmSensitivity], files: &mut Files) -> Section {
    let owned = |texts: &[&str]| texts.iter().map(|text| (*text).to_owned()).collect::<Vec<_>>();
    let missing = EXPECTED_SOURCES.iter().filter(|(id, _)| SOURCES.iter().all(|source| source.id != *id));
    let mut not_modelled = owned(&NOT_MODELLED);
    not_modelled.extend(missing.map(|(_, text)| (*text).to_owned()));
    not_modelled.extend(camera(plan));
    let mut entries = vec![
        Entry::heading("always", "What every reader should keep in mind"),
        Entry::List { items: owned(&ALWAYS) },
        Entry::heading("assumed", "What is assumed"),
        Entry::List { items: assumed(plan) },
    ];
    entries.extend(hangs::entries(plan, sensitivity, files));
    entries.extend([
        Entry::heading("not-modelled", "What is not modelled"),
        Entry::List { items: not_modelled },
        Entry::heading("definitions", "Angle definition and planes"),
        Entry::List { items: definitions(plan) },
    ]);
    Section { id: "limits", title: "Limits of what is said", entries }
}

fn camera(plan: &Plan) -> Vec<String> {
    let used = |model| plan.variants.iter().any(|variant| variant.model.camera.model == model);
    let mut items = Vec::new();
    if used(CameraModel::Marker) {
        items.push(
            "Camera model marker: the camera is noise on the position of each marker, growing with distance; how it forms \
             images is not modelled, and every marker is seen in every frame.",
        );
    }
    if used(CameraModel::Pixel) {
        items.push(
            "Camera model pixel: a marker's image is a point with noise; its size, shape, blur and light are not modelled, \
             and markers are told apart without error. A marker is hidden by turning away or leaving the image alone: \
             no line of sight is interrupted by a hand, a drape, blood or another tool.",
        );
    }
    if used(CameraModel::Pose) {
        items.push(
            "Camera model pose: the noise of a pose is that which the noise of its markers makes to first order, or the \
             covariance that is stated; every tracker is seen in every frame.",
        );
    }
    if plan.variants.iter().any(|variant| variant.model.camera.mount == Mount::Stand) {
        items.push(
            "Camera on a stand: the tracker on the pelvis is seen in every frame in which the tool is, at the same instant; \
             the stand does not shake within a frame. Where a level is read, the sensor is fixed to the pelvis tracker.",
        );
    }
    items.push("Cameras other than the stated ones are not modelled.");
    items.into_iter().map(str::to_owned).collect()
}

fn assumed(plan: &Plan) -> Vec<String> {
    let mut items = Vec::new();
    for variant in &plan.variants {
        for input in bases(variant).into_iter().filter(|input| input.on && input.basis.kind == BasisKind::Assumed) {
            let note = input.basis.note.as_deref().unwrap_or("no reason given");
            let item = format!("{}: {note}.", input.id);
            if !items.contains(&item) {
                items.push(item);
            }
        }
    }
    if items.is_empty() {
        items.push("No basis of an input in use is marked as assumed.".to_owned());
    }
    items.push(
        "Protocol, camera place, tools and reductions are taken as written in the experiment file or, where it is \
         silent, from the program's defaults; they carry no basis."
            .to_owned(),
    );
    items
}

fn definitions(plan: &Plan) -> Vec<String> {
    let mut items = Vec::new();
    for variant in &plan.variants {
        for item in super::inputs::definitions(variant) {
            if !items.contains(&item) {
                items.push(item);
            }
        }
    }
    items
}
