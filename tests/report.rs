//! Reports: what is printed is what is stored, the paper has its size, and inspections run from photos to paper.

#![cfg(feature = "records")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod record_sample;
mod report_pdf;

use lampwright::kit::sheet_page::{Page, Paper};
use lampwright::kit::sheet_pdf::pdf;
use lampwright::reading::Reading;
use lampwright::record::{Draft, Inspection, LampRecord, Store};
use lampwright::report::{Pictures, ReportInput, front_pages, table_pages};
use lopdf::Document;
use report_pdf::{POINTS_PER_MM, all_lines, fonts, jpegs, lines, qr_text, sizes};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;
use tempfile::TempDir;

/// Records in one PDF of the test: its fonts are cut out once for all of them.
const TOGETHER: usize = 50;

/// Numbers that repeat for a seed (the constants of splitmix64).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Rounded as readings are.
    fn within(&mut self, low: f64, high: f64) -> f64 {
        let part = (self.next() >> 11) as f64 / (1_u64 << 53) as f64;
        ((low + part * (high - low)) * 1e5).round() / 1e5
    }

    fn one_in(&mut self, many: u64) -> bool {
        self.next().is_multiple_of(many)
    }
}

/// A reading whose figures are all drawn anew.
fn random_reading(dice: &mut Dice) -> Reading {
    let mut reading = record_sample::reading();
    reading.setup.height_mm = dice.within(400.0, 1200.0);
    reading.setup.distance_mm = dice.within(3000.0, 12_000.0);
    let features = reading.features.as_mut().unwrap();
    let cutoff = features.cutoff.as_mut().unwrap();
    (cutoff.v_deg, cutoff.u_deg) = (dice.within(-3.0, 0.6), dice.within(0.005, 0.4));
    let elbow = features.elbow.as_mut().unwrap();
    (elbow.h_deg, elbow.u_h_deg) = (dice.within(-2.5, 2.5), dice.within(0.01, 0.5));
    (elbow.v_deg, elbow.u_v_deg) = (dice.within(-3.0, 0.6), dice.within(0.005, 0.4));
    let (v, h) = ((cutoff.v_deg, cutoff.u_deg), (elbow.h_deg, elbow.u_h_deg));
    let verdict = reading.verdict.as_mut().unwrap();
    for (axis, (value, u)) in [(&mut verdict.vertical, v), (&mut verdict.horizontal, h)] {
        if dice.one_in(12) {
            *axis = None;
            continue;
        }
        let judged = axis.as_mut().unwrap();
        (judged.value_deg, judged.u_deg) = (value, u);
        judged.lower_deg = (!dice.one_in(8)).then(|| dice.within(-1.6, -0.6));
        judged.upper_deg = (!dice.one_in(8)).then(|| dice.within(-0.4, 0.5));
        judged.nominal_deg = (!dice.one_in(8)).then(|| dice.within(-0.6, -0.4));
        ["pass", "fail", "borderline"][(dice.next() % 3) as usize].clone_into(&mut judged.result);
    }
    ["pass", "fail", "borderline"][(dice.next() % 3) as usize].clone_into(&mut verdict.overall);
    reading
}

/// A record with one to four lamps, each with one or two readings.
fn random_draft(dice: &mut Dice, number: usize) -> Draft {
    let photos = [vec![1, number as u8], vec![2, number as u8]];
    let mut draft = record_sample::draft(number, &photos);
    let sample = draft.inspection.lamps[0].readings.clone();
    let count = 1 + (dice.next() % 4) as usize;
    draft.inspection.lamps = [("left", "low"), ("right", "low"), ("left", "fog"), ("right", "fog")][..count]
        .iter()
        .map(|(side, beam)| {
            let many = 1 + usize::from(!dice.one_in(3));
            let mut readings = sample[..many].to_vec();
            for recorded in &mut readings {
                recorded.reading = random_reading(dice);
            }
            LampRecord::new(*side, *beam, readings)
        })
        .collect();
    draft.inspection.verdict = Inspection::verdict_of(&draft.inspection.lamps);
    draft
}

/// The expected print, from the JSON as it was stored and with formulas of its own.
mod expected {
    use serde_json::Value;

    fn number(value: &Value) -> f64 {
        value.as_f64().unwrap()
    }

    fn percent(degrees: f64) -> f64 {
        (degrees * std::f64::consts::PI / 180.0).tan() * 100.0
    }

    fn signed(value: f64, digits: usize) -> String {
        let text = format!("{value:+.digits$}").replace('-', "\u{2212}");
        if text[text.char_indices().nth(1).unwrap().0..].chars().all(|c| matches!(c, '0' | '.')) {
            return text.chars().skip(1).collect();
        }
        text
    }

