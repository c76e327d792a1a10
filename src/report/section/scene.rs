//! Where everything is: the scene of the median patient.

use crate::experiment::{Plan, Variant};
use crate::geometry::{Displacement, Point, Pose, Rotation};
use crate::measurement::{Feature, Outline, Step};
use crate::record::tables::Cell;
use crate::report::chart::{self, Alternative, PlaneNormal};
use crate::report::evidence::{Chart, Entry, Files, Section, label, prefix};
use crate::simulation::model::Mount;
use crate::simulation::{Femur, Scene, TruePelvis};

/// Points on the outline of a groove.
const OUTLINE: u32 = 48;
/// A divot has no size; it is drawn as a ring.
const DIVOT_RING_MM: f64 = 2.0;

pub fn section(plan: &Plan, files: &mut Files) -> Section {
    let mut entries = vec![Entry::paragraph(
        "The scene drawn from the numbers of the experiment, with every quantity at its median. Coordinates are true bony \
         axes in mm: X anterior, Y superior, Z to the patient's right, origin midway between the spines. The camera looks \
         at the native hip centre unless `camera.aim_mm` says otherwise; the pelvis carries it or, where `camera.mount` is \
         `stand`, a tracker that it sees beside each tool; such a camera is outside the picture. Camera and tools are at their drawn places.",
    )];
    let mut charts = Vec::new();
    let mut drawn: Vec<(&Variant, String)> = Vec::new();
    for (index, variant) in plan.variants.iter().enumerate() {
        // One figure for all variants whose scene is the same.
        let known = drawn.iter().any(|(other, _)| same_scene(other, variant));
        if !known {
            let name = format!("{}scene", prefix(plan, index));
            drawn.push((variant, label(plan, variant).unwrap_or_default()));
            charts.push(figure(variant, name, label(plan, variant), files));
        }
    }
    entries.push(Entry::Charts { charts });
    entries.push(super::markers::entry(plan, files));
    entries.extend(super::volume::entry(plan, files));
    Section { id: "scene", title: "Scene", entries }
}

fn same_scene(one: &Variant, other: &Variant) -> bool {
    let parts = |variant: &Variant| {
        (variant.model.side, variant.procedure.femur, variant.model.camera.clone(), variant.model.tools.clone())
    };
    let population = |variant: &Variant| (variant.model.anatomy.medians(), variant.model.implant.medians());
    parts(one) == parts(other) && population(one) == population(other)
}

fn figure(variant: &Variant, name: String, label: Option<String>, files: &mut Files) -> Chart {
    let model = &variant.model;
    let scene = Scene::of(model, &model.anatomy.medians(), &model.implant.medians());
    let located = variant.procedure.needs(Step::FemurReduction);
    let feature: Vec<[f64; 3]> =
        if located { outline(variant, &scene).into_iter().map(place).collect() } else { Vec::new() };
    let up = scene.up.as_displacement();
    let planes = [
        PlaneNormal { label: "bony plane", normal: [1.0, 0.0, 0.0] },
        PlaneNormal { label: "level plane", normal: [up.x(), up.y(), up.z()] },
    ];
    let carried = match model.camera.mount {
        Mount::Pelvis => ("camera", place(scene.camera_origin)),
        Mount::Stand => ("pelvis tracker", place(scene.carried.inverse().origin)),
    };
    let mut points = vec![
        ("left ASIS", place(scene.asis_left)),
        ("right ASIS", place(scene.asis_right)),
        ("pubis", place(scene.pubis)),
        ("native hip centre", place(scene.native_centre)),
        ("new hip centre", place(scene.renewed_centre)),
        carried,
    ];
    if model.camera.mount == Mount::Stand {
        // Too far away for the figure.
        points.push(("camera", place(scene.camera_origin)));
    }
    let mut rows: Vec<Vec<Cell>> = points.iter().map(|&(name, place)| row(name, place)).collect();
    rows.extend(planes.iter().map(|plane| row(&format!("normal of the {}", plane.label), plane.normal)));
    rows.extend(feature.iter().map(|&place| row("femoral feature", place)));
    let csv = files.add(&name, &["what", "x_anterior_mm", "y_superior_mm", "z_right_mm"], rows);
    let drawing = chart::Scene {
        asis_left: points[0].1,
        asis_right: points[1].1,
        pubis: points[2].1,
        native_centre: points[3].1,
        new_centre: points[4].1,
        carried: Some(carried),
        feature: &feature,
        planes: &planes,
    };
    let of = label.map_or(String::new(), |label| format!(", {label}"));
    let description = format!(
        "Pelvis of the median patient from the front and from the patient's right: both spines and the pubis, hip centre \
         before and after, {}{}, and the normals of the bony and the level plane.",
        carried.0,
        if located { format!(", femoral feature ({})", variant.procedure.femur.word()) } else { String::new() },
    );
    let drawn = if located { format!(", {} and femoral feature", carried.0) } else { format!(" and {}", carried.0) };
    Chart {
        caption: format!("Pelvis{drawn} of the median patient{of}"),
        reading:
            "Both views have one scale, shown by the bar. The two normals show how far the level plane is turned \
                  from the bony one by the median tilt; the normals of the file have no unit."
                .to_owned(),
        svg: chart::scene(Alternative { title: "Scene of the median patient", description: &description }, &drawing),
        id: name,
        wide: true,
        csv,
    }
}

fn row(name: &str, [x, y, z]: [f64; 3]) -> Vec<Cell> {
    vec![name.into(), x.into(), y.into(), z.into()]
}

fn place(point: Point<TruePelvis>) -> [f64; 3] {
    [point.x(), point.y(), point.z()]
}

/// The feature on the femur in neutral, in true bony axes.
fn outline(variant: &Variant, scene: &Scene) -> Vec<Point<TruePelvis>> {
    // In neutral the axes of the femur are those of the pelvis.
    let femur = Pose::<Femur, TruePelvis>::new(
        Rotation::<TruePelvis, TruePelvis>::identity().relabelled(),
        scene.native_centre,
    );
    let on_pelvis = femur * scene.feature;
    let ring = |along: f64, across: f64| -> Vec<Point<Feature>> {
        let angle = |step: u32| std::f64::consts::TAU * f64::from(step) / f64::from(OUTLINE);
        (0..=OUTLINE)
            .map(|step| {
                let (sine, cosine) = libm::sincos(angle(step % OUTLINE));
                Point::ORIGIN + Displacement::new(0.0, along * cosine, across * sine)
            })
            .collect()
    };
    let procedure = &variant.procedure;
    let points = match (procedure.femur.strategy().outline)(&procedure.instruments) {
        Outline::Places(places) if places.len() < 2 => ring(DIVOT_RING_MM, DIVOT_RING_MM),
        Outline::Places(mut places) => {
            places.push(places[0]);
            places
        }
        Outline::Groove([along, across]) => ring(along, across),
    };
    points.into_iter().map(|point| on_pelvis * point).collect()
}
