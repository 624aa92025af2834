//! One inspection as it is filed: before and after of every lamp, printable, with what can be saved from it.

use super::answer::{Failure, page};
use super::day::when;
use super::guard::Visit;
use super::inspection::{can_go_on, is_id, lamp_name};
use super::lamp::rulers;
use super::layout;
use super::pictures::saved;
use super::shop::Shop;
use super::words;
use super::work::aside;
use crate::cli::record::not_prepared;
use crate::error::Error;
use crate::kit::sheet_page::Paper;
use crate::kit::sheet_pdf::pdf;
use crate::record::export::export;
use crate::record::{Answer, Head, Inspection, LampRecord, RecordedReading, Store, Stored};
use crate::report::{Pictures, ReportInput, front_pages, table_pages};
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use maud::{Markup, html};
use std::collections::HashMap;
use std::sync::{Arc, PoisonError};

/// What a check of the store came to.
#[derive(Debug, Clone)]
pub(super) struct Checked {
    /// When.
    pub(super) when: String,
    /// Entries then.
    pub(super) size: u64,
    /// Where something is wrong, and what.
    pub(super) findings: Vec<(String, String)>,
}

/// The store's state in a sentence.
pub(super) fn store_note(checked: Option<&Checked>, head: &Head) -> Markup {
    html! {
        @match checked {
            None => p .note { "The store was not checked since the server started." },
            Some(checked) if checked.findings.is_empty() && checked.size < head.size => p .note {
                strong { (head.size - checked.size) " of " (head.size) " entries came since the last check. " }
                @if checked.size > 0 { "The others were whole " (when(&checked.when)) "." }
            },
            Some(checked) if checked.findings.is_empty() => p .note.is-good {
                strong { "Store whole. " } (checked.size) " entries checked " (when(&checked.when)) "."
            },
            Some(checked) => div .note.is-stop role="alert" {
                p { strong { "INVALID: the store was changed since it was recorded." } }
                ul { @for (place, found) in checked.findings.iter().take(20) { li { (place) ": " (found) } } }
            },
        }
    }
}

/// Has it checked, and says how far its log goes, to be noted elsewhere.
pub(super) fn store_check(head: &Head, form: &str) -> Markup {
    html! {
        div .store {
            form method="post" action="/desk/check" { (layout::form_fields(form)) button { "Check the store now" } }
            p .small.code { "Log head " (head) }
        }
    }
}

fn read(shop: &Shop, id: &str) -> Result<(Stored, bool), Failure> {
    if !is_id(id) {
        return Err(Failure::NotFound);
    }
    let store = shop.records()?;
    let stored = store.newest(id).map_err(|_| Failure::NotFound)?;
    let is_open = can_go_on(&store, stored.inspection.first());
    Ok((stored, is_open))
}

/// The page.
pub(super) async fn filed(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    Path(id): Path<String>,
) -> Result<Response, Failure> {
    let own = Arc::clone(&shop);
    let ((stored, can_go_on), head) = aside(move || {
        let head = own.records()?.head().map_err(|error| Failure::inside(&error))?;
        Ok((read(&own, &id)?, head))
    })
    .await?;
    let checked = shop.checked.lock().unwrap_or_else(PoisonError::into_inner).clone();
    let inspection = &stored.inspection;
    let first = inspection.first().to_owned();
    let body = html! {
        (layout::bar(&inspection.vehicle, Some(("/desk", "Desk"))))
        main #main .is-wide {
            section class={ "verdict " (words::tone_of(&inspection.verdict).class()) } {
                p { "Inspection " (when(&inspection.begun)) }
                h2 { (verdict_word(&inspection.verdict)) }
            }
            (facts(&stored))
            @for lamp in &inspection.lamps { (lamp_block(&first, lamp, can_go_on)) }
            (checklist(inspection))
            nav .foot aria-label="Further" {
                @if can_go_on { a .button href=(format!("/i/{first}")) { "Go on with this vehicle" } }
                a .button href=(format!("/i/{first}/report.pdf")) { "Report (PDF)" }
                a .button href=(format!("/i/{first}/report.pdf?full=1")) { "Report with full table (PDF)" }
                a .button href=(format!("/desk/{first}/record.json")) download { "Save as JSON" }
                a .button href=(format!("/desk/{first}/readings.csv")) download { "Save as table (CSV)" }
                button #print type="button" { "Print" }
            }
            (store_note(checked.as_ref(), &head))
            (store_check(&head, &visit.form))
        }
    };
    Ok(page(&layout::shell(&inspection.vehicle, &body)))
}

fn verdict_word(verdict: &str) -> &'static str {
    match verdict {
        "pass" => "Pass",
        "fail" => "Out of aim",
        "borderline" => "Too close to call",
        "refused" => "No usable photo of a lamp",
        "begun" => "Not finished",
        _ => "No verdict",
    }
}

fn facts(stored: &Stored) -> Markup {
    let inspection = &stored.inspection;
    html! {
        dl .facts {
            div { dt { "Who" } dd { (inspection.who) } }
            div { dt { "Bay" } dd { (inspection.bay.name) @if let Some(day) = &inspection.bay.revision { ", surveyed " (day) } } }
            div { dt { "Rule" } dd { (inspection.rule.name) " (" (inspection.rule.status) ")" } }
            div { dt { "Plate" } dd { (stored.personal.plate.as_deref().unwrap_or("—")) } }
            div { dt { "Customer" } dd { (stored.personal.customer.as_deref().unwrap_or("—")) } }
            div { dt { "Software" } dd { (inspection.software.version) " " (inspection.software.commit) } }
            div { dt { "Record" } dd .code { (stored.number) " · " (inspection.id) } }
        }
    }
}

