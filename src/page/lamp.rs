//! The page of an inspection: what the last photo came to, what is next, where the beam stands.

use super::answer::{Failure, page};
use super::events::version_text;
use super::guard::Visit;
use super::inspection::{KEY_LENGTH, Open, lamp_name};
use super::layout;
use super::next_step::next_step;
use super::ruler::{Along, ruler};
use super::shop::Shop;
use super::tap::{NEEDED, bay_of, guess_words, place_words};
use super::visitor::random_hex;
use super::words::{self, Tone};
use super::work::aside;
use crate::bay::Bay;
use crate::cli::record::not_prepared;
use crate::draw::without_pixels;
use crate::reading::Reading;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use maud::{Markup, html};
use std::collections::HashMap;
use std::sync::Arc;

/// Refusals that marks given by hand can mend.
const MENDED_BY_MARKS: [&str; 2] = ["marks-missing", "bay-mismatch"];

/// The page.
pub(super) async fn inspection(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    Path(id): Path<String>,
    Query(asked): Query<HashMap<String, String>>,
) -> Result<Response, Failure> {
    let own = Arc::clone(&shop);
    let (open, bay) = aside(move || {
        let open = Open::load(&own, &id)?;
        let is_refused =
            open.newest().is_some_and(|(lamp, n)| open.session.lamps[lamp].shots[n].reading.verdict.is_none());
        // Without it nothing is said of places.
        let bay = if is_refused { bay_of(&open).ok() } else { None };
        Ok((open, bay))
    })
    .await?;
    let key = random_hex(KEY_LENGTH / 2).map_err(|error| Failure::inside(&error))?;
    let version = version_text(&shop, open.id(), open.stored.number);
    // A lamp that is done with can be chosen, to photograph it again.
    let chosen = asked.get("lamp").and_then(|name| open.lamp(name)).or_else(|| open.session.next());
    let newest = open.newest();
    let body = html! {
        (layout::bar(&open.session.vehicle, None))
        (strip(&open, chosen))
        main #main .is-led data-events=(format!("/i/{}/events", open.id())) data-version=(version) {
            @if let Some((lamp, n)) = newest { (verdict(&open, lamp, n, bay.as_ref())) }
            (next_step(&shop, &visit, &open, chosen, &key))
            @if let Some((lamp, n)) = newest { (details(&open, lamp, n)) }
            @if open.session.next().is_some() { (other_lamps(&open)) }
            @if let Some(open) = not_prepared(&open.stored.inspection) {
                details { summary { "Not everything on the checklist is seen to" } p .small { (words::sentence(&open)) } }
            }
            (layout::cautions(newest.is_none()))
        }
    };
    Ok(page(&layout::shell(&open.session.vehicle, &body)))
}

/// The lamps in the order of work and how each stands.
fn strip(open: &Open, next: Option<usize>) -> Markup {
    html! {
        ol .lamps aria-label="Lamps" {
            @for (n, lamp) in open.session.lamps.iter().enumerate() {
                @let (tone, word) = words::state(lamp.state(open.session.is_quick));
                li class=(tone.class()) aria-current=[(next == Some(n)).then_some("step")] {
                    a href=(format!("/i/{}?lamp={}", open.id(), lamp_name(&lamp.side, &lamp.beam))) {
                        span { (words::lamp(&lamp.side, &lamp.beam)) }
                        strong { (word) }
                    }
                }
            }
        }
    }
}

fn verdict(open: &Open, lamp: usize, n: usize, bay: Option<&Bay>) -> Markup {
    let lamp = &open.session.lamps[lamp];
    let reading = &lamp.shots[n].reading;
    let (tone, said) = words::verdict(reading);
    html! {
        section class={ "verdict " (tone.class()) } role="status" {
            p { (words::lamp(&lamp.side, &lamp.beam)) " · photo " (n + 1) }
            h2 { (said) }
        }
        @if tone == Tone::Stop { (refused(open, (&lamp_name(&lamp.side, &lamp.beam), n), reading, bay)) }
    }
}

