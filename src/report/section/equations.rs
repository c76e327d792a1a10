//! What is computed from what: the relations between observations and readings.

use crate::experiment::Plan;
use crate::measurement::{AngleDefinition, Output, Procedure, Step};
use crate::report::evidence::{Entry, Files, Section};

const MURRAY: &str = "Murray DW. J Bone Joint Surg Br 1993;75-B:228-232";
const OWN: &str = "this program's own";
const FITS: &str = "least squares; checked against published values by the program's own checks";

/// One relation: quantity, relation, where it comes from.
type Relation = [&'static str; 3];

pub fn section(plan: &Plan, files: &mut Files) -> Section {
    let mut rows: Vec<Relation> = Vec::new();
    for variant in &plan.variants {
        for relation in relations(&variant.procedure) {
            if !rows.contains(&relation) {
                rows.push(relation);
            }
        }
    }
    rows.extend(plan.asked().has_any(&Output::CENTRE).then_some(CENTRE));
    rows.push(ERROR);
    let rows = rows.into_iter().map(|row| row.map(str::to_owned).into()).collect();
    let entries = vec![
        Entry::paragraph(
            "The measuring procedure takes these quantities out of what the camera would record. The simulator builds the \
             true pelvis, cup and femur from drawn quantities by other code, so that a wrong relation cannot cancel. Letters \
             are explained among the symbols at the end.",
        ),
        files.table(
            "equations",
            "Governing equations",
            "x, y, z are the axes of the measured plane (anterior, superior, to the right), s is +1 for a right hip and -1 for a \
             left one; l and r are the points touched on the left and right spine, p that on the pubis.",
            &["quantity", "relation", "source"],
            rows,
        ),
    ];
    Section { id: "equations", title: "Governing equations", entries }
}

const CENTRE: Relation = [
    "hip centre shift",
    "A (h1 - h0), A the axes of the measured plane as rows: superior y, lateral s z, anterior x",
    OWN,
];
const ERROR: Relation = ["error of each output", "reading - truth", "GUM, JCGM 100:2008"];

fn relations(procedure: &Procedure) -> Vec<Relation> {
    let pivot = procedure.pivot.strategy();
    let (plane, femur) = (procedure.plane.strategy(), procedure.femur.strategy());
    let mut rows = vec![["axes of the measured plane", plane.formula, plane.source.unwrap_or(OWN)]];
    let angles = match procedure.angles {
        AngleDefinition::Radiographic => [
            ["inclination, radiographic", "atan2(s a·z, -a·y)", MURRAY],
            ["anteversion, radiographic", "asin(a·x)", MURRAY],
        ],
        AngleDefinition::Operative => [
            ["inclination, operative", "asin(s a·z)", MURRAY],
            ["anteversion, operative", "atan2(a·x, -a·y)", MURRAY],
        ],
        AngleDefinition::Anatomic => {
            [["inclination, anatomic", "acos(-a·y)", MURRAY], ["anteversion, anatomic", "atan2(a·x, s a·z)", MURRAY]]
        }
    };
    let asked = procedure.asked;
    let mut add = |is_asked: bool, relation: Relation| rows.extend(is_asked.then_some(relation));
    for (output, relation) in Output::CUP.into_iter().zip(angles) {
        add(asked.has(output), relation);
    }
    let leg = asked.has_any(&Output::LEG);
    add(leg, ["shift of the femur", "D = (h1 - c0) - R'(h1 - c1)", OWN]);
    add(asked.has(Output::LegLength), ["change of leg length", "-D·y", OWN]);
    add(asked.has(Output::Offset), ["change of offset", "s D·z", OWN]);
    add(leg, ["turn of the femur", femur.formula, OWN]);
    add(true, ["pose of a tool", "R, t with least sum of |R m + t - o|², m markers as drawn, o as seen", FITS]);
    let has_centre = procedure.needs(Step::CentreNative) || procedure.needs(Step::CentreNew);
    let pivots = if has_centre { "tip of the probe, centre of the hip" } else { "tip of the probe" };
    add(true, [pivots, pivot.meaning, pivot.source]);
    rows
}
