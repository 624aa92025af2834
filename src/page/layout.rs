//! What every page is framed by.

use maud::{DOCTYPE, Markup, html};

/// Said on every page of the phone.
const CAUTIONS: [&str; 6] = [
    "Park brake on, wheels chocked.",
    "Nobody in front of a vehicle that can move; nobody between it and the wall.",
    "Lamps are hot. Discharge lamps carry high voltage, also shortly after they were switched off.",
    "Do not look into the beam, nor at its picture at full brightness.",
    "Engine running: lead the exhaust outside.",
    "Local codes and the vehicle's manual come before this page.",
];

/// A whole page.
pub(super) fn shell(title: &str, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Lampwright" }
                link rel="icon" href="/icon.svg";
                link rel="stylesheet" href="/page.css";
                script src="/page.js" defer {}
            }
            body {
                a .skip href="#main" { "To the content" }
                (body)
            }
        }
    }
}

/// The strip at the top: where one is, and the way back.
pub(super) fn bar(title: &str, back: Option<(&str, &str)>) -> Markup {
    let (place, name) = back.unwrap_or(("/", "Start"));
    html! {
        header .bar {
            nav aria-label="Back" { a href=(place) { "‹ " (name) } }
            h1 { (title) }
        }
    }
}

/// The cautions, short or opened.
pub(super) fn cautions(is_open: bool) -> Markup {
    html! {
        details .cautions open[is_open] {
            summary { "Mind: brake and chocks, hot lamps, high voltage, the beam, exhaust" }
            ul { @for line in CAUTIONS { li { (line) } } }
        }
    }
}

/// The hidden fields of every form.
pub(super) fn form_fields(token: &str) -> Markup {
    html! { input type="hidden" name="form" value=(token); }
}
