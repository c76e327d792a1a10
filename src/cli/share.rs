//! Sharing a run between machines, which this version does not do: said plainly, and nothing is run.

use super::Ending;
use super::arguments::{FinishArguments, Shard};
use super::message::Stop;

/// `navassay run --shard K/N`.
pub fn run(Shard { number, of }: Shard) -> Stop {
    Stop::new(
        Ending::Refused,
        format_args!("running share {number} of {of} comes with a later version; nothing was run"),
        Some("run the whole experiment on one machine, without --shard"),
    )
}

/// `navassay finish`.
pub fn finish(arguments: &FinishArguments) -> Stop {
    let folder = arguments.folder.display();
    Stop::new(
        Ending::Refused,
        format_args!("joining shares of a run comes with a later version; {folder} was not touched"),
        Some("a run on one machine is finished by repeating its command; `navassay assess` assesses it again"),
    )
}
