//! What stands in the log: inspections, and notes that personal text was erased.

use super::inspection::Inspection;
use crate::reading::block::SoftwareBlock;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Name and version of an inspection's JSON.
pub const INSPECTION_SCHEMA: &str = "lampwright/inspection/1";
/// Name and version of an erasure's JSON.
pub const ERASURE_SCHEMA: &str = "lampwright/erasure/1";

/// One entry of the log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "lowercase")]
#[expect(clippy::large_enum_variant, reason = "nearly every entry is an inspection")]
pub enum Entry {
    /// An inspection, as it stood.
    Inspection(Inspection),
    /// Personal text of an inspection was erased.
    Erasure(Erasure),
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

impl Entry {
    /// The entry's id.
    pub fn id(&self) -> &str {
        match self {
            Self::Inspection(inspection) => &inspection.id,
            Self::Erasure(erasure) => &erasure.id,
        }
    }

    /// The inspection, unless it is something else.
    pub const fn inspection(&self) -> Option<&Inspection> {
        match self {
            Self::Inspection(inspection) => Some(inspection),
            Self::Erasure(_) => None,
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
