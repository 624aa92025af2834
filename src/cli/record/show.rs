//! `record list`, `find` and `show`: records as text for people, or as JSON.

use super::super::exit::ExitStatus;
use super::args::{FindArgs, ListArgs, ShowArgs, VerdictArg};
use super::entry::not_prepared;
use crate::error::Error;
use crate::kit::session::{Movement, ScrewName};
use crate::reading::block::AxisBlock;
use crate::record::{BayNote, Filter, How, LampRecord, RecordedReading, Row, RuleNote, Store, Stored};
use jiff::civil::Date;
use serde_json::json;
use std::fmt::Write as _;

/// Widest a column of free text gets.
const WIDEST: usize = 24;
/// Letters of a time that are shown: to the minute.
const TO_THE_MINUTE: usize = 16;

pub(super) fn list(args: &ListArgs) -> Result<(String, ExitStatus), Error> {
    let store = Store::read(&args.store)?;
    let filter = Filter { is_all: args.all, limit: Some(args.limit), ..Filter::default() };
    Ok((listed(&store, &filter, args.json)?.0, ExitStatus::Good))
}

pub(super) fn find(args: &FindArgs) -> Result<(String, ExitStatus), Error> {
    let store = Store::read(&args.store)?;
    let day = |flag: &str, day: &Option<String>| {
        let is_day = day.as_ref().is_none_or(|day| day.parse::<Date>().is_ok());
        let fail = || Error::usage(format!("{flag} {}: no day", day.as_deref().unwrap_or("")), "write it YYYY-MM-DD");
        if is_day { Ok(day.clone()) } else { Err(fail()) }
    };
    let filter = Filter {
        text: args.text.clone(),
        verdict: args.verdict.map(|verdict| verdict_word(verdict).to_owned()),
        from: day("--from", &args.from)?,
        until: day("--until", &args.until)?,
        is_all: args.all,
        limit: None,
    };
    listed(&store, &filter, args.json)
}

/// Exit status 1 when nothing was found.
fn listed(store: &Store, filter: &Filter, is_json: bool) -> Result<(String, ExitStatus), Error> {
    let rows = store.find(filter)?;
    let status = if rows.is_empty() { ExitStatus::Finding } else { ExitStatus::Good };
    let head = store.head()?;
    if is_json {
        let rows: Vec<_> = rows.iter().map(row_json).collect();
        let all = json!({ "head": { "size": head.size, "root": head.root }, "inspections": rows });
        return Ok((format!("{all:#}\n"), status));
    }
    let mut text = table(&rows);
    // Writing to a String cannot fail.
    let _ = writeln!(text, "\n{} shown; the log has {} entries, head {head}", rows.len(), head.size);
    Ok((text, status))
}

fn row_json(row: &Row) -> serde_json::Value {
    json!({
        "number": row.number, "id": row.id, "first": row.first, "begun": row.begun, "who": row.who,
        "vehicle": row.vehicle, "plate": row.plate, "customer": row.customer, "bay": row.bay, "rule": row.rule,
        "verdict": row.verdict, "readings": row.readings, "how": row.how,
    })
}

fn verdict_word(verdict: VerdictArg) -> &'static str {
    match verdict {
        VerdictArg::Pass => "pass",
        VerdictArg::Fail => "fail",
        VerdictArg::Borderline => "borderline",
        VerdictArg::None => "none",
        VerdictArg::Refused => "refused",
        VerdictArg::Begun => "begun",
    }
}

fn table(rows: &[Row]) -> String {
    let mut lines = vec![
        ["record", "begun (UTC)", "verdict", "vehicle", "plate", "customer", "by", "bay", "readings"]
            .map(str::to_owned),
    ];
    lines.extend(rows.iter().map(|row| {
        [
            row.number.to_string(),
            minute(&row.begun),
            row.verdict.to_uppercase(),
            short(&row.vehicle),
            short(row.plate.as_deref().unwrap_or("")),
            short(row.customer.as_deref().unwrap_or("")),
            short(&row.who),
            short(&row.bay),
            match row.how {
                Some(How::Corrects) => format!("{} (corrected)", row.readings),
                _ => row.readings.to_string(),
            },
        ]
    }));
    let width = |column: usize| lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0);
    let widths: [usize; 9] = std::array::from_fn(width);
    let mut text = String::new();
    for line in &lines {
        let cells: Vec<String> = line
            .iter()
            .zip(widths)
            .map(|(cell, width)| format!("{cell}{}", " ".repeat(width - cell.chars().count())))
            .collect();
        text += cells.join("  ").trim_end();
        text.push('\n');
    }
    text
}

/// Without control characters, which could move a terminal's cursor, and cut.
fn short(text: &str) -> String {
    let clean: Vec<char> = text.chars().filter(|letter| !letter.is_control()).collect();
    if clean.len() <= WIDEST {
        return clean.into_iter().collect();
    }
    clean[..WIDEST - 1].iter().chain(['\u{2026}'].iter()).collect()
}

fn clean(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_control()).collect()
}

fn minute(time: &str) -> String {
    clean(time).chars().take(TO_THE_MINUTE).collect::<String>().replacen('T', " ", 1)
}

pub(super) fn show(args: &ShowArgs) -> Result<(String, ExitStatus), Error> {
    let store = Store::read(&args.store)?;
    let stored = store.inspection(&args.record)?;
    if args.json {
        let bytes = store.entry_bytes(stored.number)?;
        return Ok((String::from_utf8_lossy(&bytes).into_owned() + "\n", ExitStatus::Good));
    }
    Ok((text(&store, &stored)?, ExitStatus::Good))
}

