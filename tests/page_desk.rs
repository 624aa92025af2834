//! What the desk counts: the figures of the shop's own day, and the bay's control chart.

#![cfg(feature = "serve")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod page_server;
mod record_sample;

use jiff::civil::Date;
use jiff::tz::{Offset, TimeZone};
use jiff::{Timestamp, ToSpan};
use lampwright::kit::control_log::{Entry, write};
use lampwright::record::{Inspection, LampRecord, RecordedReading, Store};
use page_server::Server;
use record_sample::{draft, photos};
use std::fs;

/// A clock on which it is about noon now, as the environment names it and as it counts: hours from midnight on either side.
fn noon() -> (String, TimeZone) {
    let hour = Timestamp::now().to_zoned_datetime(TimeZone::UTC).hour();
    // POSIX counts to the west.
    (format!("SHOP{}", hour - 12), TimeZone::fixed(Offset::constant(12 - hour)))
}

fn ago(hours: i64) -> Timestamp {
    Timestamp::now() - hours.hours()
}

/// Readings with these verdicts, `refused` among them.
fn readings(order: usize, side: &str, verdicts: &[&str]) -> (Vec<RecordedReading>, Vec<Vec<u8>>) {
    let names: Vec<String> = (0..verdicts.len()).map(|n| format!("{order}-{side}-{n}")).collect();
    let photos = photos(&names.iter().map(String::as_str).collect::<Vec<_>>());
    let mut readings = draft(order, &photos).inspection.lamps.remove(0).readings;
    for (reading, verdict) in readings.iter_mut().zip(verdicts) {
        if *verdict == "refused" {
            reading.reading.verdict = None;
        } else if let Some(block) = &mut reading.reading.verdict {
            (*verdict).clone_into(&mut block.overall);
        }
    }
    (readings, photos)
}

/// Records an inspection that was begun then; gives its id.
fn record(store: &mut Store, order: usize, begun: Timestamp, left: &[&str], right: &[&str]) -> String {
    let (mut lamps, mut all) = (Vec::new(), Vec::new());
    for (side, verdicts) in [("left", left), ("right", right)] {
        let (readings, photos) = readings(order, side, verdicts);
        lamps.push(LampRecord::new(side, "low", readings));
        all.extend(photos);
    }
    let mut draft = draft(order, &all);
    draft.inspection.begun = format!("{begun:.3}");
    draft.inspection.verdict = Inspection::verdict_of(&lamps);
    draft.inspection.lamps = lamps;
    let id = draft.inspection.id.clone();
    store.append(draft).unwrap();
    id
}

/// Counted by hand: eleven hours ago is today on a clock that shows noon, thirteen hours ago is not, wherever midnight is in UTC.
#[test]
fn the_figures_are_those_of_the_shop_s_day() {
    let (zone, clock) = noon();
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::create(&folder.path().join("shop")).unwrap();
    let (pass, fail, close): (&[&str], &[&str], &[&str]) = (&["pass"], &["fail"], &["borderline"]);
    let corrected: &[&str] = &["refused", "fail", "pass", "pass"];
    let yesterday = record(&mut store, 0, ago(13), corrected, pass);
    let today: Vec<String> = [
        (ago(11), pass, pass),
        (ago(5), corrected, pass),
        (ago(0), fail, pass),
        (ago(1), corrected, &[]),
        (ago(2), close, pass),
        (ago(3), &["refused"], &[]),
        (ago(4), &[], &[]),
    ]
    .into_iter()
    .enumerate()
    .map(|(n, (begun, left, right))| record(&mut store, n + 1, begun, left, right))
    .collect();
    drop(store);
    let server = Server::in_zone(folder, &zone, &[]);
    let client = server.client();
    let day: Date = Timestamp::now().to_zoned_datetime(clock.clone()).date();
    let desk = client.get("/desk").text();
    assert!(desk.contains(&format!("Today, {day}")), "{desk}");
    // Five with a measured lamp; three of them failed at first; one of those passes on every lamp now.
    for (name, count) in [("checked", 5), ("out of aim", 3), ("corrected", 1)] {
        assert!(desk.contains(&format!("<dt>{name}</dt><dd>{count}</dd>")), "{name}: {desk}");
    }
    // Times are those of that clock, and so is the day that is searched from.
    let first = ago(13).to_zoned_datetime(clock);
    assert!(desk.contains(&first.strftime("%Y-%m-%d %H:").to_string()), "{desk}");
    let since = client.get(&format!("/desk?from={day}")).text();
    assert!(today.iter().all(|id| since.contains(id)) && !since.contains(&yesterday), "{since}");
    for nonsense in ["2026-13-01", "yesterday", "2026-11-26' OR 1=1"] {
        let all = client.get(&format!("/desk?from={}", nonsense.replace(' ', "%20").replace('\'', "%27")));
        assert!(all.status == 200 && all.text().contains(&yesterday), "{nonsense}");
    }
}

