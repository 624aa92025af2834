//! Records from outside: the program in a fresh folder, from a real-size photo to store, export, replay and erasure.

#![cfg(feature = "records")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod cases;

use cases::{fixtures, run};
use lampwright::record::{Draft, Hash, Inspection, Personal, Store, entry};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const SETUP: [&str; 6] = ["--bay", "bay.toml", "--height-mm", "699", "--offset-mm", "571"];

/// A fresh folder with a photo, its bay and a store.
struct Shop(TempDir);

#[derive(Debug)]
struct Run {
    status: i32,
    stdout: String,
    stderr: String,
}

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::copy(fixtures().join("shots/shot-clean.jpg"), folder.path().join("photo.jpg")).unwrap();
        fs::copy(fixtures().join("bays/shot-clean.toml"), folder.path().join("bay.toml")).unwrap();
        let screws = Path::new(env!("CARGO_MANIFEST_DIR")).join("calib/screws/two-screws.screws.toml");
        fs::copy(screws, folder.path().join("screws.toml")).unwrap();
        let shop = Self(folder);
        let made = shop.run(&["record", "init", "shop"]);
        assert_eq!(made.status, 0, "{made:?}");
        shop
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn run(&self, words: &[&str]) -> Run {
        let output = run(self.0.path(), words);
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Run { status: output.status.code().unwrap(), stdout: text(output.stdout), stderr: text(output.stderr) }
    }

    fn measure(&self, more: &[&str]) -> Run {
        let words = [&["measure", "photo.jpg", "--lamp", "right"][..], &SETUP, more].concat();
        self.run(&words)
    }

    fn record(&self, more: &[&str]) -> Run {
        self.measure(&[&["--record", "shop", "--by", "AB", "--vehicle", "order 12"][..], more].concat())
    }

    fn good(&self, words: &[&str]) -> String {
        let run = self.run(words);
        assert_eq!(run.status, 0, "{words:?}: {run:?}");
        run.stdout
    }

    /// Whether any file of the store holds this text.
    fn holds(&self, text: &str) -> bool {
        fn files(folder: &Path, found: &mut Vec<PathBuf>) {
            for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
                if entry.path().is_dir() { files(&entry.path(), found) } else { found.push(entry.path()) }
            }
        }
        let mut found = Vec::new();
        files(&self.path("shop"), &mut found);
        found.iter().any(|path| fs::read(path).unwrap().windows(text.len()).any(|window| window == text.as_bytes()))
    }
}

/// What was not seen to before a reading is named where it is recorded, and in the record.
#[test]
fn what_was_not_prepared_is_named() {
    let shop = Shop::new();
    let none = shop.record(&[]).stdout;
    assert!(none.contains("Checklist, not answered: brake, exhaust, "), "{none}");
    fs::write(shop.path("prepared.toml"), "brake = \"yes\"\ntyres = \"no\"\n").unwrap();
    shop.record(&["--prepared", "prepared.toml"]);
    let shown = shop.good(&["record", "show", "shop", "1"]);
    assert!(shown.contains("Checklist, not so: tyres; not answered: exhaust, "), "{shown}");
    assert!(!shown.contains("brake"), "{shown}");
    let entry: Value = serde_json::from_str(&shop.good(&["record", "show", "shop", "1", "--json"])).unwrap();
    assert_eq!(entry["unanswered"][0]["item"], "exhaust");
    assert!(!shop.record(&["--prepared", "all"]).stdout.contains("Checklist"));
    assert!(shop.good(&["record", "show", "shop", "2"]).contains("none open"));
}

