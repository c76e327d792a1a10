//! The program as a user meets it: exit status, what goes where, and the same results on any number of threads.

use assert_cmd::cargo::cargo_bin;
use navassay::record::{Parts, Rows};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// A small experiment: few frames, so that thousands of trials take a moment.
pub const SMALL: &str = r#"
title = "small"
seed = 5
trials = 300

[protocol]
tip_pivot_frames = 6
landmark_frames = 2
trace_frames = 12
centre_frames = 6
cup_frames = 2

[[requirement]]
id = "REQ-01"
text = "Cup inclination is read within 30 degrees in 90 of 100 cases, with 90 % confidence."
output = "inclination"
limit_deg = 30.0
proportion = 0.9
confidence = 0.9
"#;

/// A folder with an experiment in it.
pub struct Bench {
    folder: TempDir,
}

impl Bench {
    pub fn new() -> Self {
        let bench = Self { folder: tempfile::tempdir().expect("a folder") };
        bench.write("small.toml", SMALL);
        bench
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect("a file");
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(cargo_bin!("navassay"));
        command.current_dir(self.folder.path()).args(arguments);
        command
    }

    pub fn run(&self, arguments: &[&str]) -> Ended {
        Ended::of(&self.command(arguments).output().expect("a command that starts"))
    }

    /// The bytes of the files of a folder, by name.
    pub fn bytes(&self, folder: &str) -> BTreeMap<String, Vec<u8>> {
        let entries = std::fs::read_dir(self.path(folder)).expect("a folder");
        let file = |entry: std::io::Result<std::fs::DirEntry>| {
            let entry = entry.expect("an entry");
            (entry.file_name().to_string_lossy().into_owned(), std::fs::read(entry.path()).expect("a file"))
        };
        entries.filter(|entry| entry.as_ref().is_ok_and(|entry| entry.path().is_file())).map(file).collect()
    }

    /// Errors of one output in the order of the trials.
    fn errors(&self, run: &str) -> Vec<Option<f64>> {
        let parts = Parts::list(&self.path(run).join("parts")).expect("parts");
        parts.column(0, "anteversion_error_deg", Rows::All).expect("a column").iter().collect()
    }
}

#[derive(Debug)]
pub struct Ended {
    pub status: Option<i32>,
    pub said: String,
    pub complained: String,
}

