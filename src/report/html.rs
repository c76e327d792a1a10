//! The page: one file that needs nothing else.

use super::chart;
use super::document::Document;
use super::evidence::Entry;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::{Serde, Value};
use minijinja::{Environment, HtmlEscape, context};

/// A page is no longer than this, in bytes: the last pictures of one that would be are linked instead.
const LONGEST: usize = 4_700_000;
/// A link to a picture takes less than this, in bytes.
const LINK: usize = 300;

/// The page of a document, with links to `others` in the same folder.
///
/// # Errors
/// If a template is wrong: a mistake of ours.
pub fn page(document: &Document, others: &[Document]) -> Result<String, minijinja::Error> {
    let mut templates = Environment::new();
    // A line that holds a statement alone leaves no line behind.
    templates.set_syntax(SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build()?);
    templates.add_filter("words", words);
    templates.add_filter("breakable", breakable);
    // The ending switches escaping on.
    templates.add_template("page.html", include_str!("page.html"))?;
    let others: Vec<_> =
        others.iter().map(|other| context! { name => other.name, heading => other.heading }).collect();
    let style = format!("{}{}", chart::stylesheet(), include_str!("page.css"));
    let script = include_str!("page.js");
    let template = templates.get_template("page.html")?;
    let render = |document: &Document| {
        template.render(context! { document => Serde(document), others => &others, style => &style, script })
    };
    let page = render(document)?;
    match page.len().checked_sub(LONGEST) {
        None => Ok(page),
        Some(excess) => render(&lighter(document, excess)),
    }
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

/// Text for a narrow column: escaped, and a long key may be broken behind each of its words.
fn breakable(text: &str) -> Value {
    Value::from_safe_string(HtmlEscape(text).to_string().replace('_', "_<wbr>"))
}

/// The same document without its last pictures, which together have at least so many bytes, if it has so many.
fn lighter(document: &Document, excess: usize) -> Document {
    let mut document = document.clone();
    let mut removed = 0;
    for entry in document.sections.iter_mut().rev().flat_map(|section| section.entries.iter_mut().rev()) {
        let Entry::Charts { charts } = entry else { continue };
        for chart in charts.iter_mut().rev() {
            if removed >= excess {
                return document;
            }
            // A link stands in its place.
            removed += chart.svg.len().saturating_sub(LINK);
            chart.svg.clear();
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
        assert_eq!(breakable("a_b < c").to_string(), "a_<wbr>b &lt; c");
    }
}
