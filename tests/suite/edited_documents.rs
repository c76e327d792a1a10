//! A document that a person has edited is never replaced: the new one is written beside it.

use crate::command_line::{Bench, SMALL};

fn read(bench: &Bench, name: &str) -> String {
    std::fs::read_to_string(bench.path(name)).expect("a document")
}

#[test]
fn identity_an_edited_document_is_kept_and_both_are_named() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--out", "run"]).with(0);
    let (made, sums) = (read(&bench, "run/verification.html"), read(&bench, "run/SHA256SUMS"));
    let edited = made.replace("</body>", "<p>Reviewed.</p></body>");
    bench.write("run/verification.html", &edited);
    for command in [&["assess", "run"][..], &["run", "small.toml", "--out", "run"]] {
        let ended = bench.run(command).with(0);
        assert!(
            ended.said.contains("verification.new.html (verification.html has been edited and is kept)"),
            "{}",
            ended.said
        );
        assert_eq!(read(&bench, "run/verification.html"), edited);
        assert_eq!(read(&bench, "run/verification.new.html"), made);
        // The list holds what the program made, and not what a person made of it.
        let renamed = sums.replace("  verification.html", "  verification.new.html");
        let sorted = |list: &str| list.lines().map(str::to_owned).collect::<std::collections::BTreeSet<_>>();
        assert_eq!(sorted(&read(&bench, "run/SHA256SUMS")), sorted(&renamed));
    }
    // More trials, and another plan in its place, leave it too.
    bench.run(&["run", "small.toml", "--out", "run", "--seed", "6", "--replace"]).with(0);
    assert_eq!(read(&bench, "run/verification.html"), edited);
    bench.run(&["run", "small.toml", "--out", "run", "--seed", "6", "--trials", "400"]).with(1);
    assert_eq!(read(&bench, "run/verification.html"), edited);
    assert_ne!(read(&bench, "run/verification.new.html"), made);
    // A report without this document leaves it as well.
    bench.write("bare.toml", SMALL.split("[[requirement]]").next().expect("what is above the requirement"));
    let bare = bench.run(&["run", "bare.toml", "--out", "run", "--seed", "6", "--trials", "400"]).with(0);
    assert!(bare.said.contains("verification.html (has been edited and is kept; this report"), "{}", bare.said);
    assert_eq!(read(&bench, "run/verification.html"), edited);
    assert!(!bench.path("run/verification.new.html").exists());
    // Taken away by the person, it is made under its own name again.
    std::fs::remove_file(bench.path("run/verification.html")).expect("a document");
    bench.run(&["run", "small.toml", "--out", "run", "--seed", "6", "--trials", "400"]).with(1);
    assert!(bench.path("run/verification.html").exists() && !bench.path("run/verification.new.html").exists());
}