#[test]
fn one_reading_from_photo_to_export_and_erasure() {
    let shop = Shop::new();
    let recorded = shop.record(&[
        "--plate",
        "PLATE 1",
        "--customer=Some Body",
        "--prepared",
        "all",
        "--screws",
        "screws.toml",
        "--annotated",
        "seen.png",
        "--json",
        "reading.json",
    ]);
    assert_eq!(recorded.status, 1, "{recorded:?}");
    assert!(recorded.stdout.contains("Recorded in shop: record 0, id "), "{recorded:?}");
    let listed = shop.good(&["record", "list", "shop"]);
    for word in ["FAIL", "order 12", "PLATE 1", "Some Body", "shot-clean", "1 shown; the log has 1 entries, head 1:"] {
        assert!(listed.contains(word), "{word} is not in {listed}");
    }
    let shown = shop.good(&["record", "show", "shop", "0"]);
    for word in ["none open", "right low  FAIL", "decision guarded, k = 2", "photo photo.jpg sha256 9539ca4f9da05c7b"] {
        assert!(shown.contains(word), "{word} is not in {shown}");
    }
    // What the store holds is what was written.
    let entry: Value = serde_json::from_str(&shop.good(&["record", "show", "shop", "0", "--json"])).unwrap();
    let reading: Value = serde_json::from_slice(&fs::read(shop.path("reading.json")).unwrap()).unwrap();
    assert_eq!(entry["lamps"][0]["readings"][0]["reading"], reading);
    assert_eq!(entry["software"], reading["software"]);
    let command = reading["command"].to_string();
    assert!(!command.contains("PLATE") && !command.contains("Body") && !command.contains("--record"), "{command}");

    // The files that it was made of may change: the store has its own.
    fs::write(shop.path("bay.toml"), "changed").unwrap();
    fs::remove_file(shop.path("photo.jpg")).unwrap();
    fs::remove_file(shop.path("screws.toml")).unwrap();
    let replayed = shop.good(&["record", "replay", "shop", "0"]);
    assert!(replayed.contains("right low, reading 1: the same to the last digit"), "{replayed}");
    assert!(shop.good(&["record", "verify", "shop"]).contains("WHOLE: "), "whole");

    shop.good(&["record", "export", "shop", "--out", "out"]);
    let mut names: Vec<String> =
        fs::read_dir(shop.path("out/photos")).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names, ["000000-right-low-1-annotated.jpg", "000000-right-low-1-photo.jpg"]);
    let original = fs::read(fixtures().join("shots/shot-clean.jpg")).unwrap();
    assert_eq!(fs::read(shop.path("out/photos").join(&names[1])).unwrap(), original, "the original is untouched");
    let picture = fs::read(shop.path("out/photos").join(&names[0])).unwrap();
    let id = entry["id"].as_str().unwrap();
    let caption = format!("Record {id}, ");
    assert!(picture.windows(caption.len()).any(|window| window == caption.as_bytes()), "the picture names its record");
    let document: Value = serde_json::from_slice(&fs::read(shop.path("out/records.json")).unwrap()).unwrap();
    let schema: Value = serde_json::from_slice(&fs::read(shop.path("out/schema.json")).unwrap()).unwrap();
    assert!(jsonschema::draft202012::new(&schema).unwrap().is_valid(&document));
    assert_eq!(shop.run(&["record", "export", "shop", "--out", "out"]).status, 2, "an export overwrites nothing");

    let corrected = shop.good(&[
        "record",
        "correct",
        "shop",
        "0",
        "--by",
        "CD",
        "--reason",
        "typed wrong",
        "--vehicle",
        "order 21",
    ]);
    assert!(corrected.contains("record 1 corrects record 0"), "{corrected}");
    assert!(shop.good(&["record", "show", "shop", "0"]).contains("NOT THE NEWEST: record 1"));
    assert!(shop.good(&["record", "find", "shop", "order 21"]).contains("PLATE 1"));
    assert_eq!(shop.run(&["record", "find", "shop", "nobody"]).status, 1);
    assert!(shop.holds("PLATE 1") && shop.holds("Some Body"));
    shop.good(&["record", "erase", "shop", "0", "--by", "CD", "--reason", "asked for"]);
    assert!(!shop.holds("PLATE 1") && !shop.holds("Some Body"), "the text is in no file of the store");
    let shown = shop.good(&["record", "show", "shop", "1"]);
    assert!(shown.contains("plate      erased") && shown.contains("typed wrong"), "{shown}");
    let head = listed.rsplit("head ").next().unwrap().trim();
    let verified = shop.good(&["record", "verify", "shop", "--head", head]);
    assert!(verified.contains("3 entries, 4 parameters, 2 photos"), "{verified}");
    shop.good(&["record", "backup", "shop", "--to", "copy"]);
    assert!(shop.good(&["record", "verify", "copy", "--head", head]).contains("WHOLE"));
}

