//! A run folder of made-up trials, to measure how long the assessment of a large run takes and how much memory.
//!
//! `cargo run --release --example large_run FOLDER [TRIALS]`, then `navassay assess FOLDER` under a clock. Errors are made up,
//! nothing is simulated; ten million trials take about 1 GB.

use navassay::experiment::Plan;
use navassay::record::{Block, Diagnostics, Origin, PartId, Row, Schema, TRIALS_IN_A_PART, write_part};
use navassay::trial::{RunFolder, TrialRunner};
use rand::SeedableRng;
use rand::rngs::Xoshiro256PlusPlus;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use std::error::Error;
use std::path::PathBuf;

const EXPERIMENT: &str = "seed = 1\n[[requirement]]\nid = \"A\"\ntext = \"Made up.\"\noutput = \"inclination\"\n\
                          limit_deg = 3\nproportion = 0.95\nconfidence = 0.95\n";

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments.next().map(PathBuf::from).ok_or("name a folder")?;
    let trials: u64 = arguments.next().map_or(Ok(10_000_000), |trials| trials.parse())?;
    let mut plan = Plan::parse("large.toml", EXPERIMENT)?;
    plan.set_trials(trials)?;
    let open = RunFolder::open(&folder, &plan, false)?;
    let schema = TrialRunner::new(&plan.variants[0], plan.seed).schema();
    (0..trials.div_ceil(TRIALS_IN_A_PART)).into_par_iter().try_for_each(|part| {
        let id = PartId { variant: 0, part };
        let block = made_up(schema, id.first_trial()..trials.min(id.first_trial() + TRIALS_IN_A_PART));
        write_part(&open.parts(), id, Origin { arm: "base", point: 0, replicate: 0 }, &block)
    })?;
    Ok(())
}

/// Normal errors of standard deviation 1, to a thousandth so that they take less room.
fn made_up(schema: Schema, trials: std::ops::Range<u64>) -> Block {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(trials.start);
    let mut block = Block::with_capacity(schema, 0);
    let [anatomy, implant, lost] =
        [schema.anatomy.len(), schema.implant.len(), schema.lost.len()].map(|values| vec![1.0; values]);
    for trial in trials {
        let read = [(); 7].map(|()| {
            let error: f64 = StandardNormal.sample(&mut random);
            Some(40.0 + (1000.0 * error).round() / 1024.0)
        });
        block.push(&Row {
            trial,
            device: trial,
            case: trial,
            repeat: 0,
            reduction: 0,
            failure: None,
            anatomy: &anatomy,
            implant: &implant,
            lost: &lost,
            truth: [40.0; 7],
            read,
            diagnostics: Diagnostics {
                pose_rms_mm: 0.0,
                tip_pivot_rms_mm: 0.0,
                centre_native_rms_mm: 0.0,
                centre_new_rms_mm: 0.0,
                feature_baseline_rms_mm: 0.0,
                feature_reduction_rms_mm: 0.0,
                largest_gap_deg: 0.0,
                retries: 0,
            },
        });
    }
    block
}