impl Ended {
    pub fn of(output: &Output) -> Self {
        Self {
            status: output.status.code(),
            said: String::from_utf8_lossy(&output.stdout).into_owned(),
            complained: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

    /// Whether these words are in its messages, wherever their lines break.
    pub fn complains(&self, words: &str) -> bool {
        let flat = |text: &str| text.replace('│', "").split_whitespace().collect::<String>();
        flat(&self.complained).contains(&flat(words))
    }

    /// What it complained of, without the breaks of lines.
    pub fn complaint(&self) -> String {
        self.complained.split_whitespace().filter(|word| *word != "\u{2502}").collect::<Vec<_>>().join(" ")
    }

    #[track_caller]
    pub fn with(self, status: i32) -> Self {
        assert_eq!(self.status, Some(status), "{self:?}");
        self
    }
}

fn shipped(name: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("experiments").join(name).display().to_string()
}

/// The report repeats the command that was typed, with what moves a number, as a shell takes it.
#[test]
fn identity_a_budget_repeats_its_command() {
    let bench = Bench::new();
    std::fs::create_dir(bench.path("my files")).expect("a folder");
    bench.write(
        "my files/a b.toml",
        &format!("{SMALL}[noise]\nonly = [\"cup\"]\n[[arm]]\nname = \"one\"\n[[arm]]\nname = \"it's two\"\n"),
    );
    let typed =
        ["budget", "my files/a b.toml", "--arm", "it's two", "--trials", "100", "--threads", "1", "--out", "out"];
    let ended = bench.run(&typed);
    assert!(matches!(ended.status, Some(0 | 1)), "{ended:?}");
    let table = std::fs::read_to_string(bench.path("out/tables/reproduction.csv")).expect("a table");
    let line = table.lines().find_map(|line| line.strip_prefix("command,")).expect("a command");
    assert_eq!(line, "navassay budget 'my files/a b.toml' --arm 'it'\\''s two' --trials 100");
}

#[test]
fn identity_results_on_standard_output_and_messages_on_standard_error() {
    let bench = Bench::new();
    let ended = bench.run(&["run", "small.toml"]).with(0);
    for word in ["small: 300 trials", "cup anteversion, °", "REQ-01", "pass", "written to reports/small"] {
        assert!(ended.said.contains(word), "{word}: {}", ended.said);
    }
    assert!(ended.complained.contains("every noise source in use is assumed"), "{}", ended.complained);
    assert!(!ended.said.contains("assumed:"), "{}", ended.said);
    // Every file and folder that is named is there; some say in brackets what they hold.
    let names = ended.said.lines().filter_map(|line| line.strip_prefix("  "));
    let named: Vec<_> = names.map(|line| line.split(" (").next().unwrap_or(line)).collect();
    assert!(named.contains(&"run.json") && named.contains(&"SHA256SUMS"), "{named:?}");
    for name in named {
        assert!(bench.path("reports/small").join(name).exists(), "{name}");
    }
    let quiet = bench.run(&["run", "small.toml", "--quiet", "--out", "quiet"]).with(0);
    assert!(!quiet.said.contains("cup anteversion") && quiet.said.contains("written to quiet"), "{}", quiet.said);
}

#[test]
fn identity_a_requirement_that_fails_ends_with_one() {
    let bench = Bench::new();
    let control = shipped("controls/known-bias.toml");
    let ended = bench.run(&["run", &control, "--trials", "200"]).with(1);
    assert!(ended.said.contains("200 of 200") && ended.said.contains("fail"), "{}", ended.said);
    bench.run(&["assess", "reports/known-bias"]).with(1);
    // Too few to show it either way ends with one as well.
    let few = bench.run(&["run", "small.toml", "--trials", "5"]).with(1);
    assert!(few.said.contains("not shown"), "{}", few.said);
}

#[test]
fn identity_wrong_input_ends_with_two_and_writes_nothing() {
    let bench = Bench::new();
    bench.write("wrong.toml", "seed = 1\n[mesure]\nplane = \"level\"\n");
    bench.write("not.toml", "seed = = 1\n");
    bench.write("empty.toml", "");
    let wrong: &[&[&str]] = &[
        &[],
        &["walk", "small.toml"],
        &["run"],
        &["run", "absent.toml"],
        &["run", "wrong.toml"],
        &["run", "not.toml"],
        &["run", "empty.toml"],
        &["run", "small.toml", "--trials", "0"],
        &["run", "small.toml", "--trials", "ten"],
        &["run", "small.toml", "--seed", "-1"],
        &["run", "small.toml", "--threads", "0"],
        &["run", "small.toml", "--shard", "3/2"],
        &["run", "small.toml", "--shard", "1/2", "--replace"],
        &["run", "small.toml", "--unknown"],
        &["check", "wrong.toml"],
        &["check", "absent.toml"],
        &["trial", "wrong.toml", "0"],
        &["trial", "small.toml", "-1"],
        &["trial", "small.toml", "0", "--arm", "absent"],
        &["trial", "small.toml", "0", "--point", "1"],
        &["assess", "absent"],
        &["finish", "absent"],
        &["explain", "qqqq"],
        &["explain", "landmark.tisue"],
        &["new", "absent/hip"],
    ];
    for arguments in wrong {
        let ended = bench.run(arguments).with(2);
        assert!(ended.said.is_empty(), "{arguments:?}: {}", ended.said);
        assert!(!ended.complained.trim().is_empty(), "{arguments:?}");
    }
    let mut left: Vec<_> = bench.bytes(".").into_keys().collect();
    left.sort();
    assert_eq!(left, ["empty.toml", "not.toml", "small.toml", "wrong.toml"]);
}

#[test]
fn identity_a_folder_keeps_its_plan() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml"]).with(0);
    let before = bench.bytes("reports/small/parts");

    let other = bench.run(&["run", "small.toml", "--seed", "6"]).with(2);
    assert!(other.complained.contains("seed was 5 there and is 6 now"), "{}", other.complained);
    bench.write(
        "others.toml",
        &SMALL.replace("cup_frames = 2", "cup_frames = 3").replace("trace_frames = 12", "trace_frames = 14"),
    );
    let others = bench.run(&["run", "others.toml", "--seed", "6", "--out", "reports/small"]).with(2).complained;
    for line in
        ["seed was 5", "protocol.cup_frames was 2 there and is 3 now", "protocol.trace_frames was 12 there and is 14"]
    {
        assert!(others.contains(line), "{line}: {others}");
    }
    assert!(other.complained.contains("--out") && other.complained.contains("--replace"), "{}", other.complained);
    let fewer = bench.run(&["run", "small.toml", "--trials", "200"]).with(2);
    assert!(fewer.complained.contains("300"), "{}", fewer.complained);
    assert_eq!(bench.bytes("reports/small/parts"), before, "a refused run changes nothing");

    // The same command again finds everything there.
    bench.run(&["run", "small.toml"]).with(0);
    assert_eq!(bench.bytes("reports/small/parts"), before);

    bench.run(&["run", "small.toml", "--seed", "6", "--replace"]).with(0);
    assert_ne!(bench.bytes("reports/small/parts"), before);

    std::fs::create_dir(bench.path("mine")).expect("a folder");
    bench.write("mine/letter.txt", "of someone else");
    bench.run(&["run", "small.toml", "--out", "mine"]).with(2);
    bench.run(&["assess", "mine"]).with(2);
    assert_eq!(bench.bytes("mine").len(), 1);
}

#[test]
fn identity_a_longer_run_begins_with_the_shorter_one() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--trials", "1000"]).with(0);
    let short = bench.errors("reports/small");
    bench.run(&["run", "small.toml", "--trials", "10000", "--out", "long"]).with(0);
    let long = bench.errors("long");
    assert_eq!((short.len(), long.len()), (1000, 10_000));
    assert!(short.iter().flatten().count() > 990);
    assert_eq!(short[..], long[..1000]);
    // Extended in place, over the end of a part. A verdict has been seen, so none is given any more.
    let again = bench.run(&["run", "small.toml", "--trials", "10500"]).with(1);
    assert!(again.said.contains("not shown"), "{}", again.said);
    let extended = bench.errors("reports/small");
    assert_eq!(extended.len(), 10_500);
    assert_eq!(long[..], extended[..10_000]);
}

