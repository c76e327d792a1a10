//! The report of a run: complete, closed in itself, and the same bytes each time.

use crate::support::{Reported, report_into, reported};
use navassay::experiment::Plan;
use navassay::record::sums;
use navassay::report::{ALWAYS, Document, Entry, Evidence, NO_BENCH, NOT_ASKED};
use std::collections::BTreeSet;
use std::path::Path;

const PLAIN: &str = "seed = 5\ntrials = 60\n";

/// The documents that need no second arm, whatever the experiment has.
const BOTH_KINDS: &str = "[report]\nkind = [\"verification\", \"engineering\"]\n";

fn requirement(id: &str, output: &str, limit: &str, proportion: f64) -> String {
    format!(
        "[[requirement]]\nid = \"{id}\"\ntext = \"A requirement.\"\noutput = \"{output}\"\n{limit}\n\
         proportion = {proportion}\nconfidence = 0.95\n"
    )
}

/// What stands between two marks, each time.
fn between<'a>(text: &'a str, open: &str, close: &str) -> Vec<&'a str> {
    text.split(open).skip(1).filter_map(|rest| rest.split_once(close).map(|(found, _)| found)).collect()
}

/// The page without tags, and without the pictures' coordinates.
fn words(page: &str) -> String {
    let body = page.split("</style>").nth(1).expect("a page with a style");
    let mut text = String::new();
    for piece in body.split('<').skip(1) {
        text.push_str(piece.split_once('>').map_or("", |(_, words)| words));
        text.push(' ');
    }
    text
}

/// What is true of every report: of the page that holds everything, and of the documents beside it.
fn check(report: &Reported) {
    let Reported { folder, evidence, page } = report;
    check_page(folder.path(), &evidence.report, page);
    for chart in evidence.charts() {
        let svg = std::fs::read_to_string(folder.path().join(format!("charts/{}.svg", chart.id))).expect("a chart");
        assert!(svg.contains("<title>") && svg.contains("<desc>") && !svg.contains("var("), "{}", chart.id);
    }
    let named: BTreeSet<String> = evidence.files.iter().map(|file| file.name.clone()).collect();
    assert_eq!(named.len(), evidence.files.len(), "two tables have one file");
    for document in &evidence.documents {
        let file = folder.path().join(format!("{}.html", document.name));
        check_page(folder.path(), document, &std::fs::read_to_string(file).expect("a page for each document"));
    }
}

fn check_page(folder: &Path, document: &Document, page: &str) {
    let ids: Vec<&str> = between(page, " id=\"", "\"");
    let anchors: BTreeSet<&str> = ids.iter().copied().collect();
    let twice = ids.iter().find(|id| ids.iter().filter(|other| other == id).count() > 1);
    assert_eq!(twice, None, "an anchor stands twice in {}", document.name);

    // Every table and chart has an anchor and its files.
    for table in document.tables() {
        assert!(anchors.contains(table.id.as_str()), "{}", table.id);
        assert!(folder.join(format!("tables/{}.csv", table.csv)).is_file(), "{}", table.csv);
        assert!(table.rows.iter().all(|row| row.len() == table.columns.len()), "{}", table.id);
        assert!(table.reading.ends_with('.') || table.reading.contains("Basis: "), "{}", table.reading);
    }
    for chart in document.charts() {
        assert!(anchors.contains(format!("chart-{}", chart.id).as_str()), "{}", chart.id);
        assert!(folder.join(format!("tables/{}.csv", chart.csv)).is_file(), "{}", chart.csv);
        assert!(chart.reading.ends_with('.'), "{}", chart.reading);
    }

    // Every link leads somewhere; nothing is fetched.
    for link in between(page, " href=\"", "\"") {
        match link.strip_prefix('#') {
            Some(anchor) => assert!(anchors.contains(anchor), "{link}"),
            None => assert!(link == "data:," || folder.join(link).is_file(), "{link}"),
        }
    }
    for forbidden in [" src=", "<script ", "@import", "url(", "<link rel=\"stylesheet"] {
        assert!(!page.contains(forbidden), "{forbidden}");
    }
    assert_eq!(page.matches("<script>").count(), 1, "the one that sorts tables");
    // Tables and figures are numbered in their order, in the lists and where they stand.
    let numbered = |kind: &str| page.matches(&format!(">{kind} ")).count();
    assert_eq!(numbered("Table"), 2 * document.tables().count());
    assert_eq!(numbered("Figure"), 2 * document.charts().count());
    assert_eq!(page.matches("http").count(), page.matches("xmlns=\"http://www.w3.org/2000/svg\"").count());

    // What must never be missing, and what must never be there.
    let words = words(page);
    for sentence in ALWAYS {
        assert!(words.contains(sentence), "{}: {sentence}", document.name);
    }
    for section in &document.sections {
        assert!(!section.entries.is_empty(), "{}", section.id);
    }
    let bad = |word: &str| ["nan", "inf", "-inf", "undefined", "none,"].contains(&word.to_lowercase().as_str());
    let word = words.split(|letter: char| !letter.is_alphanumeric() && letter != '-').find(|word| bad(word));
    assert_eq!(word, None);
    let machine = folder.to_string_lossy();
    assert!(!page.contains(&*machine), "the page names its folder");
    assert!(page.len() < 5_000_000);
}

