//! Beginning with a vehicle: what was measured and who measures.

use super::answer::{Failure, page, see_other};
use super::guard::Visit;
use super::inspection::{KEY_LENGTH, begin, is_key};
use super::layout;
use super::log::log;
use super::post::Posted;
use super::shop::Shop;
use super::visitor::random_hex;
use super::work::aside;
use crate::aim::{Beam, Rule};
use crate::cli::aim_start::BeamWords;
use crate::cli::args::{PatternArg, TrafficArg};
use crate::cli::plan;
use crate::cli::record::RecordOptions;
use crate::error::Error;
use crate::kit::checklist::{LampKind, checklist};
use crate::kit::session::{Lamp, SESSION_SCHEMA, Session};
use axum::Extension;
use axum::extract::State;
use axum::response::Response;
use clap::ValueEnum;
use maud::{Markup, html};
use std::collections::VecDeque;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// Lamps that a vehicle has to aim: form's word, label, beams.
const LAMPS: [(&str, &str, &[&str]); 3] = [
    ("two", "Left and right low beam", &["low"]),
    ("four", "Low beams, then high beams with screws of their own", &["low", "high"]),
    ("fog", "Low beams, then front fog lamps", &["low", "fog"]),
];

/// Forms of which it is known what they began.
const KNOWN: usize = 100;

/// What was begun by which form, newest last: as long as somebody may tap twice. After a restart the page itself is another.
#[derive(Debug, Default)]
pub(super) struct Begun(Mutex<VecDeque<(String, String)>>);

impl Begun {
    fn of(&self, sent: &str) -> Option<String> {
        let known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        known.iter().find(|(form, _)| form == sent).map(|(_, id)| id.clone())
    }

    fn note(&self, sent: String, id: &str) {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        known.push_back((sent, id.to_owned()));
        if known.len() > KNOWN {
            known.pop_front();
        }
    }
}

/// The form.
pub(super) async fn form(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
) -> Result<Response, Failure> {
    let rule = plan::rule(&shop.rule).map_err(|error| Failure::inside(&error))?;
    let items = checklist(&rule, Beam::Low, LampKind::Unknown);
    let is_left = shop.traffic == TrafficArg::Left;
    let key = random_hex(KEY_LENGTH / 2).map_err(|error| Failure::inside(&error))?;
    let body = html! {
        (layout::bar("New inspection", None))
        main #main {
            form .sheet method="post" action="/new" autocomplete="off" {
                (layout::form_fields(&visit.form))
                input type="hidden" name="key" value=(key);
                (text("vehicle", "Vehicle: the shop's own reference", true, "for example order 12"))
                (text("who", "Who inspects", true, "your name or sign"))
                @if shop.bays.len() > 1 {
                    label { span { "Bay" }
                        select name="bay" { @for (n, bay) in shop.bays.iter().enumerate() { option value=(n) { (bay.bay.name) } } }
                    }
                }
                fieldset {
                    legend { "Lamps" }
                    @for (n, (word, label, _)) in LAMPS.iter().enumerate() {
                        label .choice { input type="radio" name="lamps" value=(word) checked[n == 0]; span { (label) } }
                    }
                    label .choice { input type="checkbox" name="quick" value="yes"; span { "Check only, turn nothing" } }
                }
                div .pair {
                    (number("height", "Lamp centre above the floor, mm", true, "for example 650"))
                    (number("offset", "Lamp centre from the centreline, mm", false, "for example 600"))
                }
                details {
                    summary { "More: plates, other lamps, rule, traffic" }
                    (number("nominal", "Inclination on the vehicle's plate, %, down is −", false, "for example −1.0"))
                    div .pair {
                        (number("other_height", "High or fog lamp above the floor, mm", false, "as the low beam"))
                        (number("other_offset", "High or fog lamp from the centreline, mm", false, "as the low beam"))
                    }
                    label { span { "Rule of the high or fog lamps" }
                        select name="other_rule" {
                            option value="" { "as the low beam" }
                            @for id in Rule::built_in_ids() { option value=(id) { (id) } }
                        }
                    }
                    label { span { "What the high or fog lamps show" }
                        select name="other_pattern" {
                            option value="" { "high: bright spot, fog: flat cutoff" }
                            @for pattern in PatternArg::value_variants() {
                                @if let Some(value) = pattern.to_possible_value() { option value=(value.get_name()) { (value.get_name()) } }
                            }
                        }
                    }
                    div .pair {
                        (number("lower_edge", "Lower edge of the lit surface above the floor, mm", false, "where the rule asks"))
                        (number("other_lower_edge", "The same of the high or fog lamp, mm", false, "where the rule asks"))
                    }
                    (text("plate", "Number plate (can be erased later)", false, ""))
                    (text("customer", "Customer (can be erased later)", false, ""))
                    label { span { "Rule" }
                        select name="rule" {
                            option value="" { (rule.name) }
                            @for id in Rule::built_in_ids().filter(|id| *id != rule.id) { option value=(id) { (id) } }
                        }
                    }
                    (camera_file("lens", "Lens file of the camera", &shop.lenses))
                    (camera_file("response", "Response file of the camera", &shop.responses))
                    label { span { "Traffic drives on the" }
                        select name="traffic" {
                            option value="right" selected[!is_left] { "right" }
                            option value="left" selected[is_left] { "left" }
                        }
                    }
                }
                (checked(&items))
                p #begin-problem .note.is-stop role="alert" hidden {}
                button .is-main { "Begin" }
            }
            (layout::cautions(true))
        }
    };
    Ok(page(&layout::shell("New inspection", &body)))
}

