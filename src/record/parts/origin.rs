//! Which run a part belongs to: columns that all its rows share, and entries in the metadata of its file.

use super::id::PartId;

/// What all rows of a part share.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Origin<'a> {
    /// SHA-256, in hexadecimal digits, of all that moves draws and readings.
    pub simulation_hash: &'a str,
    /// Seed of all draws.
    pub seed: u64,
    /// Name of the arm.
    pub arm: &'a str,
    /// Index of the point in the arm's sweeps, 0 without one.
    pub point: u32,
    /// Which set of draws: 0, or 1 for the second set that variance-based sensitivity needs.
    pub replicate: u32,
}

/// Prefix of the entries that this program writes into a file's metadata.
const PREFIX: &str = "navassay.";

/// The entries that say which run and which of its parts a file is, in their order.
const FIXED: [&str; 5] = ["version", "simulation_hash", "seed", "variant", "first_trial"];

/// The entry that says how far a part goes: a run that is extended goes further.
const LAST: &str = "last_trial";

/// Entries of a file's metadata, in their order.
pub(super) type Entries = Vec<(String, String)>;

/// The entries of a part that goes to this trial.
pub(super) fn entries(origin: &Origin, id: PartId, last: u64) -> Entries {
    let keys = FIXED.into_iter().chain([LAST]).map(|key| format!("{PREFIX}{key}"));
    keys.zip(fixed(origin, id).into_iter().chain([last.to_string()])).collect()
}

/// The values of [`FIXED`].
fn fixed(origin: &Origin, id: PartId) -> [String; 5] {
    let (version, hash) = (env!("CARGO_PKG_VERSION").to_owned(), origin.simulation_hash.to_owned());
    let numbers = [origin.seed, id.variant.into(), id.first_trial()];
    let [seed, variant, first] = numbers.map(|number| number.to_string());
    [version, hash, seed, variant, first]
}

/// In what a part does not belong to a run, in words; nothing if it does.
pub(super) fn differences(found: &Entries, origin: &Origin, id: PartId) -> Vec<String> {
    let differs = |(key, expected): (&str, String)| {
        let value = value(found, key).unwrap_or("not stated");
        (value != expected).then(|| format!("{} is {value}, expected {expected}", key.replace('_', " ")))
    };
    FIXED.into_iter().zip(fixed(origin, id)).filter_map(differs).collect()
}

/// The last trial that a part states.
pub(super) fn last_trial(found: &Entries) -> Option<u64> {
    value(found, LAST)?.parse().ok()
}

fn value<'e>(entries: &'e Entries, key: &str) -> Option<&'e str> {
    let found = entries.iter().find(|(name, _)| name.strip_prefix(PREFIX) == Some(key));
    found.map(|(_, value)| value.as_str())
}
