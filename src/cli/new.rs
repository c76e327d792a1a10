//! `navassay new`: a commented experiment file to start from.

use super::Ending;
use super::arguments::NewArguments;
use super::message::Stop;
use super::terminal::show;
use crate::experiment::template;
use crate::record::WriteError;
use std::fs::File;
use std::io::{ErrorKind, Write};

/// Writes the file; one that is there is never overwritten.
pub fn new(arguments: &NewArguments) -> Result<Ending, Stop> {
    let mut path = arguments.name.clone();
    let Some(stem) = path.file_stem().map(|stem| stem.to_string_lossy().into_owned()) else {
        return Err(Stop::new(Ending::Refused, "an experiment needs a name", Some("for example: navassay new hip")));
    };
    let mut title = stem;
    if path.extension().is_none_or(|ending| ending != "toml") {
        // A name may have dots of its own.
        title = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        path.as_mut_os_string().push(".toml");
    }
    let shown = path.display();
    let refused = |error: &std::io::Error| match error.kind() {
        ErrorKind::AlreadyExists => Stop::new(
            Ending::Refused,
            format_args!("{shown} is there already; nothing was written"),
            Some("choose another name, or remove the file first"),
        ),
        _ => Stop::new(Ending::Refused, format_args!("{shown} cannot be written: {error}"), None),
    };
    let mut file = File::create_new(&path).map_err(|error| refused(&error))?;
    if let Err(source) = file.write_all(template(&title).as_bytes()) {
        // The beginning of a file that was not there before.
        let _ = std::fs::remove_file(&path);
        return Err(WriteError { path, source }.into());
    }
    show(&format!(
        "wrote {shown}\n\nread it, change what is yours, then\n  navassay check {shown}    says what would run and how long it takes\n  navassay run {shown}      runs it\n"
    ))?;
    Ok(Ending::Shown)
}
