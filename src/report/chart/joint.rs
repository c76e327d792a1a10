//! Two errors of the same trials against each other.

use super::canvas::{Anchor, Canvas, Letters, NARROW, Pen, Place, SMALL};
use super::ink::Ink;
use super::panel::{Figure, LINE, Panel, Room, Scale, Side, limit_pen};
use super::range::{Extent, Range, drawable, sorted, thinned};
use super::ticks::count;
use super::{Alternative, Axis, NO_VALUES, about_count, about_left_out, words};

/// Points drawn at most.
const POINTS: usize = 1000;
/// A limit farther out than this many times the largest error is named at the rim.
const REACH: f64 = 4.0;

/// Mean and covariance of two errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CovarianceEllipse {
    /// Mean of both.
    pub mean: [f64; 2],
    /// Covariance, symmetric.
    pub covariance: [[f64; 2]; 2],
    /// Proportion of a bivariate normal distribution inside the ellipse, below 1.
    pub proportion: f64,
}

/// Two errors of the same trials.
#[derive(Clone, Copy, Debug)]
pub struct Joint<'a> {
    /// Both outputs with their units, horizontal first.
    pub axes: [Axis<'a>; 2],
    /// Both errors, one pair a trial.
    pub errors: &'a [[f64; 2]],
    /// The ellipse, if there is one.
    pub ellipse: Option<CovarianceEllipse>,
    /// Limits of the two absolute errors: a box if both are given, a pair of lines if one is.
    pub limits: [Option<f64>; 2],
}

/// Scatter of two errors, thinned evenly by trial, with the covariance ellipse and the box of the limits. Equal units
/// are drawn equally long.
#[must_use]
pub fn joint(alternative: Alternative, data: &Joint) -> String {
    let pairs: Vec<[f64; 2]> = data.errors.iter().copied().filter(|pair| pair.iter().all(|&v| drawable(v))).collect();
    let limits = data.limits.map(|limit| limit.filter(|&limit| drawable(limit) && limit > 0.0));
    let outline = data.ellipse.and_then(|ellipse| ellipse.outline());
    let mut ranges = [0, 1].map(|axis| {
        let extent = Extent::of(&sorted(pairs.iter().map(|pair| pair[axis])));
        let range = extent.with_marks(limits[axis].into_iter().flat_map(|limit| [-limit, limit]), REACH);
        outline.iter().flatten().map(|place| place[axis]).fold(range, Range::with)
    });
    if data.axes[0].unit == data.axes[1].unit {
        let width = ranges[0].width().max(ranges[1].width());
        ranges = ranges.map(|range| range.at_least(width));
    }
    let [x, y] = ranges.map(|range| Scale::linear(range.padded(0.05)));

    let drawn = thinned(&pairs, POINTS);
    let outside = pairs.iter().filter(|pair| !(x.range.holds(pair[0]) && y.range.holds(pair[1]))).count();
    let mut about = vec![about_count(pairs.len())];
    if drawn.len() < pairs.len() {
        about.push(format!("{} drawn", count(drawn.len())));
    }
    if pairs.len() > 1 && pairs.iter().all(|pair| pair == &pairs[0]) {
        about.push("all equal".to_owned());
    }
    about.extend(about_left_out(outside, data.errors.len() - pairs.len()));
    let mut notes = vec![about.join("; ")];
    if let (Some(ellipse), true) = (data.ellipse, outline.is_some()) {
        notes
            .push(format!("Ellipse: {} of a normal distribution with this covariance.", percent(ellipse.proportion)));
    }
    let figure = Figure { alternative, width: NARROW, plot_height: 240.0, notes };
    let sides = (Side { axis: data.axes[0], scale: x }, Side { axis: data.axes[1], scale: y });
    figure.draw(sides, Room::default(), &[], |canvas, panel| {
        if pairs.is_empty() {
            panel.say(canvas, NO_VALUES);
        }
        let radius = if drawn.len() < 20 { 2.0 } else { 1.1 };
        for pair in drawn.iter().map(|pair| (pair[0], pair[1])).filter(|&pair| panel.holds(pair)) {
            canvas.dot(panel.at(pair), radius, Ink::First, if drawn.len() < 20 { 1.0 } else { 0.45 });
        }
        if let Some(outline) = &outline {
            let path: Vec<Place> = outline.iter().map(|place| panel.at((place[0], place[1]))).collect();
            canvas.line(&path, Pen::new(Ink::Paper, 3.0));
            canvas.line(&path, Pen::new(Ink::Text, 1.3));
        }
        draw_limits(canvas, panel, data, limits);
    })
}

