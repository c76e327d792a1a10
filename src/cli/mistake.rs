//! What the program says when it stops by a mistake of its own: what happened, without a path of the machine that built it.

use std::io::Write as _;
use std::panic::{PanicHookInfo, set_hook};

/// From now on a panic is told in the program's own words.
pub fn tell() {
    set_hook(Box::new(|panic: &PanicHookInfo| {
        let place = panic.location().map(|place| (place.file(), place.line()));
        let what = panic.payload_as_str().unwrap_or("no reason given");
        let _ = writeln!(std::io::stderr(), "{}", told(what, place));
    }));
}

fn told(what: &str, place: Option<(&str, u32)>) -> String {
    let place = place.map_or_else(String::new, |(file, line)| format!(", at {} line {line}", in_its_crate(file)));
    let (name, version) = (env!("CARGO_PKG_NAME"), env!("CARGO_PKG_VERSION"));
    format!(
        "{name} {version} stopped by a mistake of its own: {what}{place}\nplease report this with the command that led to it"
    )
}

/// A source file from the folder of its crate on.
fn in_its_crate(file: &str) -> String {
    let parts: Vec<&str> = file.split(['/', '\\']).collect();
    let from = parts.iter().rposition(|part| *part == "src").map_or(parts.len() - 1, |src| src.saturating_sub(1));
    parts[from..].join("/")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::process::Command;

    #[test]
    fn identity_a_place_is_told_without_folders_of_the_machine() {
        for (file, expected) in [
            ("src/trial/run.rs", "src/trial/run.rs"),
            ("/home/who/.cargo/registry/src/index-1/tables-0.5.2/src/frame/mod.rs", "tables-0.5.2/src/frame/mod.rs"),
            ("C:\\Users\\who\\src\\tables-0.5.2\\src\\lib.rs", "tables-0.5.2/src/lib.rs"),
            ("/rustc/0123/library/core/src/option.rs", "core/src/option.rs"),
            ("/home/who/target/debug/build/tables-1/out/made.rs", "made.rs"),
        ] {
            assert_eq!(in_its_crate(file), expected);
        }
        let told = told("index out of bounds", Some(("/home/who/x-1.0/src/lib.rs", 7)));
        assert!(told.contains("index out of bounds, at x-1.0/src/lib.rs line 7"), "{told}");
    }

    /// Run by the test below, in a process of its own: a panic within another crate.
    #[test]
    #[ignore = "panics on purpose"]
    fn panics_in_another_crate() {
        tell();
        let mut list = serde_json::json!([1]);
        list["no list has a key"] = serde_json::json!(2);
    }

    #[test]
    fn identity_a_panic_shows_no_path_of_this_machine() {
        let own = std::env::current_exe().unwrap();
        let ended = Command::new(own)
            .args(["--ignored", "--exact", "--nocapture", "cli::mistake::tests::panics_in_another_crate"])
            .env("RUST_BACKTRACE", "full")
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&ended.stderr).into_owned();
        assert!(!ended.status.success());
        assert!(said.contains("stopped by a mistake of its own"), "{said}");
        let cargo = option_env!("CARGO_HOME").unwrap_or(".cargo");
        for path in [env!("CARGO_MANIFEST_DIR"), cargo, "registry", "/rustc/"] {
            assert!(!said.contains(path), "{path}: {said}");
        }
    }
}
