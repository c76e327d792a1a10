//! What is where: the pelvis from the front and from the side.

use super::canvas::{Anchor, Canvas, Letters, Marker, Pen, Place, SMALL, WIDE, WORDS};
use super::ink::{Dash, Ink};
use super::panel::{LINE, Rect, picture};
use super::range::{Range, drawable};
use super::ticks::{Ticks, number};
use super::{Alternative, words};

/// Height of what is drawn in the two views, at most.
const HEIGHT: f64 = 220.0;
/// Words kept clear around each view.
const RIM: f64 = 50.0;
/// How long a plane's normal is drawn, mm.
const NORMAL_MM: f64 = 70.0;

/// The normal of a plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaneNormal<'a> {
    /// The plane's name.
    pub label: &'a str,
    /// Its normal, of any length.
    pub normal: [f64; 3],
}

/// Named points in pelvic axes, mm: anterior, superior, to the patient's right.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scene<'a> {
    /// Left anterior superior iliac spine.
    pub asis_left: [f64; 3],
    /// Right anterior superior iliac spine.
    pub asis_right: [f64; 3],
    /// Midpoint of the pubic tubercles.
    pub pubis: [f64; 3],
    /// Hip centre before.
    pub native_centre: [f64; 3],
    /// Hip centre after.
    pub new_centre: [f64; 3],
    /// What the pelvis carries, a camera or a tracker: its name and its origin.
    pub carried: Option<(&'a str, [f64; 3])>,
    /// Outline of the femoral feature; closed if its last point is its first.
    pub feature: &'a [[f64; 3]],
    /// Normals of planes, drawn from the midpoint of the two ASIS.
    pub planes: &'a [PlaneNormal<'a>],
}

/// Both views at one scale, with axes named and a scale bar. From the front the patient's right is on the left; the
/// side view is from the patient's right, so anterior is on the right.
#[must_use]
pub fn scene(alternative: Alternative, scene: &Scene) -> String {
    let middle = 0.5 * WIDE;
    let views = [
        View { across: |p| -p[2], name: "From the front", left: "patient's right (Z)", right: "patient's left" },
        View { across: |p| p[0], name: "From the patient's right", left: "posterior", right: "anterior (X)" },
    ];
    let places = scene.places();
    let extent = |coordinate: &dyn Fn([f64; 3]) -> f64| {
        let all = places.iter().map(|&place| coordinate(place)).filter(|&value| drawable(value));
        let (low, high) = all.fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
        if low <= high { Range::between(low, high) } else { Range::between(-1.0, 1.0) }
    };
    let up = extent(&|p| p[1]);
    let spans = views.map(|view| extent(&view.across));
    let room = (middle - 2.0 * RIM, HEIGHT);
    // Layout units for a millimetre, the same in both views.
    let zoom = spans.iter().map(|span| room.0 / span.width()).fold(room.1 / up.width(), f64::min);
    // Above and below what is drawn stays room for labels.
    let bottom = zoom * up.width() + 7.0 * LINE;
    picture(alternative, (WIDE, bottom + 3.0 * LINE), &[], |canvas| {
        for (which, (view, span)) in views.iter().zip(spans).enumerate() {
            let left = middle * which as f64;
            let frame = Rect { left, top: 2.0 * LINE, right: left + middle, bottom };
            let origin = (0.5 * (frame.left + frame.right), 0.5 * (frame.top + frame.bottom - LINE));
            let centre = (0.5 * (span.low() + span.high()), 0.5 * (up.low() + up.high()));
            let projection = Projection { view: *view, zoom, origin, centre };
            draw_view(canvas, scene, &projection, frame);
        }
        draw_bar(canvas, zoom, bottom + 2.3 * LINE);
    })
}

#[derive(Clone, Copy)]
struct View {
    across: fn([f64; 3]) -> f64,
    name: &'static str,
    left: &'static str,
    right: &'static str,
}

#[derive(Clone, Copy)]
struct Projection {
    view: View,
    zoom: f64,
    origin: Place,
    centre: (f64, f64),
}

impl Projection {
    /// Where a point is drawn, if it has a place.
    fn at(&self, point: [f64; 3]) -> Option<Place> {
        if !point.iter().all(|&value| drawable(value)) {
            return None;
        }
        let across = (self.view.across)(point);
        Some((
            self.origin.0 + self.zoom * (across - self.centre.0),
            self.origin.1 - self.zoom * (point[1] - self.centre.1),
        ))
    }
}

