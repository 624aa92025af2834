//! An inspection between its photos: begun, gone on with, shown.
//!
//! What was entered for the vehicle lies in a small file beside the log, written before the first record. Every photo and what
//! was turned before it come from the store alone, so the page and the record cannot differ, and a photo counts when its
//! record was committed and not before. The name under which a photo is filed holds the key of the form that sent it: sending
//! it again finds the record that is there.

use super::answer::Failure;
use super::errand::{Errand, Names, Outcome};
use super::shop::Shop;
use super::words::sentence;
use super::work::Queued;
use crate::aim::Screws;
use crate::cli::aim;
use crate::cli::given::Given;
use crate::cli::measure::{PhotoFile, PhotoFiles, Produced};
use crate::cli::plan::{Caption, Plan};
use crate::cli::record::{RecordOptions, Recorder, caption};
use crate::cli::write::Staged;
use crate::error::Error;
use crate::kit::session::{Lamp, Session, SessionRecord, SinceLast};
use crate::record::beside::{BESIDE, read_sealed, sealed};
use crate::record::{Inspection, LampRecord, RecordedReading, Store, Stored};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Letters of an id (a UUID).
const ID_LENGTH: usize = 36;
/// Letters of an upload's key.
pub(super) const KEY_LENGTH: usize = 32;

/// An inspection as it stands.
#[derive(Debug)]
pub(super) struct Open {
    /// Its lamps and what was proposed.
    pub(super) session: Session,
    /// Its newest record.
    pub(super) stored: Stored,
    /// The screws file that it was begun with.
    pub(super) screws: Option<Screws>,
}

/// A photo that came in.
#[derive(Debug, Clone)]
pub(super) struct Arrived {
    /// The inspection.
    pub(super) id: String,
    /// The lamp, as forms name it: `left-low`; `None` for the one that is next.
    pub(super) lamp: Option<String>,
    /// Photos of this lamp that the sender had seen; `None` when it does not look.
    pub(super) seen: Option<usize>,
    /// What was turned.
    pub(super) said: SinceLast,
    /// The key of the form.
    pub(super) key: String,
    /// The photo, and those that go with it.
    pub(super) sent: Sent,
    /// Words of `measure` for this photo alone: marks given by hand.
    pub(super) words: Vec<String>,
}

/// Photos of one moment, as bytes.
#[derive(Debug, Clone, Default)]
pub(super) struct Sent {
    /// The beam on the wall.
    pub(super) photo: Vec<u8>,
    /// The marks, room lit.
    pub(super) marks: Option<Vec<u8>>,
    /// The room's light, lamp off.
    pub(super) ambient: Option<Vec<u8>>,
    /// The same scene at other exposures.
    pub(super) bracket: Vec<Vec<u8>>,
}

impl Sent {
    /// With names that hold the form's key, and the words of `measure` that name them.
    fn named(self, key: &str) -> Result<(PhotoFiles, Vec<String>), Failure> {
        let name = |role: &str, bytes: Vec<u8>| {
            Ok::<_, Failure>(PhotoFile { name: format!("{role}-{key}.{}", extension(&bytes)?), bytes })
        };
        let bracket = self.bracket.into_iter().enumerate();
        let photos = PhotoFiles {
            photo: name("photo", self.photo)?,
            marks: self.marks.map(|bytes| name("marks", bytes)).transpose()?,
            ambient: self.ambient.map(|bytes| name("ambient", bytes)).transpose()?,
            bracket: bracket.map(|(n, bytes)| name(&format!("bracket-{n}"), bytes)).collect::<Result<_, _>>()?,
        };
        if !photos.bracket.is_empty() && (photos.marks.is_some() || photos.ambient.is_some()) {
            let hint = "Send either those, or the photos with the room's light on or the lamp off.";
            return Err(Failure::Entry("Photos at other exposures go with nothing else.".to_owned(), hint.to_owned()));
        }
        let flags = [("--marks-photo", &photos.marks), ("--ambient-photo", &photos.ambient)];
        let mut words: Vec<String> = flags
            .into_iter()
            .filter_map(|(flag, file)| Some([flag.to_owned(), file.as_ref()?.name.clone()]))
            .flatten()
            .collect();
        words.extend(photos.bracket.iter().flat_map(|file| ["--bracket".to_owned(), file.name.clone()]));
        Ok((photos, words))
    }
}

/// Whether a text has the shape of an id.
pub(super) fn is_id(text: &str) -> bool {
    text.len() == ID_LENGTH && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f' | b'-'))
}