fn page_of(report: &Reported, name: &str) -> String {
    std::fs::read_to_string(report.folder.path().join(format!("{name}.html"))).expect("a page of this name")
}

fn verdicts(evidence: &Evidence) -> Vec<(&'static str, String)> {
    evidence
        .report
        .entries()
        .filter_map(|e| if let Entry::Verdict(v) = e { Some((v.verdict, v.sentence.clone())) } else { None })
        .collect()
}

#[test]
fn identity_report_without_requirements() {
    let report = reported(&[PLAIN, BOTH_KINDS].concat());
    check(&report);
    assert_eq!(verdicts(&report.evidence), []);
    assert!(report.page.contains("no requirement") && report.page.contains("Not given"));
    for name in ["verification", "engineering"] {
        let page = page_of(&report, name);
        for word in ["no requirement", "no verdict hangs on an input"] {
            assert!(page.contains(word), "{name}: {word}");
        }
    }
}

#[test]
fn identity_every_verdict_is_a_sentence_with_its_rule() {
    let text = [
        PLAIN,
        BOTH_KINDS,
        &requirement("LOOSE", "inclination", "limit_deg = 60", 0.95),
        &requirement("TIGHT", "anteversion", "limit_deg = 0.01", 0.95),
        &requirement("FEW", "leg_length", "limit_mm = 60", 0.999),
    ]
    .concat();
    let report = reported(&text);
    check(&report);
    let [loose, tight, few] = &verdicts(&report.evidence)[..] else { panic!("three verdicts") };
    assert_eq!([loose.0, tight.0, few.0], ["pass", "fail", "not shown"]);
    assert!(loose.1.starts_with("LOOSE passes.") && loose.1.contains("upper Clopper-Pearson bound at 95\u{a0}%"));
    // 1 - 0.05^(1/60): the bound of none out of 60, in closed form (Clopper CJ, Pearson ES. Biometrika 1934).
    assert!(loose.1.contains("at most 4.88\u{a0}%") && loose.1.contains("leaves 5\u{a0}%"), "{}", loose.1);
    assert!(tight.1.starts_with("TIGHT fails.") && tight.1.contains("at least"), "{}", tight.1);
    assert!(few.1.starts_with("FEW is not shown.") && few.1.contains("a new run of 2,995 trials"), "{}", few.1);
    for (_, sentence) in [loose, tight, few] {
        assert!(sentence.contains("counted as out"), "{sentence}");
    }
}

#[test]
fn identity_report_without_noise() {
    let text = format!(
        "{PLAIN}{BOTH_KINDS}[noise]\nonly = [\"posture.reduction\"]\n[sensitivity]\nrows = 64\n{}",
        requirement("Z", "offset", "limit_mm = 1e-6", 0.9)
    );
    let report = reported(&text);
    check(&report);
    assert_eq!(verdicts(&report.evidence)[0].0, "pass");
}

