//! What is next: one instruction, as large as it can be, and the way to send the next photo.

use super::guard::Visit;
use super::inspection::{Open, lamp_name};
use super::layout;
use super::shop::Shop;
use super::words;
use crate::aim::Axis;
use crate::kit::session::{Lamp, Movement, ScrewName, State};
use crate::kit::session_text::{STIFF, aim_notes, not_measured_words, reached_words, screw_notes};
use maud::{Markup, html};

/// The instruction and the form of the next photo, of the lamp at `place`; `key` is the form's own.
pub(super) fn next_step(shop: &Shop, visit: &Visit, open: &Open, place: Option<usize>, key: &str) -> Markup {
    let Some(place) = place else { return all_done(open) };
    let lamp = &open.session.lamps[place];
    let name = words::lamp(&lamp.side, &lamp.beam);
    let other = if lamp.side == "left" { "right" } else { "left" };
    let state = lamp.state(open.session.is_quick);
    let is_first = lamp.shots.is_empty();
    html! {
        section .next aria-labelledby="next" {
            h2 #next { "Next: " (name.to_lowercase()) }
            @match state {
                State::ToTurn => {
                    ol .turns { @for movement in &lamp.proposed { (turn(movement, open)) } }
                    @if lamp.proposed.is_empty() { p .do { "Less than an eighth of a turn is left: a touch, and say below how much it was." } }
                }
                State::NotMeasured => p .do {
                    @if let Some(said) = not_measured_words(lamp) { (words::sentence(&said)) " " }
                    b { "Photograph it again." }
                },
                State::ToRecheck => p .do {
                    "It is " (reached_words(lamp)) ". Push the vehicle down at the front and let it settle, then photograph once more. "
                    b { "Touch no screw." }
                }
                _ if is_first => p .do {
                    "Switch on the " b { (lamp.side) " " (words::beam(&lamp.beam)) } ", cover the " b { (other) }
                    " lamp, and photograph the wall with all marks."
                },
                _ => p .do { "Photograph the " b { (lamp.side) " " (words::beam(&lamp.beam)) } " again." },
            }
            (photo_form(shop, visit, open, lamp, state, key))
            @if state == State::ToTurn {
                // Behind the button: what must be read each time comes first.
                @for note in aim_notes(lamp).into_iter().chain(screw_notes(lamp, open.screws.as_ref())) { p .small { (note) } }
                @if let Some(said) = not_measured_words(lamp) { p .small { (words::sentence(&said)) } }
                p .small { (STIFF) }
            }
        }
    }
}

fn turn(movement: &Movement, open: &Open) -> Markup {
    let (axis, word) = match movement.screw {
        ScrewName::Vertical => (Axis::Vertical, "Vertical screw"),
        ScrewName::Horizontal => (Axis::Horizontal, "Horizontal screw"),
    };
    let described = open.screws.as_ref().and_then(|screws| screws.for_axis(axis)).map(|screw| screw.name.as_str());
    let is_back = movement.quarter_turns < 0.0;
    let quarters = movement.quarter_turns.abs();
    html! {
        li {
            span .arrow aria-hidden="true" { @if is_back { "↺" } @else { "↻" } }
            div {
                span .what { (word) @if let Some(name) = described { " (" (name) ")" } }
                strong { (number(quarters)) " quarter turn" @if (quarters - 1.0).abs() > 1e-9 { "s" } }
                span .way { @if is_back { "counterclockwise" } @else { "clockwise" } }
            }
        }
    }
}