/// Whether a text has the shape of a key.
pub(super) fn is_key(text: &str) -> bool {
    text.len() == KEY_LENGTH && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

/// How forms name a lamp.
pub(super) fn lamp_name(side: &str, beam: &str) -> String {
    format!("{side}-{beam}")
}

fn entered_file(store: &Path, id: &str) -> PathBuf {
    store.join(BESIDE).join(format!("{id}.json"))
}

/// Begins an inspection: checks every word, writes what was entered, records the lamps. Gives its id.
pub(super) fn begin(shop: &Shop, mut session: Session, options: &RecordOptions) -> Result<String, Error> {
    let photo = Path::new("photo.jpg");
    let mut plans = session.lamps.iter().map(|lamp| aim::plan_of(&session, lamp, photo, None));
    let first = plans.next().unwrap_or_else(|| Err(Error::usage("no lamp was chosen", "choose the lamps")))?;
    plans.try_for_each(|plan| plan.map(|_| ()))?;
    let caption = caption();
    let mut recorder = Recorder::begin(&first, options, &caption.record, &session.vehicle)?;
    for lamp in &session.lamps {
        recorder.add_lamp(&lamp.side, &lamp.beam);
    }
    session.recorded = Some(SessionRecord { store: shop.store.display().to_string(), id: caption.record.clone() });
    let json = session.to_json().map_err(|error| {
        Error::usage(format!("the session cannot be written as JSON: {error}"), "please report this as a defect")
    })?;
    let place = entered_file(&shop.store, &caption.record);
    let folder = shop.store.join(BESIDE);
    fs::create_dir_all(&folder).map_err(|error| {
        Error::file(folder.display().to_string(), format!("cannot be made: {error}"), "check its rights")
    })?;
    Staged::new(&place, sealed(&json).as_bytes())?.commit()?;
    if let Err(error) = recorder.commit() {
        // Without its record it is nothing; a file that stays would be found by nobody.
        let _ = fs::remove_file(&place);
        return Err(error);
    }
    Ok(caption.record)
}

impl Open {
    /// Reads an inspection.
    pub(super) fn load(shop: &Shop, id: &str) -> Result<Self, Failure> {
        if !is_id(id) {
            return Err(Failure::NotFound);
        }
        let place = entered_file(&shop.store, id);
        if !place.is_file() {
            return Err(Failure::NotFound);
        }
        let inside = |error: Error| Failure::inside(&error);
        let text = read_sealed(&place).map_err(inside)?;
        let mut session = Session::parse(&text, "what was entered").map_err(inside)?;
        let screws = aim::screws_of(&session).map_err(inside)?;
        let stored = shop.records()?.newest(id).map_err(|_| Failure::NotFound)?;
        let is_quick = session.is_quick;
        for lamp in &mut session.lamps {
            let readings = record_of(&stored.inspection, lamp).map_or(&[][..], |record| &record.readings[..]);
            for reading in readings {
                lamp.add(reading.turned.clone(), reading.reading.clone(), screws.as_ref(), is_quick);
            }
        }
        Ok(Self { session, stored, screws })
    }

    /// The inspection's name: the id of its first record.
    pub(super) fn id(&self) -> &str {
        self.stored.inspection.first()
    }

    /// The lamp of a form's name.
    pub(super) fn lamp(&self, name: &str) -> Option<usize> {
        self.session.lamps.iter().position(|lamp| lamp_name(&lamp.side, &lamp.beam) == name)
    }

    /// A recorded reading of a lamp.
    pub(super) fn reading(&self, lamp: &str, n: usize) -> Option<&RecordedReading> {
        record_of(&self.stored.inspection, &self.session.lamps[self.lamp(lamp)?])?.readings.get(n)
    }

    /// The lamp of the newest reading, and that reading's place.
    pub(super) fn newest(&self) -> Option<(usize, usize)> {
        let last = |n: usize| {
            let readings = &record_of(&self.stored.inspection, &self.session.lamps[n])?.readings;
            readings.last().map(|reading| (reading.measured.clone(), n, readings.len() - 1))
        };
        (0..self.session.lamps.len()).filter_map(last).max().map(|(_, lamp, n)| (lamp, n))
    }

    /// The reading that a key already made.
    fn made_by(&self, key: &str) -> Option<&RecordedReading> {
        self.stored.inspection.readings().find(|reading| reading.photo.name.contains(key))
    }
}

/// A lamp's record.
pub(super) fn record_of<'a>(inspection: &'a Inspection, lamp: &Lamp) -> Option<&'a LampRecord> {
    inspection.lamps.iter().find(|record| record.side == lamp.side && record.beam == lamp.beam)
}

/// Measures and records a photo that came in; does nothing when its key was here already. Gives the lamp's name. It has its
/// place in the queue before it waits for others of the same inspection: whatever is in memory is counted somewhere.
pub(super) async fn add(shop: &Arc<Shop>, queued: Queued, arrived: Arrived) -> Result<String, Failure> {
    let alone = shop.alone_with(&arrived.id).await;
    let (own, id) = (Arc::clone(shop), arrived.id.clone());
    let lamp = shop
        .work
        .run_queued(queued, move || {
            // Held to the end of the job, which goes on when the phone is gone: a second try waits for it and finds the record.
            let _alone = alone;
            add_now(&own, arrived)
        })
        .await?;
    shop.hub.changed(&id);
    Ok(lamp)
}