#[test]
fn a_session_is_recorded_photo_by_photo() {
    let shop = Shop::new();
    let start = [
        "aim",
        "start",
        "s.json",
        "--vehicle",
        "order 7",
        "--bay",
        "bay.toml",
        "--height-mm",
        "699",
        "--offset-mm",
        "571",
        "--record",
        "shop",
        "--by",
        "AB",
        "--plate",
        "PLATE 7",
    ];
    let begun = shop.good(&start);
    assert!(begun.contains("record 0, id "), "{begun}");
    let first = shop.run(&["aim", "photo", "s.json", "photo.jpg", "--lamp", "right"]);
    assert!(first.stdout.contains("record 1, id "), "{first:?}");
    let second = shop.run(&["aim", "photo", "s.json", "photo.jpg", "--lamp", "right", "--turned", "vertical:cw:3"]);
    assert!(second.stdout.contains("record 2, id "), "{second:?}");
    assert!(!fs::read_to_string(shop.path("s.json")).unwrap().contains("PLATE"), "the session holds no personal text");
    let rows: Value = serde_json::from_str(&shop.good(&["record", "list", "shop", "--json"])).unwrap();
    assert_eq!(rows["inspections"].as_array().unwrap().len(), 1);
    assert_eq!(rows["inspections"][0]["plate"], "PLATE 7");
    let entry: Value = serde_json::from_str(&shop.good(&["record", "show", "shop", "2", "--json"])).unwrap();
    assert_eq!((&entry["verdict"], &entry["lamps"][0]["verdict"]), (&"fail".into(), &"begun".into()));
    let right = &entry["lamps"][1];
    assert_eq!((&right["before"], &right["after"]), (&0.into(), &1.into()));
    assert_eq!(right["readings"][1]["turned"][0]["quarter_turns"], 3.0);
    assert!(shop.good(&["record", "replay", "shop", "2"]).contains("2 of 2 readings are the same"));
    assert!(shop.good(&["record", "verify", "shop"]).contains("WHOLE"));
}

#[test]
fn what_cannot_be_recorded_is_not_shown() {
    let shop = Shop::new();
    let before = fs::read(shop.path("shop/records.sqlite")).unwrap();
    for (words, found) in [
        (&["--record", "nowhere", "--by", "AB", "--vehicle", "x"][..], "holds no records.sqlite"),
        (&["--record", "shop", "--by", "AB"], "--vehicle is missing"),
        (&["--record", "shop", "--by", " ", "--vehicle", "x"], "--by is missing"),
        (&["--record", "shop", "--vehicle", "x"], "--by"),
        (&["--plate", "x"], "--record"),
        (&["--record", "shop", "--by", "AB", "--vehicle", "x", "--prepared", "bay.toml"], "holds no answers"),
        (&["--record", "shop", "--by", "AB", "--vehicle", "x", "--corrects", "5", "--reason", "y"], "no entry 5"),
    ] {
        let run = shop.measure(&[words, &["--json", "out.json"]].concat());
        assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{words:?}: {run:?}");
        assert!(run.stderr.contains(found), "{words:?}: {run:?}");
        assert!(!shop.path("out.json").exists());
    }
    assert_eq!(fs::read(shop.path("shop/records.sqlite")).unwrap(), before);
    // A file where the photos' folder would be.
    fs::write(shop.path("shop/photos"), b"").unwrap();
    let run = shop.record(&["--json", "out.json"]);
    assert_eq!((run.status, run.stdout.as_str()), (2, ""), "{run:?}");
    assert!(!shop.path("out.json").exists());
    fs::remove_file(shop.path("shop/photos")).unwrap();
    assert_eq!(shop.record(&[]).status, 1);
}

