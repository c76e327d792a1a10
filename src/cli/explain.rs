//! `navassay explain`: what everything means.

use super::Ending;
use super::arguments::ExplainArguments;
use super::message::Stop;
use super::terminal::show;
use crate::explain::{Kind, catalogue, detail, find, markdown, nearest, overview};
use crate::trial::run_schema;
use std::fmt::Write as _;

/// Explains one id, or lists them all.
pub fn explain(arguments: &ExplainArguments) -> Result<Ending, Stop> {
    if arguments.schema {
        show(&run_schema())?;
        return Ok(Ending::Shown);
    }
    let entries = catalogue();
    if arguments.markdown {
        show(&markdown(&entries))?;
        return Ok(Ending::Shown);
    }
    if arguments.id.is_empty() {
        show(&overview(&entries))?;
        return Ok(Ending::Shown);
    }
    // Some ids are of several words.
    let asked = arguments.id.join(" ");
    let found = find(&entries, &asked);
    if found.is_empty() {
        let help = nearest(&entries, &asked).map_or_else(
            || "`navassay explain` lists all that can be explained".to_owned(),
            |near| format!("did you mean `{near}`? `navassay explain` lists all that can be explained"),
        );
        return Err(Stop::new(Ending::Refused, format_args!("nothing is called `{asked}`"), Some(&help)));
    }
    let mut text = String::new();
    for (index, entry) in found.iter().enumerate() {
        let gap = if index > 0 { "\n" } else { "" };
        let _ = write!(text, "{gap}{}", detail(entry));
    }
    if found.iter().any(|entry| entry.kind == Kind::Source) {
        text.push_str("\nnumbers of your own go into its section, with a basis beside them\n");
    }
    show(&text)?;
    Ok(Ending::Shown)
}
