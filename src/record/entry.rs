//! What stands in the log: inspections, and notes that personal text was erased or the station's key was changed.

use super::head::Head;
use super::inspection::Inspection;
use super::key::PublicKey;
use crate::reading::block::SoftwareBlock;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Name and version of an inspection's JSON.
pub const INSPECTION_SCHEMA: &str = "lampwright/inspection/1";
/// Name and version of an erasure's JSON.
pub const ERASURE_SCHEMA: &str = "lampwright/erasure/1";
/// Name and version of a key change's JSON.
pub const KEY_CHANGE_SCHEMA: &str = "lampwright/key-change/1";

/// One entry of the log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "lowercase")]
#[expect(clippy::large_enum_variant, reason = "nearly every entry is an inspection")]
pub enum Entry {
    /// An inspection, as it stood.
    Inspection(Inspection),
    /// Personal text of an inspection was erased.
    Erasure(Erasure),
    /// The station's key was changed.
    #[serde(rename = "key-change")]
    KeyChange(KeyChange),
}

/// Plate and customer of an inspection were erased on request.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Erasure {
    /// [`ERASURE_SCHEMA`].
    pub schema: String,
    /// The entry's id, a UUID (version 7).
    pub id: String,
    /// The inspection, by the id of its first record.
    pub of: String,
    /// When.
    pub recorded: String,
    /// Who did it.
    pub who: String,
    /// Why.
    pub reason: String,
    /// The program that wrote the entry.
    pub software: SoftwareBlock,
}

/// The station's key was changed: every head from this entry on is signed with the new one, none with the old one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KeyChange {
    /// [`KEY_CHANGE_SCHEMA`].
    pub schema: String,
    /// The entry's id, a UUID (version 7).
    pub id: String,
    /// When.
    pub recorded: String,
    /// Who did it.
    pub who: String,
    /// Why.
    pub reason: String,
    /// The log's head before this entry: binds the change to its place, so that it cannot be put elsewhere.
    pub head: Head,
    /// The key that ends.
    pub old_key: PublicKey,
    /// The key that begins.
    pub new_key: PublicKey,
    /// Ed25519 signature of the old key, 128 hexadecimal digits, over six lines, each with a line feed: `KEY_CHANGE_SCHEMA`,
    /// id, time, head (`SIZE:ROOT`), old key, new key.
    pub old_signature: String,
    /// The new key's signature over the same: who made the entry has the new key.
    pub new_signature: String,
    /// The program that wrote the entry.
    pub software: SoftwareBlock,
}

impl Entry {
    /// The entry's id.
    pub fn id(&self) -> &str {
        match self {
            Self::Inspection(inspection) => &inspection.id,
            Self::Erasure(erasure) => &erasure.id,
            Self::KeyChange(change) => &change.id,
        }
    }

    /// The inspection, unless it is something else.
    pub const fn inspection(&self) -> Option<&Inspection> {
        match self {
            Self::Inspection(inspection) => Some(inspection),
            Self::Erasure(_) | Self::KeyChange(_) => None,
        }
    }
}

/// A new id: time-ordered, so that ids sort as the entries do.
pub fn new_id() -> String {
    uuid::Uuid::now_v7().to_string()
}

/// Now, RFC 3339, UTC, to the millisecond.
pub fn now() -> String {
    format!("{:.3}", jiff::Timestamp::now())
}

/// The program that is running.
pub fn software() -> SoftwareBlock {
    SoftwareBlock::this()
}