fn text(store: &Store, stored: &Stored) -> Result<String, Error> {
    let Stored { number, inspection, personal, newest, leaf } = stored;
    let mut text = format!("{}  vehicle {}\n", inspection.verdict.to_uppercase(), clean(&inspection.vehicle));
    if newest != number {
        let _ = writeln!(text, "NOT THE NEWEST: record {newest} of the same inspection stands for this one");
    }
    let mut line = |name: &str, value: String| {
        let _ = writeln!(text, "  {name:<10} {value}");
    };
    line("record", format!("{number}, id {}", inspection.id));
    let erased = |text: &Option<String>, is_sealed: bool| match text {
        Some(text) => clean(text),
        None if is_sealed => "erased".to_owned(),
        None => "not given".to_owned(),
    };
    line("plate", erased(&personal.plate, inspection.plate.is_some()));
    line("customer", erased(&personal.customer, inspection.customer.is_some()));
    line("by", clean(&inspection.who));
    line("begun", format!("{} UTC, recorded {} UTC", minute(&inspection.begun), minute(&inspection.recorded)));
    if let Some(follows) = &inspection.follows {
        let how = if follows.how == How::Corrects { "corrects" } else { "goes on from" };
        let reason = follows.reason.as_ref().map(|reason| format!(": {}", clean(reason))).unwrap_or_default();
        line("follows", format!("{how} {}{reason}", follows.id));
    }
    line("bay", bay_words(&inspection.bay));
    line("rule", format!("{}, k = {}", rule_words(&inspection.rule), inspection.coverage_factor));
    let software = &inspection.software;
    line("software", format!("{} {} ({})", software.name, software.version, software.commit));
    let all = inspection.checklist.len() + inspection.unanswered.len();
    line(
        "prepared",
        match not_prepared(inspection) {
            // An earlier version kept no items that nobody answered.
            _ if all == 0 => "checklist not answered".to_owned(),
            None => format!("checklist of {all} items, none open"),
            Some(words) => format!("{all} items. {}", clean(&words)),
        },
    );
    for lamp in &inspection.lamps {
        let _ = writeln!(text, "\n{} {}  {}", lamp.side, lamp.beam, lamp.verdict.to_uppercase());
        for (n, reading) in lamp.readings.iter().enumerate() {
            text += &reading_lines(lamp, n, reading);
        }
    }
    let head = store.head()?;
    let _ = writeln!(text, "\nleaf {leaf}\nhead {head}");
    Ok(text)
}

fn bay_words(bay: &BayNote) -> String {
    let revision =
        bay.revision.as_ref().map_or_else(|| "no survey stated".to_owned(), |day| format!("surveyed {}", clean(day)));
    format!("{} ({}), {revision}", clean(&bay.id), clean(&bay.name))
}

fn rule_words(rule: &RuleNote) -> String {
    format!("{} ({}), decision {}", clean(&rule.id), clean(&rule.status), clean(&rule.decision))
}

fn reading_lines(lamp: &LampRecord, n: usize, reading: &RecordedReading) -> String {
    let role = match (Some(n) == lamp.before, Some(n) == lamp.after) {
        (true, true) => " (only)",
        (true, false) => " (before)",
        (false, true) => " (after)",
        (false, false) => "",
    };
    let verdict = reading.reading.verdict.as_ref();
    let word = verdict.map_or("refused", |verdict| verdict.overall.as_str());
    let mut text = format!("  {}{role} {} {word}\n", n + 1, minute(&reading.measured));
    if !reading.turned.is_empty() {
        let turns: Vec<String> = reading.turned.iter().map(turn).collect();
        let _ = writeln!(text, "     turned before it: {}", turns.join(", "));
    }
    let axes = [
        ("vertical", verdict.and_then(|v| v.vertical.as_ref())),
        ("horizontal", verdict.and_then(|v| v.horizontal.as_ref())),
    ];
    for (name, axis) in axes {
        if let Some(axis) = axis {
            let _ = writeln!(text, "     {name:<10} {}", axis_words(axis));
        }
    }
    if let Some(bay) = &reading.bay {
        let _ = writeln!(text, "     in another bay file: {}, sha256 {}", bay_words(bay), bay.sha256);
    }
    if let Some(rule) = &reading.rule {
        let _ = writeln!(text, "     by another rule file: {}, sha256 {}", rule_words(rule), rule.sha256);
    }
    let _ = writeln!(text, "     photo {} sha256 {}", clean(&reading.photo.name), reading.photo.sha256);
    text
}

fn axis_words(axis: &AxisBlock) -> String {
    let limits = match (axis.lower_deg, axis.upper_deg) {
        (Some(lower), Some(upper)) => format!(", allowed {lower} to {upper}"),
        (Some(lower), None) => format!(", allowed from {lower}"),
        (None, Some(upper)) => format!(", allowed up to {upper}"),
        (None, None) => ", no limits".to_owned(),
    };
    format!("{} ± {} deg{limits}: {}", axis.value_deg, axis.u_deg, axis.result)
}

fn turn(movement: &Movement) -> String {
    let screw = match movement.screw {
        ScrewName::Vertical => "vertical",
        ScrewName::Horizontal => "horizontal",
    };
    let way = if movement.quarter_turns < 0.0 { "ccw" } else { "cw" };
    format!("{screw} {way} {} quarter turns", movement.quarter_turns.abs())
}
