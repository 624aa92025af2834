//! The start: begin with a vehicle, go on with one, or see to what was filed.

use super::answer::{Failure, page};
use super::day::when;
use super::guard::Visit;
use super::inspection::can_go_on;
use super::layout;
use super::shop::Shop;
use super::words;
use super::work::aside;
use crate::record::{Filter, Row};
use axum::Extension;
use axum::extract::State;
use axum::response::Response;
use maud::html;
use std::sync::Arc;

/// Inspections that are looked through for those that can be gone on with.
const LOOKED_AT: u64 = 40;
const SHOWN: usize = 12;

/// The page.
pub(super) async fn home(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
) -> Result<Response, Failure> {
    let own = Arc::clone(&shop);
    let rows = aside(move || {
        let store = own.records()?;
        let filter = Filter { limit: Some(LOOKED_AT), ..Filter::default() };
        let rows = store.find(&filter).map_err(|error| Failure::inside(&error))?;
        Ok(rows.into_iter().filter(|row| can_go_on(&store, &row.first)).take(SHOWN).collect::<Vec<Row>>())
    })
    .await?;
    let body = html! {
        header .bar.is-first { h1 { "Lampwright" } p { (shop.bays.iter().map(|bay| bay.bay.name.as_str()).collect::<Vec<_>>().join(" · ")) } }
        main #main {
            a .button.is-main href="/new" { "New inspection" }
            @if !rows.is_empty() {
                h2 { "Go on with" }
                ul .jobs {
                    @for row in &rows {
                        li { a href=(format!("/i/{}", row.first)) {
                            span class={ "stamp " (words::tone_of(&row.verdict).class()) } { (row.verdict) }
                            strong { (row.vehicle) }
                            span .small { (row.who) " · " (when(&row.begun)) }
                        } }
                    }
                }
            }
            (layout::cautions(true))
            nav .foot aria-label="Further" {
                a .button href="/desk" { "Desk: all inspections" }
                @if shop.lan_address.is_some() {
                    form method="post" action="/phone" { (layout::form_fields(&visit.form)) button { "Let a phone in" } }
                }
            }
        }
    };
    Ok(page(&layout::shell("Start", &body)))
}
