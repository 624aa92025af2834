//! Inspections to record: a real reading (`reading.json`), and small bytes that stand for its photos.

#![allow(dead_code, reason = "each test program uses its own part")]
#![allow(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use lampwright::kit::session::{Movement, ScrewName};
use lampwright::reading::Reading;
use lampwright::record::{
    BayNote, Draft, FiledFile, Hash, INSPECTION_SCHEMA, Inspection, LampRecord, Parameters, Personal, RecordedReading,
    RuleNote, entry,
};

pub(crate) const BAY: &str = "schema = \"lampwright/bay/1\"\nid = \"bay-1\"\n";
pub(crate) const RULE: &str = "schema = \"lampwright/rule/1\"\nid = \"shop-check\"\n";
pub(crate) const OPTIONS: &str = "schema = \"lampwright/options/1\"\n";

/// The reading that stands beside this file.
pub(crate) fn reading() -> Reading {
    serde_json::from_str(include_str!("reading.json")).unwrap()
}

fn filed(name: &str, bytes: &[u8]) -> FiledFile {
    FiledFile { sha256: Hash::of(bytes), name: name.to_owned(), bytes: bytes.len() as u64 }
}

fn hash(text: &str) -> Hash {
    Hash::of(text.as_bytes())
}

/// An inspection of the vehicle "order N" with two readings of its left lamp; its photos are `photos`.
pub(crate) fn draft(order: usize, photos: &[Vec<u8>]) -> Draft {
    let parameters = Parameters {
        bay: hash(BAY),
        rule: hash(RULE),
        screws: None,
        lens: None,
        response: None,
        options: hash(OPTIONS),
    };
    let readings: Vec<RecordedReading> = photos
        .iter()
        .enumerate()
        .map(|(n, bytes)| RecordedReading {
            measured: format!("2026-11-26T08:{n:02}:00.000Z"),
            turned: if n == 0 { Vec::new() } else { vec![Movement { screw: ScrewName::Vertical, quarter_turns: 3.0 }] },
            photo: filed(&format!("left-{n}.jpg"), bytes),
            marks_photo: None,
            ambient_photo: None,
            annotated: None,
            parameters: parameters.clone(),
            reading: reading(),
        })
        .collect();
    let lamps = vec![LampRecord::new("left", "low", readings)];
    let inspection = Inspection {
        schema: INSPECTION_SCHEMA.to_owned(),
        id: entry::new_id(),
        follows: None,
        begun: "2026-11-26T08:00:00.000Z".to_owned(),
        recorded: entry::now(),
        who: "AB".to_owned(),
        vehicle: format!("order {order}"),
        plate: None,
        customer: None,
        software: entry::software(),
        bay: BayNote { id: "bay-1".to_owned(), name: "North bay".to_owned(), revision: None, sha256: hash(BAY) },
        rule: RuleNote {
            id: "shop-check".to_owned(),
            name: "Shop check".to_owned(),
            status: "practice".to_owned(),
            source: "common practice".to_owned(),
            decision: "guarded".to_owned(),
            sha256: hash(RULE),
        },
        coverage_factor: 2.0,
        checklist: Vec::new(),
        verdict: Inspection::verdict_of(&lamps),
        lamps,
    };
    Draft {
        inspection,
        personal: Personal::default(),
        files: photos.to_vec(),
        parameters: [BAY, RULE, OPTIONS].map(str::to_owned).to_vec(),
    }
}
