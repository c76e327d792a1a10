//! `navassay verify`: a run that is what its plan, its seed and the program make, and runs that somebody has forged.

use crate::command_line::{Bench, SMALL};
use navassay::experiment::Plan;
use navassay::record::{Block, Origin, PartId, sums, write_part};
use navassay::trial::{TrialRunner, Worker};
use std::collections::BTreeMap;
use std::path::Path;

const TRIALS: u64 = 40;

/// Two arms, a study of cells of its own, and recorded cases that it is held against.
fn text() -> String {
    let set = "\"measure.plane\" = \"level\", \"measure.measurand_plane\" = \"bony\"";
    let arms = format!("[[arm]]\nname = \"bony\"\n[[arm]]\nname = \"level\"\nset = {{ {set} }}\n");
    let report = "[report]\nbench = \"recorded/replay.toml\"\n";
    format!("{}{report}{arms}", SMALL.replace("trials = 300", &format!("trials = {TRIALS}")))
}

fn bench_with_a_run() -> Bench {
    let bench = Bench::new();
    bench.run(&["trial", "small.toml", "0", "--to", "9", "--seed", "6", "--record", "recorded"]).with(0);
    bench.write("held.toml", &text());
    let ran = bench.run(&["run", "held.toml", "--out", "run"]);
    assert!(ran.said.contains(&fingerprint(&bench)), "{ran:?}");
    bench
}

fn fingerprint(bench: &Bench) -> String {
    sums::sum(&bench.path("run/SHA256SUMS")).expect("the checksums")
}

/// Every file below a folder, with its bytes.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.insert(path.display().to_string(), std::fs::read(&path).expect("a file"));
        }
    }
    found
}

#[test]
fn identity_a_run_is_verified_and_left_as_it_is() {
    let bench = bench_with_a_run();
    let before = files(&bench.path("run"));
    let fingerprint = fingerprint(&bench);
    let verified = bench.run(&["verify", "run", "--sample", "10", "--sample-seed", "3"]).with(0);
    for words in [
        "checksums",
        "run.json made again",
        "parts       2 files whole and of this run",
        "80 rows: error = reading - truth",
        "10 of 40 trials of each variant simulated again",
        "studies/definitional-",
        "--sample-seed 3 draws the same trials",
        "everything is what plan, seed and program make",
        &format!("fingerprint {fingerprint} "),
    ] {
        assert!(verified.said.contains(words), "{words}: {}", verified.said);
    }
    // C(40 - 13, 10) / C(40, 10) = 0.00995, the first below 0.01 (13 of 40 are 0.325).
    assert!(verified.said.contains("99 % probability from a share of 0.33"), "{}", verified.said);
    let all = bench.run(&["verify", "run", "--all", "--fingerprint", &fingerprint.to_uppercase()]).with(0);
    assert!(all.said.contains("40 of 40 trials") && all.said.contains("any forged trial is found"), "{}", all.said);
    let other = bench.run(&["verify", "run", "--fingerprint", &"0".repeat(64)]).with(1);
    assert!(other.said.contains(&format!("the fingerprint is {fingerprint}, expected 0000")), "{}", other.said);
    assert!(files(&bench.path("run")) == before, "nothing is written into the folder");
    for wrong in [&["verify", "absent"][..], &["verify", "run", "--fingerprint", "12"], &["verify", "recorded"]] {
        bench.run(wrong).with(2);
    }
}

