//! What another version of the program made is refused, and the version is named.

use crate::command_line::Bench;

/// Makes a folder as version 0.1.0 would have left it, as far as its record says.
fn date_back(bench: &Bench, folder: &str) {
    let file = format!("{folder}/run.json");
    let text = std::fs::read_to_string(bench.path(&file)).expect("a record");
    let this = format!("\"version\": \"{}\"", env!("CARGO_PKG_VERSION"));
    assert_eq!(text.matches(&this).count(), 1);
    bench.write(&file, &text.replace(&this, "\"version\": \"0.1.0\""));
}

#[test]
fn identity_a_folder_of_another_version_is_refused_by_its_version() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--out", "run"]).with(0);
    bench.run(&["trial", "small.toml", "0", "--to", "9", "--record", "bench"]).with(0);
    date_back(&bench, "run");
    let before = bench.bytes("run");
    let commands: [&[&str]; 6] = [
        &["run", "small.toml", "--out", "run"],
        &["run", "small.toml", "--out", "run", "--trials", "400"],
        &["run", "small.toml", "--out", "run", "--shard", "1/2"],
        &["assess", "run"],
        &["finish", "run"],
        &["replay", "bench/replay.toml", "--out", "seen", "--model", "run"],
    ];
    for arguments in commands {
        let refused = bench.run(arguments).with(2);
        assert!(refused.said.is_empty(), "{arguments:?}: {}", refused.said);
        let words = refused.complaint();
        for part in
            ["run was made by version 0.1.0 of navassay", &format!("this is version {}", env!("CARGO_PKG_VERSION"))]
        {
            assert!(words.contains(part), "{arguments:?}: {words}");
        }
    }
    let after = bench.bytes("run");
    assert!(before.iter().all(|(name, bytes)| after.get(name) == Some(bytes)), "a refused folder is not changed");
    // Given up, the folder takes a new run.
    bench.run(&["run", "small.toml", "--out", "run", "--replace"]).with(0);
}