fn draw_limits(canvas: &Canvas, panel: &Panel, data: &Joint, limits: [Option<f64>; 2]) {
    let seen = |scale: Scale, limit: f64| scale.range.holds(limit) && scale.range.holds(-limit);
    let name = |axis: usize, limit: f64| format!("limit ±{}", words::value(limit, data.axes[axis].unit));
    let plot = panel.plot;
    let inside = [(0, panel.x), (1, panel.y)].map(|(axis, scale)| limits[axis].filter(|&limit| seen(scale, limit)));
    let letters = |anchor| Letters::new(Ink::Second, SMALL, anchor).with_halo();
    // Without a limit, or with one beyond the axis, the lines run through the whole plot.
    let (left, right) = inside[0].map_or((plot.left, plot.right), |limit| (panel.x_at(-limit), panel.x_at(limit)));
    let (low, high) = inside[1].map_or((plot.bottom, plot.top), |limit| (panel.y_at(-limit), panel.y_at(limit)));
    if let (Some(_), Some(_)) = (inside[0], inside[1]) {
        let outline = [(left, low), (right, low), (right, high), (left, high), (left, low)];
        canvas.line(&outline, limit_pen());
    } else {
        for x in inside[0].iter().flat_map(|_| [left, right]) {
            canvas.line(&[(x, plot.bottom), (x, plot.top)], limit_pen());
        }
        for y in inside[1].iter().flat_map(|_| [low, high]) {
            canvas.line(&[(plot.left, y), (plot.right, y)], limit_pen());
        }
    }
    let mut beyond = Vec::new();
    for axis in [0, 1] {
        if let (Some(limit), None) = (limits[axis], inside[axis]) {
            beyond.push(format!("{} {}: beyond the axis", data.axes[axis].label, name(axis, limit)));
        }
    }
    for (line, words) in beyond.iter().enumerate() {
        let words = words::cut(words, SMALL, plot.right - plot.left - 8.0);
        canvas.text((plot.left + 4.0, plot.top + (line as f64 + 0.5) * LINE + 2.0), &words, letters(Anchor::Left));
    }
    // The box is named on its upper edge; two different limits need both names.
    let names: Vec<String> =
        [0, 1].into_iter().filter_map(|axis| inside[axis].map(|limit| name(axis, limit))).collect();
    let name = match &names[..] {
        [one, other] if one != other => format!("{one} and {}", other.trim_start_matches("limit ")),
        [first, ..] => first.clone(),
        [] => return,
    };
    let y = high - 0.5 * LINE;
    let y = if y < plot.top + 4.0 { high + 0.5 * LINE } else { y };
    let width = words::width(&name, SMALL);
    // Above the corner that the ellipse leaves free.
    if data.ellipse.is_some_and(|ellipse| ellipse.covariance[0][1] > 0.0) {
        canvas.text((left.min(plot.right - width) + 2.0, y), &name, letters(Anchor::Left));
    } else {
        canvas.text((right.max(plot.left + width + 4.0), y), &name, letters(Anchor::Right));
    }
}

fn percent(proportion: f64) -> String {
    words::value(100.0 * proportion, "%")
}

impl CovarianceEllipse {
    /// Points around the ellipse, or nothing for numbers that are no covariance.
    fn outline(&self) -> Option<Vec<[f64; 2]>> {
        let [[xx, xy], [_, yy]] = self.covariance;
        let all = [self.mean[0], self.mean[1], xx, xy, yy];
        if !(all.iter().all(|&value| drawable(value))
            && xx >= 0.0
            && yy >= 0.0
            && (0.0..1.0).contains(&self.proportion))
        {
            return None;
        }
        // Two degrees of freedom: the chi-squared quantile is -2 ln(1 - p). Cholesky factors turn a circle of that
        // radius into the ellipse.
        let radius = (-2.0 * libm::log(1.0 - self.proportion)).sqrt();
        let sd_x = xx.sqrt();
        let slope = if sd_x > 0.0 { xy / sd_x } else { 0.0 };
        let rest = (yy - slope * slope).max(0.0).sqrt();
        let steps = 120;
        let point = |step: i32| {
            let (sin, cos) = libm::sincos(std::f64::consts::TAU * f64::from(step) / f64::from(steps));
            [self.mean[0] + radius * sd_x * cos, self.mean[1] + radius * (slope * cos + rest * sin)]
        };
        Some((0..=steps).map(point).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The tangent box of a covariance ellipse is the mean plus and minus the radius times each standard deviation.
    #[test]
    fn identity_ellipse_touches_its_tangent_box() {
        let ellipse =
            CovarianceEllipse { mean: [0.5, -1.0], covariance: [[4.0, -1.5], [-1.5, 1.0]], proportion: 0.95 };
        let outline = ellipse.outline().unwrap();
        let radius = 5.991_464_547_107_979_f64.sqrt(); // chi-squared, 2 degrees of freedom, 95 %: NIST handbook 1.3.6.7.4 has 5.991
        for (axis, sd) in [(0, 2.0), (1, 1.0)] {
            let largest = outline.iter().map(|place| place[axis]).fold(f64::MIN, f64::max);
            // 120 points around miss the tangent by at most 1 - cos(1.5 degrees) of the half axis.
            assert!((largest - (ellipse.mean[axis] + radius * sd)).abs() < 3.5e-4 * radius * sd);
        }
    }
}