    /// A figure with U, in percent or in millimetres on the wall.
    fn figure(value: &Value, u: &Value, per_percent: f64, digits: usize, unit: &str) -> String {
        let (value, u) = (number(value), number(u));
        let half = 0.5 * (percent(value + u) - percent(value - u)) * per_percent;
        format!("{} ± {half:.digits$} {unit}", signed(percent(value) * per_percent, digits))
    }

    fn allowed(axis: &Value, per_percent: f64, digits: usize, unit: &str) -> Option<String> {
        let show = |limit: &Value| signed(percent(number(limit)) * per_percent, digits);
        match (&axis["lower_deg"], &axis["upper_deg"]) {
            (Value::Null, Value::Null) => None,
            (Value::Null, upper) => Some(format!("at most {} {unit}", show(upper))),
            (lower, Value::Null) => Some(format!("at least {} {unit}", show(lower))),
            (lower, upper) => Some(format!("{} to {} {unit}", show(lower), show(upper))),
        }
    }

    fn metres(height: f64, v: f64) -> Option<f64> {
        (v < 0.0).then(|| height / 10.0 / -percent(v))
    }

    fn in_words(metres: f64) -> String {
        match metres {
            far if far > 500.0 => "over 500 m".to_owned(),
            near if near < 10.0 => format!("{near:.1} m"),
            metres => format!("{metres:.0} m"),
        }
    }

    /// The lines of the table of numbers that belong to one lamp, from the heading "Allowed" on.
    pub(super) fn table(lamp: &Value) -> Vec<String> {
        let readings = lamp["readings"].as_array().unwrap();
        let last = &readings[readings.len() - 1]["reading"];
        let shown: Vec<&Value> = if readings.len() == 1 { vec![last] } else { vec![&readings[0]["reading"], last] };
        let mut lines = Vec::new();
        for (name, axis, feature, keys) in [
            ("Height", "vertical", "cutoff", ["v_deg", "u_deg"]),
            ("Direction", "horizontal", "elbow", ["h_deg", "u_h_deg"]),
        ] {
            let judged = &last["verdict"][axis];
            let distance = number(&last["setup"]["distance_mm"]);
            for (title, per_percent, digits, unit) in [(name, 1.0, 2, "%"), ("on the wall", distance / 100.0, 0, "mm")]
            {
                lines.push(title.to_owned());
                for reading in &shown {
                    let place = &reading["features"][feature];
                    lines.push(figure(&place[keys[0]], &place[keys[1]], per_percent, digits, unit));
                }
                let none = || (unit == "%").then(|| "not judged".to_owned());
                lines.extend(allowed(judged, per_percent, digits, unit).or_else(none));
            }
        }
        lines.push("Light ends at".to_owned());
        let cutoff = |reading: &&Value| {
            let (height, place) = (number(&reading["setup"]["height_mm"]), &reading["features"]["cutoff"]);
            (height, number(&place["v_deg"]), number(&place["u_deg"]))
        };
        lines.extend(
            shown
                .iter()
                .map(cutoff)
                .map(|(height, v, _)| metres(height, v).map_or_else(|| "no end: dazzles".to_owned(), in_words)),
        );
        lines.push("on a level road".to_owned());
        lines.extend(shown.iter().map(cutoff).filter_map(|(height, v, u)| {
            metres(height, v)?;
            let least = metres(height, v - u).unwrap();
            match metres(height, v + u).filter(|most| *most <= 500.0) {
                // One place twice is no span: a decimal tells them apart, or nothing is said.
                Some(most) if in_words(least) == in_words(most) => {
                    let (from, to) = (format!("{least:.1}"), format!("{most:.1}"));
                    (from != to).then(|| format!("{from} to {to} m"))
                }
                Some(most) => Some(format!("{} to {}", in_words(least).trim_end_matches(" m"), in_words(most))),
                None => (least <= 500.0).then(|| format!("{} or more", in_words(least))),
            }
        }));
        lines
    }
}

/// A number as it is printed, back: the minus of print is another character.
fn parsed(text: &str) -> f64 {
    text.replace('\u{2212}', "-").parse().unwrap_or_else(|_| panic!("{text:?} is no number"))
}