fn lamp_block(first: &str, lamp: &LampRecord, has_pictures: bool) -> Markup {
    let name = lamp_name(&lamp.side, &lamp.beam);
    let title = words::lamp(&lamp.side, &lamp.beam);
    html! {
        section .lamp {
            h2 { (title) " " span class={ "stamp " (words::tone_of(&lamp.verdict).class()) } { (lamp.verdict) } }
            @if let Some(after) = lamp.after() {
                div .beforeafter {
                    @if let Some(before) = lamp.before().filter(|_| lamp.before != lamp.after) {
                        div { h3 { "Before" } (rulers(&before.reading)) }
                    }
                    div { h3 { "As it is" } (rulers(&after.reading)) }
                }
                p .small { "± U is the expanded uncertainty, k = 2." }
            }
            @if lamp.readings.is_empty() { p .small { "No photo yet." } }
            ul .photos {
                @for (n, reading) in lamp.readings.iter().enumerate() { (photo(first, &name, n, reading, has_pictures)) }
            }
        }
    }
}

fn photo(first: &str, lamp: &str, n: usize, reading: &RecordedReading, has_pictures: bool) -> Markup {
    let (tone, said) = words::verdict(&reading.reading);
    let place = format!("/i/{first}/picture/{lamp}/{n}");
    html! {
        li {
            @if has_pictures { a href=(place) { img loading="lazy" src=(place) alt=(format!("Photo {} with what was found", n + 1)); } }
            p { "Photo " (n + 1) ": " span class={ "stamp " (tone.class()) } { (said) } }
            p .small { (when(&reading.measured)) @if !reading.turned.is_empty() { " · " (turned(reading)) " before it" } }
            @if has_pictures { p { a href=(format!("/desk/{first}/photo/{lamp}/{n}")) download { "Save the photo" } } }
        }
    }
}

fn turned(reading: &RecordedReading) -> String {
    let words = reading.turned.iter().map(|movement| {
        let way = if movement.quarter_turns < 0.0 { "counterclockwise" } else { "clockwise" };
        let screw = match movement.screw {
            crate::kit::session::ScrewName::Vertical => "vertical screw",
            crate::kit::session::ScrewName::Horizontal => "horizontal screw",
        };
        format!("{screw} {:.1} quarter turns {way}", movement.quarter_turns.abs())
    });
    words.collect::<Vec<_>>().join(", ")
}

fn checklist(inspection: &Inspection) -> Markup {
    html! {
        @if let Some(open) = not_prepared(inspection) { p .note.is-care { (words::sentence(&open)) } }
        @if inspection.checklist.is_empty() && inspection.unanswered.is_empty() {
            p .note { "The checklist was not gone through." }
        } @else {
            details {
                summary { "Checklist: " (inspection.checklist.len()) " answers" }
                ul {
                    @for item in &inspection.unanswered { li { b { "not answered" } " " (item.text) } }
                     @for item in &inspection.checklist {
                    li { b { (match item.answer { Answer::Yes => "yes", Answer::No => "NO", Answer::NotApplicable => "n.a." }) } " " (item.text) }
                } }
            }
        }
    }
}

/// The inspection's records as JSON.
pub(super) async fn json(State(shop): State<Arc<Shop>>, Path(id): Path<String>) -> Result<Response, Failure> {
    let name = format!("inspection-{id}.json");
    let exported = exported(shop, id).await?;
    Ok(saved(exported.json.into_bytes(), "application/json", &name))
}

/// Its readings as a table.
pub(super) async fn csv(State(shop): State<Arc<Shop>>, Path(id): Path<String>) -> Result<Response, Failure> {
    let name = format!("readings-{id}.csv");
    let exported = exported(shop, id).await?;
    Ok(saved(exported.csv, "text/csv; charset=utf-8", &name))
}

async fn exported(shop: Arc<Shop>, id: String) -> Result<crate::record::export::Exported, Failure> {
    aside(move || {
        let (stored, _) = read(&shop, &id)?;
        export(&shop.records()?, &[stored.number]).map_err(|error| Failure::inside(&error))
    })
    .await
}

/// The report as PDF: a page for the customer, and the full table for the file when `full` is asked for.
pub(super) async fn report(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    Query(asked): Query<HashMap<String, String>>,
) -> Result<Response, Failure> {
    let own = Arc::clone(&shop);
    let name = format!("report-{id}.pdf");
    // It decodes pictures: among the photos that are measured.
    let made = shop.work.run(move || {
        let (stored, _) = read(&own, &id)?;
        let made = || {
            let store = Store::read(&own.store)?;
            let mut pictures = Pictures::default();
            for hash in Pictures::wanted(&stored.inspection) {
                pictures.add(hash, store.photo_bytes(&hash)?)?;
            }
            let input = ReportInput { stored: &stored, head: store.head()?, pictures: &pictures };
            let mut pages = front_pages(&input, Paper::A4)?;
            if asked.contains_key("full") {
                pages.extend(table_pages(&input, Paper::A4));
            }
            pdf(&pages, &format!("Headlamp aim report, record {}", stored.inspection.id))
        };
        made().map_err(|error: Error| Failure::inside(&error))
    });
    Ok(saved(made.await?, "application/pdf", &name))
}