#[test]
fn a_changed_store_is_told_by_the_exit_status() {
    let shop = Shop::new();
    shop.good(&["record", "key", "shop"]);
    shop.record(&[]);
    let entry: Value = serde_json::from_str(&shop.good(&["record", "show", "shop", "0", "--json"])).unwrap();
    let photo = entry["lamps"][0]["readings"][0]["photo"]["sha256"].as_str().unwrap().to_owned();
    assert!(shop.good(&["record", "verify", "shop"]).contains("signed up to entry 0"));
    let path = shop.path("shop/photos").join(&photo[..2]).join(&photo);
    let mut bytes = fs::read(&path).unwrap();
    bytes[1000] ^= 4;
    fs::remove_file(&path).unwrap();
    fs::write(&path, bytes).unwrap();
    let verified = shop.run(&["record", "verify", "shop"]);
    assert!(verified.status == 1 && verified.stdout.contains(&format!("photo {photo}: was changed")), "{verified:?}");
    assert_eq!(shop.run(&["record", "verify", "shop", "--without-photos"]).status, 0);
    assert_eq!(shop.run(&["record", "replay", "shop", "0"]).status, 2);
    let head = format!("9:{photo}");
    assert!(shop.run(&["record", "verify", "shop", "--head", &head]).stdout.contains("8 of 9 entries are missing"));
    assert_eq!(shop.run(&["record", "verify", "shop", "--head", "9"]).status, 2);
}

/// Truth: of two lamps that fail, one is corrected to a pass. The vehicle as a whole still fails, by the other one.
#[test]
fn correcting_one_lamp_keeps_the_other_in_the_verdict() {
    let shop = Shop::new();
    let common = ["--bay", "bay.toml", "--height-mm", "699", "--offset-mm", "571", "--record", "shop", "--by", "AB"];
    shop.good(&[&["aim", "start", "s.json", "--vehicle", "order 7", "--lamps", "four"], &common[..]].concat());
    for beam in ["high", "low"] {
        let run = shop.run(&["aim", "photo", "s.json", "photo.jpg", "--lamp", "right", "--beam", beam]);
        assert_eq!(run.status, 1, "{run:?}");
    }
    let rule = Path::new(env!("CARGO_MANIFEST_DIR")).join("calib/rules/shop-check.toml");
    let wide = fs::read_to_string(rule).unwrap().replace("in = 2.0", "in = 20.0");
    fs::write(shop.path("wide.toml"), wide).unwrap();
    let corrected = shop.record(&["--rules", "wide.toml", "--corrects", "2", "--reason", "measured by the wrong rule"]);
    assert_eq!(corrected.status, 0, "{corrected:?}");
    let entry = |record: &str| -> Value {
        serde_json::from_str(&shop.good(&["record", "show", "shop", record, "--json"])).unwrap()
    };
    let (old, new) = (entry("2"), entry("3"));
    let lamp = |record: &Value, beam: &str| -> Value {
        let lamps = record["lamps"].as_array().unwrap();
        lamps.iter().find(|lamp| lamp["side"] == "right" && lamp["beam"] == beam).unwrap().clone()
    };
    assert_eq!(lamp(&new, "high"), lamp(&old, "high"), "the high beam stands as it was");
    assert_eq!((&lamp(&new, "high")["verdict"], &lamp(&new, "low")["verdict"]), (&"fail".into(), &"pass".into()));
    assert_eq!(lamp(&new, "low")["readings"].as_array().unwrap().len(), 1, "the low one is replaced, not added to");
    assert_eq!(new["verdict"], "fail");
    assert!(shop.good(&["record", "list", "shop"]).contains("FAIL"));
    let shown = shop.good(&["record", "show", "shop", "3"]);
    for line in ["FAIL  vehicle order 12\n", "right high  FAIL", "right low  PASS"] {
        assert!(shown.contains(line), "{line} is not in {shown}");
    }
    assert!(shop.good(&["record", "verify", "shop"]).contains("WHOLE: "));
}

