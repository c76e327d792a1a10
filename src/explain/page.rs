//! The catalogue as text for a terminal and as Markdown.

use super::{Entry, Kind};
use std::fmt::Write as _;

/// Letters of a line.
const WIDTH: usize = 100;

/// Every id with what it means, one line each, by kind.
#[must_use]
pub fn overview(entries: &[Entry]) -> String {
    let mut text = String::new();
    for kind in Kind::ALL {
        let of_kind = || entries.iter().filter(|entry| entry.kind == kind);
        let longest = of_kind().map(|entry| entry.id.chars().count()).max().unwrap_or(0);
        let _ = writeln!(text, "{}", kind.heading());
        for entry in of_kind() {
            let line = format!("  {:longest$}  {}", entry.id, entry.meaning);
            let _ = writeln!(text, "{}", shortened(&line));
        }
        text.push('\n');
    }
    text.push_str("navassay explain ID tells everything about one of them; --markdown writes the whole reference\n");
    text
}

fn shortened(line: &str) -> String {
    if line.chars().count() <= WIDTH {
        return line.to_owned();
    }
    let kept: String = line.chars().take(WIDTH - 4).collect();
    // At the end of a word, where there is one.
    let end = kept.rfind(' ').unwrap_or(kept.len());
    format!("{} ...", kept[..end].trim_end_matches([',', ';', ':', ' ']))
}

/// Everything about one entry.
#[must_use]
pub fn detail(entry: &Entry) -> String {
    let mut text = format!("{} ({})\n  {}\n", entry.id, entry.kind.word(), wrapped(&entry.meaning, 2));
    let longest = entry.facts.iter().map(|(label, _)| label.chars().count()).max().unwrap_or(0);
    if longest > 0 {
        text.push('\n');
    }
    for (label, fact) in &entry.facts {
        let _ = writeln!(text, "  {label:longest$}  {}", wrapped(fact, longest + 4));
    }
    text
}

/// Broken between words, continued behind so many blanks.
fn wrapped(text: &str, indent: usize) -> String {
    let (mut wrapped, mut column) = (String::new(), indent);
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if column > indent && column + 1 + length > WIDTH {
            let _ = write!(wrapped, "\n{:indent$}", "");
            column = indent;
        } else if column > indent {
            wrapped.push(' ');
            column += 1;
        }
        wrapped.push_str(word);
        column += length;
    }
    wrapped
}

/// The whole reference.
#[must_use]
pub fn markdown(entries: &[Entry]) -> String {
    let mut text = String::from(
        "# Reference\n\nWritten by `navassay explain --markdown`; `navassay explain ID` tells the same of one id.\n",
    );
    for kind in Kind::ALL {
        let _ = writeln!(text, "\n## {}", kind.heading());
        let of_kind: Vec<_> = entries.iter().filter(|entry| entry.kind == kind).collect();
        match kind {
            Kind::Key | Kind::Term | Kind::Symbol | Kind::Failure => table(&mut text, kind, &of_kind),
            _ => of_kind.iter().for_each(|entry| section(&mut text, entry)),
        }
    }
    text
}

fn section(text: &mut String, entry: &Entry) {
    let _ = writeln!(text, "\n### {}\n\n{}\n", entry.id, sentence(&entry.meaning));
    for (label, fact) in &entry.facts {
        let _ = writeln!(text, "- {label}: {}", escaped(fact));
    }
}

/// One row an entry, one column for each label that the entries have.
fn table(text: &mut String, kind: Kind, entries: &[&Entry]) {
    let mut labels: Vec<&str> = Vec::new();
    for (label, _) in entries.iter().flat_map(|entry| &entry.facts) {
        if !labels.contains(&label.as_str()) {
            labels.push(label);
        }
    }
    let _ = writeln!(text, "\n| {} | meaning | {} |", kind.word(), labels.join(" | "));
    let _ = writeln!(text, "| --- | --- |{}", " --- |".repeat(labels.len()));
    for entry in entries {
        let cell = |label: &&str| {
            let fact = entry.facts.iter().find(|(known, _)| known == label);
            fact.map(|(_, fact)| in_table(fact)).unwrap_or_default()
        };
        let cells: Vec<_> = labels.iter().map(cell).collect();
        let _ = writeln!(text, "| `{}` | {} | {} |", entry.id, in_table(&entry.meaning), cells.join(" | "));
    }
}

fn in_table(text: &str) -> String {
    escaped(text).replace('|', "\\|")
}

/// What Markdown would take for marks of its own.
fn escaped(text: &str) -> String {
    text.replace('*', "\\*").replace('<', "&lt;")
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().collect::<String>()).unwrap_or_default();
    let end = if text.ends_with('.') { "" } else { "." };
    escaped(&format!("{first}{}{end}", letters.as_str()))
}

#[cfg(test)]
mod tests {
    use super::super::catalogue;
    use super::*;

    #[test]
    fn identity_overview_has_each_id_on_a_line_that_fits() {
        let (entries, text) = (catalogue(), overview(&catalogue()));
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        for entry in &entries {
            assert!(text.lines().any(|line| line.starts_with(&format!("  {} ", entry.id))), "{}", entry.id);
        }
    }

    #[test]
    fn identity_detail_loses_no_word() {
        for entry in catalogue() {
            let text = detail(&entry).split_whitespace().collect::<Vec<_>>().join(" ");
            for fact in entry.facts.iter().map(|(_, fact)| fact).chain([&entry.meaning]) {
                assert!(text.contains(&fact.split_whitespace().collect::<Vec<_>>().join(" ")), "{}", entry.id);
            }
        }
    }

    /// The reference that is shipped is the one that the program writes.
    #[test]
    fn identity_committed_reference_is_this_catalogue() {
        let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/reference.md");
        let committed = std::fs::read_to_string(&file).unwrap_or_default();
        assert!(
            committed == markdown(&catalogue()),
            "docs/reference.md is not what the catalogue and the defaults say now; write it again with\n  \
             cargo run -- explain --markdown > docs/reference.md"
        );
    }
}
