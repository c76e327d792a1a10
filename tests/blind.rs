//! The wall between the measurement and everything that knows the truth, kept by the compiler: `geometry` and
//! `measurement` build here as a crate of their own, which has no simulator, no truth and no random numbers.
#![allow(dead_code, missing_docs, unused_imports)] // this crate uses little of what it compiles

#[path = "../src/geometry/mod.rs"]
pub mod geometry;
#[path = "../src/measurement/mod.rs"]
pub mod measurement;

use std::path::{Path, PathBuf};

fn sources(folder: &str) -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(folder);
    let mut found = Vec::new();
    let mut folders = vec![root];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("a source folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() { folders.push(path) } else { found.push(path) }
        }
    }
    found
}

fn text(path: &Path) -> String {
    std::fs::read_to_string(path).expect("a source file")
}

/// A condition could let other code in when this crate is not the one that compiles it.
#[test]
fn identity_no_condition_but_test() {
    for path in [sources("geometry"), sources("measurement")].concat() {
        for (number, line) in text(&path).lines().enumerate() {
            let conditional = line.contains("cfg(") || line.contains("cfg_attr(") || line.contains("cfg!(");
            assert!(!conditional || line.trim() == "#[cfg(test)]", "{}:{}: {line}", path.display(), number + 1);
        }
    }
}

/// What each folder may name of this crate.
#[test]
fn identity_walls_between_folders() {
    let may_name: [(&str, &[&str]); 5] = [
        ("geometry", &["geometry"]),
        ("measurement", &["geometry", "measurement"]),
        ("simulation", &["geometry", "measurement", "simulation", "mixing"]),
        ("record", &["geometry", "measurement", "record"]),
        ("analysis", &["measurement", "record", "analysis", "mixing"]),
    ];
    for (folder, allowed) in may_name {
        for path in sources(folder).into_iter().filter(|path| path.extension().is_some_and(|end| end == "rs")) {
            let code = text(&path);
            // Tests may reach further than the code they test.
            let code = code.split("#[cfg(test)]").next().unwrap_or_default();
            for named in code.split("crate::").skip(1) {
                let module: String = named.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
                assert!(allowed.contains(&module.as_str()), "{} names {module}", path.display());
            }
        }
    }
}
