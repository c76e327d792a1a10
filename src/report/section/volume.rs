//! How well the camera fixes the probe, over the volume before it.

use crate::experiment::{Plan, Variant};
use crate::geometry::{Displacement, Point};
use crate::record::tables::Cell;
use crate::report::chart::{Alternative, Axis, BandPoint, Lines, Series, lines};
use crate::report::evidence::{Chart, Entry, Files, label, prefix};
use crate::simulation::{FrameSpread, Model, Scene, Simulator};

/// Angles of the tip from the optical axis, degrees.
const OFF_AXIS_DEG: [f64; 3] = [0.0, 15.0, 30.0];
/// Distances along a line.
const STEPS: u32 = 40;

/// Two charts for all variants whose camera and probe are the same; none where the tracker does not err.
pub fn entry(plan: &Plan, files: &mut Files) -> Option<Entry> {
    let mut charts = Vec::new();
    let mut drawn: Vec<&Variant> = Vec::new();
    for (index, variant) in plan.variants.iter().enumerate() {
        let known = drawn.iter().any(|other| same_camera(&other.model, &variant.model));
        if !known && !variant.model.noise.tracker.jitter.is_off() {
            drawn.push(variant);
            charts.extend(figures(variant, &format!("{}volume", prefix(plan, index)), label(plan, variant), files));
        }
    }
    (!charts.is_empty()).then_some(Entry::Charts { charts })
}

fn same_camera(one: &Model, other: &Model) -> bool {
    let parts = |model: &Model| {
        (model.camera.clone(), model.imaging.clone(), model.tools.clone(), model.noise.tracker.jitter.clone())
    };
    parts(one) == parts(other)
}

fn figures(variant: &Variant, name: &str, label: Option<String>, files: &mut Files) -> [Chart; 2] {
    let model = &variant.model;
    let simulator = Simulator::new(model.clone(), &variant.procedure);
    let scene = Scene::of(model, &model.anatomy.medians(), &model.implant.medians());
    let hip_mm = (scene.camera_origin - scene.native_centre).length();
    let (nearest, step) = (0.5 * hip_mm, 2.5 * hip_mm / f64::from(STEPS));
    let mut found: Vec<(f64, f64, Option<FrameSpread>)> = Vec::new();
    for off_axis_deg in OFF_AXIS_DEG {
        let (sine, cosine) = libm::sincos(off_axis_deg.to_radians());
        for i in 0..=STEPS {
            let distance_mm = nearest + f64::from(i) * step;
            let place = Point::ORIGIN + distance_mm * Displacement::new(sine, 0.0, cosine);
            found.push((off_axis_deg, distance_mm, simulator.spread_at(place)));
        }
    }
    let rows = found.iter().map(|&(off_axis_deg, distance_mm, spread)| {
        let (tip, turn) = (spread.map(|spread| spread.tip_rms_mm), spread.map(|spread| spread.turn_rms_deg));
        vec![off_axis_deg.into(), distance_mm.into(), Cell::from(tip), Cell::from(turn)]
    });
    let csv = files.add(name, &["off_axis_deg", "distance_mm", "tip_rms_mm", "turn_rms_deg"], rows.collect());
    let of = label.map_or(String::new(), |label| format!(", {label}"));
    let draw = |what: &str, unit: &str, id: &str, value: fn(&FrameSpread) -> f64| {
        let series: Vec<(String, Vec<BandPoint>)> = OFF_AXIS_DEG
            .iter()
            .map(|&angle| {
                let of_angle = found.iter().filter(|(off_axis_deg, ..)| *off_axis_deg == angle);
                let points = of_angle.filter_map(|(_, x, spread)| {
                    Some(BandPoint { x: *x, y: value(spread.as_ref()?), low: f64::NAN, high: f64::NAN })
                });
                let name = if angle == 0.0 { "on axis".to_owned() } else { format!("{angle}\u{b0} off axis") };
                (name, points.collect())
            })
            .collect();
        let series: Vec<_> = series.iter().map(|(label, points)| Series { label, points }).collect();
        let description = format!("{what} over the distance from the camera, on the optical axis and beside it.");
        Chart {
            caption: format!("{what} over the working volume{of}"),
            reading: format!(
                "Noise of one frame that `tracker.jitter` alone makes, root mean square, to first order, with the probe turned to \
                 the camera; the mean of n frames has it divided by the square root of n. The hip centre of the median patient is \
                 {hip_mm:.0} mm away. A line ends where the camera does not see enough markers to fix the pose."
            ),
            svg: lines(
                Alternative { title: what, description: &description },
                &Lines {
                    x: Axis { label: "Distance of the tip from the camera", unit: "mm" },
                    logarithmic: false,
                    y: Axis { label: what, unit },
                    series: &series,
                    levels: &[],
                },
            ),
            id: format!("{name}-{id}"),
            wide: false,
            csv: csv.clone(),
        }
    };
    [
        draw("Error of the tip in one frame", "mm", "tip", |spread| spread.tip_rms_mm),
        draw("Error of the probe\u{2019}s orientation in one frame", "deg", "turn", |spread| spread.turn_rms_deg),
    ]
}