/// Why a photo cannot be used, what to change, and where.
fn refused(open: &Open, (lamp, n): (&str, usize), reading: &Reading, bay: Option<&Bay>) -> Markup {
    let id = open.id();
    let reasons: Vec<_> = reading.flags.iter().filter(|flag| flag.severity == "refusal").collect();
    // Of a photo taken for its marks alone a better one is quickly taken.
    let has_marks_photo = open.reading(lamp, n).is_some_and(|reading| reading.marks_photo.is_some());
    let can_tap = !has_marks_photo && reasons.iter().any(|flag| MENDED_BY_MARKS.contains(&flag.code.as_str()));
    html! {
        section .note.is-stop {
            @for flag in &reasons {
                @let (found, hint) = found_and_hint(&flag.text, flag.hint.as_deref());
                p { span .small { "What to change" } br; strong { (words::hint(hint)) } }
                @if let (Some(bay), "marks-missing") = (bay, flag.code.as_str()) { (missing(reading, bay, found)) }
                @else if !found.is_empty() { p { (words::sentence(&without_pixels(found))) } }
            }
            @if can_tap {
                a .button href=(format!("/i/{id}/tap/{lamp}/{n}")) { "Tap the marks on the picture" }
            }
        }
    }
}

/// Which marks were not found: where they hang and, of those that the photo leaves out, where that is.
fn missing(reading: &Reading, bay: &Bay, found: &str) -> Markup {
    let lost = bay.marks.iter().filter(|mark| !reading.marks.found.contains(&mark.id));
    html! {
        p { "Found " (reading.marks.found.len()) " of " (bay.marks.len()) " marks, at least " (NEEDED) " are needed. Not found:" }
        ul .places {
            @for mark in lost {
                li { b { "Mark " (mark.id) } " " (place_words(mark, bay))
                    @if let Some(outside) = guess_words(found, mark.id).filter(|place| place.starts_with("outside")) { ": " b { (outside) } }
                }
            }
        }
        p .small { "Too dark to see them? Add a photo with the lights on: under More photos." }
    }
}

/// The text without the hint that it ends with.
fn found_and_hint<'a>(text: &'a str, hint: Option<&'a str>) -> (&'a str, &'a str) {
    match hint {
        Some(hint) => (text.strip_suffix(hint).unwrap_or(text).trim_end().trim_end_matches([';', ':']), hint),
        None => ("", text),
    }
}

fn details(open: &Open, lamp: usize, n: usize) -> Markup {
    let lamp = &open.session.lamps[lamp];
    let shot = &lamp.shots[n];
    let name = lamp_name(&lamp.side, &lamp.beam);
    let place = format!("/i/{}/picture/{name}/{n}", open.id());
    let title = words::lamp(&lamp.side, &lamp.beam);
    html! {
        section .where aria-label="Where the beam stands" {
            (rulers(&shot.reading))
            figure .seen {
                a href=(place) { img src=(place) alt=(format!("{title}, photo {}: the beam on the wall with what was found", n + 1)); }
                figcaption .small { "Tap the picture to see it whole." }
            }
            (notes(&shot.reading))
        }
    }
}

/// Both rulers, as far as the rule judges.
pub(super) fn rulers(reading: &Reading) -> Markup {
    let verdict = reading.verdict.as_ref();
    html! {
        @if let Some(verdict) = verdict {
            div .rulers {
                @if let Some(axis) = &verdict.vertical { (ruler(Along::Vertical, axis)) }
                @if let Some(axis) = &verdict.horizontal { (ruler(Along::Horizontal, axis)) }
            }
            @if let Some(zone) = &verdict.dark_zone {
                p .note { "Dark zone (hatched in the picture), free of " (zone.free_of) ": " (zone.text) "." }
            }
            @if verdict.vertical.is_none() && verdict.horizontal.is_none() {
                p .note { "The rule judges nothing that could be measured here." }
            }
        }
    }
}

/// What makes the reading weaker.
pub(super) fn notes(reading: &Reading) -> Markup {
    let list: Vec<_> = reading.flags.iter().filter(|flag| flag.severity != "refusal").collect();
    let weak = list.iter().filter(|flag| flag.severity == "warning").count();
    html! {
        @if !list.is_empty() {
            details {
                summary { "Notes on this photo" @if weak > 0 { " (" (weak) " weaken it)" } }
                ul { @for flag in &list { li .is-care[flag.severity == "warning"] { (words::without_folders(&flag.text, &reading.command)) } } }
            }
        }
    }
}

/// Every lamp's photos, so that any can be looked at again.
fn other_lamps(open: &Open) -> Markup {
    html! {
        @if open.session.lamps.iter().any(|lamp| !lamp.shots.is_empty()) {
            p { a href=(format!("/desk/{}", open.id())) { "All photos of this vehicle" } }
        }
    }
}
