//! Every kind of chart with ordinary and with degenerate data, to be looked at.
//!
//! `cargo run --example gallery [FOLDER]` writes one SVG file each and an `index.html` that shows all of them in the
//! light and in the dark theme, at half a page's width. The data are made up.

use navassay::analysis::Rule;
use navassay::analysis::planning::probability_of_pass;
use navassay::report::chart::{
    Against, AgreementLine, AgreementPlot, Alternative, Axis, BandPoint, Characteristic, CovarianceEllipse, Drawn,
    ErrorCurve, Grid, GridCell, Histogram, IntervalRow, Intervals, Joint, Level, Lines, MarkerLayout, OutputRow,
    PlaneNormal, Scene, Series, Tornado, TornadoRow, TwoIntervals, TwoIntervalsRow, Waterfall, WaterfallRow, against,
    against_many, agreement_plot, error_curve, grid, histogram, intervals, joint, lines, marker_layouts,
    operating_characteristic, scene, side_by_side, stylesheet, tornado, two_intervals, waterfall,
};
use rand::SeedableRng;
use rand::rngs::Xoshiro256PlusPlus;
use rand_distr::{Distribution, StandardNormal};
use std::path::PathBuf;
use std::{env, fs, io};

const INCLINATION: Axis = Axis { label: "Inclination error", unit: "deg" };
const ANTEVERSION: Axis = Axis { label: "Anteversion error", unit: "deg" };
const LEG_LENGTH: Axis = Axis { label: "Leg length error", unit: "mm" };

/// Three tools: nearly flat, flat, and with markers that look aside.
const TOOLS: [MarkerLayout; 3] = [
    MarkerLayout {
        name: "Probe",
        markers: &[[-26.0, -18.0, 0.0], [24.0, -24.0, 5.0], [31.0, 20.0, 0.0], [-20.0, 29.0, 4.0]],
        normals: &[[0.0, 0.0, 1.0]; 4],
    },
    MarkerLayout {
        name: "Inserter",
        markers: &[[-28.0, -21.0, 0.0], [22.0, -27.0, 0.0], [29.0, 24.0, 0.0]],
        normals: &[[0.0, 0.0, 1.0]; 3],
    },
    MarkerLayout {
        name: "Head",
        markers: &[[-21.0, -25.0, 0.0], [27.0, -19.0, 4.0], [24.0, 26.0, 0.0], [-29.0, 21.0, 5.0], [0.0, 2.0, 18.0]],
        normals: &[[-0.5, -0.5, 1.0], [0.5, -0.5, 1.0], [0.5, 0.5, 1.0], [-0.5, 0.5, 1.0], [0.0, 0.0, 1.0]],
    },
];

fn main() -> io::Result<()> {
    let folder = env::args_os().nth(1).map_or_else(|| PathBuf::from("reports/gallery"), PathBuf::from);
    fs::create_dir_all(&folder)?;
    let charts: Vec<(String, String)> = [
        errors_of_trials(),
        errors_against_drawn(),
        other_kinds(),
        arms(),
        degenerate(),
        degenerate_rows(),
        degenerate_bars(),
    ]
    .into_iter()
    .flatten()
    .collect();
    for (name, svg) in &charts {
        fs::write(folder.join(name).with_extension("svg"), svg)?;
    }
    fs::write(folder.join("index.html"), page(&charts))?;
    println!("{} charts in {}", charts.len(), folder.display());
    Ok(())
}

fn page(charts: &[(String, String)]) -> String {
    let figure = |(name, svg): &(String, String)| {
        format!("<figure><figcaption>{name}, {} kB</figcaption>{svg}</figure>\n", svg.len() / 1000)
    };
    let shown = charts.iter().map(figure).collect::<Vec<_>>().concat();
    let theme = |name: &str| format!("<section data-theme=\"{name}\">\n{shown}</section>\n");
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n<title>Gallery of charts</title>\n<style>\n{}\
         body{{margin:0;font:13px sans-serif}}\
         section{{display:flex;flex-wrap:wrap;gap:16px;padding:16px;background:var(--chart-paper);color:var(--chart-text)}}\
         figure{{margin:0}}figcaption{{color:var(--chart-muted);margin-bottom:4px}}\n</style>\n{}{}</html>\n",
        stylesheet(),
        theme("light"),
        theme("dark"),
    )
}