/// Each forger knows how checksums and digests are made.
#[test]
fn identity_five_kinds_of_forged_numbers_are_found() {
    let bench = bench_with_a_run();
    let run = bench.path("run");
    let (whole, sealed) = (files(&run), std::fs::read_to_string(run.join("SHA256SUMS")).expect("the checksums"));
    let changed = |name: &str, from: &str, to: &str| {
        let text = std::fs::read_to_string(run.join(name)).expect("a text");
        assert!(text.contains(from), "{name}: {from}");
        std::fs::write(run.join(name), text.replace(from, to)).expect("room for a text");
    };
    let plan = Plan::parse("held.toml", &text()).expect("a sound experiment");
    let part = |seed: u64, scale: f64| {
        let mut variant = plan.variants[0].clone();
        for (source, switch) in variant.model.noise.switches() {
            if source.id.starts_with("landmark") {
                switch.scale *= scale;
            }
        }
        let runner = TrialRunner::new(&variant, seed);
        let mut rows = Block::with_capacity(runner.schema(), 0);
        (0..TRIALS).for_each(|trial| runner.trial(trial, &mut Worker::default(), &mut rows));
        let hash = plan.simulation_hash();
        let origin = Origin { simulation_hash: &hash, seed: plan.seed, arm: "bony", point: 0, replicate: 0 };
        write_part(&run.join("parts"), PartId { variant: 0, part: 0 }, origin, &rows).expect("room for a part");
    };
    // Readings, scaled in whole; truth, of another patient; a cell of a table; a chart; a limit; a recorded frame.
    let readings = || part(plan.seed, 0.4);
    let truth = || part(plan.seed + 1, 1.0);
    let table = || changed("tables/summary.csv", "bony,0,inclination,deg", "bony,0,inclination,mm");
    let charts = std::fs::read_dir(run.join("charts")).expect("charts");
    let one = charts.map(|chart| chart.expect("an entry").file_name().to_string_lossy().into_owned()).min();
    let picture = format!("charts/{}", one.expect("a chart"));
    let chart = || changed(&picture, "</svg>", "<circle r=\"4\"/></svg>");
    let limit = || changed("run.json", "limit_deg = 30.0", "limit_deg = 40.0");
    let record = || changed("run.json", "\"limit\": 30.0", "\"limit\": 40.0");
    let recorded = || {
        let text = std::fs::read_to_string(run.join("bench/truth.csv")).expect("the truth");
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        let (row, _) = lines[1].rsplit_once(',').expect("columns");
        lines[1] = format!("{row},0.5");
        std::fs::write(run.join("bench/truth.csv"), lines.join("\n")).expect("room for a text");
    };
    let forgeries: [(&str, &str, &dyn Fn()); 7] = [
        ("readings", "parts/0000-000000.parquet: trial", &readings),
        ("truth", "parts/0000-000000.parquet: trial", &truth),
        ("table", "tables/summary.csv", &table),
        ("chart", &picture, &chart),
        ("limit", "run.json", &limit),
        ("record", "run.json", &record),
        ("bench", "tables/validation.csv", &recorded),
    ];
    for (what, words, forge) in forgeries {
        forge();
        sums::write_sums(&run, &[]).expect("room for checksums");
        let found = bench.run(&["verify", "run", "--all"]).with(1);
        let wrong = found.said.split("found wrong").nth(1).unwrap_or_default();
        assert!(wrong.contains(words), "{what}: {}", found.said);
        if what == "truth" {
            // The truth of every row is made again, whichever trials are simulated again.
            let found = bench.run(&["verify", "run", "--sample", "1"]).with(1);
            assert!(found.said.contains("anatomy_"), "{}", found.said);
        }
        for (name, bytes) in &whole {
            std::fs::write(name, bytes).expect("room for a file");
        }
    }
    // Without new checksums the file is named by its checksum; restored, the run is sound.
    table();
    let found = bench.run(&["verify", "run", "--sample", "5"]).with(1);
    assert!(found.said.contains("tables/summary.csv differs from its checksum"), "{}", found.said);
    changed("tables/summary.csv", "bony,0,inclination,mm", "bony,0,inclination,deg");
    assert_eq!(std::fs::read_to_string(run.join("SHA256SUMS")).expect("the checksums"), sealed);
    bench.run(&["verify", "run", "--sample", "5"]).with(0);
}
