//! A share of a run's parts, for several machines that write to one folder.

use std::fmt;
use std::str::FromStr;

/// One of the equal shares of a run's parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    number: u32,
    of: u32,
}

impl Shard {
    /// Whether the part at this place in the order of the plan is in this share. The shares are dealt out one part at
    /// a time, so that a slow variant is spread over all of them.
    #[must_use]
    pub const fn holds(self, place: usize) -> bool {
        place % self.of as usize + 1 == self.number as usize
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{} of {}", self.number, self.of)
    }
}

impl FromStr for Shard {
    type Err = &'static str;

    fn from_str(written: &str) -> Result<Self, Self::Err> {
        let parsed = written.split_once('/').and_then(|(number, of)| {
            let shard = Self { number: number.parse().ok()?, of: of.parse().ok()? };
            (1..=shard.of).contains(&shard.number).then_some(shard)
        });
        parsed.ok_or("expected K/N with K from 1 to N, such as 2/8")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn identity_every_part_is_in_one_share() {
        for of in [1, 2, 3, 7, 100] {
            let shards: Vec<Shard> = (1..=of).map(|k| format!("{k}/{of}").parse().unwrap()).collect();
            for place in 0..30 {
                assert_eq!(shards.iter().filter(|shard| shard.holds(place)).count(), 1, "{place} by {of}");
            }
        }
    }

    #[test]
    fn identity_what_is_no_share_is_refused() {
        for wrong in ["", "1", "0/2", "3/2", "1/0", "1/2/3", "-1/2", "a/b"] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
    }
}
