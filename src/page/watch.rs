//! A folder that a fixed camera writes into: each new photo goes to the inspection whose page asked for it.
//!
//! A file counts when its size and time stood still between two looks; what lay there at the start is left alone, and a name that
//! is written anew is a new photo. What lay there when a page asked is not its next photo. Nothing in the folder is changed. A photo that nobody asked for is not used, and the page says so: whether a screw was turned before it, nobody knows.
//! One inspection at a time has the camera, until its photo came or it was given up: what the next photo shows is what stands
//! before the camera, and no second page may take it for its own vehicle's.

use super::answer::{Failure, see_other};
use super::guard::{MOST_PHOTO_BYTES, Visit};
use super::inspection::{Arrived, Open, Sent, add};
use super::log::log;
use super::post::Posted;
use super::said::said;
use super::shop::Shop;
use super::visitor::random_hex;
use super::work::aside;
use crate::error::Error;
use crate::kit::session::SinceLast;
use axum::Extension;
use axum::extract::{Path as UrlPath, State};
use axum::response::Response;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, SystemTime};

/// Time between two looks.
const PAUSE: Duration = Duration::from_millis(500);
const EXTENSIONS: [&str; 5] = ["jpg", "jpeg", "png", "heic", "heif"];

/// What the camera waits for.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Asked {
    /// The inspection.
    pub(super) id: String,
    /// Its vehicle, for who asks meanwhile.
    vehicle: String,
    lamp: String,
    seen: usize,
    said: SinceLast,
    /// What lay in the folder then: a photo of before shows the lamp of before.
    old: BTreeMap<PathBuf, Seen>,
}

#[derive(Debug, Default)]
struct Inside {
    asked: Option<Asked>,
    /// Of each inspection, what was last said of a photo that was not used.
    said: BTreeMap<String, String>,
    version: u64,
}

/// The folder and who asked for its next photo.
#[derive(Debug)]
pub(super) struct Watch {
    folder: PathBuf,
    inside: Mutex<Inside>,
}

impl Watch {
    /// Fails when it is no folder.
    pub(super) fn new(folder: &Path) -> Result<Self, Error> {
        if !folder.is_dir() {
            let hint = "name the folder that the camera writes into";
            return Err(Error::file(folder.display().to_string(), "is no folder", hint));
        }
        Ok(Self { folder: folder.to_owned(), inside: Mutex::new(Inside::default()) })
    }

    fn inside<T>(&self, act: impl FnOnce(&mut Inside) -> T) -> T {
        act(&mut self.inside.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Counts what changed about an inspection without a record.
    pub(super) fn version(&self, id: &str) -> u64 {
        self.inside(|inside| {
            let waits = inside.asked.as_ref().is_some_and(|asked| asked.id == id);
            2 * inside.version + u64::from(waits)
        })
    }

    /// Whether the camera's next photo is for this inspection.
    pub(super) fn waits_for(&self, id: &str) -> bool {
        self.inside(|inside| inside.asked.as_ref().is_some_and(|asked| asked.id == id))
    }

    /// What is to be said of the last photo, when it was not used.
    pub(super) fn words(&self, id: &str) -> Option<String> {
        self.inside(|inside| inside.said.get(id).cloned())
    }

    /// The photo that was asked for is there: nobody waits any more. Whether somebody still did.
    fn given(&self, asked: &Asked) -> bool {
        self.inside(|inside| inside.asked.take_if(|now| now == asked).is_some())
    }

    fn say(&self, id: &str, words: String) {
        self.inside(|inside| {
            inside.version += 1;
            inside.said.insert(id.to_owned(), words);
        });
    }
}

/// Asks for the camera's next photo, or no longer.
pub(super) async fn ask(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    UrlPath(id): UrlPath<String>,
    form: Posted,
) -> Result<Response, Failure> {
    visit.check(form.text("form"))?;
    let watch = shop.watch.as_ref().ok_or(Failure::NotFound)?;
    let asked = if form.text("stop").is_empty() {
        let seen = form.text("seen").parse().map_err(|_| Failure::NotOurs)?;
        let (own, place) = (Arc::clone(&shop), id.clone());
        let folder = watch.folder.clone();
        let (vehicle, old) = aside(move || Ok((Open::load(&own, &place)?.session.vehicle, list(&folder)))).await?;
        Some(Asked { id: id.clone(), vehicle, lamp: form.text("lamp").to_owned(), seen, said: said(&form)?, old })
    } else {
        None
    };
    watch.inside(|inside| {
        if let Some(held) = inside.asked.as_ref().filter(|held| held.id != id) {
            // A page that no longer has it gives up nothing.
            if asked.is_none() {
                return Ok(());
            }
            let found = format!("The fixed camera waits for {} already.", held.vehicle);
            let hint = "Let its photo come first, or open that vehicle and press Wait no longer there.";
            return Err(Failure::Taken(found, hint.to_owned()));
        }
        inside.asked = asked;
        inside.said.remove(&id);
        inside.version += 1;
        Ok(())
    })?;
    shop.hub.changed(&id);
    Ok(see_other(&format!("/i/{id}")))
}

/// Size and time of a file: another of either is another photo, also under the same name.
type Seen = (u64, Option<SystemTime>);

/// Looks into the folder until the server ends.
pub(super) async fn look(shop: Arc<Shop>) {
    let Some(folder) = shop.watch.as_ref().map(|watch| watch.folder.clone()) else { return };
    let files =
        |folder: PathBuf| async move { tokio::task::spawn_blocking(move || list(&folder)).await.unwrap_or_default() };
    let mut before = files(folder.clone()).await;
    let mut done = before.clone();
    loop {
        tokio::time::sleep(PAUSE).await;
        let now = files(folder.clone()).await;
        for (file, seen) in &now {
            let stood_still = before.get(file) == Some(seen) && seen.0 > 0;
            if stood_still && done.get(file) != Some(seen) && take(&shop, file, *seen).await {
                done.insert(file.clone(), *seen);
            }
        }
        done.retain(|file, _| now.contains_key(file));
        before = now;
    }
}

fn seen(file: &Path) -> Option<Seen> {
    let facts = fs::metadata(file).ok()?;
    Some((facts.len(), facts.modified().ok()))
}

/// The photos in the folder; links and folders are passed over.
fn list(folder: &Path) -> BTreeMap<PathBuf, Seen> {
    let is_photo = |path: &Path| {
        let extension = path.extension().map(|extension| extension.to_string_lossy().to_lowercase());
        extension.is_some_and(|extension| EXTENSIONS.contains(&extension.as_str()))
    };
    let entries = fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    entries
        .filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()) && is_photo(&entry.path()))
        .filter_map(|entry| Some((entry.path(), seen(&entry.path())?)))
        .collect()
}