fn entry(name: &str, draw: impl FnOnce(Alternative) -> String) -> (String, String) {
    let description = format!("Gallery picture {name}, drawn from made-up data.");
    (name.to_owned(), draw(Alternative { title: name, description: &description }))
}

/// Correlated pairs of errors, one a trial.
fn pairs(trials: usize, scale: f64) -> Vec<[f64; 2]> {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(7);
    let mut normal = || -> f64 { StandardNormal.sample(&mut generator) };
    let pair = |_| {
        let (one, other) = (normal(), normal());
        [scale * (0.3 + 1.1 * one), scale * (-0.5 + 0.8 * one + 1.2 * other)]
    };
    (0..trials).map(pair).collect()
}

fn column(pairs: &[[f64; 2]], which: usize) -> Vec<f64> {
    pairs.iter().map(|pair| pair[which]).collect()
}

/// Empirical quantiles of the absolute error with a rough 95 % band, the same number of ranks up and down (about the
/// Dvoretzky-Kiefer-Wolfowitz inequality).
fn quantiles(errors: &[f64]) -> Vec<BandPoint> {
    let mut sorted: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let point = |(index, &y): (usize, &f64)| {
        let rank = index + 1;
        let margin = (2 * n).isqrt();
        let low = index.checked_sub(margin).map_or(0.0, |below| sorted[below]);
        let high = sorted.get(index + margin).copied().unwrap_or(f64::INFINITY);
        BandPoint { x: rank as f64 / n as f64, y, low, high }
    };
    sorted.iter().enumerate().map(point).collect()
}

fn output(label: &'static str, unit: &'static str, limit: Option<f64>, bias: f64, sd: f64) -> OutputRow<'static> {
    let quantiles = [-1.645, -0.674, 0.0, 0.674, 1.645].map(|score| bias + sd * score);
    OutputRow { label, unit, limit, quantiles, bias }
}

fn trace(half_width: f64, value: f64) -> Vec<BandPoint> {
    let point = |step: i32| {
        let n = 100.0 * f64::from(1_u32 << step);
        let half = half_width / n.sqrt();
        let y = value + half * f64::from((step * 7) % 5 - 2) / 3.0;
        BandPoint { x: n, y, low: y - half, high: y + half }
    };
    (0..=13).map(point).collect()
}

const PELVIS: Scene = Scene {
    asis_left: [0.0, 0.0, -119.0],
    asis_right: [0.0, 0.0, 119.0],
    pubis: [0.0, -88.0, 0.0],
    native_centre: [-35.0, -72.0, 88.0],
    new_centre: [-38.0, -68.0, 84.0],
    carried: Some(("camera", [40.0, 60.0, 150.0])),
    feature: &[],
    planes: &[],
};

fn errors_of_trials() -> Vec<(String, String)> {
    let errors = pairs(20_000, 1.0);
    let (inclination, anteversion) = (column(&errors, 0), column(&errors, 1));
    let outputs = [
        output("Inclination", "deg", Some(3.0), 0.3, 1.1),
        output("Anteversion", "deg", Some(3.0), -0.5, 1.5),
        output("Leg length", "mm", Some(2.0), 0.1, 0.9),
        output("Offset", "mm", Some(2.0), 0.0, 1.3),
        output("Centre superior", "mm", Some(3.0), 0.8, 0.7),
        output("Centre lateral", "mm", None, 0.8, 0.7),
        output("Centre anterior", "mm", None, 0.8, 0.7),
    ];
    let ellipse = CovarianceEllipse { mean: [0.3, -0.5], covariance: [[1.21, 0.88], [0.88, 2.08]], proportion: 0.95 };
    vec![
        entry("histogram", |words| {
            histogram(
                words,
                &Histogram { axis: INCLINATION, errors: &inclination, limit: Some(3.0), bias: Some(0.3) },
            )
        }),
        entry("histogram-wide", |words| {
            histogram(
                words,
                &Histogram { axis: ANTEVERSION, errors: &anteversion, limit: Some(1.5), bias: Some(-0.5) },
            )
        }),
        entry("error-curve", |words| {
            let points = quantiles(&inclination[..500]);
            let data = ErrorCurve {
                axis: Axis { label: "Absolute inclination error", unit: "deg" },
                points: &points,
                limit: Some(3.0),
                required: Some(0.95),
            };
            error_curve(words, &data)
        }),
        entry("error-curve-20000", |words| {
            let points = quantiles(&inclination);
            let axis = Axis { label: "Absolute inclination error", unit: "deg" };
            error_curve(words, &ErrorCurve { axis, points: &points, limit: Some(2.4), required: Some(0.95) })
        }),
        entry("joint", |words| {
            let axes = [INCLINATION, ANTEVERSION];
            joint(words, &Joint { axes, errors: &errors, ellipse: Some(ellipse), limits: [Some(3.0), Some(3.0)] })
        }),
        entry("side-by-side", |words| side_by_side(words, &outputs)),
    ]
}