/// The choice among files of cameras; a single one is chosen from the start, since then all photos come from one camera.
fn camera_file(name: &str, label: &str, files: &[String]) -> Markup {
    html! {
        @if !files.is_empty() {
            label { span { (label) }
                select name=(name) {
                    option value="" { "none" }
                    @for (n, file) in files.iter().enumerate() { option value=(n) selected[files.len() == 1] { (file_name(file)) } }
                }
            }
        }
    }
}

/// A file's name without its folder and endings: `phone` of `/shop/phone.lens.toml`.
fn file_name(file: &str) -> &str {
    let name = Path::new(file).file_name().and_then(|name| name.to_str()).unwrap_or(file);
    [".toml", ".lens", ".response"].iter().fold(name, |name, ending| name.strip_suffix(ending).unwrap_or(name))
}

fn checked(items: &[crate::kit::checklist::Item]) -> Markup {
    html! {
        details {
            summary { "Checklist: " (items.len()) " things to see to first" }
            ul .checks { @for item in items { li .is-care[item.is_stop] { (item.text) } } }
        }
        label .choice { input type="checkbox" name="prepared" value="all"; span { "Everything on the checklist is seen to" } }
    }
}

fn text(name: &str, label: &str, is_needed: bool, hint: &str) -> Markup {
    html! { label { span { (label) } input type="text" name=(name) required[is_needed] maxlength="120" placeholder=(hint); } }
}

fn number(name: &str, label: &str, is_needed: bool, hint: &str) -> Markup {
    html! { label { span { (label) } input type="text" inputmode="decimal" name=(name) required[is_needed] maxlength="12" placeholder=(hint); } }
}

/// Begins.
pub(super) async fn post(
    State(shop): State<Arc<Shop>>,
    Extension(visit): Extension<Visit>,
    form: Posted,
) -> Result<Response, Failure> {
    visit.check(form.text("form"))?;
    // A form that is sent again as it was, by a double tap or on a bad line, began one inspection and no other.
    let sent = form.digest();
    let _alone = shop.alone_with(&sent).await;
    if let Some(id) = shop.begun.of(&sent) {
        return Ok(see_other(&format!("/i/{id}")));
    }
    let session = session(&shop, &form)?;
    let needed = |name: &str, what: &str| {
        let hint = "A record says who inspected which vehicle.";
        form.line(name, what)?.ok_or_else(|| Failure::Entry(format!("{what} is missing."), hint.to_owned()))
    };
    let options = RecordOptions {
        record: Some(shop.store.clone()),
        by: Some(needed("who", "Who inspects")?),
        plate: form.line("plate", "Number plate")?,
        customer: form.line("customer", "Customer")?,
        prepared: (form.text("prepared") == "all").then(|| "all".to_owned()),
    };
    let own = Arc::clone(&shop);
    let id = aside(move || {
        begin(&own, session, &options).map_err(|error| match error {
            // The numbers that were typed; files of the shop come as the other kind and are nobody's business here.
            Error::Usage { found, hint } => Failure::Entry(plain(&found), plain(&hint)),
            Error::File { .. } => Failure::inside(&error),
        })
    })
    .await?;
    log("an inspection was begun");
    if is_key(form.text("key")) {
        shop.begun.note(sent, &id);
    }
    Ok(see_other(&format!("/i/{id}")))
}

