//! Keyed streams: the one mechanism by which anything is drawn.
//!
//! A stream is opened by `(seed, replicate, source, device, case, capture)` and yields standard normal scores
//! only. No draw depends on the order of calls, on threads, or on which other sources are on. Of 10^9 streams,
//! two coincide with a probability of about 3 %; then two captures among 10^9 share their draws: harmless.

use super::source::{CaptureKey, Stratum};
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
        crate::mixing::mixed(&parts)
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

/// What the first scores of a stream become: their weight, and what is added to each.
#[derive(Clone, Debug)]
struct Mixed {
    weights: [f64; MOST_PLACES],
    added: [f64; MOST_PLACES],
    next: usize,
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
        let place = self.next;
        self.next += 1;
        match (self.weights.get(place), self.added.get(place)) {
            (Some(weight), Some(added)) => weight * own + added,
            _ => own,
        }
    }
}

/// Places of a stream, from its beginning, whose scores may be correlated.
pub const MOST_PLACES: usize = 6;

/// One score of a source: a place in one of its streams.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spot {
    /// How often the stream is drawn anew: for a device, a case or a capture.
    pub stratum: Stratum,
    /// The first capture of its step and item; 0 above the capture stratum.
    pub capture: u64,
    /// Place in the stream, from 0.
    pub place: usize,
}

/// A raw score that goes into another score.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Its weight.
    pub weight: f64,
    /// Key of its source.
    pub source: u64,
    /// Its set of draws.
    pub replicate: u64,
    /// Where it is drawn, at the stratum of the score that it goes into.
    pub spot: Spot,
}

/// What goes into the scores of a source that is correlated with others: its own raw scores and those of its partners. The
/// squares of the weights at one place add up to 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Mixing {
    streams: Vec<MixedStream>,
}

/// One stream of a source.
#[derive(Clone, Debug, PartialEq)]
struct MixedStream {
    stratum: Stratum,
    capture: u64,
    weights: [f64; MOST_PLACES],
    partners: Vec<PartnerStream>,
}

/// A stream whose raw scores go into those of another.
#[derive(Clone, Debug, PartialEq)]
struct PartnerStream {
    source: u64,
    replicate: u64,
    capture: u64,
    /// Place in this stream, place in the other one, and weight; by the place in this stream.
    weights: Vec<(usize, usize, f64)>,
}

impl Mixing {
    /// Makes the score at a spot from its raw score, with a weight, and from parts. Places from [`MOST_PLACES`] on cannot be
    /// mixed.
    pub fn add(&mut self, spot: Spot, own_weight: f64, parts: impl IntoIterator<Item = Part>) {
        let Spot { stratum, capture, place } = spot;
        let known = self.streams.iter().position(|stream| (stream.stratum, stream.capture) == (stratum, capture));
        let index = known.unwrap_or_else(|| {
            self.streams.push(MixedStream { stratum, capture, weights: [1.0; MOST_PLACES], partners: Vec::new() });
            self.streams.len() - 1
        });
        let stream = &mut self.streams[index];
        let Some(weight) = stream.weights.get_mut(place) else { return };
        *weight = own_weight;
        for Part { weight, source, replicate, spot } in parts {
            let known = stream.partners.iter().position(|known| {
                (known.source, known.replicate, known.capture) == (source, replicate, spot.capture)
            });
            let index = known.unwrap_or_else(|| {
                stream.partners.push(PartnerStream { source, replicate, capture: spot.capture, weights: Vec::new() });
                stream.partners.len() - 1
            });
            let weights = &mut stream.partners[index].weights;
            weights.push((spot.place, place, weight));
            weights.sort_by_key(|&(from, to, _)| (from, to));
        }
    }

    /// Opens the scores of a source whose own stream has this key. A hold that is taken again has no partner: which tries the
    /// partners have had is not known, so that its own scores alone are drawn.
    #[must_use]
    pub fn open(&self, key: StreamKey, stratum: Stratum) -> Scores {
        let mut scores = key.open();
        let capture = key.capture & CaptureKey::STEP_AND_ITEM;
        let own = |stream: &&MixedStream| stream.stratum == stratum && stream.capture == capture;
        if let Some(stream) = self.streams.iter().find(own).filter(|_| !CaptureKey::is_again(key.capture)) {
            let mut added = [0.0; MOST_PLACES];
            for PartnerStream { source, replicate, capture, weights } in &stream.partners {
                let capture = key.capture & !CaptureKey::STEP_AND_ITEM | capture;
                let mut generator = StreamKey { replicate: *replicate, source: *source, capture, ..key }.generator();
                let (mut raw, mut drawn) = (0.0, 0);
                for &(from, to, weight) in weights {
                    while drawn <= from {
                        raw = StandardNormal.sample(&mut generator);
                        drawn += 1;
                    }
                    added[to] += weight * raw;
                }
            }
            scores.mixed = Some(Mixed { weights: stream.weights, added, next: 0 });
        }
        scores
    }
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
