//! Marks that were not found, tapped on the picture by hand: the same as `measure --mark ID=X,Y`.

use super::answer::{Failure, page, see_other};
use super::guard::Visit;
use super::inspection::{Arrived, KEY_LENGTH, Open, Sent, add, is_key};
use super::layout;
use super::pictures::tap_block;
use super::post::Posted;
use super::shop::Shop;
use super::visitor::random_hex;
use super::work::aside;
use crate::bay::{Bay, Mark};
use crate::cli::aim;
use crate::kit::session::SinceLast;
use crate::record::FiledFile;
use axum::Extension;
use axum::extract::{Path, State};
use axum::response::Response;
use maud::html;
use std::sync::Arc;

/// Marks that a photo must show.
pub(super) const NEEDED: usize = 4;
/// Largest side of a photo, pixels.
const MOST_SIDE_PX: f64 = 16_384.0;

/// Where a mark hangs, for people.
pub(super) fn place_words(mark: &Mark, bay: &Bay) -> String {
    let middle = |pick: fn(&Mark) -> f64| bay.marks.iter().map(pick).sum::<f64>() / bay.marks.len().max(1) as f64;
    let side = if mark.centre.x_mm < middle(|mark| mark.centre.x_mm) { "left" } else { "right" };
    let height = if mark.centre.y_mm < middle(|mark| mark.centre.y_mm) { "lower" } else { "upper" };
    format!("{height} {side}, {:.1} m above the floor", mark.centre.y_mm / 1000.0)
}

/// What the refusal says of a mark's place in the photo: `(812, 640) px, upper left`, of `tag 0 near (812, 640) px, upper left; ..`.
fn guessed(found: &str, id: u32) -> Option<(&str, &str)> {
    let behind = found.split_once(&format!(" {id} near ("))?.1;
    let (pixels, words) = behind.split_once(") px, ")?;
    Some((pixels, words.split(';').next().unwrap_or("").trim()))
}

/// The same in words.
pub(super) fn guess_words(found: &str, id: u32) -> Option<&str> {
    guessed(found, id).map(|(_, words)| words)
}

/// The same in pixels of the upright photo, when it lies in there.
fn guess_px(found: &str, id: u32, (width, height): (usize, usize)) -> Option<(f64, f64)> {
    let (x, y) = guessed(found, id)?.0.split_once(", ")?;
    let place: (f64, f64) = (x.parse().ok()?, y.parse().ok()?);
    let is_inside = (0.0..=width as f64).contains(&place.0) && (0.0..=height as f64).contains(&place.1);
    is_inside.then_some(place)
}

/// The page.
pub(super) async fn tap(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    Path((id, lamp, n)): Path<(String, String, usize)>,
) -> Result<Response, Failure> {
    let own = Arc::clone(&shop);
    let (open, bay) = aside(move || {
        let open = Open::load(&own, &id)?;
        let bay = bay_of(&open)?;
        Ok((open, bay))
    })
    .await?;
    let reading = &open.reading(&lamp, n).ok_or(Failure::NotFound)?.reading;
    let at = open.lamp(&lamp).ok_or(Failure::NotFound)?;
    let seen = open.session.lamps[at].shots.len();
    let key = random_hex(KEY_LENGTH / 2).map_err(|error| Failure::inside(&error))?;
    let found = reading.marks.found.len();
    let said: String = reading.flags.iter().map(|flag| flag.text.as_str()).collect();
    let picture = format!("/i/{}/upright/{lamp}/{n}", open.id());
    let back = format!("/i/{}", open.id());
    let mut marks: Vec<&Mark> = bay.marks.iter().collect();
    marks.sort_by_key(|mark| reading.marks.found.contains(&mark.id));
    let body = html! {
        (layout::bar("Tap the marks", Some((&back, "Back"))))
        main #main {
            p #ask .do role="status" { "Tap the middle of each mark that you see. At least " (NEEDED) " are needed; " (found) " were found." }
            div #board data-width=(reading.photo.width) data-height=(reading.photo.height) data-block=(tap_block(reading.photo.width, reading.photo.height)) data-needed=(NEEDED)
                tabindex="0" role="application"
                aria-label="The photo. Arrow keys move the cross, Enter sets the mark, Escape shows the whole picture." {
                img #board-picture src=(picture) alt="The photo that could not be used";
                span #cross aria-hidden="true" {}
            }
            div .tools {
                button type="button" #whole { "Whole picture" }
                button type="button" #skip { "Not seen" }
                button type="button" #undo { "Undo" }
            }
            ol #marks .marks {
                @for mark in &marks {
                    @let place = reading.marks.places.iter().find(|place| place.id == mark.id);
                    @let guess = guess_px(&said, mark.id, (reading.photo.width, reading.photo.height));
                    li data-id=(mark.id) data-near-x=[guess.map(|guess| guess.0)] data-near-y=[guess.map(|guess| guess.1)] data-found-x=[place.map(|place| place.x_px)] data-found-y=[place.map(|place| place.y_px)] {
                        b { "Mark " (mark.id) } " " (place_words(mark, &bay)) ": "
                        span { @if place.is_some() { "found" } @else { "not found" } }
                    }
                }
            }
            form #tapped method="post" action=(format!("/i/{}/marks", open.id())) {
                (layout::form_fields(&visit.form))
                input type="hidden" name="key" value=(key);
                input type="hidden" name="lamp" value=(lamp);
                input type="hidden" name="n" value=(n);
                input type="hidden" name="seen" value=(seen);
                input type="hidden" name="marks" value="";
                button .is-main { "Measure with these marks" }
            }
            noscript { p { "Tapping needs the page's own script." } }
        }
    };
    Ok(page(&layout::shell("Tap the marks", &body)))
}

