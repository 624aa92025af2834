//! The store of inspections: who measured what, when, with which photos and parameters, and what came of it.
//!
//! One folder holds `records.sqlite` and the photos and annotated pictures, filed by their SHA-256. What it promises:
//!
//! - **Nothing is changed or taken away.** Entries are only appended; a correction is a new entry that points at the old one.
//!   Photos are kept byte for byte.
//! - **A change shows.** An entry is JSON whose bytes are hashed as stored, in a Merkle log (RFC 6962 hashing).
//!   [`verify()`](verify::verify) finds any changed byte of entries, photos and parameters and any other order; a tail that
//!   was cut off shows against a [`Head`] that was kept outside or signed with the station's key (Ed25519).
//! - **An entry says everything.** Software, bay, rule, screws, lens and options lie in the store, whole, by hash; so a
//!   reading can be made again from its photo.
//! - **A key can change and the log stays signed.** The old key signs the new one in an entry of its own.
//! - **Recorded means on the disk.** [`Store::append`] returns after the commit was flushed. A store that is full, locked,
//!   read-only or was killed at any moment gives a clear error and opens again by itself.
//! - **Plate and customer can be erased.** The log holds a salted digest; text and salt stand beside it and go on request.
//!
//! It shows change, not truth: a photo can be staged before it is recorded.

pub mod hash;
pub mod merkle;
pub mod inspection;
pub mod entry;
pub mod personal;
pub mod head;
pub mod key;
mod failure;
mod database;
mod files;
mod head_file;
pub mod store;
mod search;
mod append;
pub mod beside;
pub mod erase;
pub mod list;
pub mod verify;
mod verify_log;
mod verify_keys;
pub mod backup;
pub mod export;
mod export_csv;

pub use append::KeyChanged;
pub use backup::backup;
pub use entry::{Entry, Erasure, INSPECTION_SCHEMA, KeyChange};
pub use erase::Erased;
pub use hash::Hash;
pub use head::Head;
pub use inspection::{
    Answer, BayNote, CheckAnswer, FiledFile, Follows, How, Inspection, LampRecord, Parameters, RecordedReading,
    RuleNote, Unanswered,
};
pub use key::PublicKey;
pub use list::{Filter, Row};
pub use personal::{Personal, Sealed};
pub use store::{Appended, Draft, Store, Stored};
pub use verify::{Verified, VerifyOptions, verify};