/// A probe that is not turned leaves its tip undetermined; without it nothing can be measured.
#[test]
fn identity_report_when_every_trial_fails() {
    let text = format!(
        "{PLAIN}{BOTH_KINDS}[protocol]\ntip_pivot_cone_deg = 1e-9\n[noise]\nonly = [\"femur.groove\"]\n{}{}",
        requirement("A", "inclination", "limit_deg = 3", 0.95),
        requirement("B", "leg_length", "limit_mm = 3", 0.95),
    );
    let report = reported(&text);
    check(&report);
    for (verdict, sentence) in verdicts(&report.evidence) {
        assert_eq!(verdict, "fail");
        assert!(sentence.contains("In 60 of 60 trials") && sentence.contains("(60 without a reading"), "{sentence}");
    }
    let failures = report.evidence.tables().find(|table| table.id == "table-failures").expect("always there");
    assert!(failures.rows.iter().any(|row| row[1].contains("rank loss") && row[2] == "60"), "{:?}", failures.rows);
}

/// A strict stillness gate with one try gives up about a third of the trials: all are counted, and every document is whole.
#[test]
fn identity_report_when_a_third_of_the_trials_fails() {
    let text = format!(
        "seed = 5\ntrials = 300\n{BOTH_KINDS}[protocol]\nstillness_limit_mm = 0.85\nstillness_tries = 1\n\
         [sensitivity]\nrows = 64\nask = [\"one-at-a-time\", \"linear\"]\n[noise]\n\
         only = [\"probe.tremor\", \"landmark.palpation\"]\n{}{}",
        requirement("A", "inclination", "limit_deg = 5", 0.5),
        requirement("B", "leg_length", "limit_mm = 5", 0.95),
    );
    let report = reported(&text);
    check(&report);
    let failures = report.evidence.tables().find(|table| table.id == "table-failures").expect("always there");
    let count = |outcome: &str| -> u64 {
        let row = failures.rows.iter().find(|row| row[1].starts_with(outcome)).expect("a row of this outcome");
        row[2].parse().expect("a count")
    };
    let (attempted, failed) = (count("attempted"), count("failed, at least one output"));
    assert_eq!(attempted, 300);
    // Four standard errors of a proportion of 0.3 of 300 trials are 0.11.
    assert!((failed as f64 / 300.0 - 0.3).abs() < 0.11, "{failed}");
    for name in ["report", "verification", "engineering"] {
        assert!(page_of(&report, name).contains(&format!("{failed} trials failed.")), "{name}");
    }
    let verdict_b = verdicts(&report.evidence).into_iter().nth(1).expect("two verdicts");
    assert_eq!(verdict_b.0, "fail", "failed trials count as out: {}", verdict_b.1);
}

#[test]
fn identity_every_variant_has_its_own_part() {
    let text = format!(
        "{PLAIN}[[arm]]\nname = \"bony & <plain>\"\n[[arm]]\nname = \"level\"\nset = {{ \"measure.plane\" = \"level\" }}\n\
         [[sweep]]\nvary = \"noise.landmark.palpation.asis.anterior_mm.normal.sd\"\nover = [1, 2]\n{}",
        requirement("A", "inclination", "limit_deg = 3", 0.95),
    );
    let report = reported(&text);
    check(&report);
    assert_eq!(verdicts(&report.evidence).len(), 4);
    assert_eq!(report.evidence.charts().filter(|chart| chart.id.contains("joint-cup")).count(), 4);
    assert!(report.page.contains("bony &amp; &lt;plain&gt;") && !report.page.contains("<plain>"));
    let differences = report.evidence.tables().find(|table| table.id == "table-variants").expect("several variants");
    assert!(differences.rows.iter().any(|row| row[1] == "measure.plane" && row[3] == "level"));
}

