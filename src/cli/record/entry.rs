//! From a plan and what measuring gave to a record.
//!
//! **Takes** a [`Plan`], its photos and what was produced. **Gives** an inspection in the store. The store is opened before
//! anything is measured, and nothing is shown as recorded before the commit. **Fails when** the store cannot be written to, or
//! the checklist's answers do not fit it.

use super::super::measure::{PhotoFile, PhotoFiles, Produced};
use super::super::plan::{self, Caption, Plan};
use super::args::RecordOptions;
use super::names::KeptNames;
use crate::aim::Rule;
use crate::error::Error;
use crate::kit::checklist::{LampKind, checklist};
use crate::kit::session::Movement;
use crate::record::{
    Answer, BayNote, CheckAnswer, Draft, FiledFile, Hash, How, INSPECTION_SCHEMA, Inspection, LampRecord, Parameters,
    Personal, RecordedReading, RuleNote, Store, Unanswered, entry,
};
use std::collections::BTreeMap;
use std::path::Path;

/// Coverage factor of every uncertainty in a reading.
const COVERAGE_FACTOR: f64 = 2.0;
/// Letters of a time that name the day.
const DAY: usize = 10;

/// A new record's id and day, as its picture names them.
pub(crate) fn caption() -> Caption {
    let mut date = entry::now();
    date.truncate(DAY);
    Caption { record: entry::new_id(), date }
}

/// A record in the making.
#[derive(Debug)]
pub(crate) struct Recorder {
    store: Store,
    draft: Draft,
}

impl Recorder {
    /// Begins an inspection.
    pub(crate) fn begin(plan: &Plan, options: &RecordOptions, id: &str, vehicle: &str) -> Result<Self, Error> {
        let folder = options.record.as_deref().unwrap_or(Path::new(""));
        let store = Store::open(folder)?;
        let who = filled("--by", options.by.as_deref())?;
        let personal = Personal {
            plate: options.plate.as_deref().map(|plate| filled("--plate", Some(plate))).transpose()?,
            customer: options.customer.as_deref().map(|name| filled("--customer", Some(name))).transpose()?,
        };
        let rule = Rule::parse(&plan.texts.rule, "the rule")?;
        let (checklist, unanswered) = answers(options.prepared.as_deref(), plan, &rule)?;
        let now = entry::now();
        let inspection = Inspection {
            schema: INSPECTION_SCHEMA.to_owned(),
            id: id.to_owned(),
            follows: None,
            begun: now.clone(),
            recorded: now,
            who,
            vehicle: filled("--vehicle", Some(vehicle))?,
            plate: None,
            customer: None,
            software: entry::software(),
            bay: bay_note(plan),
            rule: rule_note(plan, &rule),
            coverage_factor: COVERAGE_FACTOR,
            checklist,
            unanswered,
            lamps: Vec::new(),
            verdict: Inspection::verdict_of(&[]),
        };
        let (_, parameters) = parameters(plan);
        Ok(Self { store, draft: Draft { inspection, personal, files: Vec::new(), parameters } })
    }

    /// Goes on with the inspection of an earlier record.
    pub(crate) fn go_on(store: &Path, earlier: &str, id: &str) -> Result<Self, Error> {
        let store = Store::open(store)?;
        let inspection = store.newest(earlier)?.inspection;
        let follows = store.follow(&inspection.id, How::Continues, &inspection.who, None)?;
        let inspection = Inspection {
            id: id.to_owned(),
            follows: Some(follows),
            recorded: entry::now(),
            software: entry::software(),
            ..inspection
        };
        let personal = Personal::default();
        Ok(Self { store, draft: Draft { inspection, personal, files: Vec::new(), parameters: Vec::new() } })
    }

