//! A bay in words, and the control chart of its check readings (`lampwright bay check --readings` keeps the log).

use super::answer::{Failure, page};
use super::layout;
use super::shop::{Shop, ShopBay};
use super::words::sentence;
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
    let ShopBay { file, bay } = shop.bays.get(n).ok_or(Failure::NotFound)?;
    let file = path::Path::new(file).file_name().unwrap_or_default().to_string_lossy();
    let body = html! {
        (layout::bar(&bay.name, Some(("/desk", "Desk"))))
        main #main .is-wide {
            @if axes.is_empty() {
                (how_to_begin(&file))
            } @else {
                (findings(&axes))
                div #chart .scrolls tabindex="0" role="region" aria-label="Control chart" { (PreEscaped(picture(&title(&bay.name, &axes), &axes))) }
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

/// What to do for a chart: there is none before the bay was checked by readings of one lamp.
fn how_to_begin(file: &str) -> maud::Markup {
    html! {
        section .note {
            h2 { "No chart yet" }
            p { "It will show whether this bay still measures as it did when it was set up. Two readings of one lamp begin it:" }
            ol {
                li { "Keep one lamp as it is: a vehicle of the shop, always on the same spot. Photograph its beam twice, the vehicle moved away and back between." }
                li { "Measure both photos on the serving machine, the second one into check-2.json:"
                    code .typed { "lampwright measure photo-1.jpg --bay " (file) " --lamp left --height-mm 650 --json check-1.json" } }
                li { "Give both to the bay:" code .typed { "lampwright bay check " (file) " --readings check-1.json check-2.json" } }
            }
            p { "Then the chart stands here. Add a reading every week, and whenever somebody was at the marks." }
        }
    }
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
                p .note.is-good { (sentence(axis.axis)) " " (axis.chart.values.len()) " readings, every one inside." }
            } @else {
                p .note.is-stop { (sentence(axis.axis)) " " (outside) " of " (axis.chart.values.len()) " readings outside or jumped. Look at the bay before anything is aimed in it." }
            }
        }
    }
}