#[test]
fn identity_same_run_same_bytes_and_no_remains() {
    let text = [PLAIN, &requirement("A", "inclination", "limit_deg = 3", 0.95)].concat();
    let (one, other) = (reported(&text), reported(&text));
    let sums =
        |report: &Reported| std::fs::read_to_string(report.folder.path().join("SHA256SUMS")).expect("checksums");
    assert_eq!(sums(&one), sums(&other));
    // The same trials without the requirement: its chart against the drawn values is gone.
    let path = one.folder.path();
    assert!(path.join("charts/against-inclination.svg").is_file());
    report_into(path, &Plan::parse("hip.toml", PLAIN).expect("a sound experiment"));
    assert!(!path.join("charts/against-inclination.svg").exists());
}

/// Each kind of document stands where it is asked for, or where the experiment has what it needs, and is gone with it.
#[test]
fn identity_documents_are_those_that_are_asked_for() {
    let arms = "[[arm]]\nname = \"bony\"\n[[arm]]\nname = \"level\"\nset = { \"measure.plane\" = \"level\" }\n";
    let asked = requirement("A", "inclination", "limit_deg = 3", 0.95);
    let names = |report: &Reported| -> Vec<&'static str> {
        report.evidence.documents.iter().map(|document| document.name).collect()
    };
    assert_eq!(names(&reported(PLAIN)), Vec::<&str>::new());
    let both = reported(&[PLAIN, arms, &asked].concat());
    check(&both);
    assert_eq!(names(&both), ["verification", "comparison"]);
    assert!(both.page.contains("href=\"verification.html\""));
    let listed = [PLAIN, "[report]\nkind = [\"engineering\", \"verification\"]\n", arms, &asked].concat();
    report_into(both.folder.path(), &Plan::parse("hip.toml", &listed).expect("a sound experiment"));
    let there = |name: &str| both.folder.path().join(name).is_file();
    assert!(there("engineering.html") && there("verification.html") && !there("comparison.html"));
}

/// A document is a draft until a person says that it is not, and blanks are marked.
#[test]
fn identity_a_draft_is_marked_until_a_person_removes_it() {
    let text = |more: &str| format!("{PLAIN}[report]\nkind = \"verification\"\n{more}");
    let page = |more: &str| {
        let report = reported(&text(more));
        check(&report);
        page_of(&report, "verification")
    };
    let draft = page("");
    assert!(draft.contains(">DRAFT<") && draft.contains("[to be filled in: "));
    let released =
        page("draft = false\nmodel_influence = \"Bench tests decide.\"\ndecision_consequence = \"Rework.\"\n");
    assert!(
        !released.contains(">DRAFT<") && released.contains("Bench tests decide.") && released.contains("Rework.")
    );
}