fn errors_against_drawn() -> Vec<(String, String)> {
    let errors = pairs(20_000, 1.0);
    let (inclination, anteversion) = (column(&errors, 0), column(&errors, 1));
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(11);
    let mut drawn = |mean: f64, sd: f64| -> Vec<f64> {
        (0..20_000).map(|_| -> f64 { StandardNormal.sample(&mut generator) }).map(|score| mean + sd * score).collect()
    };
    let (width, tilt) = (drawn(238.0, 20.0), drawn(-2.0, 7.0));
    let tilted: Vec<f64> = anteversion.iter().zip(&tilt).map(|(error, tilt)| error + 0.02 * tilt * tilt).collect();
    let names = [
        "ASIS width",
        "ASIS to pubis",
        "Pelvic tilt",
        "True inclination",
        "True anteversion",
        "Leg length",
        "Offset",
    ];
    let units = ["mm", "mm", "deg", "deg", "deg", "mm", "mm"];
    let values: Vec<Vec<f64>> = (0..7).map(|which| drawn(10.0 * f64::from(which), 3.0)).collect();
    let many: Vec<Drawn> = (0..7)
        .map(|which| Drawn { axis: Axis { label: names[which], unit: units[which] }, values: &values[which] })
        .collect();
    vec![
        entry("against", |words| {
            let error = Against { axis: ANTEVERSION, errors: &tilted, limit: Some(5.0) };
            against(words, &error, &Drawn { axis: Axis { label: "Pelvic tilt", unit: "deg" }, values: &tilt })
        }),
        entry("against-width", |words| {
            let error = Against { axis: INCLINATION, errors: &inclination, limit: Some(3.0) };
            against(words, &error, &Drawn { axis: Axis { label: "ASIS width", unit: "mm" }, values: &width })
        }),
        entry("against-many", |words| {
            against_many(words, &Against { axis: INCLINATION, errors: &inclination, limit: Some(3.0) }, &many)
        }),
    ]
}