    /// Makes it a correction of the plan's lamp in an earlier record; every other lamp of the inspection is taken over as it
    /// stands there, since the newest record speaks for the whole vehicle.
    pub(crate) fn corrects(&mut self, plan: &Plan, earlier: &str, reason: &str) -> Result<(), Error> {
        let (who, reason) = (&self.draft.inspection.who, filled("--reason", Some(reason))?);
        let old = self.store.newest(earlier)?.inspection;
        self.draft.inspection.follows = Some(self.store.follow(&old.id, How::Corrects, who, Some(reason))?);
        if self.draft.inspection.checklist.is_empty() {
            (self.draft.inspection.checklist, self.draft.inspection.unanswered) = (old.checklist, old.unanswered);
        }
        self.draft.inspection.begun = old.begun;
        let (side, beam) = (plan.setup.side.as_str(), plan.lamp.beam.as_str());
        let cleared = |lamp: LampRecord| match (lamp.side.as_str(), lamp.beam.as_str()) {
            name if name == (side, beam) => LampRecord::new(side, beam, Vec::new()),
            _ => lamp,
        };
        self.draft.inspection.lamps = old.lamps.into_iter().map(cleared).collect();
        // What is taken over was measured in the old record's bay and judged by its rule.
        if self.draft.inspection.readings().next().is_some() {
            (self.draft.inspection.bay, self.draft.inspection.rule) = (old.bay, old.rule);
        }
        Ok(())
    }

    /// Adds a lamp without readings, so that the lamps stand in the order of work.
    pub(crate) fn add_lamp(&mut self, side: &str, beam: &str) {
        self.draft.inspection.lamps.push(LampRecord::new(side, beam, Vec::new()));
    }

    /// Adds a reading to its lamp. Bay and rule may be others than when the inspection was begun: their files may have been
    /// changed in between.
    pub(crate) fn add(
        &mut self,
        plan: &Plan,
        photos: &PhotoFiles,
        produced: &Produced,
        turned: Vec<Movement>,
    ) -> Result<(), Error> {
        let (parameters, texts) = parameters(plan);
        let rule = rule_note(plan, &Rule::parse(&plan.texts.rule, "the rule")?);
        let (begun_in, begun_by) = (&self.draft.inspection.bay, &self.draft.inspection.rule);
        let (bay, rule) = (Some(bay_note(plan)), Some(rule));
        let names = KeptNames::of(photos);
        let filed = |photo: &PhotoFile| filed(&names.kept(&photo.name), &photo.bytes);
        let reading = RecordedReading {
            measured: entry::now(),
            turned,
            photo: filed(&photos.photo),
            marks_photo: photos.marks.as_ref().map(filed),
            ambient_photo: photos.ambient.as_ref().map(filed),
            bracket: photos.bracket.iter().map(filed).collect(),
            annotated: produced.filed.as_ref().map(|bytes| self::filed("annotated.jpg", bytes)),
            bay: bay.filter(|bay| bay != begun_in),
            rule: rule.filter(|rule| rule != begun_by),
            parameters,
            reading: names.put_into(produced.reading.clone()),
        };
        let others = [photos.marks.as_ref(), photos.ambient.as_ref()].into_iter().flatten().chain(&photos.bracket);
        let photos = std::iter::once(&photos.photo).chain(others);
        self.draft.files.extend(photos.map(|photo| photo.bytes.clone()).chain(produced.filed.clone()));
        self.draft.parameters.extend(texts);
        let (side, beam) = (plan.setup.side.as_str(), plan.lamp.beam.as_str());
        let lamps = &mut self.draft.inspection.lamps;
        match lamps.iter_mut().find(|lamp| lamp.side == side && lamp.beam == beam) {
            Some(lamp) => {
                let mut readings = std::mem::take(&mut lamp.readings);
                readings.push(reading);
                *lamp = LampRecord::new(side, beam, readings);
            }
            None => lamps.push(LampRecord::new(side, beam, vec![reading])),
        }
        self.draft.inspection.verdict = Inspection::verdict_of(lamps);
        Ok(())
    }

    /// Records it; what this returns may be shown.
    pub(crate) fn commit(mut self) -> Result<String, Error> {
        let not_prepared = not_prepared(&self.draft.inspection).map(|words| words + "\n").unwrap_or_default();
        let appended = self.store.append(self.draft)?;
        Ok(format!(
            "Recorded in {}: record {}, id {}\n{not_prepared}Log head {}\n",
            self.store.folder().display(),
            appended.number,
            appended.id,
            appended.head
        ))
    }
}

fn filled(flag: &str, text: Option<&str>) -> Result<String, Error> {
    let text = text.unwrap_or("").trim();
    if text.is_empty() {
        return Err(Error::usage(format!("{flag} is missing or empty"), "a record says who inspected which vehicle"));
    }
    Ok(text.to_owned())
}

