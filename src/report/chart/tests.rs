use super::*;

const WORDS: Alternative = Alternative { title: "A <title>", description: "What it shows & why." };
const X: Axis = Axis { label: "Error", unit: "deg" };
const Y: Axis = Axis { label: "Other error", unit: "mm" };

/// Data that charts meet when all is well and when it is not.
fn inputs() -> Vec<Vec<f64>> {
    let wave = |count: i32, scale: f64| -> Vec<f64> {
        (0..count).map(|i| scale * (libm::sin(f64::from(i) * 0.7) + 0.3 * libm::sin(f64::from(i) * 0.013))).collect()
    };
    let mut one_far = wave(2000, 1.0);
    one_far.push(1e9);
    vec![
        wave(20_000, 1.0),
        Vec::new(),
        vec![0.25],
        vec![0.25; 20],
        vec![0.0; 20],
        vec![-0.0; 20],
        vec![f64::NAN; 20],
        vec![f64::INFINITY, f64::NEG_INFINITY, 1.0, f64::NAN],
        vec![1.0, 1.0 + 1e-12],
        vec![1e6, 1e6 + 1e-3],
        vec![f64::MIN_POSITIVE, 5e-324, 0.0],
        vec![f64::MAX, f64::MIN],
        vec![1e100, -1e100, 0.0],
        wave(2000, 1e-12),
        wave(2000, 1e12),
        one_far,
    ]
}

fn limits() -> [Option<f64>; 9] {
    [None, Some(3.0), Some(0.0), Some(-1.0), Some(1e-9), Some(1e9), Some(f64::NAN), Some(f64::INFINITY), Some(1e-320)]
}

fn band(values: &[f64]) -> Vec<BandPoint> {
    let n = values.len() as f64;
    let point = |(i, &y): (usize, &f64)| {
        let (low, high) = match i % 4 {
            0 => (f64::NEG_INFINITY, f64::INFINITY),
            1 => (f64::NAN, f64::NAN),
            _ => (y - 0.1, y + 0.1),
        };
        BandPoint { x: (i as f64 + 1.0) / n, y, low, high }
    };
    values.iter().enumerate().map(point).collect()
}

/// Every kind of chart drawn from one set of values and one limit.
fn every_kind(values: &[f64], limit: Option<f64>) -> Vec<(&'static str, String)> {
    let first = values.first().copied();
    let mean = first.unwrap_or(f64::NAN);
    let pairs: Vec<[f64; 2]> = values.iter().zip(values.iter().rev()).map(|(&x, &y)| [x, y]).collect();
    let ellipse = CovarianceEllipse { mean: [mean, mean], covariance: [[mean, 0.0], [0.0, mean]], proportion: 0.95 };
    let points = band(values);
    let shifted: Vec<f64> = values.iter().rev().copied().collect();
    let error = Against { axis: X, errors: values, limit };
    let drawn = Drawn { axis: Y, values: &shifted };
    let output = |label| OutputRow { label, unit: "mm", limit, quantiles: [mean; 5], bias: mean };
    let wide = OutputRow { quantiles: [-1.0, -0.5, 0.0, 0.5, mean], ..output("wide & <long>") };
    let rows: Vec<IntervalRow> = points
        .iter()
        .take(5)
        .map(|point| IntervalRow {
            label: "a row with a rather long name",
            point: point.y,
            low: point.low,
            high: point.high,
        })
        .collect();
    let series = [Series { label: "one", points: &points }, Series { label: "another", points: &points }];
    let levels = limit.map(|value| Level { value, label: "limit" });
    let levels: Vec<Level> = levels.into_iter().collect();
    let line = |logarithmic| Lines { x: X, logarithmic, y: Y, series: &series, levels: &levels };
    let place = [mean, first.unwrap_or(0.0), 1.0];
    let planes = [PlaneNormal { label: "bony plane", normal: place }];
    let pelvis = Scene {
        asis_left: [0.0, 0.0, -119.0],
        asis_right: place,
        pubis: [0.0, -88.0, 0.0],
        native_centre: place,
        new_centre: place,
        carried: Some(("camera", place)),
        feature: &[place, [0.0, 0.0, 0.0], place],
        planes: &planes,
    };
    let markers = [place, [0.0, 0.0, 0.0], [mean, 1.0, -2.0]];
    let layout = |name| MarkerLayout { name, markers: &markers, normals: &markers };
    vec![
        ("layouts", marker_layouts(WORDS, &[layout("one"), layout("another"), layout("a third & <last>")])),
        ("histogram", histogram(WORDS, &Histogram { axis: X, errors: values, limit, bias: first })),
        ("curve", error_curve(WORDS, &ErrorCurve { axis: X, points: &points, limit, required: Some(0.95) })),
        (
            "joint",
            joint(WORDS, &Joint { axes: [X, Y], errors: &pairs, ellipse: Some(ellipse), limits: [limit, None] }),
        ),
        ("joint", joint(WORDS, &Joint { axes: [X, X], errors: &pairs, ellipse: None, limits: [limit, Some(1.0)] })),
        ("outputs", side_by_side(WORDS, &[output("one"), wide])),
        ("against", against(WORDS, &error, &drawn)),
        ("against many", against_many(WORDS, &error, &[drawn; 9])),
        ("scene", scene(WORDS, &pelvis)),
        ("lines", lines(WORDS, &line(false))),
        ("lines, logarithmic", lines(WORDS, &line(true))),
        (
            "characteristic",
            operating_characteristic(
                WORDS,
                &Characteristic {
                    x: X,
                    y: Y,
                    curves: &series,
                    allowed: limit.unwrap_or(f64::NAN),
                    assumed: &points[..points.len().min(3)],
                },
            ),
        ),
        ("intervals", intervals(WORDS, &Intervals { axis: X, rows: &rows, reference: limit.map(|v| (v, "limit")) })),
    ]
}