/// Looks that the plan declares beforehand keep their verdicts; one more does not, and looking again is no new look.
#[test]
fn identity_declared_looks_keep_their_verdicts() {
    let bench = Bench::new();
    let text = std::fs::read_to_string(bench.path("small.toml")).expect("a file that was just written");
    bench.write("looks.toml", &format!("looks = 2\n{text}"));
    bench.run(&["run", "looks.toml", "--trials", "200"]).with(0);
    bench.run(&["run", "looks.toml", "--trials", "300"]).with(0);
    let again = bench.run(&["assess", "reports/looks"]).with(0);
    // The file asks for 90 %; each of two looks uses 95 %.
    assert!(again.said.contains("(95 %)"), "{}", again.said);
    bench.run(&["run", "looks.toml", "--trials", "400"]).with(1);
    let page = std::fs::read_to_string(bench.path("reports/looks/report.html")).expect("a report");
    assert!(page.contains("no verdict is given") && page.contains("REQ-01 is not shown."));
}

#[test]
fn identity_the_same_bytes_on_one_and_two_threads() {
    let bench = Bench::new();
    for threads in ["1", "2"] {
        bench.run(&["run", "small.toml", "--trials", "10100", "--threads", threads, "--out", threads]).with(0);
    }
    for folder in ["parts", "tables"] {
        let [one, two] = ["1", "2"].map(|threads| bench.bytes(&format!("{threads}/{folder}")));
        assert!(!one.is_empty());
        assert_eq!(one.keys().collect::<Vec<_>>(), two.keys().collect::<Vec<_>>());
        assert!(one == two, "{folder}");
    }
    assert_eq!(bench.errors("1").len(), 10_100);
}

