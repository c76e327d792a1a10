//! Where the markers of each tool are.

use crate::experiment::{Plan, Variant};
use crate::measurement::Step;
use crate::record::tables::Cell;
use crate::report::chart::{self, Alternative, MarkerLayout};
use crate::report::evidence::{Chart, Entry, Files, label, prefix};
use crate::simulation::ToolKind;

/// One figure for all variants whose markers are the same.
pub fn entry(plan: &Plan, files: &mut Files) -> Entry {
    let mut charts = Vec::new();
    let mut drawn: Vec<&Variant> = Vec::new();
    for (index, variant) in plan.variants.iter().enumerate() {
        if !drawn.iter().any(|other| sets(other) == sets(variant)) {
            drawn.push(variant);
            charts.push(figure(variant, format!("{}markers", prefix(plan, index)), label(plan, variant), files));
        }
    }
    Entry::Charts { charts }
}

/// Name, markers and normals of a tool.
type Set<'t> = (&'static str, &'t [[f64; 3]], Vec<[f64; 3]>);

/// Of each tool that the camera sees at a step that is needed; a normal that is not written is +Z.
fn sets(variant: &Variant) -> Vec<Set<'_>> {
    let model = &variant.model;
    let is_used = |kind: &ToolKind| match kind {
        ToolKind::Probe | ToolKind::Pelvis => true,
        ToolKind::Inserter => variant.procedure.needs(Step::Cup),
        ToolKind::Head => [Step::CentreNative, Step::CentreNew].iter().any(|&step| variant.procedure.needs(step)),
    };
    let set = |kind: ToolKind| {
        let (markers, normals) = model.tools.markers(kind);
        let normal = |i: usize| normals.get(i).copied().unwrap_or([0.0, 0.0, 1.0]);
        let name = match kind {
            ToolKind::Probe => "Probe",
            ToolKind::Inserter => "Inserter",
            ToolKind::Head => "Head",
            ToolKind::Pelvis => "Pelvis",
        };
        (name, markers, (0..markers.len()).map(normal).collect())
    };
    model.tools_seen().filter(is_used).map(set).collect()
}

fn figure(variant: &Variant, name: String, label: Option<String>, files: &mut Files) -> Chart {
    let sets = sets(variant);
    let layouts: Vec<_> =
        sets.iter().map(|(name, markers, normals)| MarkerLayout { name, markers, normals }).collect();
    let row = |tool: &str, number: usize, [x, y, z]: [f64; 3], [a, b, c]: [f64; 3]| -> Vec<Cell> {
        vec![tool.into(), (number as u64).into(), x.into(), y.into(), z.into(), a.into(), b.into(), c.into()]
    };
    let rows = layouts.iter().flat_map(|layout| {
        let markers = layout.markers.iter().zip(layout.normals).enumerate();
        markers.map(move |(i, (&marker, &normal))| row(layout.name, i + 1, marker, normal))
    });
    let header = ["tool", "marker", "x_mm", "y_mm", "z_mm", "normal_x", "normal_y", "normal_z"];
    let csv = files.add(&name, &header, rows.collect());
    let of = label.map_or(String::new(), |label| format!(", {label}"));
    let description = "The markers of each tool, numbered, each tool face on and edge on, with the direction \
                       in which each marker looks.";
    Chart {
        caption: format!("Markers of each tool as drawn{of}"),
        reading: "Above each tool as the camera sees it face on, below edge on; all have one scale, shown by the bar. \
                  Markers far apart fix the orientation well. With a single camera that forms images, markers out of one \
                  plane keep the two poses of a flat tool apart. An arrow is the direction in which a marker looks; one \
                  that points at the reader is not drawn."
            .to_owned(),
        svg: chart::marker_layouts(Alternative { title: "Markers of each tool", description }, &layouts),
        id: name,
        wide: true,
        csv,
    }
}