#[test]
fn identity_every_kind_draws_every_input() {
    for values in inputs() {
        for limit in limits() {
            for (kind, svg) in every_kind(&values, limit) {
                let case = format!("{kind}, {} values from {:?}, limit {limit:?}", values.len(), values.first());
                assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"), "{case}");
                assert!(svg.contains("role=\"img\""), "{case}");
                assert!(
                    svg.contains("<title>A &lt;title&gt;</title>\n<desc>What it shows &amp; why.</desc>"),
                    "{case}"
                );
                // No negative zero, neither in a number nor in print.
                for zero in ["\"-0\"", ">-0<", "-0,", ",-0 ", "\u{2212}0<", "\u{2212}0\u{a0}", "\u{2212}0°"] {
                    assert!(!svg.contains(zero), "{case}: {zero}");
                }
                for bad in ["NaN", "inf", "Inf", " id=", "#A0", "#A1", "#A2", "#A3", "#A4", "#A5", "#A6", "#A7"] {
                    assert!(!svg.contains(bad), "{case}: {bad}");
                }
                assert!(svg.len() < 150_000, "{case}: {} bytes", svg.len());
            }
        }
    }
}

#[test]
fn identity_the_same_data_give_the_same_bytes() {
    for values in inputs() {
        assert_eq!(every_kind(&values, Some(3.0)), every_kind(&values, Some(3.0)));
    }
}

/// Coordinates stay on the canvas, so nothing is cut at its rim.
#[test]
fn identity_everything_lies_on_the_canvas() {
    for values in inputs() {
        for (kind, svg) in every_kind(&values, Some(3.0)) {
            let attribute = |text: &str, name: &str| -> Vec<String> {
                text.split(&format!(" {name}=\""))
                    .skip(1)
                    .filter_map(|rest| rest.split('"').next().map(str::to_owned))
                    .collect()
            };
            let size: Vec<f64> =
                attribute(&svg, "viewBox")[0].split(' ').skip(2).filter_map(|number| number.parse().ok()).collect();
            let inside = |number: &str, most: f64| {
                let number: f64 = number.parse().unwrap();
                assert!(
                    (0.0..=most).contains(&number),
                    "{kind}: {number} of {most}, values from {:?}",
                    values.first()
                );
            };
            for name in ["x", "cx"] {
                for number in attribute(&svg, name) {
                    inside(&number, size[0]);
                }
            }
            for name in ["y", "cy"] {
                for number in attribute(&svg, name) {
                    inside(&number, size[1]);
                }
            }
            for (x, y) in
                attribute(&svg, "points").iter().flat_map(|all| all.split(' ')).filter_map(|p| p.split_once(','))
            {
                inside(x, size[0]);
                inside(y, size[1]);
            }
        }
    }
}

/// Words, as estimated, end before the rim of the canvas.
#[test]
fn identity_words_end_on_the_canvas() {
    for (kind, svg) in every_kind(&inputs()[0], Some(3.0)) {
        let width: f64 = svg.split("viewBox=\"0 0 ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
        for text in svg.split("<text ").skip(1) {
            let (attributes, rest) = text.split_once('>').unwrap();
            let words =
                rest.split('<').next().unwrap().replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&");
            let value = |name: &str| -> Option<f64> {
                format!(" {attributes}").split(&format!(" {name}=\"")).nth(1)?.split('"').next()?.parse().ok()
            };
            let (x, size) = (value("x").unwrap(), value("font-size").unwrap());
            let length = words::width(&words, size);
            let start = match attributes {
                a if a.contains("\"middle\"") => x - 0.5 * length,
                a if a.contains("\"end\"") => x - length,
                _ => x,
            };
            assert!(
                start >= -1.0 && start + length <= width + 1.0,
                "{kind}: {words} from {start} over {length} of {width}"
            );
        }
    }
}

#[test]
fn identity_pictures_say_what_is_the_case() {
    let histogram_of =
        |errors: &[f64]| histogram(WORDS, &Histogram { axis: X, errors, limit: Some(3.0), bias: None });
    assert!(histogram_of(&[]).contains("no values to draw"));
    assert!(histogram_of(&[f64::NAN; 7]).contains("7 without a value"));
    assert!(histogram_of(&[0.35; 20]).contains("n\u{a0}=\u{a0}20; all equal 0.35°"));
    assert!(histogram_of(&[0.35]).contains("n\u{a0}=\u{a0}1; value 0.35°"));
    let unlimited = OutputRow { label: "Offset", unit: "mm", limit: None, quantiles: [0.0; 5], bias: 0.0 };
    assert!(side_by_side(WORDS, &[unlimited]).contains("Without a limit, not drawn: Offset."));
}

#[test]
fn identity_colours_follow_the_page_or_stand_written_out() {
    let svg = every_kind(&inputs()[0], Some(3.0)).into_iter().map(|chart| chart.1).collect::<String>();
    assert!(svg.contains("fill=\"var(--chart-text,#1f1f1f)\""));
    let plain = with_plain_colours(&svg);
    assert!(!plain.contains("var(") && plain.contains("fill=\"#1f1f1f\""));
    for property in svg.split("var(").skip(1).filter_map(|rest| rest.split(',').next()) {
        assert!(stylesheet().contains(&format!("{property}:")), "{property}");
    }
}