fn other_kinds() -> Vec<(String, String)> {
    let groove: Vec<[f64; 3]> = (0..=36)
        .map(|step| {
            let (sin, cos) = libm::sincos(std::f64::consts::TAU * f64::from(step) / 36.0);
            [-20.0 + 14.0 * sin, -90.0 + 9.0 * cos, 128.0 + 3.0 * sin]
        })
        .collect();
    let planes = [
        PlaneNormal { label: "bony plane", normal: [1.0, 0.0, 0.0] },
        PlaneNormal { label: "level plane", normal: [1.0, -0.14, 0.05] },
    ];
    let rows = [
        IntervalRow { label: "landmarks", point: 0.62, low: 0.58, high: 0.66 },
        IntervalRow { label: "tracker", point: 0.08, low: 0.05, high: 0.11 },
        IntervalRow { label: "cup attachment and run-out", point: 0.21, low: 0.18, high: 0.25 },
        IntervalRow { label: "posture", point: 0.01, low: -0.02, high: 0.03 },
    ];
    let indices = [
        TwoIntervalsRow { label: "landmarks", one: [0.62, 0.55, 0.69], other: [0.66, 0.61, 0.71] },
        TwoIntervalsRow { label: "instruments and their seats", one: [0.2, 0.16, 0.25], other: [0.34, 0.3, 0.39] },
        TwoIntervalsRow { label: "posture", one: [-0.01, -0.04, 0.02], other: [0.001, 0.0, 0.003] },
        TwoIntervalsRow { label: "nothing known", one: [f64::NAN; 3], other: [0.1, f64::NAN, f64::NAN] },
    ];
    let parts = [
        WaterfallRow { label: "landmark.tissue", adds: 3.1 },
        WaterfallRow { label: "landmark.palpation.pubis", adds: 2.4 },
        WaterfallRow { label: "cup.attach", adds: 0.2 },
        WaterfallRow { label: "together", adds: -0.6 },
    ];
    let changes = [
        TornadoRow { label: "landmark.tissue", one: [3.4, 3.1, 3.7], other: [9.6, 9.0, 10.2] },
        TornadoRow { label: "landmark.palpation.pubis", one: [4.4, 4.2, 4.6], other: [7.1, 6.8, 7.4] },
        TornadoRow { label: "cup.attach", one: [5.2, 5.15, 5.23], other: [5.3, 5.2, 5.4] },
    ];
    let half = |x: f64, y: f64| BandPoint { x, y, low: 0.95 * y, high: 1.05 * y };
    let sweeps: Vec<Vec<BandPoint>> = [0.5, 0.9, 0.95, 1.4, 2.0]
        .iter()
        .map(|slope| (0..=8).map(|step| half(0.5 * f64::from(step), 0.6 + slope * 0.5 * f64::from(step))).collect())
        .collect();
    let arms = ["divot", "circle", "ellipse", "three-divots", "level plane"];
    let sweeps: Vec<Series> = arms.iter().zip(&sweeps).map(|(label, points)| Series { label, points }).collect();
    let falling = [0.95, 0.99].map(|confidence| passing(2000, confidence));
    let curves = [
        Series { label: "95 % confidence", points: &falling[0] },
        Series { label: "99 % confidence", points: &falling[1] },
    ];
    let assumed = [20, 50, 90].map(|i| falling[0][i]);
    let (mean_trace, other_trace) = (trace(22.0, 2.4), trace(15.0, 2.1));
    vec![
        entry("marker-layouts", |words| marker_layouts(words, &TOOLS)),
        entry("scene", |words| scene(words, &Scene { feature: &groove, planes: &planes, ..PELVIS })),
        entry("convergence", |words| {
            let series = [Series { label: "", points: &mean_trace }];
            let x = Axis { label: "Trials", unit: "" };
            let y = Axis { label: "95th percentile of the absolute error", unit: "deg" };
            let levels = [Level { value: 3.0, label: "limit" }];
            lines(words, &Lines { x, logarithmic: true, y, series: &series, levels: &levels })
        }),
        entry("convergence-two", |words| {
            let series = [
                Series { label: "bony plane", points: &mean_trace },
                Series { label: "level plane", points: &other_trace },
            ];
            let x = Axis { label: "Trials", unit: "" };
            let y = Axis { label: "95th percentile of the absolute error", unit: "deg" };
            lines(words, &Lines { x, logarithmic: true, y, series: &series, levels: &[] })
        }),
        entry("sweep", |words| {
            let x = Axis { label: "Palpation of the ASIS, anterior, sd", unit: "mm" };
            let levels = [Level { value: 5.0, label: "limit" }];
            lines(words, &Lines { x, logarithmic: false, y: LEG_LENGTH, series: &sweeps, levels: &levels })
        }),
        entry("operating-characteristic", |words| operating_characteristic(words, &characteristic(&curves, &[]))),
        entry("operating-characteristic-one", |words| {
            operating_characteristic(words, &characteristic(&curves[..1], &assumed))
        }),
        entry("two-intervals", |words| {
            let axis = Axis { label: "Share of the variance", unit: "" };
            let names = ["first-order", "total"];
            two_intervals(words, &TwoIntervals { axis, names, rows: &indices, reference: Some((0.0, "nothing")) })
        }),
        entry("waterfall", |words| {
            let axis = Axis { label: "Variance of the error of cup anteversion", unit: "°²" };
            waterfall(words, &Waterfall { axis, rows: &parts, whole: "everything" })
        }),
        entry("tornado", |words| {
            let axis = Axis { label: "95 % of the errors of cup anteversion are within", unit: "deg" };
            let names = ["without the source", "twice the source"];
            tornado(words, &Tornado { axis, middle: 5.2, names, rows: &changes, limit: Some(7.0) })
        }),
        entry("intervals", |words| {
            let axis = Axis { label: "Total share of the variance", unit: "" };
            intervals(words, &Intervals { axis, rows: &rows, reference: Some((0.0, "none at")) })
        }),
    ]
}