/// The exit status says when the text is still on the disk: another program that reads the store keeps it there.
#[test]
fn an_erasure_that_a_reader_holds_up_says_so() {
    let shop = Shop::new();
    shop.record(&["--plate", "PLATE 1"]);
    for (words, found) in
        [(["--by", " ", "--reason", "x"], "--by is empty"), (["--by", "AB", "--reason", ""], "--reason")]
    {
        let run = shop.run(&[&["record", "erase", "shop", "0"], &words[..]].concat());
        assert!(run.status == 2 && run.stderr.contains(found), "{run:?}");
    }
    let reader = rusqlite::Connection::open(shop.path("shop/records.sqlite")).unwrap();
    reader.execute_batch("BEGIN; SELECT count(*) FROM personal").unwrap();
    let erase = ["record", "erase", "shop", "0", "--by", "AB", "--reason", "asked for"];
    let held = shop.run(&erase);
    assert!(held.status == 1 && held.stdout.contains("STILL IN THE STORE'S FILES"), "{held:?}");
    assert!(shop.holds("PLATE 1"));
    drop(reader);
    // The last program that closes the store clears it too.
    let again = shop.run(&erase);
    assert!(again.stderr.contains("in no file of the store") && !shop.holds("PLATE 1"), "{again:?}");
}

/// A record of what another version says that it measured, or measured with another bay file: the log is whole, and replay
/// names what differs. Truth: what the test itself changed.
#[test]
fn a_figure_that_is_not_measured_again_is_named() {
    let shop = Shop::new();
    assert_eq!(shop.record(&[]).status, 1);
    let mut store = Store::open(&shop.path("shop")).unwrap();
    let first = store.inspection("0").unwrap().inspection;
    let mut append = |change: &dyn Fn(&mut Inspection) -> Vec<String>| {
        let mut inspection = Inspection { id: entry::new_id(), ..first.clone() };
        let parameters = change(&mut inspection);
        let draft = Draft { inspection, personal: Personal::default(), files: Vec::new(), parameters };
        store.append(draft).unwrap();
    };
    let cutoff = first.lamps[0].readings[0].reading.features.as_ref().unwrap().cutoff.as_ref().unwrap().v_deg;
    let other = f64::from_bits(cutoff.to_bits() + 1);
    append(&|inspection| {
        "9.9.9".clone_into(&mut inspection.software.version);
        let reading = &mut inspection.lamps[0].readings[0].reading;
        reading.software = inspection.software.clone();
        reading.features.as_mut().unwrap().cutoff.as_mut().unwrap().v_deg = other;
        Vec::new()
    });
    append(&|inspection| {
        let bay = fs::read_to_string(shop.path("bay.toml")).unwrap();
        let moved = bay.replacen("y_mm", "y_mm = 1500.0 #", 1);
        inspection.lamps[0].readings[0].parameters.bay = Hash::of(moved.as_bytes());
        vec![moved]
    });
    drop(store);
    assert!(shop.good(&["record", "verify", "shop"]).contains("WHOLE"));
    assert!(shop.good(&["record", "replay", "shop", "0"]).contains("1 of 1 readings are the same"));
    let replayed = shop.run(&["record", "replay", "shop", "1"]);
    assert_eq!(replayed.status, 1, "{replayed:?}");
    let difference = format!("  features.cutoff.v_deg: recorded {other:?}, now {cutoff:?}\n");
    for words in ["right low, reading 1: DIFFERENT", &difference, "recorded by 9.9.9 (", "0 of 1 readings are the same"]
    {
        assert!(replayed.stdout.contains(words), "{words} is not in {replayed:?}");
    }
    let replayed = shop.run(&["record", "replay", "shop", "2"]);
    assert!(replayed.status == 1 && replayed.stdout.contains("DIFFERENT"), "{replayed:?}");
    assert!(replayed.stdout.contains("features.cutoff.v_deg: recorded"), "what matters stands first: {replayed:?}");
}