/// A processor without fused multiply-add and wide vectors finds the same draws and readings.
#[cfg(all(target_os = "linux", target_arch = "x86_64"))]
#[test]
fn identity_the_same_on_a_processor_without_wide_vectors() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--out", "wide"]).with(0);
    let masked = "glibc.cpu.hwcaps=-AVX2,-FMA,-AVX,-FMA4,-AVX2_Usable,-FMA_Usable";
    let output = bench.command(&["run", "small.toml", "--out", "narrow"]).env("GLIBC_TUNABLES", masked).output();
    Ended::of(&output.expect("a command that starts")).with(0);
    assert!(bench.bytes("wide/parts") == bench.bytes("narrow/parts"), "parts");
    let [wide, narrow] = ["wide/tables", "narrow/tables"].map(|folder| bench.bytes(folder));
    assert_eq!(wide.keys().collect::<Vec<_>>(), narrow.keys().collect::<Vec<_>>());
    for (name, bytes) in &wide {
        let cells =
            |bytes: &[u8]| String::from_utf8_lossy(bytes).split([',', '\n']).map(str::to_owned).collect::<Vec<_>>();
        let (first, second) = (cells(bytes), cells(&narrow[name]));
        assert_eq!(first.len(), second.len(), "{name}");
        for (a, b) in first.iter().zip(&second) {
            match (a.parse::<f64>(), b.parse::<f64>()) {
                (Ok(x), Ok(y)) => assert!((x - y).abs() <= 1e-12 * x.abs().max(y.abs()), "{name}: {a} {b}"),
                _ => assert_eq!(a, b, "{name}"),
            }
        }
    }
}

#[cfg(unix)]
#[test]
fn identity_an_interrupt_ends_with_three_and_the_same_command_goes_on() {
    let bench = Bench::new();
    let arguments = ["run", "small.toml", "--trials", "50000", "--threads", "1"];
    let running = bench.command(&arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn();
    let running = running.expect("a command that starts");
    // As soon as the first part stands.
    let (parts, started) = (bench.path("reports/small/parts"), Instant::now());
    let stands = || Parts::list(&parts).is_ok_and(|parts| parts.ids().next().is_some());
    while !stands() && started.elapsed() < Duration::from_mins(1) {
        std::thread::sleep(Duration::from_millis(2));
    }
    let signal = Command::new("kill").args(["-INT", &running.id().to_string()]).status();
    assert!(signal.expect("kill").success());
    let sent = Instant::now();
    let stopped = Ended::of(&running.wait_with_output().expect("an end")).with(3);
    // Within a second, on a machine that has nothing else to do.
    assert!(sent.elapsed() < Duration::from_secs(5), "{:?}", sent.elapsed());
    assert!(stopped.complained.contains("repeat the command to go on"), "{}", stopped.complained);
    let saved = bench.errors("reports/small");
    assert!(!saved.is_empty() && saved.len() < 50_000 && saved.len().is_multiple_of(10_000), "{}", saved.len());

    bench.run(&["run", "small.toml", "--trials", "50000"]).with(0);
    let finished = bench.errors("reports/small");
    assert_eq!(finished.len(), 50_000);
    assert_eq!(saved[..], finished[..saved.len()]);
}

#[test]
fn identity_seed_moves_the_draws_and_assess_repeats_the_tables() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml"]).with(0);
    bench.run(&["run", "small.toml", "--seed", "0", "--out", "zero"]).with(0);
    assert_ne!(bench.errors("reports/small"), bench.errors("zero"));
    let before = bench.bytes("zero/tables");
    bench.run(&["assess", "zero"]).with(0);
    assert_eq!(bench.bytes("zero/tables"), before);
    // Changed requirements, the same trials.
    bench.write("strict.toml", &SMALL.replace("limit_deg = 30.0", "limit_deg = 0.01"));
    bench.run(&["assess", "reports/small", "strict.toml"]).with(1);
    bench.write("other.toml", &SMALL.replace("cup_frames = 2", "cup_frames = 3"));
    bench.run(&["assess", "reports/small", "other.toml"]).with(2);
}