/// What reading a file came to.
enum Read {
    Whole(Vec<u8>),
    /// The camera writes it anew: it is looked at again.
    Changing,
    Not,
}

fn read(file: &Path, as_seen: Seen) -> Read {
    if as_seen.0 > MOST_PHOTO_BYTES {
        return Read::Not;
    }
    let Ok(bytes) = fs::read(file) else { return Read::Not };
    if seen(file) == Some(as_seen) && bytes.len() as u64 == as_seen.0 { Read::Whole(bytes) } else { Read::Changing }
}

/// Gives a photo to the inspection that asked for one. Says whether the file is done with.
async fn take(shop: &Arc<Shop>, file: &Path, as_seen: Seen) -> bool {
    let Some(watch) = &shop.watch else { return true };
    let asked = watch.inside(|inside| inside.asked.clone());
    let Some(asked) = asked.filter(|asked| asked.old.get(file) != Some(&as_seen)) else {
        log("a photo of the fixed camera was not used: no page asked for it");
        return true;
    };
    let queued = match shop.work.queue() {
        Ok(queued) => queued,
        Err(failure) => {
            watch.given(&asked);
            not_used(shop, &asked.id, failure);
            return true;
        }
    };
    let place = file.to_owned();
    let bytes = tokio::task::spawn_blocking(move || read(&place, as_seen)).await.unwrap_or(Read::Not);
    if matches!(bytes, Read::Changing) {
        return false;
    }
    // Whoever gave up meanwhile gets no photo.
    if !watch.given(&asked) {
        return true;
    }
    let key = random_hex(super::inspection::KEY_LENGTH / 2).ok();
    let (Read::Whole(bytes), Some(key)) = (bytes, key) else {
        watch.say(&asked.id, "The camera's photo could not be read. Ask for another one.".to_owned());
        shop.hub.changed(&asked.id);
        return true;
    };
    let id = asked.id.clone();
    let arrived = Arrived {
        id: asked.id,
        lamp: Some(asked.lamp),
        seen: Some(asked.seen),
        said: asked.said,
        key,
        sent: Sent { photo: bytes, ..Sent::default() },
        words: Vec::new(),
    };
    if let Err(failure) = add(shop, queued, arrived).await {
        not_used(shop, &id, failure);
    }
    true
}

fn not_used(shop: &Shop, id: &str, failure: Failure) {
    let words = match failure {
        Failure::NoPhoto(found, hint) | Failure::Entry(found, hint) => format!("{found} {hint}"),
        Failure::Moved => "The camera's photo was not used: a phone went on with this lamp meanwhile.".to_owned(),
        _ => "The camera's photo could not be used. Ask for another one.".to_owned(),
    };
    if let Some(watch) = &shop.watch {
        watch.say(id, words);
    }
    shop.hub.changed(id);
}
