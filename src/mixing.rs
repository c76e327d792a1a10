//! Seeds of streams from keys.

/// 64 bits from the parts of a key: one round of the splitmix64 finaliser for each part (Steele GL, Lea D, Flood CH. OOPSLA
/// 2014), so that keys that differ in one bit open unrelated streams.
#[must_use]
pub const fn mixed(parts: &[u64]) -> u64 {
    let mut state = 0x9e37_79b9_7f4a_7c15; // so that a key of zeros does not stay at zero
    let mut i = 0;
    while i < parts.len() {
        state = finalise(state ^ parts[i]);
        i += 1;
    }
    state
}

const fn finalise(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}