/// Of an untouched folder every byte is made again; a changed one is found, and named.
#[test]
fn identity_assess_reproduces_every_byte_and_names_what_was_changed() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--out", "run"]).with(0);
    let sums = || std::fs::read_to_string(bench.path("run/SHA256SUMS")).expect("checksums");
    let before = sums();
    let untouched = bench.run(&["assess", "run"]).with(0);
    assert!(!untouched.complained.contains("since the run was finished"), "{}", untouched.complained);
    assert_eq!(sums(), before);

    let flip = |name: &str| {
        let mut bytes = std::fs::read(bench.path(name)).expect("a file");
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        std::fs::write(bench.path(name), &bytes).expect("room for a file");
    };
    // What is only a result is named and made again.
    flip("run/tables/summary.csv");
    let again = bench.run(&["assess", "run"]).with(0).complained;
    assert!(again.contains("tables/summary.csv has been changed"), "{again}");
    assert_eq!(sums(), before);
    // What results rest on is refused, until the run has made it again.
    for name in ["parts/0000-000000.parquet", "run.json"] {
        flip(&format!("run/{name}"));
        let refused = bench.run(&["assess", "run"]).with(2).complained;
        assert!(refused.contains(name), "{refused}");
        assert_eq!(sums(), before);
        flip(&format!("run/{name}"));
    }
    flip("run/parts/0000-000000.parquet");
    bench.run(&["run", "small.toml", "--out", "run"]).with(0);
    assert_eq!(sums(), before);
}

/// The same with studies of sensitivity, two arms and a document for each reader in the folder.
#[test]
fn identity_assess_reproduces_studies_too() {
    let bench = Bench::new();
    let studies = "[sensitivity]\nrows = 64\nask = [\"one-at-a-time\", \"linear\", \"allocation\"]\n";
    let arms = "[[arm]]\nname = \"bony\"\n[[arm]]\nname = \"level\"\nset = { \"measure.plane\" = \"level\" }\n";
    let kinds = "[report]\nkind = [\"verification\", \"engineering\", \"comparison\"]\n";
    bench.write("studies.toml", &format!("{SMALL}{studies}{kinds}{arms}"));
    let ran = bench.run(&["run", "studies.toml", "--out", "run"]);
    let sums = || std::fs::read_to_string(bench.path("run/SHA256SUMS")).expect("checksums");
    let (files, before) = (bench.bytes("run"), sums());
    for name in ["verification.html", "engineering.html", "comparison.html"] {
        assert!(files.contains_key(name), "{name}: {ran:?}");
    }
    for name in ["tables/one-at-a-time.csv", "tables/pairs.parquet"] {
        assert!(before.contains(name), "{name}: {before}");
    }
    assert_eq!(bench.run(&["assess", "run"]).status, ran.status);
    assert!(files == bench.bytes("run") && before == sums());
}

/// Recorded cases that an experiment names are held against its run, kept in its folder, and not needed where they were.
#[test]
fn identity_a_run_is_held_against_a_bench() {
    let bench = Bench::new();
    bench.run(&["trial", "small.toml", "0", "--to", "29", "--seed", "6", "--record", "recorded"]).with(0);
    let named = |file: &str| format!("{SMALL}[report]\nbench = \"{file}\"\n");
    bench.write("held.toml", &named("recorded/replay.toml"));
    bench.run(&["check", "held.toml"]).with(0);
    bench.run(&["run", "held.toml", "--out", "run"]).with(0);
    let page = std::fs::read_to_string(bench.path("run/verification.html")).expect("a page");
    for words in
        ["held against 30 recorded cases", "Not refuted: if the model held", "Bench against model, each output"]
    {
        assert!(page.contains(words), "{words}");
    }
    let sums = || std::fs::read_to_string(bench.path("run/SHA256SUMS")).expect("checksums");
    let before = sums();
    for file in ["bench/replay.toml", "bench/recordings.csv", "bench/truth.csv", "tables/validation.csv"] {
        assert!(before.contains(&format!("  {file}\n")), "{file}: {before}");
    }
    // A bench of another procedure, files elsewhere and no file at all are refused before a trial is run.
    let bony = std::fs::read_to_string(bench.path("recorded/replay.toml")).expect("a file");
    std::fs::create_dir(bench.path("deep")).expect("a folder");
    bench.write("recorded/circle.toml", &bony.replace("\"ellipse\"", "\"circle\""));
    let elsewhere = ["recordings.csv", "truth.csv"]
        .iter()
        .fold(bony, |text, name| text.replace(&format!("\"{name}\""), &format!("\"../recorded/{name}\"")));
    bench.write("deep/elsewhere.toml", &elsewhere);
    for (file, words) in [
        ("recorded/circle.toml", "measures as an arm of the bench does"),
        ("deep/elsewhere.toml", "expected a file beside it"),
        ("nowhere.toml", "nowhere.toml"),
    ] {
        bench.write("refused.toml", &named(file));
        for command in ["check", "run"] {
            let refused = bench.run(&[command, "refused.toml"]).with(2).complained;
            assert!(refused.contains(words), "{command} {file}: {refused}");
        }
        assert!(!bench.path("reports/refused").exists());
    }
    std::fs::remove_dir_all(bench.path("recorded")).expect("a folder");
    bench.run(&["assess", "run"]).with(0);
    assert_eq!(sums(), before);
    bench.write("run/bench/truth.csv", "case\n");
    let refused = bench.run(&["assess", "run"]).with(2).complained;
    assert!(refused.contains("bench/truth.csv has been changed"), "{refused}");
}

