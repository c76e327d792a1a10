//! Every kernel of the trial loop by itself: `cargo bench --bench kernels`. Input is what one simulated case gives it.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use navassay::experiment::{Plan, Variant};
use navassay::geometry::lanes::LANES;
use navassay::geometry::{Point, Pose, TracedPoints, fit_circle, fit_ellipse, fit_pivot};
use navassay::measurement::{Camera, Feature, Observations, Sightings, Step, Tracker, Workspace};
use navassay::simulation::{CaseKey, MarkerNoise, Memory, PoseResponse, Simulator, StreamKey};
use std::hint::black_box;

const KEY: CaseKey = CaseKey { seed: 1, device: 0, case: 0, repeat: 0 };

/// A variant of the defaults with another camera.
fn variant(camera: &str) -> Variant {
    let plan =
        Plan::parse("bench", &format!("seed = 1\n[camera]\n{camera}")).unwrap_or_else(|error| panic!("{error:?}"));
    plan.variants.into_iter().next().unwrap_or_else(|| panic!("a plan has a variant"))
}

fn simulator(variant: &Variant) -> Simulator {
    Simulator::new(variant.model.clone(), &variant.procedure)
}

fn observed(variant: &Variant) -> Observations {
    let mut memory = Memory::default();
    let _ = simulator(variant).observe(&KEY, &mut memory, &mut |_| true);
    memory.observed
}

/// Poses of the first capture of a step.
fn poses(variant: &Variant, step: Step) -> Vec<Pose<Tracker, Camera>> {
    let observed = observed(variant);
    let capture = observed.captures.iter().position(|capture| capture.step == step);
    let poses = variant.procedure.poses(&observed, &mut Workspace::default());
    capture.and_then(|capture| poses.into_iter().nth(capture)).and_then(Result::ok).unwrap_or_default()
}

fn kernels(criterion: &mut Criterion) {
    let marker = variant("model = \"marker\"\n");
    let instruments = &marker.procedure.instruments;
    let Some(trackers) = &instruments.trackers else { return };

    let key = StreamKey { seed: 1, replicate: 0, source: 0, device: 0, case: 0, capture: 0 };
    let mut drawn = vec![0.0; 1000];
    let mut group = criterion.benchmark_group("kernels");
    group.throughput(Throughput::Elements(1000)).bench_function("1000 scores", |bencher| {
        bencher.iter(|| {
            key.open().fill(&mut drawn);
            drawn[999]
        });
    });

    // The tip pivot comes first: its markers lead.
    let Sightings::Markers(markers) = observed(&marker).sightings else { return };
    let frames = marker.model.protocol.tip_pivot_frames;
    let markers = &markers[..frames * trackers.probe.len()];
    group.throughput(Throughput::Elements(frames as u64)).bench_function(
        "rigid fit, a frame of 4 markers",
        |bencher| {
            bencher.iter(|| {
                let mut sum = 0.0;
                trackers
                    .probe
                    .fit_frames(black_box(markers), |fit| sum += fit.map_or(0.0, |fit| fit.residual_rms_mm));
                sum
            });
        },
    );

    let pivoted = poses(&marker, Step::TipPivot);
    group.throughput(Throughput::Elements(1)).bench_function("pivot of 60 poses", |bencher| {
        bencher.iter(|| fit_pivot(black_box(&pivoted)));
    });
    let Ok(tip) = fit_pivot(&pivoted) else { return };

    let drawn: Vec<Point<Tracker>> = trackers.probe.points().collect();
    let response = PoseResponse::of(&drawn);
    let views: [Point<Tracker>; LANES] = std::array::from_fn(|view| pivoted[view].inverse().origin);
    let noise = MarkerNoise { across_mm: 0.08, along_mm: 0.24 };
    group.throughput(Throughput::Elements(LANES as u64)).bench_function("covariance of a pose, by view", |bencher| {
        bencher.iter(|| response.factors(black_box(views), noise));
    });
    group.throughput(Throughput::Elements(1));

    let trace: Vec<Point<Camera>> =
        poses(&marker, Step::FemurBaseline).iter().map(|&pose| pose * tip.in_tool).collect();
    let mut memory = TracedPoints::default();
    group.bench_function("ellipse of 60 points", |bencher| {
        bencher.iter(|| fit_ellipse::<Feature, Camera>(black_box(&trace), instruments.ellipse, &mut memory));
    });
    group.bench_function("circle of 60 points", |bencher| bencher.iter(|| fit_circle(black_box(&trace))));

    let place =
        "position_mm = [380.0, 260.0, -40.0]\naim_mm = [150.0, 20.0, 40.0]\nmodel = \"pixel\"\n[camera.pixel]\n";
    for cameras in [1, 2] {
        let pixel = variant(&format!("{place}cameras = {cameras}\n"));
        let (Some(seen), Sightings::Images(images)) =
            (&pixel.procedure.instruments.cameras, observed(&pixel).sightings)
        else {
            return;
        };
        let frame = cameras * trackers.probe.len();
        let mut triangulated = Vec::new();
        group.throughput(Throughput::Elements(frames as u64)).bench_function(
            format!("pose from 4 images, {cameras} cameras"),
            |bencher| {
                bencher.iter(|| {
                    let fits = images[..frames * frame].chunks(frame);
                    fits.filter(|frame| seen.rig.fit(&trackers.probe, frame, &mut triangulated).is_ok()).count()
                });
            },
        );
    }

    group.throughput(Throughput::Elements(1));
    for model in ["marker", "pose"] {
        let variant = variant(&format!("model = \"{model}\"\n"));
        let (simulator, mut memory) = (simulator(&variant), Memory::default());
        group.bench_function(format!("a case simulated, {model}"), |bencher| {
            bencher.iter(|| {
                let truth = simulator.observe(black_box(&KEY), &mut memory, &mut |_| true).unseal();
                memory.reclaim(truth);
            });
        });
        let (observed, mut workspace) = (observed(&variant), Workspace::default());
        group.bench_function(format!("a case measured, {model}"), |bencher| {
            bencher.iter(|| {
                let estimates = variant.procedure.measure(black_box(&observed), &mut workspace);
                workspace.reclaim(estimates);
            });
        });
    }
    group.finish();
}

criterion_group!(benches, kernels);
criterion_main!(benches);