/// Truth: two bay files of the same bay, the second surveyed a day later, put in the first one's place between two photos.
#[test]
fn a_bay_file_that_is_changed_in_the_middle_is_recorded_with_its_reading() {
    let shop = Shop::new();
    let bay = fs::read_to_string(shop.path("bay.toml")).unwrap();
    let surveyed = |day: &str| format!("{bay}\n[survey]\ndate = \"{day}\"\nsurveyor = \"AB\"\n");
    fs::write(shop.path("bay.toml"), surveyed("2026-01-01")).unwrap();
    let common = ["--bay", "bay.toml", "--height-mm", "699", "--offset-mm", "571", "--record", "shop", "--by", "AB"];
    shop.good(&[&["aim", "start", "s.json", "--vehicle", "order 7"], &common[..]].concat());
    for (n, day) in ["2026-01-01", "2026-02-02"].into_iter().enumerate() {
        fs::write(shop.path("bay.toml"), surveyed(day)).unwrap();
        let turned = ["--turned", "vertical:cw:3"];
        let words = ["aim", "photo", "s.json", "photo.jpg", "--lamp", "right"];
        let run = shop.run(&[&words, &turned[..2 * n]].concat());
        assert_eq!(run.status, 1, "{run:?}");
    }
    let entry: Value = serde_json::from_str(&shop.good(&["record", "show", "shop", "2", "--json"])).unwrap();
    let readings = &entry["lamps"][1]["readings"];
    assert_eq!(entry["bay"]["revision"], "2026-01-01", "as it was begun");
    assert_eq!(readings[0]["bay"], Value::Null);
    assert_eq!(readings[1]["bay"]["revision"], "2026-02-02");
    let hash = Hash::of(surveyed("2026-02-02").as_bytes()).to_string();
    assert_eq!(
        (&readings[1]["bay"]["sha256"], &readings[1]["parameters"]["bay"]),
        (&hash.clone().into(), &hash.clone().into())
    );
    let shown = shop.good(&["record", "show", "shop", "2"]);
    assert!(shown.contains("surveyed 2026-01-01") && shown.contains("in another bay file: "), "{shown}");
    assert!(shown.contains(&hash) && shown.contains("surveyed 2026-02-02"), "{shown}");
    assert!(shop.good(&["record", "replay", "shop", "2"]).contains("2 of 2 readings are the same"));
    assert!(shop.good(&["record", "verify", "shop"]).contains("WHOLE"));
    shop.good(&["record", "export", "shop", "2", "--out", "out", "--without-photos"]);
    let csv = fs::read_to_string(shop.path("out/readings.csv")).unwrap();
    let days: Vec<bool> = csv.lines().skip(1).map(|line| line.contains("2026-02-02")).collect();
    assert_eq!(days, [false, true], "{csv}");
}

#[test]
fn a_key_is_changed_and_either_line_verifies() {
    let shop = Shop::new();
    let line = |text: &str| text.lines().next().unwrap().strip_prefix("public key ").unwrap().to_owned();
    let first = line(&shop.good(&["record", "key", "shop"]));
    shop.record(&[]);
    let again = shop.run(&["record", "key", "shop"]);
    assert!(again.status == 2 && again.stderr.contains("--replace"), "{again:?}");
    assert_eq!(shop.run(&["record", "key", "shop", "--replace"]).status, 2);
    let blank = shop.run(&["record", "key", "shop", "--replace", "--by", "AB", "--reason", " "]);
    assert!(blank.status == 2 && blank.stderr.contains("--reason is empty"), "{blank:?}");
    let changed = shop.good(&["record", "key", "shop", "--replace", "--by", "AB", "--reason", "yearly"]);
    assert!(changed.contains(&format!("It follows {first}")) && changed.contains("entry 1 says so"), "{changed}");
    let second = line(&changed);
    shop.record(&[]);
    for key in [&first, &second] {
        let verified = shop.good(&["record", "verify", "shop", "--public-key", key]);
        assert!(verified.contains(&format!("entry 1 changed the key: {first} signed {second}")), "{verified}");
        assert!(verified.contains("signed up to entry 2"), "{verified}");
    }
    let other = "11".repeat(32);
    assert_eq!(shop.run(&["record", "verify", "shop", "--public-key", &other]).status, 1);
    assert_eq!(shop.run(&["record", "verify", "shop", "--public-key", &other, "--public-key", &first]).status, 0);
    // A change of the key is neither an inspection nor in the way of one.
    assert!(shop.run(&["record", "show", "shop", "1"]).stderr.contains("the key was changed"));
    shop.good(&["record", "export", "shop", "--out", "out"]);
    let text = |name: &str| serde_json::from_slice::<Value>(&fs::read(shop.path("out").join(name)).unwrap()).unwrap();
    assert!(jsonschema::draft202012::new(&text("schema.json")).unwrap().is_valid(&text("records.json")));
    assert_eq!(text("records.json")["records"][1]["entry"]["kind"], "key-change");
}
