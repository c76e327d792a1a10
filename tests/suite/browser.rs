//! The page as a browser shows it.

use crate::support::{Reported, reported};
use std::path::Path;
use std::process::{Command, Output};

/// The shipped experiment with the widest tables, in few trials, and a second arm with a long name.
fn report() -> Reported {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("experiments/primary.toml");
    let text = std::fs::read_to_string(path).expect("a shipped experiment").replace("trials = 20000", "trials = 60");
    let arms = "[[arm]]\nname = \"bony plane\"\n[[arm]]\nname = \"level plane, truth in the bony plane\"\n\
                set = { \"measure.plane\" = \"level\" }\n";
    reported(&format!("{text}\n{arms}"))
}

/// Chromium without a window, on a file in the folder of a report.
fn chromium(report: &Reported, file: &str, arguments: &[&str]) -> Output {
    let folder = report.folder.path();
    Command::new("chromium")
        .args(["--headless=new", "--no-sandbox", "--disable-gpu", "--allow-file-access-from-files"])
        .args(["--enable-logging=stderr", "--virtual-time-budget=10000"])
        .arg(format!("--user-data-dir={}", folder.join(".browser").display()))
        .args(arguments)
        .arg(format!("file://{}", folder.join(file).display()))
        .output()
        .expect("Debian's chromium is installed")
}

/// What a script finds in a page that is `width` pixels wide; `page` and `view` are its document and window.
fn measured(report: &Reported, file: &str, width: u32, script: &str) -> String {
    let wrapper = format!(
        "<!doctype html><iframe src=\"{file}\" style=\"width:{width}px;height:900px;border:0\" onload=\"\
         const view = this.contentWindow, page = this.contentDocument;\
         document.querySelector('output').textContent = String({script})\"></iframe><output></output>"
    );
    std::fs::write(report.folder.path().join("wrapper.html"), wrapper).expect("room for a wrapper");
    let output = chromium(report, "wrapper.html", &["--dump-dom"]);
    let page = String::from_utf8_lossy(&output.stdout).into_owned();
    let found = page.rsplit_once("<output>").and_then(|(_, rest)| rest.split_once("</output>"));
    let (found, _) = found.unwrap_or_else(|| panic!("{page}\n{}", String::from_utf8_lossy(&output.stderr)));
    found.to_owned()
}

#[test]
#[ignore = "needs Debian's chromium; .ci/run installs it"]
fn outside_page_loads_alone_and_without_complaint() {
    let report = report();
    let output = chromium(&report, "report.html", &["--dump-dom"]);
    let messages = String::from_utf8_lossy(&output.stderr);
    assert!(!messages.contains("CONSOLE"), "{messages}");
    let shown = String::from_utf8_lossy(&output.stdout);
    assert_eq!(shown.matches("<svg").count(), report.evidence.charts().count());
    assert_eq!(measured(&report, "report.html", 1000, "view.performance.getEntriesByType('resource').length"), "0");
}

#[test]
#[ignore = "needs Debian's chromium; .ci/run installs it"]
fn outside_phone_needs_no_sideways_scrolling() {
    let report = report();
    assert_eq!(measured(&report, "report.html", 412, "view.innerWidth"), "412");
    let width: u32 =
        measured(&report, "report.html", 412, "page.scrollingElement.scrollWidth").parse().expect("a width");
    assert!(width <= 412, "{width}");
}