/// Holds every row of the full table against the stored JSON: bit for bit the same numbers.
fn check_full_table(printed: &[String], entry: &Value) {
    let mut at = 0;
    let mut next = |name: &str, count: usize| -> Vec<String> {
        let found = printed[at..].iter().position(|line| line == name);
        at += found.unwrap_or_else(|| panic!("{name} is not printed")) + 1;
        printed[at..at + count].to_vec()
    };
    let same = |text: &str, stored: &Value| {
        let stored = stored.as_f64().unwrap();
        assert_eq!(parsed(text).to_bits(), (stored + 0.0).to_bits(), "printed {text}, stored {stored}");
    };
    for lamp in entry["lamps"].as_array().unwrap() {
        for recorded in lamp["readings"].as_array().unwrap() {
            let reading = &recorded["reading"];
            for (name, feature, value, u) in [
                ("Cutoff V", "cutoff", "v_deg", "u_deg"),
                ("Elbow H", "elbow", "h_deg", "u_h_deg"),
                ("Elbow V", "elbow", "v_deg", "u_v_deg"),
                ("Hot spot H", "hot_spot", "h_deg", "u_h_deg"),
            ] {
                let cells = next(name, 2);
                same(&cells[0], &reading["features"][feature][value]);
                same(&cells[1], &reading["features"][feature][u]);
            }
            for (name, axis) in [("Height", "vertical"), ("Direction", "horizontal")] {
                let axis = &reading["verdict"][axis];
                if axis.is_null() {
                    continue;
                }
                let cells = next(name, 7);
                let keys = ["value_deg", "u_deg", "lower_deg", "nominal_deg", "upper_deg"];
                for (cell, key) in cells.iter().zip(keys) {
                    match &axis[key] {
                        Value::Null => assert_eq!(cell, "\u{2013}"),
                        stored => same(cell, stored),
                    }
                }
                assert_eq!(cells[6], axis["result"].as_str().unwrap());
            }
        }
    }
}

/// Prints random records and reads every figure back.
fn check_records(count: usize, seed: u64) {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::create(&folder.path().join("shop")).unwrap();
    let mut dice = Dice(seed);
    for number in 0..count {
        store.append(random_draft(&mut dice, number)).unwrap();
    }
    let head = store.head().unwrap();
    let pictures = Pictures::default();
    let numbers: Vec<u64> = (0..count as u64).collect();
    for some in numbers.chunks(TOGETHER) {
        let mut pages: Vec<Page> = Vec::new();
        let mut parts = Vec::new();
        for number in some {
            let stored = store.inspection_at(*number).unwrap();
            let input = ReportInput { stored: &stored, head, pictures: &pictures };
            let (front, table) = (front_pages(&input, Paper::A4).unwrap(), table_pages(&input, Paper::A4));
            assert_eq!(front.len(), 1, "one page for up to four lamps");
            parts.push(1 + table.len());
            pages.extend(front.into_iter().chain(table));
        }
        let document = Document::load_mem(&pdf(&pages, "Records").unwrap()).unwrap();
        let mut page = 1;
        for (number, part) in some.iter().zip(parts) {
            let entry: Value = serde_json::from_slice(&store.entry_bytes(*number).unwrap()).unwrap();
            let front = lines(&document, page);
            let mut rest = &front[..];
            for lamp in entry["lamps"].as_array().unwrap() {
                let start = rest.iter().position(|line| line == "Allowed").unwrap() + 1;
                let wanted = expected::table(lamp);
                assert_eq!(rest[start..start + wanted.len()], wanted[..], "record {number}");
                rest = &rest[start + wanted.len()..];
            }
            assert!(
                front.contains(&head.to_string()) && front.iter().any(|line| line == entry["id"].as_str().unwrap())
            );
            let full: Vec<String> = (page + 1..page + part as u32).flat_map(|page| lines(&document, page)).collect();
            check_full_table(&full, &entry);
            page += part as u32;
        }
    }
}

/// Truth: the JSON's own bytes, with the test's own formulas.
#[test]
fn printed_figures_are_the_stored_ones_on_50_records() {
    check_records(50, 1);
}

/// The same on many; `cargo test --test report -- --ignored`.
#[test]
#[ignore = "takes a minute"]
fn printed_figures_are_the_stored_ones_on_1000_records() {
    check_records(1000, 2);
}