/// The bay of an inspection.
pub(super) fn bay_of(open: &Open) -> Result<Bay, Failure> {
    let lamp = open.session.lamps.first().ok_or(Failure::NotFound)?;
    let plan = aim::plan_of(&open.session, lamp, std::path::Path::new("photo.jpg"), None);
    plan.map(|plan| plan.bay).map_err(|error| Failure::inside(&error))
}

/// Measures the same photo again with the marks that were tapped.
pub(super) async fn marks(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    Path(id): Path<String>,
    form: Posted,
) -> Result<Response, Failure> {
    visit.check(form.text("form"))?;
    let key = form.text("key").to_owned();
    let (lamp, n) = (form.text("lamp").to_owned(), form.text("n").parse::<usize>().map_err(|_| Failure::NotOurs)?);
    let seen = form.text("seen").parse().map_err(|_| Failure::NotOurs)?;
    if !is_key(&key) {
        return Err(Failure::NotOurs);
    }
    let given = form.text("marks").to_owned();
    let own = Arc::clone(&shop);
    let (place, name) = (id.clone(), lamp.clone());
    // Before the photo is read into memory.
    let queued = shop.work.queue()?;
    let (sent, words) = aside(move || {
        let open = Open::load(&own, &place)?;
        let words = mark_words(&given, &bay_of(&open)?)?;
        let reading = open.reading(&name, n).ok_or(Failure::NotFound)?;
        let store = own.records()?;
        let bytes = |file: &FiledFile| store.photo_bytes(&file.sha256).map_err(|error| Failure::inside(&error));
        let sent = Sent {
            photo: bytes(&reading.photo)?,
            marks: None,
            ambient: reading.ambient_photo.as_ref().map(bytes).transpose()?,
            bracket: reading.bracket.iter().map(bytes).collect::<Result<_, _>>()?,
        };
        Ok((sent, words))
    })
    .await?;
    let said = SinceLast::Nothing;
    let arrived = Arrived { id: id.clone(), lamp: Some(lamp), seen: Some(seen), said, key, sent, words };
    add(&shop, queued, arrived).await?;
    Ok(see_other(&format!("/i/{id}")))
}

/// `ID=X,Y` parted by blanks, as words of `measure`.
fn mark_words(given: &str, bay: &Bay) -> Result<Vec<String>, Failure> {
    let bad = || {
        let hint = "Tap the middle of each mark that you see, then send.";
        Failure::Entry("No mark was tapped, or one lies outside the picture.".to_owned(), hint.to_owned())
    };
    let mut words = Vec::new();
    let mut ids = Vec::new();
    for entry in given.split_whitespace() {
        let (id, place) = entry.split_once('=').ok_or_else(bad)?;
        let (x, y) = place.split_once(',').ok_or_else(bad)?;
        let id: u32 = id.parse().map_err(|_| bad())?;
        let (x, y): (f64, f64) = (x.parse().map_err(|_| bad())?, y.parse().map_err(|_| bad())?);
        let is_inside = |value: f64| (0.0..=MOST_SIDE_PX).contains(&value);
        if !bay.marks.iter().any(|mark| mark.id == id) || ids.contains(&id) || !is_inside(x) || !is_inside(y) {
            return Err(bad());
        }
        ids.push(id);
        words.extend(["--mark".to_owned(), format!("{id}={x},{y}")]);
    }
    if words.is_empty() { Err(bad()) } else { Ok(words) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The command line's own words of a photo that shows too few marks; the next view is led by them.
    #[test]
    fn a_mark_that_was_not_found_is_looked_for_where_it_should_be() {
        let found = "found 2 of 5 marks (tag 3, tag 4), need at least 4; not found: tag 0 near (812, 640) px, upper left; \
                     quadrant mark 10 near (-40, 3100) px, outside the photo, below and left of it; tag 2";
        assert_eq!(guess_px(found, 0, (4000, 3000)), Some((812.0, 640.0)));
        assert_eq!(guess_words(found, 0), Some("upper left"));
        assert_eq!(guess_px(found, 10, (4000, 3000)), None, "not in the photo");
        assert_eq!(guess_words(found, 10), Some("outside the photo, below and left of it"));
        for id in [1, 2, 3] {
            assert_eq!(guess_words(found, id), None, "{id}");
        }
    }
}