/// With a tenth where there is one: nobody turns finer.
fn number(quarters: f64) -> String {
    let text = format!("{quarters:.1}");
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

fn photo_form(shop: &Shop, visit: &Visit, open: &Open, lamp: &Lamp, state: State, key: &str) -> Markup {
    let place = format!("/i/{}/photo", open.id());
    let camera = format!("/i/{}/camera", open.id());
    let waits = shop.watch.as_ref().is_some_and(|watch| watch.waits_for(open.id()));
    html! {
        form .photo #photo method="post" action=(place) enctype="multipart/form-data" {
            (layout::form_fields(&visit.form))
            input type="hidden" name="key" value=(key);
            input type="hidden" name="seen" value=(lamp.shots.len());
            input type="hidden" name="lamp" value=(lamp_name(&lamp.side, &lamp.beam));
            @if lamp.proposed.is_empty() && state != State::ToTurn {
                input type="hidden" name="said" value="nothing";
            } @else {
                (turned_fields())
            }
            // In reach of the thumb on a phone, wherever the page is scrolled to.
            div .act {
                p #sending .note role="status" hidden {}
                label .button.is-main .camera {
                    span { (if state == State::ToTurn { "Turned: photograph again" } else { "Photograph" }) }
                    input #file type="file" name="photo" accept="image/*" capture="environment" required;
                }
                button #again type="button" .is-main hidden { "Send it again" }
            }
            button #choose type="button" hidden { "Choose a stored photo" }
            (more_photos())
            button #send .is-main { "Send the photo" }
            @if let Some(watch) = &shop.watch {
                @if let Some(said) = watch.words(open.id()) { p .note.is-care role="status" { (said) } }
                @if waits {
                    p .note role="status" { "Waiting for the fixed camera’s next photo." }
                    button formaction=(camera) formenctype="application/x-www-form-urlencoded" formnovalidate name="stop" value="yes" { "Wait no longer" }
                } @else {
                    button formaction=(camera) formenctype="application/x-www-form-urlencoded" formnovalidate { "Take the fixed camera’s next photo" }
                }
            }
        }
    }
}

/// What a room or a lamp that is too dark or too bright asks for beside the photo.
fn more_photos() -> Markup {
    html! {
        details #more .more {
            summary { "More photos" }
            p .small { "Seldom needed. Hold the phone still, take these first; the photo of the beam then sends them all." }
            (one_more("marks", "Marks, lights on", "when it is too dark to find them", true))
            (one_more("ambient", "Room, lamp off", "when the room cannot be darkened", true))
            (one_more("bracket", "Other exposures", "stored photos of the same beam; then neither of the others", false))
        }
    }
}

fn one_more(name: &str, label: &str, when: &str, is_taken: bool) -> Markup {
    html! {
        label .button .camera {
            span { b { (label) } " " span .small { (when) } }
            input type="file" name=(name) accept="image/*" capture=[is_taken.then_some("environment")] multiple[!is_taken];
        }
    }
}

fn turned_fields() -> Markup {
    html! {
        fieldset .said {
            legend { "What did you turn?" }
            label .choice { input type="radio" name="said" value="told" checked; span { "As told above" } }
            label .choice { input type="radio" name="said" value="nothing"; span { "Nothing" } }
            label .choice { input #other type="radio" name="said" value="other"; span { "Something else" } }
            div #turned .pair {
                @for (word, label) in [("vertical", "Vertical screw, quarter turns"), ("horizontal", "Horizontal screw, quarter turns")] {
                    div {
                        label { span { (label) } input type="text" inputmode="decimal" name=(format!("{word}_quarters")) maxlength="6"; }
                        label { span { "Which way" }
                            select name=(format!("{word}_way")) { option value="cw" { "clockwise" } option value="ccw" { "counterclockwise" } }
                        }
                    }
                }
            }
        }
    }
}

fn all_done(open: &Open) -> Markup {
    let is_in = open.session.lamps.iter().all(|lamp| lamp.state(open.session.is_quick) == State::Good);
    html! {
        section .next aria-labelledby="next" {
            h2 #next { "Every lamp is done" }
            p .do { @if is_in { "All lamps pass." } @else { "Not every lamp passes: see below what stands open." } }
            @if let Some(words) = crate::kit::session_text::difference(&open.session) { p .note.is-care { (words) } }
            a .button.is-main href=(format!("/desk/{}", open.id())) { "Finish: see the sheet" }
            a .button href=(format!("/i/{}/report.pdf", open.id())) { "Report (PDF)" }
            a .button href="/new" { "Next vehicle" }
        }
    }
}
