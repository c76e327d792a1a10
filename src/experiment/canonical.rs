//! The one form that equal data have, and its digest.

use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// The text of a file of equal data: keys sorted, indented, shortest digits that give the number, a line break at the end.
#[must_use]
pub fn text(value: &Value) -> String {
    format!("{:#}\n", sorted(value))
}

/// SHA-256 of [`text`] in hexadecimal digits: what `sha256sum` says of the file.
#[must_use]
pub fn file_digest(value: &Value) -> String {
    hexadecimal(text(value).as_bytes())
}

/// SHA-256, in hexadecimal digits, of the same data without any blank.
#[must_use]
pub fn digest(value: &Value) -> String {
    hexadecimal(sorted(value).to_string().as_bytes())
}

fn hexadecimal(bytes: &[u8]) -> String {
    let mut hex = String::new();
    for byte in Sha256::digest(bytes) {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
    }
    hex
}

/// With sorted keys, whatever order the map of the JSON library keeps.
fn sorted(value: &Value) -> Value {
    match value {
        Value::Object(map) => {
            let mut entries: Vec<_> = map.iter().collect();
            entries.sort_by_key(|(key, _)| *key);
            entries.into_iter().map(|(key, value)| (key.clone(), sorted(value))).collect()
        }
        Value::Array(array) => array.iter().map(sorted).collect(),
        other => other.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The digest of "abc": FIPS 180-4, examples published with the standard (csrc.nist.gov, SHA-256 examples).
    #[test]
    fn table_the_digest_is_sha_256() {
        assert_eq!(hexadecimal(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    /// Layout and order of a file do not move its digest; any value does. Numbers are read back to the last bit.
    #[test]
    fn identity_layout_moves_no_digest_and_every_value_does() {
        let read = |text: &str| serde_json::from_str::<Value>(text).unwrap();
        let value =
            read("{\"b\": [0.1, 2.2250738585072014e-308, 18446744073709551615], \"a\": {\"d\": 5.0, \"c\": null}}");
        assert_eq!(read(&text(&value)), value);
        assert_eq!(file_digest(&read(&value.to_string())), file_digest(&value));
        let other = read(&text(&value).replace("5.0", "9.0"));
        assert_ne!(file_digest(&other), file_digest(&value));
        // Numbers whose shortest digits a fast reader gets wrong in the last bit.
        for number in [0.122_072_209_453_498_3, 9.007_199_254_740_993e15, 1.797_693_134_862_315_7e308] {
            let written = serde_json::json!({ "x": number }).to_string();
            assert_eq!(read(&written)["x"].as_f64().map(f64::to_bits), Some(f64::to_bits(number)));
        }
    }
}
