//! A SHA-256 as the store writes it: 64 lower-case hexadecimal digits.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};
use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

/// A SHA-256.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    /// Of these bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// From exactly 32 bytes.
    pub fn from_slice(bytes: &[u8]) -> Option<Self> {
        bytes.try_into().ok().map(Self)
    }
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl FromStr for Hash {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let bytes: Option<Vec<u8>> = hex_bytes(text);
        bytes
            .as_deref()
            .and_then(Self::from_slice)
            .ok_or_else(|| format!("{text:?} is no SHA-256: need 64 hexadecimal digits"))
    }
}

/// Bytes from lower- or upper-case hexadecimal digits.
pub(super) fn hex_bytes(text: &str) -> Option<Vec<u8>> {
    let digits: Option<Vec<u8>> = text.chars().map(|c| c.to_digit(16).map(|digit| digit as u8)).collect();
    let digits = digits?;
    digits.len().is_multiple_of(2).then(|| digits.chunks_exact(2).map(|pair| pair[0] << 4 | pair[1]).collect())
}

impl Serialize for Hash {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Hash {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Cow::<str>::deserialize(deserializer)?.parse().map_err(D::Error::custom)
    }
}

impl JsonSchema for Hash {
    fn schema_name() -> Cow<'static, str> {
        "Sha256".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^[0-9a-f]{64}$", "description": "SHA-256, lower-case hexadecimal" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4's examples, as published with the standard.
    #[test]
    fn published_digests() {
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Hash::of(b"abc").to_string(), abc);
        assert_eq!(Hash::of(b"").to_string(), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
        assert_eq!(abc.parse(), Ok(Hash::of(b"abc")));
    }

    #[test]
    fn what_is_no_hash_is_refused() {
        for text in ["", "ba78", "zz", &"0".repeat(63), &"g".repeat(64), &"é".repeat(64)] {
            assert!(text.parse::<Hash>().is_err(), "{text}");
        }
    }
}