/// Truth: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in.
#[test]
fn paper_has_its_size_and_fonts_lie_in_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::create(&folder.path().join("shop")).unwrap();
    store.append(record_sample::draft(1, &[vec![1], vec![2]])).unwrap();
    let stored = store.newest("0").unwrap();
    let pictures = Pictures::default();
    let input = ReportInput { stored: &stored, head: store.head().unwrap(), pictures: &pictures };
    let letter = (8.5 * 72.0, 11.0 * 72.0);
    for (paper, size) in [(Paper::A4, (210.0 * POINTS_PER_MM, 297.0 * POINTS_PER_MM)), (Paper::Letter, letter)] {
        let mut pages = front_pages(&input, paper).unwrap();
        pages.extend(table_pages(&input, paper));
        let bytes = pdf(&pages, "Report").unwrap();
        assert_eq!(bytes, pdf(&pages, "Report").unwrap(), "the same pages give the same bytes");
        let document = Document::load_mem(&bytes).unwrap();
        // Read by a decoder that has nothing in common with the encoder.
        let code = format!("lampwright record {} head {}", stored.inspection.id, input.head);
        assert_eq!(qr_text(&document, 1), code);
        for (width, height) in sizes(&document) {
            // PDF holds 32-bit numbers: 1e-4 points are 0.04 micrometres.
            assert!((width - size.0).abs() < 1e-3 && (height - size.1).abs() < 1e-3, "{paper:?}: {width} x {height}");
        }
        let (count, embedded) = fonts(&document);
        assert!(count >= 2 && embedded == count, "{embedded} of {count} fonts");
        let text = all_lines(&document).join(" ");
        for words in ["Local codes and licensed inspectors decide", "FAIL", "Shop check", "order 1"] {
            assert!(text.contains(words), "{words}");
        }
    }
}

/// Five photos of 12 megapixels of one bay, rendered: the left low beam before and after, the right low beam, both high
/// beams. The file's name is part of what a scene is drawn from, so all bear the same one and show the same wall.
fn photos() -> &'static Path {
    static PHOTOS: OnceLock<TempDir> = OnceLock::new();
    let folder = PHOTOS.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        for (name, family, lamp, h, v) in [
            ("left-before", "clean", "left", 0.1, -0.1),
            ("left-after", "clean", "left", 0.05, -0.85),
            ("right", "clean", "right", 0.05, -0.85),
            ("left-high", "high-spot", "left", 0.1, 0.05),
            ("right-high", "high-spot", "right", 0.1, 0.05),
        ] {
            let inside = folder.path().join(name);
            fs::create_dir(&inside).unwrap();
            let scene = format!(
                "family = \"shop\"\nextends = \"{family}\"\n[picture]\norientation = 1\n[setup]\nlamp = \"{lamp}\"\n\
                 traffic = \"right\"\nheight_mm = 650.0\noffset_mm = 580.0\ndistance_mm = 10000.0\nvehicle_yaw_deg = 0.0\n\
                 marks_sigma_mm = 0.6\n[camera]\nx_mm = 200.0\n[beam]\naim_h_deg = {h:?}\naim_v_deg = {v:?}\n"
            );
            fs::write(inside.join("shop.toml"), scene).unwrap();
            run(&inside, &["scene", "--family", "shop.toml", "--n", "1", "--seed", "7", "--size", "12mp", "--out", "."], 0);
        }
        folder
    });
    folder.path()
}

/// Runs the program; gives its standard output.
fn run(folder: &Path, words: &[&str], most: i32) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_lampwright")).current_dir(folder).args(words).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let status = output.status.code().unwrap();
    assert!(status <= most, "{words:?}: {status}\n{}{}", text(&output.stdout), text(&output.stderr));
    text(&output.stdout)
}

fn photo(name: &str) -> String {
    photos().join(name).join("shop-007.jpg").display().to_string()
}

/// Begins a session in a new store.
fn begin(folder: &Path, lamps: &str) {
    let bay = photos().join("left-after").join("shop-007.bay.toml").display().to_string();
    run(folder, &["record", "init", "shop"], 0);
    let words = ["aim", "start", "s.json", "--vehicle", "order 12", "--bay", &bay, "--lamps", lamps];
    let more =
        ["--height-mm", "650", "--offset-mm", "580", "--record", "shop", "--by", "A. Tester", "--plate", "TEST-1"];
    run(folder, &[&words[..], &more[..]].concat(), 0);
}

/// Makes a report of the last record, and reads it and the record itself.
fn reported(folder: &Path, words: &[&str]) -> (Document, Inspection) {
    let store = Store::read(&folder.join("shop")).unwrap();
    let first = store.inspection_at(0).unwrap().inspection.id;
    let out = run(folder, &[&["report", &first, "--store", "shop", "--out", "report.pdf"], words].concat(), 0);
    assert!(out.contains("record 0 goes on in record"), "{out}");
    (Document::load(folder.join("report.pdf")).unwrap(), store.newest(&first).unwrap().inspection)
}