/// Probability (%) that the given number of trials shows 95 % within a limit, over the true percentage outside.
fn passing(trials: u64, confidence: f64) -> Vec<BandPoint> {
    let rule = Rule::absolute(1.0, 0.95, confidence);
    let point = |i: u32| {
        let x = 0.05 * f64::from(i);
        let y = 100.0 * probability_of_pass(trials, &rule, 0.01 * x);
        BandPoint { x, y, low: f64::NAN, high: f64::NAN }
    };
    (0..=125).map(point).collect()
}

fn characteristic<'a>(curves: &'a [Series<'a>], assumed: &'a [BandPoint]) -> Characteristic<'a> {
    let (x, y) =
        (Axis { label: "True proportion outside", unit: "%" }, Axis { label: "Probability of a pass", unit: "%" });
    Characteristic { x, y, curves, allowed: 5.0, assumed }
}

fn degenerate() -> Vec<(String, String)> {
    let of = |name: &str, errors: &[f64], limit: f64, bias: Option<f64>| {
        entry(&format!("histogram-{name}"), |words| {
            histogram(words, &Histogram { axis: LEG_LENGTH, errors, limit: Some(limit), bias })
        })
    };
    let scaled = |scale: f64| column(&pairs(2000, scale), 0);
    let mut heavy = scaled(0.3);
    heavy.extend([55.0, -31.0, 44.0]);
    let pair = pairs(5000, 1.0);
    let joint_of = |name: &str, errors: &[[f64; 2]], ellipse: Option<CovarianceEllipse>, limits: [Option<f64>; 2]| {
        entry(&format!("joint-{name}"), |words| {
            joint(words, &Joint { axes: [INCLINATION, LEG_LENGTH], errors, ellipse, limits })
        })
    };
    let curve = |name: &str, errors: &[f64], limit: f64| {
        let points = quantiles(errors);
        entry(&format!("error-curve-{name}"), |words| {
            let axis = Axis { label: "Absolute leg length error", unit: "mm" };
            error_curve(words, &ErrorCurve { axis, points: &points, limit: Some(limit), required: Some(0.95) })
        })
    };
    let against_of = |name: &str, errors: &[f64], values: &[f64], limit: f64| {
        entry(&format!("against-{name}"), |words| {
            let error = Against { axis: LEG_LENGTH, errors, limit: Some(limit) };
            against(words, &error, &Drawn { axis: Axis { label: "ASIS width", unit: "mm" }, values })
        })
    };
    let coin: Vec<f64> = (0..2000).map(|trial| f64::from(trial % 2)).collect();
    vec![
        of("equal", &[0.35; 20], 3.0, Some(0.35)),
        of("zero", &[0.0; 20], 3.0, Some(0.0)),
        of("one", &[0.35], 3.0, Some(0.35)),
        of("none", &[], 3.0, None),
        of("failed", &[f64::NAN; 20], 3.0, None),
        of("tiny", &scaled(1e-9), 3.0, Some(0.3e-9)),
        of("huge", &scaled(1e9), 3.0, Some(0.3e9)),
        of("far-limit", &scaled(0.01), 3.0, Some(0.003)),
        of("near-limit", &scaled(1.0), 0.05, Some(0.3)),
        of("heavy-tail", &heavy, 3.0, Some(0.1)),
        joint_of("none", &[], None, [Some(3.0), Some(3.0)]),
        joint_of("one", &[[0.2, 0.4]], None, [Some(3.0), None]),
        joint_of("far-limit", &pair, None, [Some(50.0), Some(3.0)]),
        joint_of("different-limits", &pair, None, [Some(5.0), Some(3.0)]),
        joint_of("equal", &[[0.2, 0.4]; 9], None, [None, None]),
        curve("none", &[], 3.0),
        curve("one", &[0.7], 3.0),
        curve("equal", &[0.7; 100], 3.0),
        curve("far-limit", &scaled(0.01), 3.0),
        curve("heavy-tail", &heavy, 3.0),
        against_of("none", &[], &[], 3.0),
        against_of("one", &[0.7], &[238.0], 3.0),
        against_of("never-varied", &scaled(1.0), &[238.0; 2000], 3.0),
        against_of("two-values", &scaled(1.0), &coin, 30.0),
    ]
}

