//! The page: one file that needs nothing else.

use super::chart;
use super::evidence::{Entry, Evidence};
use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{Environment, context};

/// Pictures that stand in the page, in bytes all together; what goes beyond is linked, so that the page stays light.
const PICTURES: usize = 4_000_000;

/// The page of a report.
///
/// # Errors
/// If a template is wrong: a mistake of ours.
pub fn page(evidence: &Evidence) -> Result<String, minijinja::Error> {
    let mut templates = Environment::new();
    // A line that holds a statement alone leaves no line behind.
    templates.set_syntax(SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build()?);
    // The ending switches escaping on.
    templates.add_template("page.html", include_str!("page.html"))?;
    let style = format!("{}{}", chart::stylesheet(), include_str!("page.css"));
    let script = include_str!("page.js");
    templates
        .get_template("page.html")?
        .render(context! { evidence => Serde(within_budget(evidence)), style, script })
}

/// The same evidence with pictures beyond the budget left out.
fn within_budget(evidence: &Evidence) -> Evidence {
    let mut evidence = evidence.clone();
    let mut left = PICTURES;
    for entry in evidence.sections.iter_mut().flat_map(|section| &mut section.entries) {
        let Entry::Charts { charts } = entry else { continue };
        for chart in charts {
            match left.checked_sub(chart.svg.len()) {
                Some(rest) => left = rest,
                None => chart.svg.clear(),
            }
        }
    }
    evidence
}