fn bay_note(plan: &Plan) -> BayNote {
    BayNote {
        id: plan.bay.id.clone(),
        name: plan.bay.name.clone(),
        revision: plan.bay.survey.as_ref().map(|survey| survey.date.clone()),
        sha256: Hash::of(plan.texts.bay.as_bytes()),
    }
}

fn rule_note(plan: &Plan, rule: &Rule) -> RuleNote {
    RuleNote {
        id: rule.id.clone(),
        name: rule.name.clone(),
        status: rule.status.as_str().to_owned(),
        source: rule.source.clone(),
        decision: rule.decision.as_str().to_owned(),
        sha256: Hash::of(plan.texts.rule.as_bytes()),
    }
}

/// The texts that a plan was made of, and their hashes.
fn parameters(plan: &Plan) -> (Parameters, Vec<String>) {
    let options = plan.options.to_toml();
    let lens = plan.lens_text.as_ref().map(|(_, text)| text.clone());
    let hash = |text: &String| Hash::of(text.as_bytes());
    let parameters = Parameters {
        bay: hash(&plan.texts.bay),
        rule: hash(&plan.texts.rule),
        screws: plan.texts.screws.as_ref().map(hash),
        lens: lens.as_ref().map(hash),
        response: plan.texts.response.as_ref().map(hash),
        options: hash(&options),
    };
    let given = [plan.texts.screws.clone(), plan.texts.response.clone(), lens];
    let texts = [plan.texts.bay.clone(), plan.texts.rule.clone(), options];
    (parameters, texts.into_iter().chain(given.into_iter().flatten()).collect())
}

fn filed(name: &str, bytes: &[u8]) -> FiledFile {
    FiledFile { sha256: Hash::of(bytes), name: name.to_owned(), bytes: bytes.len() as u64 }
}

/// What of the checklist is not seen to, by the items' names; nothing when all is.
pub(crate) fn not_prepared(inspection: &Inspection) -> Option<String> {
    let no: Vec<&str> =
        inspection.checklist.iter().filter(|item| item.answer == Answer::No).map(|item| item.item.as_str()).collect();
    let unanswered: Vec<&str> = inspection.unanswered.iter().map(|item| item.item.as_str()).collect();
    let parts: Vec<String> = [("not so", no), ("not answered", unanswered)]
        .into_iter()
        .filter(|(_, items)| !items.is_empty())
        .map(|(word, items)| format!("{word}: {}", items.join(", ")))
        .collect();
    (!parts.is_empty()).then(|| format!("Checklist, {}", parts.join("; ")))
}

/// Answers to the checklist, every item seen to or as a file says, and the items that nobody answered.
fn answers(prepared: Option<&str>, plan: &Plan, rule: &Rule) -> Result<(Vec<CheckAnswer>, Vec<Unanswered>), Error> {
    let items = checklist(rule, plan.lamp.beam, LampKind::Unknown);
    let given: BTreeMap<String, Answer> = match prepared {
        None => BTreeMap::new(),
        Some("all") => items.iter().map(|item| (item.id.to_owned(), Answer::Yes)).collect(),
        Some(path) => toml::from_str(&plan::read_text(Path::new(path))?).map_err(|error| {
            let hint = "write one line an item: brake = \"yes\", or \"no\", or \"not-applicable\"";
            Error::file(path, format!("holds no answers: {error}"), hint)
        })?,
    };
    if let Some(unknown) = given.keys().find(|id| !items.iter().any(|item| item.id == id.as_str())) {
        let found = format!("answers {unknown}, which is no item of the checklist");
        return Err(Error::file(prepared.unwrap_or_default(), found, "`lampwright prepare --json` lists the items"));
    }
    let (mut answered, mut unanswered) = (Vec::new(), Vec::new());
    for item in items {
        let (id, text) = (item.id.to_owned(), item.text);
        match given.get(&id) {
            Some(answer) => answered.push(CheckAnswer { item: id, text, answer: *answer }),
            None => unanswered.push(Unanswered { item: id, text }),
        }
    }
    Ok((answered, unanswered))
}
