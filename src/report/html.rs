//! The page: one file that needs nothing else.

use super::chart;
use super::document::Document;
use super::evidence::Entry;
use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{Environment, context};

/// Pictures that stand in the page, in bytes all together; what goes beyond is linked, so that the page stays light.
const PICTURES: usize = 4_000_000;

/// The page of a document, with links to `others` in the same folder.
///
/// # Errors
/// If a template is wrong: a mistake of ours.
pub fn page(document: &Document, others: &[Document]) -> Result<String, minijinja::Error> {
    let mut templates = Environment::new();
    // A line that holds a statement alone leaves no line behind.
    templates.set_syntax(SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build()?);
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