#[test]
fn identity_check_says_what_would_run_and_writes_nothing() {
    let bench = Bench::new();
    let ended = bench.run(&["check", "small.toml", "--trials", "22"]).with(0);
    // 0 of 22 shows 90 % with 90 % confidence: 0.9^22 = 0.0985 (and 0.9^21 = 0.1094 does not).
    for word in ["22 trials of each variant, seed 5", "about ", "reports/small", "REQ-01", "for 80 %", "5 %"] {
        assert!(ended.said.contains(word), "{word}: {}", ended.said);
    }
    let fewer = bench.run(&["check", "small.toml", "--trials", "21"]).with(0);
    assert!(fewer.said.contains("cannot pass: at least 22 trials"), "{}", fewer.said);
    assert_eq!(bench.bytes(".").len(), 1);
    assert!(!bench.path("reports").exists());
}

#[test]
fn identity_a_new_experiment_runs_and_is_never_overwritten() {
    let bench = Bench::new();
    let ended = bench.run(&["new", "hip"]).with(0);
    assert!(ended.said.contains("navassay check hip.toml") && ended.said.contains("navassay run hip.toml"));
    bench.write("hip.toml", &std::fs::read_to_string(bench.path("hip.toml")).expect("a file").replace("2000", "200"));
    let mine = bench.bytes(".");
    bench.run(&["new", "hip"]).with(2);
    bench.run(&["new", "hip.toml"]).with(2);
    assert_eq!(bench.bytes("."), mine);
    bench.run(&["check", "hip.toml"]).with(0);
    let ran = bench.run(&["run", "hip.toml"]).with(0);
    assert!(ran.said.contains("hip: 200 trials"), "{}", ran.said);
}

#[test]
fn identity_trial_tells_the_chain_and_explain_the_words() {
    let bench = Bench::new();
    let told = bench.run(&["trial", "small.toml", "123456"]).with(0).said;
    for word in ["trial 123456", "1. The probe", "9. Readings, reduction 1 (final)", "leg length change"] {
        assert!(told.contains(word), "{word}: {told}");
    }
    assert_eq!(bench.run(&["trial", "small.toml", "123456"]).with(0).said, told);
    assert_ne!(bench.run(&["trial", "small.toml", "123456", "--seed", "6"]).with(0).said, told);

    let explained = bench.run(&["explain", "landmark.tissue"]).with(0).said;
    assert!(explained.contains("Richolt"), "{explained}");
    let near = bench.run(&["explain", "landmark.tisue"]).with(2).complained;
    assert!(near.contains("did you mean `landmark.tissue`?"), "{near}");
}