impl Scene<'_> {
    fn landmarks(&self) -> [(&'static str, [f64; 3], Marker); 3] {
        [
            ("right ASIS", self.asis_right, Marker::Triangle),
            ("left ASIS", self.asis_left, Marker::Triangle),
            ("pubis", self.pubis, Marker::Triangle),
        ]
    }

    /// Start and tip of every plane's normal.
    fn normals(&self) -> impl Iterator<Item = (&str, [f64; 3], [f64; 3])> {
        let start = [0, 1, 2].map(|axis| 0.5 * (self.asis_left[axis] + self.asis_right[axis]));
        self.planes.iter().filter_map(move |plane| {
            let length = plane.normal.iter().map(|v| v * v).sum::<f64>().sqrt();
            let tip = [0, 1, 2].map(|axis| start[axis] + NORMAL_MM * plane.normal[axis] / length);
            (length > 0.0 && tip.iter().all(|&value| drawable(value))).then_some((plane.label, start, tip))
        })
    }

    fn places(&self) -> Vec<[f64; 3]> {
        let mut places = vec![self.asis_left, self.asis_right, self.pubis, self.native_centre, self.new_centre];
        places.extend(self.carried.map(|(_, place)| place));
        places.extend(self.feature);
        places.extend(self.normals().map(|normal| normal.2));
        places
    }
}

fn draw_view(canvas: &Canvas, scene: &Scene, projection: &Projection, frame: Rect) {
    let middle = 0.5 * (frame.left + frame.right);
    canvas.text(
        (middle, 0.5 * LINE + 2.0),
        projection.view.name,
        Letters::new(Ink::Text, WORDS, Anchor::Middle).bold(),
    );
    let at = |point| projection.at(point);
    let path = |points: &[[f64; 3]]| points.iter().filter_map(|&point| at(point)).collect::<Vec<Place>>();
    let mut labels = Labels { taken: Vec::new(), frame };

    // The plane through the landmarks.
    let plane = path(&[scene.asis_right, scene.asis_left, scene.pubis, scene.asis_right]);
    canvas.face(&plane, Ink::First, 0.15);
    canvas.line(&plane, Pen::new(Ink::First, 1.0));
    for edge in plane.windows(2) {
        labels.keep_line(edge[0], edge[1]);
    }
    let feature = path(scene.feature);
    let feature_centre = middle_of(&feature);
    if let (Some(centre), Some(end)) = (at(scene.new_centre), feature_centre) {
        canvas.line(&[centre, end], Pen::new(Ink::Muted, 1.0).dashed(Dash::Short));
        labels.keep_line(centre, end);
    }
    match feature[..] {
        [] => {}
        [only] => canvas.marker(only, 2.6, Marker::Square, Ink::Third),
        _ => canvas.line(&feature, Pen::new(Ink::Third, 1.6)),
    }
    let mut wanted: Vec<(String, Place, Ink)> = Vec::new();
    for (label, start, tip) in scene.normals() {
        let (Some(start), Some(tip)) = (at(start), at(tip)) else { continue };
        let seen = (tip.0 - start.0).abs().max((tip.1 - start.1).abs());
        // A normal that points at the viewer has no length to draw.
        if seen > 12.0 {
            canvas.arrow(start, tip, Pen::new(Ink::Fourth, 1.3));
            labels.keep_line(start, tip);
            wanted.push((format!("{label} normal"), tip, Ink::Fourth));
        }
    }
    for (name, point, marker) in scene.landmarks() {
        if let Some(place) = at(point) {
            canvas.marker(place, 3.0, marker, Ink::First);
            wanted.push((name.to_owned(), place, Ink::First));
        }
    }
    let centres = [("new centre", scene.new_centre, true), ("native centre", scene.native_centre, false)];
    for (name, point, filled) in centres {
        if let Some(place) = at(point) {
            canvas.marker(place, 3.2, Marker::Disc, Ink::Second);
            if !filled {
                canvas.dot(place, 1.9, Ink::Paper, 1.0);
            }
            wanted.push((name.to_owned(), place, Ink::Second));
        }
    }
    if let Some((name, place)) = scene.carried.and_then(|(name, place)| Some((name, at(place)?))) {
        canvas.marker(place, 3.0, Marker::Square, Ink::Text);
        wanted.push((name.to_owned(), place, Ink::Text));
    }
    if let Some(place) = feature_centre {
        wanted.push(("femoral feature".to_owned(), place, Ink::Third));
    }
    for &(_, place, _) in &wanted {
        labels.keep(Rect { left: place.0 - 4.0, top: place.1 - 4.0, right: place.0 + 4.0, bottom: place.1 + 4.0 });
    }
    for &(x, y) in &feature {
        labels.keep(Rect { left: x - 2.0, top: y - 2.0, right: x + 2.0, bottom: y + 2.0 });
    }
    for (name, place, ink) in wanted {
        labels.write(canvas, &name, place, ink);
    }
    draw_axes(canvas, projection.view, frame);
}

fn middle_of(places: &[Place]) -> Option<Place> {
    let count = places.len() as f64;
    let (x, y) = places.iter().fold((0.0, 0.0), |sum, place| (sum.0 + place.0, sum.1 + place.1));
    (!places.is_empty()).then(|| (x / count, y / count))
}