fn add_now(shop: &Shop, arrived: Arrived) -> Result<String, Failure> {
    let mut open = Open::load(shop, &arrived.id)?;
    if let Some(made) = open.made_by(&arrived.key) {
        let is_same = made.photo.sha256 == crate::record::Hash::of(&arrived.sent.photo);
        let setup = &made.reading.setup;
        return if is_same { Ok(lamp_name(&setup.lamp, &setup.beam)) } else { Err(Failure::Moved) };
    }
    if open.stored.inspection.readings().count() >= shop.most_photos {
        let hint = "Begin with the vehicle anew.";
        return Err(Failure::Entry(
            format!("This inspection has {} photos already.", shop.most_photos),
            hint.to_owned(),
        ));
    }
    let place = match &arrived.lamp {
        Some(name) => open.lamp(name).ok_or(Failure::NotFound)?,
        None => open.session.next().ok_or(Failure::Moved)?,
    };
    let lamp = &open.session.lamps[place];
    if arrived.seen.is_some_and(|seen| seen != lamp.shots.len()) {
        return Err(Failure::Moved);
    }
    let turned = lamp.turned_since(&arrived.said).map_err(|_| {
        let hint = "Say whether you turned as told, or what else you turned.";
        Failure::Entry("Nobody said what was turned since the last photo.".to_owned(), hint.to_owned())
    })?;
    let (photos, words) = arrived.sent.named(&arrived.key)?;
    open.session.lamps[place].words.extend(words.into_iter().chain(arrived.words));
    let lamp = &open.session.lamps[place];
    let inside = |error: Error| Failure::inside(&error);
    let plan = aim::plan_of(&open.session, lamp, Path::new(&photos.photo.name), None).map_err(inside)?;
    let caption = caption();
    let mut recorder = Recorder::go_on(&shop.store, &arrived.id, &caption.record).map_err(inside)?;
    let produced = measured(shop, &plan, &caption, &photos)?;
    recorder.add(&plan, &photos, &produced, turned).map_err(inside)?;
    recorder.commit().map_err(inside)?;
    Ok(lamp_name(&lamp.side, &lamp.beam))
}

/// Has the photos measured by a worker.
fn measured(shop: &Shop, plan: &Plan, caption: &Caption, photos: &PhotoFiles) -> Result<Produced, Failure> {
    let (names, blocks) = Names::of(photos);
    let caption = (caption.record.clone(), caption.date.clone());
    let errand = Errand::Measure { given: Box::new(Given::of(plan)), caption, names };
    match shop.work.ask(&errand, &blocks)? {
        (Outcome::Measured(reading), picture) => {
            Ok(Produced { reading: *reading, annotated: None, filed: Some(picture), trace: Vec::new() })
        }
        // What is wrong with a photo itself may be said; of anything else the page says nothing.
        (Outcome::Failed { file: Some(file), found, hint }, _) if photos.is_named(&file) => {
            Err(Failure::NoPhoto(sentence(&found), sentence(&hint)))
        }
        // Of whose camera the lens file is, only the photo tells.
        (Outcome::Failed { file: Some(file), found, .. }, _)
            if plan.lens_text.as_ref().is_some_and(|(path, _)| *path == file) =>
        {
            let hint = "Begin the inspection anew with the lens file of this camera, or with none.";
            Err(Failure::Entry(format!("The photo does not fit the lens file: {}", sentence(&found)), hint.to_owned()))
        }
        (Outcome::Failed { found, hint, .. }, _) => Err(Failure::inside(&Error::usage(found, hint))),
        (Outcome::Picture, _) => Err(Failure::Inside),
    }
}

/// The extension that the content asks for; what is no photo is named here, before anything looks into it.
pub(super) fn extension(bytes: &[u8]) -> Result<&'static str, Failure> {
    /// Brands of HEIC pictures, behind the length and `ftyp`.
    const HEIC: [&[u8]; 8] = [b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"];
    if bytes.starts_with(b"\xFF\xD8\xFF") {
        Ok("jpg")
    } else if bytes.starts_with(b"\x89PNG\r\n\x1A\n") {
        Ok("png")
    } else if bytes.get(4..8) == Some(b"ftyp") && bytes.get(8..12).is_some_and(|brand| HEIC.contains(&brand)) {
        Ok("heic")
    } else if cfg!(feature = "raw") && (bytes.starts_with(b"II*\0") || bytes.starts_with(b"MM\0*")) {
        Ok("dng")
    } else {
        let hint = "Send the photo itself: JPEG, HEIC or PNG, as the camera wrote it.";
        Err(Failure::NoPhoto("This file is no photo.".to_owned(), hint.to_owned()))
    }
}

/// Inspections of which this server knows what was entered, so that they can be gone on with.
pub(super) fn can_go_on(store: &Store, id: &str) -> bool {
    is_id(id) && entered_file(store.folder(), id).is_file()
}