/// Two readings of the same trials, and which arm is better where.
fn arms() -> Vec<(String, String)> {
    let axes =
        (Axis { label: "Mean of both readings", unit: "deg" }, Axis { label: "bony minus level", unit: "deg" });
    let line = |label, value: f64, half: f64| AgreementLine { label, value, interval: [value - half, value + half] };
    let lines = [line("lower limit", -2.9, 0.3), line("mean", -0.2, 0.15), line("upper limit", 2.5, 0.3)];
    let agreement = |pairs: &[[f64; 2]], lines: &[AgreementLine], words: Alternative| {
        agreement_plot(words, &AgreementPlot { x: axes.0, y: axes.1, pairs, lines })
    };
    let names = |words: &[&str]| -> Vec<String> { words.iter().map(|&word| word.to_owned()).collect() };
    let cell = |hue: usize, sure: bool| {
        let words = ["A", "B", "C"][hue].to_owned();
        Some(GridCell { hue, depth: if sure { 1.0 } else { 0.3 }, words, marked: sure })
    };
    let cells = vec![
        vec![cell(0, true), cell(0, false), cell(1, true), cell(1, true)],
        vec![cell(0, true), cell(2, true), cell(2, false), None],
    ];
    vec![
        entry("agreement", |words| agreement(&pairs(3000, 1.0), &lines, words)),
        entry("agreement-few", |words| agreement(&pairs(12, 1.0), &lines, words)),
        entry("agreement-none", |words| agreement(&[], &[], words)),
        entry("agreement-equal", |words| agreement(&[[1.0, 0.0]; 9], &[line("mean", 0.0, 0.0)], words)),
        entry("grid", |words| {
            let notes = names(&["A: bony", "B: level", "C: template", "Dot: surely better."]);
            let (columns, rows) = (names(&["1.0", "2.0", "4.0", "6.4"]), names(&["pubis_mm 2.0", "pubis_mm 10.0"]));
            grid(
                words,
                &Grid {
                    columns_are: "anatomy.tilt_deg.normal.sd",
                    columns: &columns,
                    rows: &rows,
                    cells: &cells,
                    notes: &notes,
                },
            )
        }),
        entry("grid-none", |words| {
            grid(words, &Grid { columns_are: "rank", columns: &[], rows: &[], cells: &[], notes: &[] })
        }),
    ]
}

fn degenerate_rows() -> Vec<(String, String)> {
    let open = [
        IntervalRow { label: "open upwards", point: 2.0, low: 1.0, high: f64::INFINITY },
        IntervalRow { label: "no interval", point: 1.5, low: f64::NAN, high: f64::NAN },
        IntervalRow { label: "no value", point: f64::NAN, low: f64::NAN, high: f64::NAN },
        IntervalRow { label: "a name that is far too long for its room", point: 3.0, low: 2.5, high: 3.5 },
    ];
    let failed =
        OutputRow { quantiles: [f64::NAN; 5], bias: f64::NAN, ..output("Offset", "mm", Some(2.0), 0.0, 1.0) };
    vec![
        entry("side-by-side-failed", |words| {
            let rows = [
                output("Leg length", "mm", Some(0.1), 0.4, 1.0),
                failed,
                output("Inclination", "deg", Some(3.0), 0.0, 0.0),
            ];
            side_by_side(words, &rows)
        }),
        entry("side-by-side-no-limits", |words| side_by_side(words, &[output("Offset", "mm", None, 0.0, 1.0)])),
        entry("intervals-open", |words| {
            let axis = Axis { label: "Bound of the error", unit: "mm" };
            intervals(words, &Intervals { axis, rows: &open, reference: Some((30.0, "limit")) })
        }),
        entry("intervals-none", |words| {
            intervals(words, &Intervals { axis: LEG_LENGTH, rows: &[], reference: None })
        }),
        entry("lines-none", |words| {
            let x = Axis { label: "Trials", unit: "" };
            lines(words, &Lines { x, logarithmic: true, y: LEG_LENGTH, series: &[], levels: &[] })
        }),
        entry("lines-one-point", |words| {
            let points = [BandPoint { x: 1000.0, y: 1.0, low: 0.5, high: 1.5 }];
            let series = [Series { label: "bony plane", points: &points }];
            let x = Axis { label: "Trials", unit: "" };
            lines(
                words,
                &Lines {
                    x,
                    logarithmic: true,
                    y: LEG_LENGTH,
                    series: &series,
                    levels: &[Level { value: 300.0, label: "limit" }],
                },
            )
        }),
        entry("against-many-none", |words| {
            against_many(words, &Against { axis: LEG_LENGTH, errors: &[], limit: None }, &[])
        }),
        entry("scene-small", |words| scene(words, &Scene { carried: None, ..PELVIS })),
    ]
}

