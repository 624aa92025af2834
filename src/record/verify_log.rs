//! Verification of the log itself: numbers, leaves, peaks, summaries; and what the entries name.

use super::entry::{Entry, KeyChange};
use super::hash::Hash;
use super::head::Head;
use super::inspection::How;
use super::list::{found_by, how_word};
use super::merkle::{self, Tree};
use super::verify::Findings;
use rayon::prelude::*;
use rusqlite::{Connection, Row, Rows};
use serde::Deserialize;
use serde::de::IgnoredAny;
use std::collections::{BTreeMap, BTreeSet};

/// Entries that are hashed and read at a time, on all cores.
const AT_A_TIME: usize = 512;

/// What the log says.
#[derive(Debug, Default)]
pub(super) struct LogFacts {
    pub(super) tree: Tree,
    /// Roots at the sizes that were asked for.
    pub(super) roots: BTreeMap<u64, Hash>,
    /// Parameters that are named, with the first entry that does.
    pub(super) parameters: BTreeMap<Hash, u64>,
    /// Photos and pictures, with the first entry and the size that it states.
    pub(super) photos: BTreeMap<Hash, (u64, u64)>,
    /// Digests of plates and customers: inspection, field, last entry.
    pub(super) sealed: BTreeMap<Hash, (String, &'static str, u64)>,
    /// Inspections whose text was erased, with the last entry that says so.
    pub(super) erased: BTreeMap<String, u64>,
    /// Changes of the station's key that both keys signed for their place in the log, with their numbers.
    pub(super) key_changes: Vec<(u64, KeyChange)>,
}

/// The part of an entry that verification needs; the rest is passed over.
#[derive(Debug, Deserialize)]
struct Mention {
    kind: String,
    id: String,
    of: Option<String>,
    #[serde(default)]
    follows: Option<MentionFollows>,
    #[serde(default)]
    begun: String,
    #[serde(default)]
    who: String,
    #[serde(default)]
    vehicle: String,
    plate: Option<MentionSealed>,
    customer: Option<MentionSealed>,
    bay: Option<MentionNote>,
    rule: Option<MentionNote>,
    #[serde(default)]
    lamps: Vec<MentionLamp>,
    #[serde(default)]
    verdict: String,
}

#[derive(Debug, Deserialize)]
struct MentionFollows {
    first: String,
    how: How,
}

#[derive(Debug, Deserialize)]
struct MentionSealed {
    salted_sha256: Hash,
}

#[derive(Debug, Deserialize)]
struct MentionNote {
    id: String,
    sha256: Hash,
}

#[derive(Debug, Deserialize)]
struct MentionLamp {
    readings: Vec<MentionReading>,
}

#[derive(Debug, Deserialize)]
struct MentionReading {
    photo: MentionFile,
    marks_photo: Option<MentionFile>,
    ambient_photo: Option<MentionFile>,
    #[serde(default)]
    bracket: Vec<MentionFile>,
    annotated: Option<MentionFile>,
    parameters: super::inspection::Parameters,
    #[expect(dead_code, reason = "passed over, and an entry without it is none")]
    reading: IgnoredAny,
}

#[derive(Debug, Deserialize)]
struct MentionFile {
    sha256: Hash,
    bytes: u64,
}

/// A row of the log, read.
struct Line {
    number: i64,
    entry: Vec<u8>,
    leaf: Vec<u8>,
    peaks: Vec<u8>,
}

/// A row of the summary table, every column as text.
#[derive(Debug, PartialEq, Eq)]
struct Summary {
    texts: [String; 10],
    readings: i64,
    plate: Option<Vec<u8>>,
    customer: Option<Vec<u8>>,
}

/// Reads the log from its first entry to its last.
pub(super) fn read_log(
    db: &Connection,
    sizes: &BTreeSet<u64>,
    facts: &mut LogFacts,
    findings: &mut Findings,
) -> rusqlite::Result<()> {
    if sizes.contains(&0) {
        facts.roots.insert(0, facts.tree.root());
    }
    let mut log = db.prepare("SELECT number, entry, leaf, peaks FROM log ORDER BY number")?;
    let mut lines = log.query([])?;
    let mut summary = db.prepare(
        "SELECT number, id, first, begun, who, vehicle, bay, rule, verdict, how, found_by, readings, plate, customer \
         FROM summary ORDER BY number",
    )?;
    let mut summaries = summary.query([])?;
    let mut next_summary = next(&mut summaries)?;
    loop {
        let batch = batch(&mut lines)?;
        let read: Vec<(Hash, Result<Mention, String>)> =
            batch.par_iter().map(|line| (merkle::leaf(&line.entry), mention(&line.entry))).collect();
        for (line, (leaf, mention)) in batch.iter().zip(read) {
            let number = facts.tree.size();
            let place = format!("entry {number}");
            if line.number != number as i64 {
                findings.add(&place, format!("stands at {}: entries are missing or out of order", line.number));
            }
            if leaf.0[..] != line.leaf[..] {
                findings.add(&place, "was changed: its bytes do not give its hash");
            }
            let before = Head { size: number, root: facts.tree.root() };
            facts.tree.push(leaf);
            if facts.tree.peak_bytes() != line.peaks {
                findings
                    .add(&place, "does not follow the entries before it: something up to here was changed or moved");
                // What follows is held against what stands here, so that one change is one finding.
                if let Some(stated) = Tree::from_peaks(number + 1, &line.peaks) {
                    facts.tree = stated;
                }
            }
            if sizes.contains(&facts.tree.size()) {
                facts.roots.insert(facts.tree.size(), facts.tree.root());
            }
            let shown = next_summary.take_if(|(at, _)| *at == line.number).map(|(_, shown)| shown);
            if shown.is_some() {
                next_summary = next(&mut summaries)?;
            }
            match mention {
                Ok(mention) if mention.kind == "key-change" => match hold_key_change(&line.entry, &before) {
                    Ok(change) => facts.key_changes.push((number, change)),
                    Err(found) => findings.add(&place, found),
                },
                Ok(mention) => hold(number, mention, shown.as_ref(), facts, findings),
                Err(error) => findings.add(&place, format!("cannot be read: {error}")),
            }
        }
        if batch.len() < AT_A_TIME {
            break;
        }
    }
    if let Some((number, _)) = next_summary {
        findings.add(format!("summary of entry {number}"), "belongs to no entry of the log");
    }
    Ok(())
}

/// A change of the key, when both keys signed it for this place in the log.
fn hold_key_change(entry: &[u8], before: &Head) -> Result<KeyChange, String> {
    let change = match serde_json::from_slice(entry) {
        Ok(Entry::KeyChange(change)) => change,
        Ok(_) => return Err("is no change of the key".to_owned()),
        Err(error) => return Err(format!("cannot be read: {error}")),
    };
    if let Some(key) = change.unsigned_by() {
        return Err(format!("is a FORGED change of the station's key: key {key} did not sign it"));
    }
    if change.head != *before {
        return Err(format!("is a change of the station's key that was made elsewhere, at head {}", change.head));
    }
    Ok(change)
}

fn batch(lines: &mut Rows<'_>) -> rusqlite::Result<Vec<Line>> {
    let mut batch = Vec::with_capacity(AT_A_TIME);
    while batch.len() < AT_A_TIME {
        let Some(row) = lines.next()? else { break };
        batch.push(Line { number: row.get(0)?, entry: row.get(1)?, leaf: row.get(2)?, peaks: row.get(3)? });
    }
    Ok(batch)
}

fn mention(entry: &[u8]) -> Result<Mention, String> {
    serde_json::from_slice(entry).map_err(|error| error.to_string())
}

fn next(rows: &mut Rows<'_>) -> rusqlite::Result<Option<(i64, Summary)>> {
    let Some(row) = rows.next()? else { return Ok(None) };
    let text = |at: usize| row.get::<_, String>(at);
    let texts = [text(1)?, text(2)?, text(3)?, text(4)?, text(5)?, text(6)?, text(7)?, text(8)?, text(9)?, text(10)?];
    let summary = Summary { texts, readings: row.get(11)?, plate: row.get(12)?, customer: row.get(13)? };
    Ok(Some((number(row)?, summary)))
}

fn number(row: &Row<'_>) -> rusqlite::Result<i64> {
    row.get(0)
}

/// Holds an entry against its summary, and takes down what it names.
fn hold(number: u64, entry: Mention, shown: Option<&Summary>, facts: &mut LogFacts, findings: &mut Findings) {
    if entry.kind == "erasure" {
        facts.erased.extend(entry.of.map(|of| (of, number)));
        if shown.is_some() {
            findings.add(format!("summary of entry {number}"), "belongs to no inspection");
        }
        return;
    }
    let first = entry.follows.as_ref().map_or(&entry.id, |follows| &follows.first).clone();
    let digest = |sealed: &Option<MentionSealed>| sealed.as_ref().map(|sealed| sealed.salted_sha256);
    let (plate, customer) = (digest(&entry.plate), digest(&entry.customer));
    for (field, digest) in [("plate", plate), ("customer", customer)] {
        if let Some(digest) = digest {
            // The last that names it: an erasure before that one does not excuse a missing text.
            facts.sealed.insert(digest, (first.clone(), field, number));
        }
    }
    let notes = [&entry.bay, &entry.rule];
    let readings = || entry.lamps.iter().flat_map(|lamp| &lamp.readings);
    let named = notes.iter().filter_map(|note| note.as_ref()).map(|note| note.sha256);
    for hash in named.chain(readings().flat_map(|reading| reading.parameters.hashes())) {
        facts.parameters.entry(hash).or_insert(number);
    }
    for reading in readings() {
        let others = [&reading.marks_photo, &reading.ambient_photo, &reading.annotated];
        for file in std::iter::once(&reading.photo).chain(others.into_iter().flatten()).chain(&reading.bracket) {
            facts.photos.entry(file.sha256).or_insert((number, file.bytes));
        }
    }
    let note_id = |note: &Option<MentionNote>| note.as_ref().map_or_else(String::new, |note| note.id.clone());
    let bay = note_id(&entry.bay);
    let found_by = found_by(&entry.vehicle, &entry.who, &bay);
    let wanted = Summary {
        readings: readings().count() as i64,
        texts: [
            entry.id.clone(),
            first,
            entry.begun,
            entry.who,
            entry.vehicle,
            bay,
            note_id(&entry.rule),
            entry.verdict,
            how_word(entry.follows.map(|follows| follows.how)).to_owned(),
            found_by,
        ],
        plate: plate.map(|hash| hash.0.to_vec()),
        customer: customer.map(|hash| hash.0.to_vec()),
    };
    if shown != Some(&wanted) {
        findings.add(format!("summary of entry {number}"), "is not what the entry says");
    }
}