/// A reader who goes away is no error.
#[cfg(unix)]
#[test]
fn identity_a_closed_pipe_ends_quietly() {
    let bench = Bench::new();
    for arguments in [&["explain"][..], &["explain", "--markdown"], &["run", "small.toml"], &["check", "small.toml"]]
    {
        let mut child = bench
            .command(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("a command that starts");
        drop(child.stdout.take());
        let ended = Ended::of(&child.wait_with_output().expect("an end")).with(0);
        assert!(!ended.complained.contains("panicked"), "{}", ended.complained);
    }
}

/// The whole way of a bench: trials recorded, replayed and held against their own model, the noise fitted, and the fitted
/// experiment run.
#[test]
fn identity_a_trial_is_recorded_replayed_and_fitted() {
    let bench = Bench::new();
    bench.run(&["run", "small.toml", "--quiet"]).with(0);
    let ended = bench.run(&["trial", "small.toml", "300", "--record", "bench", "--to", "329"]).with(0);
    assert!(ended.said.contains("bench/recordings.csv"), "{}", ended.said);
    let arguments = ["replay", "bench/replay.toml", "--out", "seen", "--model", "reports/small", "--fit"];
    let ended = bench.run(&arguments).with(0);
    for words in
        ["30 recorded cases; 30 measured whole", "model against bench", "Not refuted", "noise fitted", "fitted.toml"]
    {
        assert!(ended.said.contains(words), "{words}: {}", ended.said);
    }
    let tables = bench.bytes("seen/tables");
    let readings = String::from_utf8_lossy(&tables["readings.csv"]).into_owned();
    let header = "case,take,plane,femur,angles,inclination_deg,anteversion_deg,leg_length_mm,offset_mm,\
                  centre_superior_mm,centre_lateral_mm,centre_anterior_mm";
    assert_eq!((readings.lines().next(), readings.lines().count()), (Some(header), 31));
    for name in
        ["errors.csv", "complaints.csv", "fits.csv", "summary.csv", "verdicts.csv", "validation.csv", "fit.csv"]
    {
        assert!(tables.contains_key(name), "{name}");
    }
    let page = std::fs::read_to_string(bench.path("seen/report.html")).expect("a page");
    for id in ["\"readings\"", "\"validation\"", "\"fit\""] {
        assert!(page.contains(&format!("id={id}")), "{id}");
    }
    bench.run(&["run", "seen/fitted.toml", "--trials", "50", "--quiet", "--out", "again"]).with(0);
    // The same command writes the same bytes.
    bench.run(&arguments).with(0);
    assert!(bench.bytes("seen/tables") == tables);
    // A case with a wrong row is named; the others are measured.
    let text = std::fs::read_to_string(bench.path("bench/recordings.csv")).expect("recordings");
    bench.write("bench/recordings.csv", &text.replacen("\n305,cup,1,1,1,", "\n305,cup,1,1,1,9", 1));
    let ended = bench.run(&["replay", "bench/replay.toml", "--out", "seen"]).with(1);
    assert!(ended.said.contains("29 measured whole, 0 in part, 1 not measured"), "{}", ended.said);
    assert!(ended.complained.contains("case 305: the quaternion has the length"), "{}", ended.complained);
    // A folder of trials is not overwritten by results of another kind.
    bench.run(&["replay", "bench/replay.toml", "--out", "reports/small"]).with(2);
    bench.run(&["phantom", "small.toml", "--trials", "20"]).with(0);
    assert!(bench.path("reports/small-phantom/tables/phantom-points.csv").exists());
    bench.run(&["phantom", "small.toml", "--spacing", "300"]).with(2);
}

/// run.json is read back as what its schema is made from, before and after the run is finished.
#[test]
fn identity_run_json_is_what_its_published_schema_says() {
    use navassay::trial::{RunRecord, run_schema};
    let bench = Bench::new();
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/run.schema.json");
    let published = std::fs::read_to_string(file).expect("the published schema");
    assert_eq!(run_schema(), published, "navassay explain --schema > docs/run.schema.json");
    assert_eq!(bench.run(&["explain", "--schema"]).with(0).said, published);
    let arms = "[[arm]]\nname = \"bony\"\n[[arm]]\nname = \"level\"\nset = { \"measure.plane\" = \"level\" }\n";
    bench.write("arms.toml", &format!("{SMALL}{arms}"));
    bench.run(&["run", "arms.toml", "--out", "arms", "--shard", "1/2"]).with(0);
    let read = || std::fs::read_to_string(bench.path("arms/run.json")).expect("a record");
    let record: RunRecord = serde_json::from_str(&read()).expect("a record of a run");
    assert_eq!((record.counts.len(), record.plan.variants.len(), record.trials), (0, 2, 300));
    bench.run(&["run", "arms.toml", "--out", "arms"]).with(0);
    let record: RunRecord = serde_json::from_str(&read()).expect("a record of a run");
    assert_eq!(record.counts.iter().map(|count| count.trials).collect::<Vec<_>>(), [300, 300]);
    assert_eq!(record.plan.requirements[0].id, "REQ-01");
    assert!(record.plan.variants[1].noise["landmark.tissue"].on);
    // Nothing but what the schema names, where it says so.
    let strange = read().replacen("\"generator\"", "\"colour\": 1,\n  \"generator\"", 1);
    assert!(serde_json::from_str::<RunRecord>(&strange).is_err());
}
