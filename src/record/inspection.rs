//! What an inspection is, as the log keeps it (schema `lampwright/inspection/1`).
//!
//! Every reading is a whole `lampwright/reading/1` object: figures with their uncertainty (expanded, k = 2), budget, verdict,
//! decision rule, software and arguments. Times are RFC 3339, UTC.

use super::hash::Hash;
use super::personal::Sealed;
use crate::kit::session::Movement;
use crate::reading::Reading;
use crate::reading::block::SoftwareBlock;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One inspection of one vehicle, as it stood when it was recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Inspection {
    /// [`super::INSPECTION_SCHEMA`].
    pub schema: String,
    /// The record's id, a UUID (version 7), made when it was written.
    pub id: String,
    /// The earlier record that this one goes on from or corrects.
    pub follows: Option<Follows>,
    /// When the inspection was begun.
    pub begun: String,
    /// When this record was written.
    pub recorded: String,
    /// Who inspected.
    pub who: String,
    /// The shop's own reference of the vehicle.
    pub vehicle: String,
    /// Number plate: its digest; the text stands beside the log.
    pub plate: Option<Sealed>,
    /// Customer's name: its digest; the text stands beside the log.
    pub customer: Option<Sealed>,
    /// The program that wrote the record.
    pub software: SoftwareBlock,
    /// The bay, as it was when the inspection was begun; a reading that was made with another bay file says so itself.
    pub bay: BayNote,
    /// The rule and how it decides; a reading that was judged by another says so itself.
    pub rule: RuleNote,
    /// Coverage factor of every `u_*` in the readings.
    pub coverage_factor: f64,
    /// Answers to the preparation checklist; empty when it was not gone through.
    pub checklist: Vec<CheckAnswer>,
    /// Items of the checklist that nobody answered; left out when there are none, and by versions that did not keep them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unanswered: Vec<Unanswered>,
    /// The lamps and beams, in the order of work.
    pub lamps: Vec<LampRecord>,
    /// Over all lamps: `fail` if one fails, else `refused`, `none`, `borderline` if one is, else `begun` while a lamp has no
    /// reading, else `pass`.
    pub verdict: String,
}

/// How a record stands to an earlier one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Follows {
    /// Id of the first record of this inspection: the inspection's name through all its records.
    pub first: String,
    /// Id of the record that is followed.
    pub id: String,
    /// How.
    pub how: How,
    /// Who wrote the record that follows.
    pub by: String,
    /// Why, for a correction.
    pub reason: Option<String>,
}

/// How a record follows another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum How {
    /// The work went on: readings were added.
    Continues,
    /// Something in the earlier record was wrong.
    Corrects,
}

/// The bay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct BayNote {
    /// Id.
    pub id: String,
    /// Name.
    pub name: String,
    /// Day of the survey that the bay file states; `None` when it states none. The hash names the file exactly.
    pub revision: Option<String>,
    /// SHA-256 of the bay file, which lies in the store.
    pub sha256: Hash,
}

/// The rule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RuleNote {
    /// Id.
    pub id: String,
    /// Name.
    pub name: String,
    /// How well its figures were checked against its source.
    pub status: String,
    /// Where its figures come from.
    pub source: String,
    /// `guarded` (value ± U must lie inside) or `simple` (the value alone).
    pub decision: String,
    /// SHA-256 of the rule file, which lies in the store.
    pub sha256: Hash,
}

/// One answer to the checklist.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CheckAnswer {
    /// The item's stable name.
    pub item: String,
    /// Its text as it was asked.
    pub text: String,
    /// The answer.
    pub answer: Answer,
}

/// An item of the checklist that nobody answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Unanswered {
    /// The item's stable name.
    pub item: String,
    /// Its text as it was asked.
    pub text: String,
}

/// An answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// Seen to.
    Yes,
    /// Not so.
    No,
    /// Does not apply to this vehicle.
    NotApplicable,
}

/// One beam of one lamp.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LampRecord {
    /// `left` or `right`.
    pub side: String,
    /// `low`, `high` or `fog`.
    pub beam: String,
    /// Its readings, in order.
    pub readings: Vec<RecordedReading>,
    /// Place in `readings` of the first that was measured: before anything was turned.
    pub before: Option<usize>,
    /// Place of the last that was measured; the same as `before` when there is one only.
    pub after: Option<usize>,
    /// `pass`, `fail`, `borderline` or `none` of the last measured reading, `refused` when none was measured, `begun` before
    /// the first.
    pub verdict: String,
}

/// One photo and what it came to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RecordedReading {
    /// When it was measured.
    pub measured: String,
    /// What was turned since the photo before, in order.
    pub turned: Vec<Movement>,
    /// The photo of the beam, as the camera wrote it.
    pub photo: FiledFile,
    /// The photo that the marks were read from, when not the first.
    pub marks_photo: Option<FiledFile>,
    /// The photo of the room's light.
    pub ambient_photo: Option<FiledFile>,
    /// The other photos of the bracket, in the order in which they were named.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bracket: Vec<FiledFile>,
    /// The annotated picture.
    pub annotated: Option<FiledFile>,
    /// The bay, when its file was another than the inspection's: surveyed anew, or changed, since the inspection was begun.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bay: Option<BayNote>,
    /// The rule, when it was another than the inspection's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<RuleNote>,
    /// Everything else that went in.
    pub parameters: Parameters,
    /// The reading.
    pub reading: Reading,
}