/// The order of the guidance, each requirement once in each place that answers for it, and blanks where a person must write.
#[test]
fn identity_verification_report_is_complete() {
    let asked = [
        requirement("ACC-A", "inclination", "limit_deg = 60", 0.9).replace("text =", "risk = \"R-12\"\ntext ="),
        requirement("ACC-B", "leg_length", "limit_mm = 0.001", 0.9),
        "[[requirement]]\nid = \"BOTH\"\ntext = \"Both.\"\nall_of = [\"ACC-A\", \"ACC-B\"]\nproportion = 0.9\n\
         confidence = 0.9\n"
            .to_owned(),
    ];
    let report = reported(&[PLAIN, &asked.concat()].concat());
    check(&report);
    let document = &report.evidence.documents[0];
    let order = [
        "summary",
        "question-of-interest",
        "use",
        "model-risk",
        "credibility-factors",
        "code",
        "configuration",
        "governing-equations",
        "properties",
        "conditions",
        "sampling-plan",
        "implementation",
        "calculation",
        "validation",
        "results-found",
        "verdicts",
        "traced",
        "failed-trials",
        "limitations",
        "deviating",
        "cautions",
        "signed",
        "words",
    ];
    assert_eq!(document.sections.iter().map(|section| section.id).collect::<Vec<_>>(), order);
    let page = page_of(&report, "verification");
    for sentence in [NO_BENCH, "No trial failed.", "No plan was frozen before this run"] {
        assert!(page.contains(sentence), "{sentence}");
    }
    // Of each requirement one row of verdicts.csv, one verdict, one row of the matrix with the file's own checksum.
    let file = report.folder.path().join("tables/verdicts.csv");
    let verdicts = std::fs::read_to_string(&file).expect("always there");
    let matrix = document.tables().find(|table| table.id == "table-traceability").expect("there are requirements");
    let sum = sums::sum(&file).expect("a file that was just written");
    for (place, id) in ["ACC-A", "ACC-B", "BOTH"].into_iter().enumerate() {
        let line = verdicts.lines().nth(place + 1).expect("a row for each");
        let row = &matrix.rows[place];
        assert!(line.starts_with(&format!("{id},")), "{line}");
        assert_eq!(verdicts.lines().filter(|line| line.starts_with(&format!("{id},"))).count(), 1);
        assert_eq!(matrix.rows.iter().filter(|row| row[0] == id).count(), 1);
        assert_eq!(document.entries().filter(|e| matches!(e, Entry::Verdict(v) if v.label == id)).count(), 1);
        assert_eq!(row[3], format!("tables/verdicts.csv, row {}", place + 1));
        assert!(line.contains(&format!(",{},", row[2])) && row[4] == sum, "{line}: {row:?}");
    }
    assert_eq!((matrix.rows[0][1].as_str(), matrix.rows[1][1].as_str()), ("R-12", "[none given]"));
}

/// Each requirement has its one verdict and its one row of the matrix in the document for a word processor too.
#[cfg(feature = "docx")]
#[test]
fn identity_docx_names_each_requirement_as_the_page_does() {
    let asked = [
        requirement("ACC-A", "inclination", "limit_deg = 60", 0.9),
        requirement("ACC-B", "leg_length", "limit_mm = 0.001", 0.9),
    ];
    let report = reported(&[PLAIN, &asked.concat()].concat());
    let document = &report.evidence.documents[0];
    let file = std::fs::read(report.folder.path().join("verification.docx")).expect("a document");
    // The parts of the file are stored as they are.
    let count = |word: &str| file.windows(word.len()).filter(|window| *window == word.as_bytes()).count();
    let matrix = document.tables().find(|table| table.id == "table-traceability").expect("there are requirements");
    for id in ["ACC-A", "ACC-B"] {
        let of_verdicts = document.entries().filter_map(|e| if let Entry::Verdict(v) = e { Some(v) } else { None });
        let verdict: Vec<_> = of_verdicts.filter(|verdict| verdict.label == id).collect();
        assert_eq!(verdict.len(), 1);
        assert_eq!(count(&verdict[0].sentence), 1, "{id}");
        let cells =
            document.tables().flat_map(|table| table.rows.iter().flatten()).filter(|cell| *cell == id).count();
        assert_eq!(matrix.rows.iter().filter(|row| row[0] == id).count(), 1);
        assert_eq!(count(&format!(">{id}<")), cells, "{id}");
    }
}