fn degenerate_bars() -> Vec<(String, String)> {
    let variance = Axis { label: "Variance of the error of cup anteversion", unit: "°²" };
    let quantile = Axis { label: "95 % of the errors of cup anteversion are within", unit: "deg" };
    let share = Axis { label: "Share of the variance", unit: "" };
    let falls = |name: &str, rows: &[WaterfallRow]| {
        entry(&format!("waterfall-{name}"), |words| {
            waterfall(words, &Waterfall { axis: variance, rows, whole: "everything" })
        })
    };
    let turns = |name: &str, middle: f64, rows: &[TornadoRow], limit: Option<f64>| {
        entry(&format!("tornado-{name}"), |words| {
            let names = ["without the source", "twice the source"];
            tornado(words, &Tornado { axis: quantile, middle, names, rows, limit })
        })
    };
    let shares = |name: &str, rows: &[TwoIntervalsRow]| {
        entry(&format!("two-intervals-{name}"), |words| {
            let names = ["first-order", "total"];
            two_intervals(words, &TwoIntervals { axis: share, names, rows, reference: Some((0.0, "nothing")) })
        })
    };
    let marker = |name: &str, markers: &[[f64; 3]]| {
        let normals = vec![[0.0, 0.0, 1.0]; markers.len()];
        entry(&format!("marker-layouts-{name}"), |words| {
            marker_layouts(words, &[MarkerLayout { name: "Probe", markers, normals: &normals }])
        })
    };
    let region = [[0.0, 2.4], [1.0, 2.1], [1.9, 1.2], [2.6, 0.0]];
    let rim = |part: f64| region.map(|[x, y]| BandPoint { x: part * x, y: part * y, low: f64::NAN, high: f64::NAN });
    let (limit, assured) = (rim(1.0), rim(0.9));
    vec![
        falls("one", &[WaterfallRow { label: "landmark.tissue", adds: 1.0 }]),
        falls(
            "less-together",
            &[
                WaterfallRow { label: "landmark.palpation.asis", adds: 3.0 },
                WaterfallRow { label: "landmark.tissue", adds: 2.0 },
                WaterfallRow { label: "together", adds: -1.5 },
            ],
        ),
        falls("nothing", &[WaterfallRow { label: "together", adds: 0.0 }]),
        turns("none", 0.0, &[], None),
        turns(
            "one-side",
            5.0,
            &[TornadoRow { label: "cup.runout", one: [5.0, 5.0, 5.0], other: [9.0, f64::NAN, f64::NAN] }],
            Some(40.0),
        ),
        shares("none", &[]),
        shares(
            "no-intervals",
            &[
                TwoIntervalsRow {
                    label: "palpation",
                    one: [0.4, f64::NAN, f64::NAN],
                    other: [0.4, f64::NAN, f64::NAN],
                },
                TwoIntervalsRow { label: "below zero", one: [-0.02, -0.1, 0.05], other: [f64::NAN; 3] },
            ],
        ),
        marker("three", &[[-20.0, 0.0, 0.0], [20.0, 0.0, 0.0], [0.0, 30.0, 0.0]]),
        marker("tiny", &[[-0.2, 0.0, 0.0], [0.2, 0.0, 0.0], [0.0, 0.3, 0.1]]),
        entry("region", |words| {
            let x = Axis { label: "Scale of palpation", unit: "" };
            let y = Axis { label: "Scale of landmark.tissue", unit: "" };
            let series = [Series { label: "limit", points: &limit }, Series { label: "assured", points: &assured }];
            lines(words, &Lines { x, logarithmic: false, y, series: &series, levels: &[] })
        }),
    ]
}