#[test]
fn two_lamps_from_photos_to_paper() {
    let folder = tempfile::tempdir().unwrap();
    begin(folder.path(), "two");
    run(folder.path(), &["aim", "photo", "s.json", &photo("left-before")], 1);
    run(folder.path(), &["aim", "photo", "s.json", &photo("left-after"), "--turned", "vertical:ccw:4"], 1);
    run(folder.path(), &["aim", "photo", "s.json", &photo("right"), "--lamp", "right"], 1);
    let (document, inspection) = reported(folder.path(), &[]);
    assert_eq!(document.get_pages().len(), 1, "one page");
    let head = Store::read(&folder.path().join("shop")).unwrap().head().unwrap();
    assert_eq!(qr_text(&document, 1), format!("lampwright record {} head {head}", inspection.id));
    let text = all_lines(&document);
    let has = |words: &str| text.iter().any(|line| line.contains(words));
    for words in
        ["PASS", "Left lamp, low beam", "Right lamp, low beam", "Before:", "order 12", "TEST-1", "no end: dazzles"]
    {
        assert!(has(words), "{words} is missing in {text:?}");
    }
    // The pictures lie in the file byte for byte: two of the left lamp, one of the right, which was measured once.
    let store = Store::read(&folder.path().join("shop")).unwrap();
    let found = jpegs(&document);
    let wanted = Pictures::wanted(&inspection);
    assert_eq!((found.len(), wanted.len()), (3, 3));
    for hash in wanted {
        assert!(found.contains(&store.photo_bytes(&hash).unwrap()), "{hash}");
    }
    let entry = serde_json::to_value(&inspection).unwrap();
    let mut rest = &text[..];
    for lamp in entry["lamps"].as_array().unwrap() {
        let start = rest.iter().position(|line| line == "Allowed").unwrap() + 1;
        let wanted = expected::table(lamp);
        assert_eq!(rest[start..start + wanted.len()], wanted[..]);
        rest = &rest[start..];
    }
}

#[test]
fn four_lamps_from_photos_to_paper_with_the_full_table() {
    let folder = tempfile::tempdir().unwrap();
    begin(folder.path(), "four");
    for (name, side, beam) in [
        ("left-after", "left", "low"),
        ("right", "right", "low"),
        ("left-high", "left", "high"),
        ("right-high", "right", "high"),
    ] {
        run(folder.path(), &["aim", "photo", "s.json", &photo(name), "--lamp", side, "--beam", beam], 1);
    }
    let (document, inspection) = reported(folder.path(), &["--paper", "letter", "--inspection"]);
    assert!(document.get_pages().len() >= 4, "one page and the table");
    let first = lines(&document, 1);
    let head = Store::read(&folder.path().join("shop")).unwrap().head().unwrap();
    assert_eq!(qr_text(&document, 1), format!("lampwright record {} head {head}", inspection.id));
    let places: Vec<usize> =
        first.iter().enumerate().filter(|(_, line)| *line == "Allowed").map(|(place, _)| place).collect();
    assert_eq!(places.len(), 4, "a table for every lamp on the first page");
    let entry = serde_json::to_value(&inspection).unwrap();
    for (lamp, place) in entry["lamps"].as_array().unwrap()[..2].iter().zip(&places) {
        let wanted = expected::table(lamp);
        assert_eq!(first[place + 1..place + 1 + wanted.len()], wanted[..]);
    }
    for lamp in ["Left lamp, low beam", "Right lamp, low beam", "Left lamp, high beam", "Right lamp, high beam"] {
        assert!(first.iter().any(|line| line == lamp), "{lamp}");
    }
    let table: Vec<String> = (2..=document.get_pages().len() as u32).flat_map(|page| lines(&document, page)).collect();
    let has = |words: &str| table.iter().any(|line| line.contains(words));
    for recorded in inspection.readings() {
        for hash in recorded.parameters.hashes().chain(recorded.files().map(|file| file.sha256)) {
            assert!(has(&hash.to_string()), "{hash}");
        }
    }
    assert!(has("The checklist was not answered"));
}

/// A report must not be written into the store, and asks for a record that is there.
#[test]
fn what_cannot_be_reported_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::create(&folder.path().join("shop")).unwrap();
    store.append(record_sample::draft(1, &[vec![1]])).unwrap();
    drop(store);
    for words in [
        ["report", "0", "--store", "shop", "--out", "shop/records.sqlite"],
        ["report", "7", "--store", "shop", "--out", "report.pdf"],
        ["report", "0", "--store", "nowhere", "--out", "report.pdf"],
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_lampwright")).current_dir(&folder).args(words).output().unwrap();
        assert_eq!(output.status.code(), Some(2), "{words:?}");
        assert!(!folder.path().join("report.pdf").exists());
    }
    assert!(Store::read(&folder.path().join("shop")).unwrap().newest("0").is_ok());
}
