//! Keyed streams: the one mechanism by which anything is drawn.
//!
//! A stream is opened by `(seed, replicate, source, device, case, capture)` and yields standard normal scores
//! only. No draw depends on the order of calls, on threads, or on which other sources are on. Of 10^9 streams,
//! two coincide with a probability of about 3 %; then two captures among 10^9 share their draws: harmless.

use rand::SeedableRng;
use rand::rngs::Xoshiro256PlusPlus;
use rand_distr::{Distribution, StandardNormal};

/// The generator and how it is keyed, in words for records.
pub const GENERATOR: &str = "xoshiro256++ seeded by splitmix64 over (seed, replicate, source, device, case, capture)";

/// Which trial is drawn: absolute indices that never restart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CaseKey {
    /// Seed of the experiment; 0 is a seed like any other.
    pub seed: u64,
    /// Index of the device (unit to unit).
    pub device: u64,
    /// Index of the case (patient to patient).
    pub case: u64,
}

/// Everything that opens a stream. Indices below the stratum of a draw are 0; captures count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StreamKey {
    /// Seed of the experiment.
    pub seed: u64,
    /// 0, or 1 for the second set of draws that variance-based sensitivity needs.
    pub replicate: u64,
    /// Key of the source: [`source_key`] of its id.
    pub source: u64,
    /// Index of the device.
    pub device: u64,
    /// Index of the case.
    pub case: u64,
    /// Packed capture, 0 above the capture stratum.
    pub capture: u64,
}

impl StreamKey {
    /// The 64 bits that seed the generator: one round of the splitmix64 finaliser for each part.
    #[must_use]
    pub const fn mixed(&self) -> u64 {
        let parts = [self.seed, self.replicate, self.source, self.device, self.case, self.capture];
        let mut state = 0x9e37_79b9_7f4a_7c15; // so that a key of zeros does not stay at zero
        let mut i = 0;
        while i < parts.len() {
            state = finalise(state ^ parts[i]);
            i += 1;
        }
        state
    }

    /// Opens the stream.
    #[must_use]
    pub fn open(&self) -> Scores {
        Scores(Xoshiro256PlusPlus::seed_from_u64(self.mixed()))
    }
}

/// Successive standard normal scores of one stream.
#[derive(Clone, Debug)]
pub struct Scores(Xoshiro256PlusPlus);

impl Scores {
    /// The next score.
    #[inline]
    #[must_use]
    pub fn next_score(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// The next scores, as many as there is room for.
    #[inline]
    pub fn fill(&mut self, scores: &mut [f64]) {
        // Worked on a copy, which stays in registers.
        let mut generator = self.0.clone();
        for score in scores {
            *score = StandardNormal.sample(&mut generator);
        }
        self.0 = generator;
    }

    /// The next three scores.
    #[inline]
    #[must_use]
    pub fn next_three(&mut self) -> [f64; 3] {
        [self.next_score(), self.next_score(), self.next_score()]
    }
}

/// The finaliser of splitmix64 (Steele GL, Lea D, Flood CH. OOPSLA 2014), a bijection of 64 bits.
const fn finalise(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// The key of a source: 64-bit FNV-1a of its id, so that adding a source moves no other.
#[must_use]
pub const fn source_key(id: &str) -> u64 {
    continued_key(0xcbf2_9ce4_8422_2325, id)
}

/// The key of an id that goes on: `continued_key(source_key("a"), ".b")` is `source_key("a.b")`.
#[must_use]
pub const fn continued_key(key: u64, rest: &str) -> u64 {
    let bytes = rest.as_bytes();
    let mut hash = key;
    let mut i = 0;
    while i < bytes.len() {
        hash = (hash ^ bytes[i] as u64).wrapping_mul(0x0000_0100_0000_01b3);
        i += 1;
    }
    hash
}
