//! The page: one file that needs nothing else.

use super::chart;
use super::document::Document;
use super::evidence::Entry;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::{Serde, Value};
use minijinja::{Environment, HtmlEscape, context};

/// Pictures that stand in the page, in bytes all together; what goes beyond is linked, so that the page stays light.
const PICTURES: usize = 3_000_000;

/// The page of a document, with links to `others` in the same folder.
///
/// # Errors
/// If a template is wrong: a mistake of ours.
pub fn page(document: &Document, others: &[Document]) -> Result<String, minijinja::Error> {
    let mut templates = Environment::new();
    // A line that holds a statement alone leaves no line behind.
    templates.set_syntax(SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build()?);
    templates.add_filter("words", words);
    // The ending switches escaping on.
    templates.add_template("page.html", include_str!("page.html"))?;
    let others: Vec<_> =
        others.iter().map(|other| context! { name => other.name, heading => other.heading }).collect();
    let style = format!("{}{}", chart::stylesheet(), include_str!("page.css"));
    let script = include_str!("page.js");
    templates
        .get_template("page.html")?
        .render(context! { document => Serde(within_budget(document)), others, style, script })
}

/// Text for the page: escaped, and what stands between backticks set as code.
fn words(text: &str) -> Value {
    let escaped = HtmlEscape(text).to_string();
    if escaped.matches('`').count() % 2 == 1 {
        return Value::from_safe_string(escaped);
    }
    let mut page = String::with_capacity(escaped.len());
    for (place, piece) in escaped.split('`').enumerate() {
        match place % 2 {
            0 => page.push_str(piece),
            _ => page.extend(["<code>", piece, "</code>"]),
        }
    }
    Value::from_safe_string(page)
}

/// The same document with pictures beyond the budget left out.
fn within_budget(document: &Document) -> Document {
    let mut document = document.clone();
    let mut left = PICTURES;
    for entry in document.sections.iter_mut().flat_map(|section| &mut section.entries) {
        let Entry::Charts { charts } = entry else { continue };
        for chart in charts {
            match left.checked_sub(chart.svg.len()) {
                Some(rest) => left = rest,
                None => chart.svg.clear(),
            }
        }
    }
    document
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_words_are_escaped_and_code_is_marked() {
        let shown = |text: &str| words(text).to_string();
        assert_eq!(shown("a < b & `c<d>` e"), "a &lt; b &amp; <code>c&lt;d&gt;</code> e");
        assert_eq!(shown("a lone ` stays"), "a lone ` stays");
    }
}
