//! Records for other programs: one JSON document with a published JSON Schema (2020-12), and a table of readings as CSV.
//!
//! In the JSON every entry stands byte for byte as it was recorded, so that anyone can hash it: its leaf is
//! SHA-256(0x00 ‖ those bytes). Plate and customer stand beside it, unless they were erased.

use super::entry::{self, Entry};
use super::export_csv::reading_rows;
use super::hash::Hash;
use super::head::Head;
use super::merkle;
use super::store::Store;
use crate::error::Error;
use crate::reading::block::SoftwareBlock;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Name and version of an export.
pub const EXPORT_SCHEMA: &str = "lampwright/export/1";
/// The schema's own name.
const SCHEMA_ID: &str = "urn:lampwright:export:1";

/// Records, for other programs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Export {
    /// [`EXPORT_SCHEMA`].
    pub schema: String,
    /// When it was made.
    pub exported: String,
    /// The program that made it.
    pub software: SoftwareBlock,
    /// The log's head at that time.
    pub head: Head,
    /// The records, in the order of the log.
    pub records: Vec<ExportedRecord>,
}

/// One record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ExportedRecord {
    /// Its place in the log, from 0.
    pub number: u64,
    /// SHA-256 over a zero byte and the bytes of `entry` as they stand in this document.
    pub leaf: Hash,
    /// Place of the newest record of the same inspection; null for what is no inspection.
    pub newest: Option<u64>,
    /// Number plate, unless it was not given or erased.
    pub plate: Option<String>,
    /// Customer's name, unless it was not given or erased.
    pub customer: Option<String>,
    /// The entry.
    pub entry: Entry,
}

/// What an export holds, as files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exported {
    /// The JSON document.
    pub json: String,
    /// The table of readings: RFC 4180, UTF-8, with a header.
    pub csv: Vec<u8>,
    /// Photos and pictures: name in the export and hash.
    pub files: Vec<(String, Hash)>,
}

/// The JSON Schema of an [`Export`].
pub fn json_schema() -> Schema {
    let mut schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<Export>();
    schema.insert("$id".to_owned(), SCHEMA_ID.into());
    schema
}

/// Exports the records with these numbers.
pub fn export(store: &Store, numbers: &[u64]) -> Result<Exported, Error> {
    let defect = |error: String| {
        Error::usage(format!("the export cannot be written: {error}"), "please report this as a defect")
    };
    let (head, now) = (store.head()?, entry::now());
    let front = serde_json::json!({
        "schema": EXPORT_SCHEMA, "exported": now, "software": SoftwareBlock::this(), "head": head,
    });
    let mut json = front.to_string();
    json.truncate(json.len() - 1);
    json += ",\"records\":[";
    let mut rows = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    rows.write_record(super::export_csv::COLUMNS).map_err(|error| defect(error.to_string()))?;
    let mut files = Vec::new();
    for (n, number) in numbers.iter().enumerate() {
        let bytes = store.entry_bytes(*number)?;
        let text = std::str::from_utf8(&bytes).map_err(|error| defect(error.to_string()))?;
        let parsed: Entry = serde_json::from_str(text).map_err(|error| defect(error.to_string()))?;
        let stored = parsed.inspection().map(|_| store.inspection_at(*number)).transpose()?;
        let beside = serde_json::json!({
            "number": number,
            "leaf": merkle::leaf(&bytes),
            "newest": stored.as_ref().map(|stored| stored.newest),
            "plate": stored.as_ref().and_then(|stored| stored.personal.plate.as_ref()),
            "customer": stored.as_ref().and_then(|stored| stored.personal.customer.as_ref()),
        });
        let beside = beside.to_string();
        json += if n == 0 { "\n" } else { ",\n" };
        json += &beside[..beside.len() - 1];
        json += ",\"entry\":";
        json += text;
        json += "}";
        if let Some(stored) = &stored {
            for row in reading_rows(stored) {
                rows.write_record(&row).map_err(|error| defect(error.to_string()))?;
            }
            files.extend(named_files(*number, stored));
        }
    }
    json += "\n]}\n";
    let csv = rows.into_inner().map_err(|error| defect(error.to_string()))?;
    Ok(Exported { json, csv, files })
}

/// Photos and pictures of a record under names that say what they are.
fn named_files(number: u64, stored: &super::store::Stored) -> Vec<(String, Hash)> {
    let mut files = Vec::new();
    for lamp in &stored.inspection.lamps {
        for (n, reading) in lamp.readings.iter().enumerate() {
            let kinds = [
                ("photo", Some(&reading.photo)),
                ("marks", reading.marks_photo.as_ref()),
                ("ambient", reading.ambient_photo.as_ref()),
                ("annotated", reading.annotated.as_ref()),
            ];
            let kinds = kinds.map(|(kind, file)| (kind.to_owned(), file));
            let bracket =
                reading.bracket.iter().enumerate().map(|(k, file)| (format!("bracket-{}", k + 2), Some(file)));
            for (kind, file) in kinds.into_iter().chain(bracket) {
                if let Some(file) = file {
                    let ending = match kind.as_str() {
                        "annotated" => "jpg".to_owned(),
                        "photo" => ending(&reading.reading.photo.format),
                        // Another photo may be of another format, and of that its own name is all that is recorded.
                        _ => own_ending(&file.name).unwrap_or_else(|| ending(&reading.reading.photo.format)),
                    };
                    let name =
                        format!("{number:06}-{}-{}-{}-{kind}.{ending}", plain(&lamp.side), plain(&lamp.beam), n + 1);
                    files.push((name, file.sha256));
                }
            }
        }
    }
    files
}

/// The file ending of a format.
fn ending(format: &str) -> String {
    if format.eq_ignore_ascii_case("jpeg") { "jpg".to_owned() } else { plain(format).to_ascii_lowercase() }
}

/// The ending that a file's name has.
fn own_ending(name: &str) -> Option<String> {
    let own = ending(Path::new(name).extension()?.to_str()?);
    (!own.is_empty()).then_some(own)
}

/// Letters and digits alone: a store from elsewhere must not say where a file goes.
fn plain(text: &str) -> String {
    text.chars().filter(char::is_ascii_alphanumeric).take(16).collect()
}
