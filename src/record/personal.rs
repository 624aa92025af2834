//! Plate and customer: text that must be erasable, beside a log that must not change.
//!
//! The log holds SHA-256 over a random salt and the text. Text and salt stand in a table beside it; without the salt nobody
//! can try plates against the digest, so that once both are gone the digest says nothing.

use super::hash::Hash;
use crate::error::Error;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// Bytes of a salt: as strong as the digest's half.
const SALT_BYTES: usize = 16;

/// The digest that stands in the log for a text that can be erased.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Sealed {
    /// SHA-256 of the salt's 16 bytes and the UTF-8 text behind them.
    pub salted_sha256: Hash,
}

/// The texts, as far as they were given and not erased; [`ALTERED`] for one that was changed since it was recorded.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Personal {
    /// Number plate.
    pub plate: Option<String>,
    /// Customer's name.
    pub customer: Option<String>,
}

/// Stands for a text that does not give its digest: somebody changed it.
pub const ALTERED: &str = "ALTERED since it was recorded";

/// The text, when it and its salt give the digest that the log holds; else [`ALTERED`].
pub(super) fn held(sealed: &[u8], salt: &[u8], text: String) -> String {
    if digest(salt, &text).0[..] == *sealed { text } else { ALTERED.to_owned() }
}

/// A text with its salt and digest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Salted {
    pub(super) field: &'static str,
    pub(super) salt: Vec<u8>,
    pub(super) text: String,
    pub(super) digest: Hash,
}

impl Salted {
    /// With a new salt.
    pub(super) fn new(field: &'static str, text: &str) -> Result<Self, Error> {
        let mut salt = vec![0_u8; SALT_BYTES];
        fill_random(&mut salt)?;
        let digest = digest(&salt, text);
        Ok(Self { field, salt, text: text.to_owned(), digest })
    }
}

/// The digest of a salt and a text.
pub(super) fn digest(salt: &[u8], text: &str) -> Hash {
    Hash(Sha256::new().chain_update(salt).chain_update(text.as_bytes()).finalize().into())
}

/// Random bytes of the operating system.
pub(super) fn fill_random(bytes: &mut [u8]) -> Result<(), Error> {
    getrandom::fill(bytes).map_err(|error| {
        Error::usage(format!("the system gives no random numbers: {error}"), "nothing was recorded; try again")
    })
}
