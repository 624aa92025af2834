//! The desk: every inspection, search, the figures of the day, and whether the store is whole.

use super::answer::{Failure, page, see_other};
use super::day::{self, when};
use super::figures::Figures;
use super::filed::{Checked, store_check, store_note};
use super::guard::Visit;
use super::layout;
use super::log::log;
use super::post::Posted;
use super::shop::Shop;
use super::words;
use super::work::aside;
use crate::record::{Filter, Row, VerifyOptions, entry, verify};
use axum::Extension;
use axum::extract::{Query, State};
use axum::response::Response;
use jiff::civil::Date;
use maud::{Markup, html};
use std::collections::HashMap;
use std::sync::{Arc, PoisonError};

/// Rows on the page.
const SHOWN: u64 = 100;
const VERDICTS: [&str; 6] = ["pass", "fail", "borderline", "none", "refused", "begun"];

/// The page.
pub(super) async fn desk(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    Query(asked): Query<HashMap<String, String>>,
) -> Result<Response, Failure> {
    let asked = Posted::of(asked);
    let day = asked.text("from").parse::<Date>().ok();
    let filter = Filter {
        text: asked.line("q", "Search")?,
        verdict: VERDICTS.into_iter().find(|verdict| *verdict == asked.text("verdict")).map(str::to_owned),
        from: day.and_then(day::bounds).map(|(from, _)| from),
        limit: Some(SHOWN),
        ..Filter::default()
    };
    let own = Arc::clone(&shop);
    let sought = filter.clone();
    let (rows, figures, head) = aside(move || {
        let store = own.records()?;
        let inside = |error| Failure::inside(&error);
        let rows = store.find(&sought).map_err(inside)?;
        Ok((rows, Figures::of(&store, day::today())?, store.head().map_err(inside)?))
    })
    .await?;
    let checked = shop.checked.lock().unwrap_or_else(PoisonError::into_inner).clone();
    let body = html! {
        (layout::bar("Desk", None))
        main #main .is-wide {
            (figures_line(&figures))
            (store_note(checked.as_ref(), &head))
            form .search method="get" action="/desk" role="search" {
                label { span { "Vehicle, plate, customer, person or id" } input type="search" name="q" value=[filter.text.as_deref()] maxlength="120"; }
                label { span { "Verdict" }
                    select name="verdict" {
                        option value="" { "all" }
                        @for verdict in VERDICTS { option value=(verdict) selected[filter.verdict.as_deref() == Some(verdict)] { (verdict) } }
                    }
                }
                label { span { "From day" } input type="date" name="from" value=[day]; }
                button .is-main { "Search" }
            }
            (table(&rows))
            nav .foot aria-label="Bays" {
                @for (n, bay) in shop.bays.iter().enumerate() { a .button href=(format!("/desk/bay/{n}")) { (bay.bay.name) ": control chart" } }
            }
            (store_check(&head, &visit.form))
        }
    };
    Ok(page(&layout::shell("Desk", &body)))
}

fn figures_line(figures: &Figures) -> Markup {
    html! {
        section aria-labelledby="today" {
            h2 #today { "Today, " (figures.day) }
            dl .figures {
                div { dt { "checked" } dd { (figures.checked) } }
                div { dt { "out of aim" } dd { (figures.out) } }
                div { dt { "corrected" } dd { (figures.corrected) } }
            }
        }
    }
}

fn table(rows: &[Row]) -> Markup {
    html! {
        @if rows.is_empty() { p .note { "Nothing found." } }
        @else {
            div .scrolls tabindex="0" role="region" aria-label="Inspections" {
                table {
                    thead { tr { th { "Verdict" } th { "Vehicle" } th { "Begun" } th { "Who" } th { "Bay" } th { "Plate" } th { "Photos" } } }
                    tbody { @for row in rows {
                        tr {
                            td { span class={ "stamp " (words::tone_of(&row.verdict).class()) } { (row.verdict) } }
                            td .is-name { a href=(format!("/desk/{}", row.first)) { (row.vehicle) } }
                            (cell("Begun", &when(&row.begun)))
                            (cell("Who", &row.who))
                            (cell("Bay", &row.bay))
                            (cell("Plate", row.plate.as_deref().unwrap_or("")))
                            (cell("Photos", &row.readings.to_string()))
                        }
                    } }
                }
            }
            @if rows.len() as u64 == SHOWN { p .small { "The newest " (SHOWN) " are shown: search for older ones." } }
        }
    }
}

/// A cell that says its column's name where the table has become a list: on a phone.
fn cell(name: &str, text: &str) -> Markup {
    html! { td data-name=(name) .is-empty[text.is_empty()] { (text) } }
}

/// Checks the store again.
pub(super) async fn check(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    form: Posted,
) -> Result<Response, Failure> {
    visit.check(form.text("form"))?;
    check_store(shop).await?;
    Ok(see_other("/desk"))
}

/// Reads the whole store and notes what was found, unless that is being done.
pub(super) async fn check_store(shop: Arc<Shop>) -> Result<(), Failure> {
    let alone = Arc::clone(&shop.checking).try_lock_owned().map_err(|_| {
        let hint = "Go back to the desk: it says there what was found.";
        Failure::Taken("The store is being checked already.".to_owned(), hint.to_owned())
    })?;
    let own = Arc::clone(&shop);
    // Among the photos that are measured: reading the whole store is as much work as they are.
    let found = shop.work.run(move || {
        let _alone = alone;
        let store = own.records()?;
        let verified = verify(&store, &VerifyOptions::default()).map_err(|error| Failure::inside(&error))?;
        for finding in &verified.findings {
            log(&format!("store: {} {}", finding.place, finding.found));
        }
        let places = verified.findings.iter().map(|finding| (finding.place.clone(), finding.found.clone())).collect();
        Ok(Checked { when: entry::now(), size: verified.head.size, findings: places })
    });
    let found = found.await?;
    *shop.checked.lock().unwrap_or_else(PoisonError::into_inner) = Some(found);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::trial::Trial;
    use super::*;
    use std::sync::mpsc;

    /// One check at a time, waiting or at work: the second is told so and takes no place; afterwards another may begin.
    #[test]
    fn the_store_is_checked_once_at_a_time() {
        let trial = Trial::new();
        let shop = Arc::clone(&trial.shop);
        let all = shop.work.left();
        trial.runtime.block_on(async {
            // Both places are taken, so that the first check waits.
            let held: Vec<_> = (0..2)
                .map(|_| {
                    let (end, ended) = mpsc::channel::<()>();
                    let work = shop.work.clone();
                    // It ends when the other side is dropped.
                    (
                        end,
                        tokio::spawn(async move {
                            work.run(move || {
                                let _ = ended.recv();
                                Ok(())
                            })
                            .await
                        }),
                    )
                })
                .collect();
            let until = async |left: usize| {
                while shop.work.left() != left {
                    tokio::time::sleep(std::time::Duration::from_millis(2)).await;
                }
            };
            until(all - 2).await;
            let first = tokio::spawn(check_store(Arc::clone(&shop)));
            until(all - 3).await;
            assert!(matches!(check_store(Arc::clone(&shop)).await, Err(Failure::Taken(..))));
            assert_eq!(shop.work.left(), all - 3);
            for (end, one) in held {
                drop(end);
                one.await.unwrap().unwrap();
            }
            assert_eq!(first.await.unwrap(), Ok(()));
            assert_eq!(check_store(Arc::clone(&shop)).await, Ok(()));
        });
    }
}
