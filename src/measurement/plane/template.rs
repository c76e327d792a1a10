//! The template plane: the bony plane of a population's pelvis, laid into what was touched.
//!
//! The three landmarks alone make the pubis decide the tilt. A template knows how far the pubis and the hip centre usually
//! lie from the spines, and how much patients differ in that, so the native hip centre helps to decide: in a patient like the
//! population the plane is steadier. What a patient differs by from the template is then an error of the plane.

use super::{PlaneStrategy, bony_axes};
use crate::geometry::{CorrelatedLayout, JointCovariance, Point};
use crate::measurement::failure::AtStep;
use crate::measurement::frames::Pelvis;
use crate::measurement::observation::Step;
use crate::measurement::options::Side;

pub(super) const STRATEGY: PlaneStrategy = PlaneStrategy {
    word: "template",
    meaning: "the bony plane of a population's template, fitted by maximum likelihood to both anterior superior iliac spines \
              (ASIS) and the midpoint of the pubis, touched, and to the native hip centre",
    built: "the rotation of the most likely pose of the template; weights are the inverse of the stated covariance of the \
            touched points plus that of the population, turned with the fit",
    formula: "bony axes of the population template at R, t with least sum of d' V^-1 d, d = R m + t - o over landmarks and \
              native centre, V the covariance of the touch plus that of the template turned by R",
    source: None,
    needs: &[Step::Pubis, Step::CentreNative],
    axes: |touched, template| {
        let (left, right, pubis, native) = (touched.left?, touched.right?, touched.pubis?, touched.native?);
        let start = bony_axes(left, right, pubis).at(Step::Pubis)?;
        template.0.fit(start, [left, right, pubis, native]).at(Step::CentreNative)
    },
};

/// What is known of a population and of how well its landmarks are touched, as the measurement states it. Triples are
/// anterior, superior, lateral.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TemplateShape {
    /// Mean distance between the spines, mm.
    pub asis_width_mm: f64,
    /// Standard deviation of that distance between patients, mm.
    pub asis_width_sd_mm: f64,
    /// Mean distance of the pubis from the line between the spines, mm.
    pub pubis_drop_mm: f64,
    /// Standard deviation of that distance, mm.
    pub pubis_drop_sd_mm: f64,
    /// Hip centre from the midpoint of the spines, in widths.
    pub hip_ratio: [f64; 3],
    /// Standard deviation of the hip centre about that, mm.
    pub hip_sd_mm: [f64; 3],
    /// Standard deviation of a touched spine, mm.
    pub asis_sd_mm: [f64; 3],
    /// Standard deviation of the touched pubis, mm.
    pub pubis_sd_mm: [f64; 3],
    /// Standard deviation of the turned native centre, mm.
    pub centre_sd_mm: [f64; 3],
}

/// A template that can be fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Template(CorrelatedLayout<Pelvis>);

/// Standard deviations that leave a weight infinite, or are no numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the standard deviations of the touched points give no covariance that can be inverted")]
pub struct TemplateError;

impl Template {
    /// The template of one side.
    ///
    /// The covariance of measured minus drawn coordinates has two parts, independent of each other: how points are missed,
    /// each by itself, and how patients differ: a width moves both spines apart and the hip centre with them, a drop moves
    /// the pubis, and hip centres differ beyond that.
    ///
    /// # Errors
    /// If the standard deviations make no covariance that can be inverted.
    pub fn new(shape: &TemplateShape, side: Side) -> Result<Self, TemplateError> {
        let (half, side) = (0.5 * shape.asis_width_mm, side.sign());
        let [anterior, superior, lateral] = shape.hip_ratio;
        // By how much each coordinate grows with the width.
        let hip = [anterior, superior, side * lateral];
        let with_width = [[0.0, 0.0, -0.5], [0.0, 0.0, 0.5], [0.0; 3], hip];
        let [hip_x, hip_y, hip_z] = hip.map(|ratio| ratio * shape.asis_width_mm);
        let points = [
            Point::new(0.0, 0.0, -half),
            Point::new(0.0, 0.0, half),
            Point::new(0.0, -shape.pubis_drop_mm, 0.0),
            Point::new(hip_x, hip_y, hip_z),
        ];
        let width = with_width.concat();
        let variance = shape.asis_width_sd_mm * shape.asis_width_sd_mm;
        let mut covariance = JointCovariance::from_fn(|row, column| variance * width[row] * width[column]);
        let missed = [shape.asis_sd_mm, shape.asis_sd_mm, shape.pubis_sd_mm, shape.centre_sd_mm].concat();
        let drop = [0.0, shape.pubis_drop_sd_mm, 0.0];
        let differ = [[0.0; 3], [0.0; 3], drop, shape.hip_sd_mm].concat();
        for (coordinate, (missed, differ)) in missed.iter().zip(&differ).enumerate() {
            covariance[(coordinate, coordinate)] += missed * missed + differ * differ;
        }
        CorrelatedLayout::new(points, &covariance).map(Self).ok_or(TemplateError)
    }
}