/// Names of the directions, below and beside a view.
fn draw_axes(canvas: &Canvas, view: View, frame: Rect) {
    let letters = |anchor| Letters::new(Ink::Muted, SMALL, anchor);
    let (y, left, right) = (frame.bottom + LINE, frame.left + 6.0, frame.right - 6.0);
    let pen = Pen::new(Ink::Muted, 0.8);
    canvas.arrow((left + 14.0, y), (left, y), pen);
    canvas.text((left + 17.0, y), view.left, letters(Anchor::Left));
    canvas.arrow((right - 14.0, y), (right, y), pen);
    canvas.text((right - 17.0, y), view.right, letters(Anchor::Right));
    canvas.arrow((left + 2.0, y - 10.0), (left + 2.0, y - 26.0), pen);
    canvas.text((left + 8.0, y - 19.0), "superior (Y)", letters(Anchor::Left));
}

/// A bar of a round length in the middle of the picture.
pub(super) fn draw_bar(canvas: &Canvas, zoom: f64, y: f64) {
    // The step of a few ticks over a quarter of a view.
    let length = Ticks::at_most(2, Range::between(0.0, 90.0 / zoom)).step();
    let (half, middle) = (0.5 * zoom * length, 0.5 * WIDE);
    let pen = Pen::new(Ink::Text, 1.2);
    canvas.line(&[(middle - half, y), (middle + half, y)], pen);
    for end in [middle - half, middle + half] {
        canvas.line(&[(end, y - 3.0), (end, y + 3.0)], pen);
    }
    let words = format!("{}\u{a0}mm", number(length));
    canvas.text((middle + half + 5.0, y), &words, Letters::new(Ink::Text, SMALL, Anchor::Left));
}

/// Labels at points, kept off each other, the points and the lines.
struct Labels {
    taken: Vec<Rect>,
    frame: Rect,
}

impl Labels {
    fn keep(&mut self, rect: Rect) {
        self.taken.push(rect);
    }

    fn keep_line(&mut self, from: Place, to: Place) {
        for step in 1..32 {
            let share = f64::from(step) / 32.0;
            let (x, y) = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
            self.keep(Rect { left: x - 1.0, top: y - 1.0, right: x + 1.0, bottom: y + 1.0 });
        }
    }

    /// Writes at the first free place around the point, with a leader if that is not beside it; if none is free, at
    /// the one that hides least.
    fn write(&mut self, canvas: &Canvas, words: &str, (x, y): Place, ink: Ink) {
        let (width, half) = (words::width(words, SMALL), 0.5 * (LINE - 2.0));
        let mut best: Option<(f64, Rect)> = None;
        for (dx, dy) in offsets() {
            let centre = (x + dx * (0.5 * width + 6.0) + dx.signum() * (dx.abs() - 1.0).max(0.0) * 6.0, y + dy);
            let rect = Rect {
                left: centre.0 - 0.5 * width,
                right: centre.0 + 0.5 * width,
                top: centre.1 - half,
                bottom: centre.1 + half,
            };
            let hidden: f64 = self.taken.iter().map(|other| overlap(rect, *other)).sum();
            let out = rect.left < self.frame.left + 2.0 || rect.right > self.frame.right - 2.0;
            let cost = hidden + if out { 1e4 } else { 0.0 };
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, rect));
            }
            if cost == 0.0 {
                break;
            }
        }
        if let Some((_, rect)) = best {
            let centre = (0.5 * (rect.left + rect.right), 0.5 * (rect.top + rect.bottom));
            if (centre.1 - y).abs() > 16.0 {
                let end = if centre.1 > y { rect.top } else { rect.bottom };
                canvas
                    .line(&[(x, y), (x.clamp(rect.left, rect.right), end)], Pen { alpha: 0.7, ..Pen::new(ink, 0.5) });
            }
            canvas.text(centre, words, Letters::new(ink, SMALL, Anchor::Middle).with_halo());
            self.keep(rect);
        }
    }
}

/// Where a label may stand relative to its point: half widths across, units down. Nearest first.
fn offsets() -> impl Iterator<Item = (f64, f64)> {
    let heights = [0.0, -7.0, 7.0, -11.0, 11.0, -22.0, 22.0, -34.0, 34.0, -46.0, 46.0];
    heights.into_iter().flat_map(|dy: f64| {
        let sides: &[f64] = if dy.abs() < 10.0 { &[1.0, -1.0] } else { &[0.0, 1.0, -1.0] };
        sides.iter().map(move |&dx| (dx, dy))
    })
}

fn overlap(one: Rect, other: Rect) -> f64 {
    let across = one.right.min(other.right) - one.left.max(other.left);
    let down = one.bottom.min(other.bottom) - one.top.max(other.top);
    across.max(0.0) * down.max(0.0)
}
