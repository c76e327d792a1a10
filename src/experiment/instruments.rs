//! From the tools as drawn to what the measurement knows of them.

use super::spec::Reader;
use crate::geometry::{Direction, Displacement, Layout, LayoutError, Point, SemiAxes};
use crate::measurement::{Instruments, Trackers};
use crate::simulation::model::Tools;

/// Points of a drawing that are nearer to each other are one.
const APART_MM: f64 = 0.01;

/// The first two points that are in one place.
fn coincident<A>(points: &[Point<A>]) -> Option<(usize, usize)> {
    let same = |a: usize, b: usize| (points[a] - points[b]).length() < APART_MM;
    (1..points.len()).find_map(|b| (0..b).find(|&a| same(a, b)).map(|a| (a, b)))
}

impl Reader<'_, '_> {
    /// The instruments; `None` with faults where a drawing cannot serve.
    pub fn instruments(&mut self, tools: &Tools) -> Option<Instruments> {
        let probe = self.layout("tools.probe_markers_mm", &tools.probe_markers_mm);
        let inserter = self.layout("tools.inserter_markers_mm", &tools.inserter_markers_mm);
        let head = self.layout("tools.head_markers_mm", &tools.head_markers_mm);
        let pelvis = self.layout("tools.pelvis_markers_mm", &tools.pelvis_markers_mm);
        let three_divots = self.layout("tools.three_divots_mm", &tools.three_divots_mm);
        let cup_axis = self.cup_axis(tools.cup_axis);
        let [major_mm, minor_mm] = tools.ellipse_semi_axes_mm;
        let [x, y, z] = tools.probe_tip_mm;
        Some(Instruments {
            cameras: None,
            trackers: Some(Trackers { probe: probe?, inserter: inserter?, head: head?, pelvis: pelvis? }),
            // The built-in drawing is no knowledge of a recorded probe; a simulated one is always pivoted.
            probe_tip: self.tree.is_written("tools.probe_tip_mm").then_some(Point::new(x, y, z)),
            cup_axis: cup_axis?,
            circle_radius_mm: tools.circle_radius_mm,
            ellipse: SemiAxes { major_mm, minor_mm },
            three_divots: three_divots?,
        })
    }

    fn cup_axis<A>(&mut self, [x, y, z]: [f64; 3]) -> Option<Direction<A>> {
        let axis = Displacement::new(x, y, z).direction();
        self.demand(axis.is_some(), "tools.cup_axis", format!("[{x}, {y}, {z}]"), "a direction, any length but 0");
        axis
    }

    fn layout<A>(&mut self, path: &str, points: &[[f64; 3]]) -> Option<Layout<A>> {
        let points: Vec<_> = points.iter().map(|&[x, y, z]| Point::new(x, y, z)).collect();
        if let Some((first, second)) = coincident(&points) {
            let message = format!("points {} and {} of `{path}` are in one place", first + 1, second + 1);
            self.fault(&format!("{path}.{second}"), message, format!("found less than {APART_MM} mm between them"));
            self.mend("two points in one place count as one: move one of them, or leave it out");
            return None;
        }
        match Layout::new(&points) {
            Ok(layout) => Some(layout),
            Err(LayoutError::TooFew(found)) => {
                self.demand(false, path, format!("{found} points"), "at least 3");
                None
            }
            Err(LayoutError::NearlyCollinear { across_mm, along_mm }) => {
                self.fault(
                    path,
                    format!("the points of `{path}` lie nearly in a line"),
                    format!("found a spread of {across_mm:.3} mm across the line and {along_mm:.3} mm along it"),
                );
                self.mend(
                    "a turn about that line would hang on noise alone: move one point aside until the spread across \
                     is more than 1 % of the spread along",
                );
                None
            }
        }
    }
}
