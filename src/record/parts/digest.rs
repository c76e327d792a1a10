//! The digest that a part carries in itself: one file is there whole or not at all, so a part is never without it.
//!
//! The last entry of the file's metadata is `navassay.digest` with the value `sha256:` and 64 hexadecimal digits: the
//! SHA-256 of the file with zeros in the place of these digits. So it covers every other bit of the file.

use crate::record::sums::{sum_of, sum_of_pieces};

/// Key of the entry.
pub const KEY: &str = "navassay.digest";

/// What stands before the digits.
const MARK: &[u8] = b"sha256:";

const DIGITS: usize = 64;

/// The value of the entry before the digest is known.
pub fn blank() -> String {
    format!("sha256:{}", "0".repeat(DIGITS))
}

/// Puts the digest of a file into its place; false if it has no such place.
pub fn put(bytes: &mut [u8]) -> bool {
    let Some(place) = place(bytes) else { return false };
    bytes[place..place + DIGITS].fill(b'0');
    let digest = sum_of(bytes);
    bytes[place..place + DIGITS].copy_from_slice(digest.as_bytes());
    true
}

/// The digest that a file carries and that of its content; `None` if it carries none.
pub fn stated_and_found(bytes: &[u8]) -> Option<(String, String)> {
    let place = place(bytes)?;
    let (before, rest) = bytes.split_at(place);
    let (stated, after) = rest.split_at(DIGITS);
    let found = sum_of_pieces([before, &[b'0'; DIGITS], after]);
    Some((String::from_utf8_lossy(stated).into_owned(), found))
}

/// Where the digits begin: behind the last mark, since the metadata is the end of the file.
fn place(bytes: &[u8]) -> Option<usize> {
    let place = bytes.windows(MARK.len()).rposition(|window| window == MARK)? + MARK.len();
    (place + DIGITS <= bytes.len()).then_some(place)
}
