//! Keyed streams: the one mechanism by which anything is drawn.
//!
//! A stream is opened by `(seed, replicate, source, device, case, capture)` and yields standard normal scores
//! only. No draw depends on the order of calls, on threads, or on which other sources are on. Of 10^9 streams,
//! two coincide with a probability of about 3 %; then two captures among 10^9 share their draws: harmless.

use super::source::CaptureKey;
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
    /// Which repeat of the case, from 0: captures and frames are new, everything above them is the same.
    pub repeat: u32,
}

impl CaseKey {
    /// A device and a case of their own, once.
    #[must_use]
    pub const fn alone(seed: u64, index: u64) -> Self {
        Self { seed, device: index, case: index, repeat: 0 }
    }
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
        Scores { own: self.generator(), mixed: None }
    }

    fn generator(&self) -> Xoshiro256PlusPlus {
        Xoshiro256PlusPlus::seed_from_u64(self.mixed())
    }
}

/// Successive standard normal scores: of one stream, or of one that is mixed with others.
#[derive(Clone, Debug)]
pub struct Scores {
    own: Xoshiro256PlusPlus,
    mixed: Option<Mixed>,
}

/// The streams that go into scores beside their own, with their weights.
#[derive(Clone, Debug)]
struct Mixed {
    own_weight: f64,
    partners: [Option<(f64, Xoshiro256PlusPlus)>; MOST_PARTNERS],
}

impl Scores {
    /// The next score.
    #[inline]
    #[must_use]
    pub fn next_score(&mut self) -> f64 {
        let own = StandardNormal.sample(&mut self.own);
        match &mut self.mixed {
            None => own,
            Some(mixed) => mixed.next_score(own),
        }
    }

    /// The next scores, as many as there is room for.
    #[inline]
    pub fn fill(&mut self, scores: &mut [f64]) {
        if self.mixed.is_some() {
            scores.fill_with(|| self.next_score());
            return;
        }
        // Worked on a copy, which stays in registers.
        let mut generator = self.own.clone();
        for score in scores {
            *score = StandardNormal.sample(&mut generator);
        }
        self.own = generator;
    }

    /// The next three scores.
    #[inline]
    #[must_use]
    pub fn next_three(&mut self) -> [f64; 3] {
        let mut scores = [0.0; 3];
        self.fill(&mut scores);
        scores
    }
}

impl Mixed {
    fn next_score(&mut self, own: f64) -> f64 {
        let mut score = self.own_weight * own;
        for (weight, partner) in self.partners.iter_mut().flatten() {
            let raw: f64 = StandardNormal.sample(partner);
            score += *weight * raw;
        }
        score
    }
}

/// Streams of other sources that one source's scores may take up.
pub const MOST_PARTNERS: usize = 7;

/// What goes into the scores of a source: its own stream, and the raw streams of sources that it is correlated with.
/// The squares of the weights add up to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mixing {
    own_weight: f64,
    partners: [Option<Partner>; MOST_PARTNERS],
}

/// Another source whose raw stream goes into scores.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Partner {
    /// Weight of its scores.
    pub weight: f64,
    /// Key of the source.
    pub source: u64,
    /// Its set of draws.
    pub replicate: u64,
    /// The first capture of its step, where that is another.
    pub step: Option<u64>,
}

impl Mixing {
    /// A source that is correlated with none.
    pub const ALONE: Self = Self::alone(1.0);

    /// Its own stream with this weight.
    #[must_use]
    pub const fn alone(own_weight: f64) -> Self {
        Self { own_weight, partners: [None; MOST_PARTNERS] }
    }

    /// Takes up another stream, as long as there is room.
    pub fn add(&mut self, partner: Partner) {
        if let Some(place) = self.partners.iter_mut().find(|place| place.is_none()) {
            *place = Some(partner);
        }
    }

    /// Opens the scores of a source whose own stream has this key.
    #[must_use]
    pub fn open(&self, key: StreamKey) -> Scores {
        let mut scores = key.open();
        if self.partners[0].is_some() {
            let generator = |partner: &Partner| {
                let Partner { source, replicate, .. } = *partner;
                let capture = match partner.step {
                    Some(step) if key.capture != 0 => key.capture & !CaptureKey::STEP | step,
                    _ => key.capture,
                };
                (partner.weight, StreamKey { replicate, source, capture, ..key }.generator())
            };
            let partners = self.partners.map(|partner| partner.as_ref().map(generator));
            scores.mixed = Some(Mixed { own_weight: self.own_weight, partners });
        }
        scores
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