/// The command line's words for fields, as this page names them.
fn plain(text: &str) -> String {
    let names = [
        ("--height-mm", "Lamp centre above the floor"),
        ("--offset-mm", "Lamp centre from the centreline"),
        ("--nominal-percent", "Inclination on the plate"),
        ("--lower-edge-mm", "Lower edge of the lit surface"),
    ];
    names.iter().fold(text.to_owned(), |text, (flag, name)| text.replace(flag, name))
}

fn session(shop: &Shop, form: &Posted) -> Result<Session, Failure> {
    let vehicle = form.line("vehicle", "Vehicle")?.ok_or_else(|| {
        let hint = "Give the shop's own reference, an order number for example.";
        Failure::Entry("Vehicle is missing.".to_owned(), hint.to_owned())
    })?;
    let bay = form.text("bay").parse::<usize>().unwrap_or(0);
    let bay = shop.bays.get(bay).ok_or(Failure::NotFound)?;
    let chosen = form.text("rule");
    let rule = if chosen.is_empty() { Some(shop.rule.as_str()) } else { Rule::built_in_ids().find(|id| *id == chosen) };
    let rule = rule.ok_or(Failure::NotFound)?;
    let traffic = if form.text("traffic") == "left" { "left" } else { "right" };
    let mut common = vec!["--bay".to_owned(), bay.file.clone()];
    common.extend(shop.common.iter().cloned());
    common.extend(["--rules".to_owned(), rule.to_owned(), "--traffic".to_owned(), traffic.to_owned()]);
    for (flag, name, files) in [("--lens", "lens", &shop.lenses), ("--response", "response", &shop.responses)] {
        let chosen = form.text(name);
        if !chosen.is_empty() {
            let file = chosen.parse::<usize>().ok().and_then(|n| files.get(n)).ok_or(Failure::NotFound)?;
            common.extend([flag.to_owned(), file.clone()]);
        }
    }
    let height = form.number("height", "Lamp centre above the floor")?.ok_or_else(|| {
        let hint = "Measure from the floor to the lamp's centre.";
        Failure::Entry("Lamp centre above the floor is missing.".to_owned(), hint.to_owned())
    })?;
    let offset = form.number("offset", "Lamp centre from the centreline")?;
    let other_height = form.number("other_height", "High or fog lamp above the floor")?;
    let other_offset = form.number("other_offset", "High or fog lamp from the centreline")?.or(offset);
    let lower_edge = form.number("lower_edge", "Lower edge of the lit surface")?;
    let other_lower_edge = form.number("other_lower_edge", "Lower edge of the high or fog lamp")?;
    let chosen = |name: &str| Some(form.text(name)).filter(|chosen| !chosen.is_empty());
    let other_rule = match chosen("other_rule") {
        Some(chosen) => Some(Rule::built_in_ids().find(|id| *id == chosen).ok_or(Failure::NotFound)?.to_owned()),
        None => None,
    };
    let other_pattern = chosen("other_pattern")
        .map(|chosen| PatternArg::from_str(chosen, false).map_err(|_| Failure::NotFound))
        .transpose()?;
    let low = BeamWords { height_mm: height, offset_mm: offset, lower_edge_mm: lower_edge, ..BeamWords::default() };
    let other = BeamWords {
        height_mm: other_height.unwrap_or(height),
        offset_mm: other_offset,
        lower_edge_mm: other_lower_edge.or(lower_edge.filter(|_| other_height.is_none())),
        rules: other_rule,
        pattern: other_pattern,
    };
    let mut low = low.words();
    // The plate says where the low beam stands, and nothing of the others.
    if let Some(nominal) = form.number("nominal", "Inclination on the plate")? {
        low.extend(["--nominal-percent".to_owned(), nominal.to_string()]);
    }
    let other = other.words();
    let lamps = form.text("lamps");
    let (_, _, beams) = LAMPS.iter().find(|(word, ..)| *word == lamps).unwrap_or(&LAMPS[0]);
    let lamp = |side: &str, beam: &str| Lamp {
        side: side.to_owned(),
        beam: beam.to_owned(),
        words: if beam == "low" { low.clone() } else { other.clone() },
        shots: Vec::new(),
        proposed: Vec::new(),
    };
    Ok(Session {
        schema: SESSION_SCHEMA.to_owned(),
        vehicle,
        common,
        is_quick: form.text("quick") == "yes",
        lamps: beams.iter().flat_map(|beam| ["left", "right"].map(|side| lamp(side, beam))).collect(),
        recorded: None,
    })
}