/// Check readings of one lamp, degrees, as `bay check` logs them.
fn logged(values: &[f64]) -> String {
    let entry = |(n, v_deg): (usize, &f64)| Entry {
        taken: format!("2026-11-{:02}T08:00:00", n + 1),
        bay: "shot-clean".to_owned(),
        lamp: "left".to_owned(),
        beam: "low".to_owned(),
        pattern: "kink".to_owned(),
        height_mm: 650.0,
        v_deg: Some(*v_deg),
        h_deg: Some(0.02),
        photo: format!("{n}.jpg"),
        sha256: format!("{n:064x}"),
    };
    write(&values.iter().enumerate().map(entry).collect::<Vec<_>>()).unwrap()
}

#[test]
fn the_bay_s_page_shows_its_control_chart_or_how_to_begin_one() {
    let server = Server::start(&[]);
    let client = server.client();
    let log = server.folder.path().join("bay.readings.csv");
    let page = || client.get("/desk/bay/0");
    assert!(client.get("/desk").text().contains("/desk/bay/0"));
    let how = "lampwright bay check bay.toml --readings";
    let empty = page().text();
    assert!(empty.contains("No chart yet") && empty.contains(how) && !empty.contains("<svg"), "{empty}");
    assert!(!empty.contains(server.folder.path().to_str().unwrap()), "tells a path: {empty}");
    fs::write(&log, logged(&[-0.57])).unwrap();
    assert!(page().text().contains(how), "one reading is no chart");
    let steady = [-0.570, -0.572, -0.569, -0.571, -0.570, -0.568, -0.571, -0.570];
    fs::write(&log, logged(&steady)).unwrap();
    let good = page().text();
    for part in ["<svg", "left lamp, low beam, kink at 650 mm", "Vertical. 8 readings, every one inside"] {
        assert!(good.contains(part), "{part}: {good}");
    }
    assert!(!good.contains("No chart yet"));
    fs::write(&log, logged(&[&steady[..], &[-0.40]].concat())).unwrap();
    let off = page().text();
    assert!(off.contains("of 9 readings outside or jumped") && off.contains("is-stop"), "{off}");
    fs::write(&log, "this is\nno log\n").unwrap();
    let broken = page();
    assert!(broken.status == 500 && !broken.text().contains("readings.csv"), "{}", broken.text());
}

/// A form that is sent twice begins one inspection; another form, or the same one filled in otherwise, begins another.
#[test]
fn a_form_begins_once() {
    let server = Server::start(&[]);
    let client = server.client();
    let key = client.get("/new").field("key");
    let begin = |key: &str, vehicle: &str| {
        let entry = [("key", key), ("vehicle", vehicle), ("who", "AB"), ("height", "650")];
        let begun = client.post("/new", &entry);
        assert_eq!(begun.status, 303, "{}", begun.text());
        begun.header("location").unwrap().to_owned()
    };
    // Two taps at once, and one after them on a bad line.
    let mut places: Vec<String> = std::thread::scope(|scope| {
        let taps: Vec<_> = (0..2).map(|_| scope.spawn(|| begin(&key, "order 12"))).collect();
        taps.into_iter().map(|tap| tap.join().unwrap()).collect()
    });
    places.push(begin(&key, "order 12"));
    assert!(places.iter().all(|place| *place == places[0]), "{places:?}");
    assert_eq!(server.entries(), 1);
    assert_ne!(begin(&key, "order 13"), places[0], "gone back to, and filled in for the next vehicle");
    let other = client.get("/new").field("key");
    assert_ne!(begin(&other, "order 12"), places[0], "the same vehicle comes a second time");
    assert_eq!(server.entries(), 3);
}