/// A file in the store.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FiledFile {
    /// SHA-256 of its bytes.
    pub sha256: Hash,
    /// Its name as it was given, without its folder.
    pub name: String,
    /// Its size in bytes.
    pub bytes: u64,
}

/// The texts that a reading was made with, by SHA-256; each lies in the store, whole.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Parameters {
    /// Bay file.
    pub bay: Hash,
    /// Rule file.
    pub rule: Hash,
    /// Screws file.
    pub screws: Option<Hash>,
    /// Lens file.
    pub lens: Option<Hash>,
    /// Response file: the camera's tone curve.
    pub response: Option<Hash>,
    /// Options file with every tunable.
    pub options: Hash,
}

/// Verdicts from the gravest to the best.
const GRAVEST_FIRST: [&str; 6] = ["fail", "refused", "none", "borderline", "begun", "pass"];

impl LampRecord {
    /// From readings in order: finds before, after and the verdict.
    pub fn new(side: impl Into<String>, beam: impl Into<String>, readings: Vec<RecordedReading>) -> Self {
        let is_measured = |reading: &RecordedReading| reading.reading.verdict.is_some();
        let before = readings.iter().position(is_measured);
        let after = readings.iter().rposition(is_measured);
        let unmeasured = if readings.is_empty() { "begun" } else { "refused" };
        let verdict = after
            .and_then(|at| readings[at].reading.verdict.as_ref())
            .map_or_else(|| unmeasured.to_owned(), |verdict| verdict.overall.clone());
        Self { side: side.into(), beam: beam.into(), readings, before, after, verdict }
    }

    /// The reading before anything was turned.
    pub fn before(&self) -> Option<&RecordedReading> {
        self.readings.get(self.before?)
    }

    /// The last reading.
    pub fn after(&self) -> Option<&RecordedReading> {
        self.readings.get(self.after?)
    }
}

impl Inspection {
    /// The verdict over all lamps.
    pub fn verdict_of(lamps: &[LampRecord]) -> String {
        let has = |word: &str| lamps.iter().any(|lamp| lamp.verdict == word);
        GRAVEST_FIRST.into_iter().find(|word| has(word)).unwrap_or("begun").to_owned()
    }

    /// The inspection's name through all its records: the id of the first.
    pub fn first(&self) -> &str {
        self.follows.as_ref().map_or(&self.id, |follows| &follows.first)
    }

    /// Every reading, lamp after lamp.
    pub fn readings(&self) -> impl Iterator<Item = &RecordedReading> {
        self.lamps.iter().flat_map(|lamp| &lamp.readings)
    }
}

impl RecordedReading {
    /// The bay that it was measured in, in an inspection.
    pub fn bay<'a>(&'a self, inspection: &'a Inspection) -> &'a BayNote {
        self.bay.as_ref().unwrap_or(&inspection.bay)
    }

    /// The rule that it was judged by, in an inspection.
    pub fn rule<'a>(&'a self, inspection: &'a Inspection) -> &'a RuleNote {
        self.rule.as_ref().unwrap_or(&inspection.rule)
    }

    /// The files that it names, photos first.
    pub fn files(&self) -> impl Iterator<Item = &FiledFile> {
        [Some(&self.photo), self.marks_photo.as_ref(), self.ambient_photo.as_ref(), self.annotated.as_ref()]
            .into_iter()
            .flatten()
            .chain(&self.bracket)
    }
}

impl Parameters {
    /// Every text that is named.
    pub fn hashes(&self) -> impl Iterator<Item = Hash> {
        [Some(self.bay), Some(self.rule), self.screws, self.lens, self.response, Some(self.options)]
            .into_iter()
            .flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_inspection_passes_when_every_lamp_does() {
        let verdict = |words: &[&str]| {
            let lamp =
                |word: &&str| LampRecord { verdict: (*word).to_owned(), ..LampRecord::new("left", "low", Vec::new()) };
            Inspection::verdict_of(&words.iter().map(lamp).collect::<Vec<_>>())
        };
        assert_eq!(LampRecord::new("left", "low", Vec::new()).verdict, "begun");
        for (words, wanted) in [
            (&["pass", "pass"][..], "pass"),
            (&["pass", "begun"], "begun"),
            (&["pass", "borderline", "begun"], "borderline"),
            (&["none", "borderline"], "none"),
            (&["refused", "none"], "refused"),
            (&["refused", "fail", "pass"], "fail"),
            (&[], "begun"),
        ] {
            assert_eq!(verdict(words), wanted, "{words:?}");
        }
    }
}