/// One source that matters and one that does not: the answer names the first, and its verdict hangs on it.
#[test]
fn identity_engineering_report_answers_and_says_what_hangs_on_what() {
    let text = format!(
        "seed = 5\ntrials = 400\n[noise]\nonly = [\"cup.runout\", \"camera.remount\"]\n\
         [noise.cup.runout]\ntransverse_deg = {{ normal = {{ sd = 0.4 }} }}\nbasis = {{ kind = \"assumed\", note = \"a guess\" }}\n\
         [sensitivity]\nrows = 1024\nask = [\"one-at-a-time\", \"linear\"]\n{}",
        requirement("RUN-OUT", "inclination", "limit_deg = 1.2", 0.95),
    );
    let report = reported(&text);
    check(&report);
    let names: Vec<&str> = report.evidence.documents.iter().map(|document| document.name).collect();
    assert_eq!(names, ["verification", "engineering"]);
    let table = |id: &str| report.evidence.documents[1].tables().find(|table| table.id == id).cloned().expect(id);
    let brief = &table("table-brief").rows[0];
    assert_eq!(brief[..2], ["RUN-OUT", "met"]);
    assert!(brief[5].starts_with("cup.runout (") && brief[6].starts_with("halve cup.runout: −"), "{brief:?}");
    assert_eq!(table("table-hangs").rows, [["base", "RUN-OUT", "cup.runout", "pass", "pass", "fail"]]);

    // Variances add, so that the prediction is off by the chance correlation of the draws alone: 4 / sqrt(1024).
    let file = std::fs::read_to_string(report.folder.path().join("tables/what-if.csv")).expect("a file");
    let mut compared = 0;
    for line in file.lines().filter(|line| line.starts_with("base,inclination,")) {
        let cell =
            |at: usize| -> f64 { line.split(',').nth(at).and_then(|cell| cell.parse().ok()).expect("a number") };
        let whole = 0.4;
        assert!(
            (cell(7) - cell(8)).abs() < 0.125 * whole && (cell(9) - cell(10)).abs() < 2.0 * 0.125 * 1.96 * whole,
            "{line}"
        );
        compared += 1;
    }
    assert_eq!(compared, 6);
    let page = page_of(&report, "engineering");
    assert_eq!(page.matches("<form class=\"what-if\"").count(), 1);
    assert_eq!(page.matches("<input type=\"range\"").count(), 2);
    assert!(page.contains("navassay trial hip.toml"), "the worst trials have their command");
    // Who did not ask is told so in every document.
    let plain = reported(&[PLAIN, BOTH_KINDS, &requirement("A", "inclination", "limit_deg = 3", 0.95)].concat());
    for name in ["report", "verification", "engineering"] {
        assert!(page_of(&plain, name).contains(NOT_ASKED), "{name}");
    }
}

/// Contrast of two colours: WCAG 2.2, "contrast ratio" and "relative luminance".
fn contrast(one: &str, other: &str) -> f64 {
    let luminance = |colour: &str| {
        let part = |at: usize| {
            let part = u8::from_str_radix(&colour[at..at + 2], 16).expect("two hexadecimal digits");
            let part = f64::from(part) / 255.0;
            if part <= 0.04045 { part / 12.92 } else { libm::pow((part + 0.055) / 1.055, 2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    };
    let (one, other) = (luminance(one) + 0.05, luminance(other) + 0.05);
    (one / other).max(other / one)
}

/// WCAG 2.2 asks 4.5 of text (success criterion 1.4.3, level AA).
#[test]
fn table_contrast_of_every_text_colour_in_both_themes() {
    let page = reported(PLAIN).page;
    let style = between(&page, "<style>", "</style>")[0];
    // A theme's colours stand in the rule that begins with its name, for charts and page each.
    let colour = |theme: &str, name: &str| {
        let mut rules = style.split("[data-theme=").filter(|rule| rule.starts_with(theme));
        let key = format!("{name}:");
        let value = rules.find_map(|rule| rule.split('}').next()?.split(&key).nth(1)?.get(..7).map(str::to_owned));
        value.unwrap_or_else(|| panic!("{name} in {theme}"))
    };
    let texts =
        ["--chart-text", "--chart-muted", "--chart-first", "--chart-second", "--chart-third", "--chart-fourth"];
    let more = ["--link", "--pass", "--fail", "--not-shown"];
    for theme in ["light]{", "dark]{"] {
        for name in texts.iter().chain(&more) {
            let found = contrast(&colour(theme, name), &colour(theme, "--chart-paper"));
            assert!(found >= 4.5, "{name} in {theme}: {found}");
        }
        for name in ["--chart-text", "--chart-muted"] {
            let found = contrast(&colour(theme, name), &colour(theme, "--shade"));
            assert!(found >= 4.5, "{name} on shaded rows in {theme}: {found}");
        }
    }
    // Black on white is 21 by definition.
    assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
}