/// The sliders stand at 1 and say what was found; moved, they say what the table beside them predicts.
#[test]
#[ignore = "needs Debian's chromium; .ci/run installs it"]
fn outside_sliders_predict_what_the_tables_say() {
    let text = "seed = 5\ntrials = 60\n[noise]\nonly = [\"cup.runout\", \"landmark.tissue\"]\n\
                [sensitivity]\nrows = 256\nask = [\"one-at-a-time\"]\n";
    let report = reported(text);
    let script = "(() => { const panel = page.querySelector('.what-if'), slider = panel.querySelectorAll('input')[0], \
                  cells = () => [...panel.querySelectorAll('tbody tr')[0].cells].slice(1, 4).map(cell => parseFloat(cell.textContent.replace('\\u2212', '-'))), \
                  name = slider.parentNode.querySelector('span').textContent, found = cells(); \
                  slider.value = 2; slider.dispatchEvent(new view.Event('input', { bubbles: true })); \
                  return [panel.hidden, name, ...found, ...cells()].join(' '); })()";
    let seen = measured(&report, "engineering.html", 1000, script).replace('\u{2212}', "-");
    let seen: Vec<&str> = seen.split(' ').collect();
    let numbers: Vec<f64> = seen[2..].iter().map(|word| word.parse().expect("a number")).collect();
    let file = |name: &str, begins: &str| -> Vec<String> {
        let text = std::fs::read_to_string(report.folder.path().join("tables").join(name)).expect("a file");
        let line = text.lines().find(|line| line.starts_with(begins)).expect("a line that begins so");
        line.split(',').map(str::to_owned).collect()
    };
    let cell = |line: &[String], at: usize| -> f64 { line[at].parse().expect("a number") };
    let (as_it_is, doubled) = (
        file("one-at-a-time.csv", "base,inclination,deg,,as it is,"),
        file("what-if.csv", &format!("base,inclination,deg,{},double,", seen[1])),
    );
    assert_eq!(seen[0], "false", "with scripts the panel is there");
    // Columns of one-at-a-time.csv behind n and failed: bias, sd and 95 % quantile; digits of the page: three.
    let expected = [cell(&as_it_is, 7), cell(&as_it_is, 10), cell(&as_it_is, 13)];
    let expected = expected.into_iter().chain([5, 7, 9].map(|at| cell(&doubled, at)));
    for (found, expected) in numbers.iter().zip(expected) {
        assert!((found - expected).abs() < 6e-4, "{seen:?}: {expected}");
    }
    assert_eq!(numbers.len(), 6);
}

/// Pressed once, twice and three times: up, down, and as written.
#[test]
#[ignore = "needs Debian's chromium; .ci/run installs it"]
fn outside_a_table_is_sorted_by_the_heading_that_is_pressed() {
    let report = report();
    let script = "(() => { const table = page.querySelector('[id$=failures] table'), column = 2, \
                  read = () => [...table.tBodies[0].rows].map(row => row.cells[column].textContent.trim()).join(' '), \
                  button = table.tHead.rows[0].cells[column].querySelector('button'); const seen = [read()]; \
                  for (let i = 0; i < 3; i++) { button.click(); seen.push(read()); } return seen.join('; '); })()";
    let seen = measured(&report, "report.html", 1000, script);
    let orders: Vec<Vec<u64>> = seen
        .split("; ")
        .map(|order| order.split(' ').map(|cell| cell.parse().expect("a count of trials")).collect())
        .collect();
    let [written, up, down, again] = &orders[..] else { panic!("{seen}") };
    assert!(up.is_sorted() && down.iter().rev().is_sorted() && written == again && written != up, "{seen}");
}

/// The rules for paper, applied to a page as wide as A4 between its margins: 182 mm are 688 px at 96 px an inch.
#[test]
#[ignore = "needs Debian's chromium and poppler-utils; .ci/run installs them"]
fn outside_no_table_is_wider_than_paper() {
    let report = report();
    let on_paper = report.page.replace("@media print", "@media all").replace("@media screen", "@media not all");
    std::fs::write(report.folder.path().join("paper.html"), on_paper).expect("room for a page");
    let script = "Array.from(page.querySelectorAll('.scroll, svg')).filter(box => \
                  Math.max(box.scrollWidth, box.getBoundingClientRect().right) > 688.5)\
                  .map(box => box.ariaLabel + ' ' + box.scrollWidth).join(', ')";
    assert_eq!(measured(&report, "paper.html", 688, script), "");
    assert!(
        !measured(&report, "report.html", 412, script).is_empty(),
        "on a phone wide tables do scroll in their box"
    );
    let pdf = report.folder.path().join("report.pdf");
    chromium(&report, "report.html", &["--no-pdf-header-footer", &format!("--print-to-pdf={}", pdf.display())]);
    let printed = std::fs::read(&pdf).expect("a printed page");
    assert!(printed.starts_with(b"%PDF") && printed.len() > 50_000);
    // The head of a table that goes on stands on each of its pages.
    let read = Command::new("pdftotext").args(["-layout".as_ref(), pdf.as_os_str(), "-".as_ref()]).output();
    let text = String::from_utf8(read.expect("Debian's poppler-utils").stdout).expect("text in UTF-8");
    let heads = text.lines().filter(|line| line.contains("parameter ") && line.contains("plausible range")).count();
    assert!(heads > 1, "{heads}");
}
