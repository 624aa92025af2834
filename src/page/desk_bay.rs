//! A bay in words, and the control chart of its check readings (`lampwright bay check --readings` keeps the log).

use super::answer::{Failure, page};
use super::layout;
use super::shop::Shop;
use super::work::aside;
use crate::cli::plan::read_parsed;
use crate::kit::control_log::{AxisChart, Entry, charts, parse};
use crate::kit::control_picture::picture;
use axum::extract::{Path, State};
use axum::response::Response;
use maud::{PreEscaped, html};
use std::path;
use std::sync::Arc;

/// The page.
pub(super) async fn bay(State(shop): State<Arc<Shop>>, Path(n): Path<usize>) -> Result<Response, Failure> {
    let own = Arc::clone(&shop);
    let axes = aside(move || {
        let bay = own.bays.get(n).ok_or(Failure::NotFound)?;
        let log = path::Path::new(&bay.file).with_extension("readings.csv");
        if !log.is_file() {
            return Ok(Vec::new());
        }
        let log = read_parsed(&log, parse).map_err(|error| Failure::inside(&error))?;
        Ok(log.last().map_or_else(Vec::new, |lamp| charts(&log, lamp)))
    })
    .await?;
    let bay = &shop.bays.get(n).ok_or(Failure::NotFound)?.bay;
    let body = html! {
        (layout::bar(&bay.name, Some(("/desk", "Desk"))))
        main #main .is-wide {
            @if axes.is_empty() {
                p .note { "No chart yet: it needs two readings or more of one lamp, given with lampwright bay check --readings." }
            } @else {
                (findings(&axes))
                div .scrolls tabindex="0" role="region" aria-label="Control chart" { (PreEscaped(picture(&title(&bay.name, &axes), &axes))) }
            }
            dl .facts {
                div { dt { "Bay" } dd { (bay.id) } }
                div { dt { "Wall" } dd { (format!("{:.0} mm from the lamps", bay.wall.distance.get())) } }
                div { dt { "Marks" } dd { (bay.marks.len()) } }
                div { dt { "Survey" } dd { (bay.survey.as_ref().map_or("no day stated", |survey| survey.date.as_str())) } }
            }
        }
    };
    Ok(page(&layout::shell(&bay.name, &body)))
}

fn title(bay: &str, axes: &[AxisChart]) -> String {
    let lamp = axes.first().and_then(|axis| axis.entries.first()).map_or(String::new(), Entry::lamp_words);
    format!("{bay}: {lamp}")
}

fn findings(axes: &[AxisChart]) -> maud::Markup {
    html! {
        @for axis in axes {
            @let outside = axis.chart.outside().len() + axis.chart.jumps().len();
            @if outside == 0 {
                p .note.is-good { (axis.axis) ": " (axis.chart.values.len()) " readings, every one inside." }
            } @else {
                p .note.is-stop { (axis.axis) ": " (outside) " of " (axis.chart.values.len()) " readings outside or jumped. Look at the bay before anything is aimed in it." }
            }
        }
    }
}
