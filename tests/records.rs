//! The store of inspections: what it keeps, shows, erases, exports and refuses.

#![cfg(feature = "records")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test's helpers must fail loudly, as the tests do")]

mod record_sample;

use lampwright::record::{FiledFile, Filter, How, Store, VerifyOptions, key::KEY_FILE, verify};
use record_sample::{DATABASE, copy, draft, photos, put_back, raw, shop, store_of, verified, without_triggers};
use std::fs;
use std::path::Path;

#[test]
fn what_was_recorded_is_read_back() {
    let folder = store_of(3);
    let store = Store::read(&shop(&folder)).unwrap();
    let stored = store.inspection("1").unwrap();
    assert_eq!(stored.inspection.vehicle, "order 1");
    assert_eq!(stored.personal.plate.as_deref(), Some("PLATE-1"));
    assert_eq!(stored.newest, 1);
    let lamp = &stored.inspection.lamps[0];
    assert_eq!((lamp.before, lamp.after, lamp.verdict.as_str()), (Some(0), Some(1), "fail"));
    assert_eq!(lamp.before().unwrap().reading, record_sample::reading());
    assert_eq!(store.photo_bytes(&lamp.after().unwrap().photo.sha256).unwrap(), b"photo 1-after");
    assert_eq!(store.parameter(&stored.inspection.bay.sha256).unwrap(), record_sample::BAY);
    assert_eq!(store.inspection(&stored.inspection.id).unwrap(), stored);
    assert_eq!(store.head().unwrap().size, 3);
    let whole = verified(&shop(&folder));
    assert_eq!(whole.findings, []);
    assert_eq!((whole.head, whole.photos, whole.parameters), (store.head().unwrap(), 6, 3));
    for name in ["3", "99999999", "zzzzzzzzzz", "", "-1"] {
        assert!(store.inspection(name).is_err(), "{name}");
    }
}

#[test]
fn lists_show_the_newest_record_of_each_inspection() {
    let folder = store_of(3);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let mut later = draft(1, &photos(&["1-before", "1-after", "1-again"]));
    later.inspection.follows = Some(store.follow("1", How::Corrects, "CD", Some("wrong bay".to_owned())).unwrap());
    let appended = store.append(later).unwrap();
    let rows = store.list(10).unwrap();
    assert_eq!(rows.iter().map(|row| row.number).collect::<Vec<_>>(), [3, 2, 0]);
    assert_eq!((rows[0].how, rows[0].plate.as_deref()), (Some(How::Corrects), Some("PLATE-1")));
    assert_eq!(store.newest("1").unwrap().inspection.id, appended.id);
    assert_eq!(store.inspection("1").unwrap().newest, 3);
    assert_eq!(store.history(&rows[0].first).unwrap(), [1, 3]);
    let find = |text: &str, is_all: bool| {
        let filter = Filter { text: Some(text.to_owned()), is_all, ..Filter::default() };
        store.find(&filter).unwrap().into_iter().map(|row| row.number).collect::<Vec<_>>()
    };
    assert_eq!(find("plate-1", false), [3]);
    assert_eq!(find("ORDER", false), [3, 2, 0]);
    assert_eq!(find("customer 1", true), [3, 1]);
    assert_eq!(find("%", false), [0_u64; 0]);
    let verdict = Filter { verdict: Some("pass".to_owned()), ..Filter::default() };
    assert!(store.find(&verdict).unwrap().is_empty());
    let until = Filter { until: Some("2026-11".to_owned()), ..Filter::default() };
    assert!(store.find(&until).unwrap().is_empty());
    assert_eq!(verified(&shop(&folder)).findings, []);
}

#[test]
fn erasing_takes_the_text_out_of_every_file_and_breaks_nothing() {
    let folder = store_of(2);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let mut later = draft(1, &photos(&["1-before"]));
    later.inspection.follows = Some(store.follow("1", How::Continues, "AB", None).unwrap());
    store.append(later).unwrap();
    assert_eq!(store.inspection("2").unwrap().personal.plate.as_deref(), Some("PLATE-1"));
    store.erase("2", "AB", "asked for by letter").unwrap();
    for number in ["1", "2"] {
        let stored = store.inspection(number).unwrap();
        assert_eq!((stored.personal.plate, stored.personal.customer), (None, None));
        assert!(stored.inspection.plate.is_some(), "the digest stays");
    }
    assert_eq!(store.inspection("0").unwrap().personal.plate.as_deref(), Some("PLATE-0"));
    assert!(store.inspection("3").unwrap_err().to_string().contains("erased"));
    assert!(store.erase("1", "AB", "again").unwrap_err().to_string().contains("no plate or customer"));
    let whole = verify(&store, &VerifyOptions::default()).unwrap();
    assert_eq!((whole.findings, whole.head.size), (vec![], 4));
    for entry in fs::read_dir(shop(&folder)).unwrap().map(Result::unwrap).filter(|entry| entry.path().is_file()) {
        let bytes = fs::read(entry.path()).unwrap();
        for text in ["PLATE-1", "=Customer 1"] {
            let is_there = bytes.windows(text.len()).any(|window| window.eq_ignore_ascii_case(text.as_bytes()));
            assert!(!is_there, "{text} is still in {:?}", entry.file_name());
        }
    }
    drop(store);
    let taken = without_triggers(&shop(&folder));
    taken.0.execute_batch("DELETE FROM personal").unwrap();
    put_back(taken);
    let found = verified(&shop(&folder)).findings;
    assert!(found.len() == 3 && found[0].found.contains("no erasure was recorded"), "{found:?}");
    assert!(found[2].place.contains("words to search"), "they still hold what is missing: {found:?}");
}

/// A program that reads keeps the pages as it found them, and with them the text: that is said, and erasing again clears it.
#[test]
fn text_that_a_reader_keeps_on_the_disk_is_not_called_gone() {
    let folder = store_of(1);
    let holds = |text: &str| {
        let files =
            fs::read_dir(shop(&folder)).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.is_file());
        files.into_iter().any(|path| fs::read(path).unwrap().windows(text.len()).any(|part| part == text.as_bytes()))
    };
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.wait_for(std::time::Duration::from_millis(50)).unwrap();
    let reader = raw(&shop(&folder));
    reader.execute_batch("BEGIN").unwrap();
    let text: String = reader.query_row("SELECT text FROM personal LIMIT 1", [], |row| row.get(0)).unwrap();
    let erased = store.erase("0", "AB", "asked for").unwrap();
    assert!(erased.noted.is_some() && !erased.is_off_disk, "{erased:?}");
    assert_eq!(store.inspection("0").unwrap().personal.plate, None, "erased from the records all the same");
    assert!(holds(&text), "else the reader is no obstacle, and this test shows nothing");
    let again = store.erase("0", "AB", "asked for").unwrap();
    assert!(again.noted.is_none() && !again.is_off_disk, "{again:?}");
    reader.execute_batch("ROLLBACK").unwrap();
    let cleared = store.erase("0", "AB", "asked for").unwrap();
    assert!(cleared.noted.is_none() && cleared.is_off_disk, "{cleared:?}");
    assert!(!holds("PLATE-0") && !holds("Customer 0"));
    assert_eq!(store.head().unwrap().size, 2, "it is noted once");
    assert_eq!(verified(&shop(&folder)).findings, []);
}

/// Several texts of words: across their borders, after an erasure, with letters that SQLite folds no case of.
#[test]
fn a_part_of_a_word_is_found_in_any_record() {
    let folder = store_of(0);
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.set_unsafe_speed().unwrap();
    for n in 0..300 {
        let mut draft = draft(n, &photos(&["one"]));
        draft.personal.plate = Some(format!("PLATE-{n}"));
        draft.personal.customer = (n % 100 == 28).then(|| "\u{c4}RGER\u{1f}& S\u{d6}HNE 7".to_owned());
        store.append(draft).unwrap();
    }
    let find = |store: &Store, text: &str, limit: Option<u64>| -> Vec<u64> {
        let filter = Filter { text: Some(text.to_owned()), limit, ..Filter::default() };
        store.find(&filter).unwrap().into_iter().map(|row| row.number).collect()
    };
    assert_eq!(find(&store, "late-12", None), [129, 128, 127, 126, 125, 124, 123, 122, 121, 120, 12]);
    assert_eq!(find(&store, "late-12", Some(3)), [129, 128, 127]);
    assert_eq!(find(&store, "rder", Some(2)), [299, 298]);
    assert_eq!(find(&store, "\u{e4}rger & s\u{f6}hne", None), [228, 128, 28]);
    assert_eq!(find(&store, "order 1\u{1f}", None), [0_u64; 0], "what parts the words is no word");
    assert_eq!(find(&store, "200\u{1f}order", None), [0_u64; 0], "nor is the number before them");
    let id = store.inspection("200").unwrap().inspection.id;
    assert_eq!(find(&store, &id.to_uppercase()[..30], None), [200]);
    store.erase("128", "AB", "asked for by letter").unwrap();
    assert_eq!(find(&store, "\u{e4}rger", None), [228, 28]);
    assert_eq!(find(&store, "plate-128", None), [0_u64; 0]);
    assert_eq!(find(&store, "order 128", None), [128]);
    assert_eq!(verified(&shop(&folder)).findings, []);
    drop(store);
    for change in [
        "UPDATE search SET words = replace(words, 'plate-7', 'plate-8') WHERE block = 0",
        "DELETE FROM search WHERE block = 1",
        "INSERT INTO search VALUES (9223372036854775807, 'x')",
    ] {
        let taken = raw(&shop(&folder));
        taken.execute_batch(&format!("BEGIN; {change}")).unwrap();
        taken.execute_batch("COMMIT").unwrap();
        let found = verified(&shop(&folder)).findings;
        assert!(
            !found.is_empty() && found.iter().all(|one| one.place.contains("words to search")),
            "{change}: {found:?}"
        );
    }
}

/// A store as the first version made it: read as it is, and brought up to date when it is opened to record.
#[test]
fn a_store_of_the_first_version_is_searched_and_brought_up_to_date() {
    let folder = store_of(150);
    let earlier = "DROP TABLE search; PRAGMA user_version = 1;
        CREATE INDEX summary_found_by ON summary (found_by);
        CREATE INDEX personal_text ON personal (text, first)";
    raw(&shop(&folder)).execute_batch(earlier).unwrap();
    let find = |store: &Store| {
        let filter = Filter { text: Some("LATE-14".to_owned()), ..Filter::default() };
        store.find(&filter).unwrap().into_iter().map(|row| row.number).collect::<Vec<_>>()
    };
    let wanted = [149, 148, 147, 146, 145, 144, 143, 142, 141, 140, 14];
    assert_eq!(find(&Store::read(&shop(&folder)).unwrap()), wanted);
    assert_eq!(verified(&shop(&folder)).findings, []);
    let head = Store::read(&shop(&folder)).unwrap().head().unwrap();
    let mut store = Store::open(&shop(&folder)).unwrap();
    let version: i64 = raw(&shop(&folder)).pragma_query_value(None, "user_version", |row| row.get(0)).unwrap();
    assert_eq!(version, 2);
    assert_eq!((find(&store), store.head().unwrap()), (wanted.to_vec(), head));
    assert_eq!(verified(&shop(&folder)).findings, []);
    store.append(draft(150, &photos(&["one"]))).unwrap();
    assert_eq!(verified(&shop(&folder)).findings, []);
}

/// The database's own words on what it promises: write-ahead log, and tables that take no other type than they state.
#[test]
fn the_database_is_strict_and_has_a_write_ahead_log() {
    let folder = store_of(1);
    let db = raw(&shop(&folder));
    assert_eq!(db.query_row("PRAGMA journal_mode", [], |row| row.get::<_, String>(0)).unwrap(), "wal");
    let sql = "SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND name NOT LIKE 'sqlite_%'";
    let tables: Vec<(String, bool)> = db
        .prepare(sql)
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    assert!(tables.len() >= 6 && tables.iter().all(|(_, is_strict)| *is_strict), "{tables:?}");
}

#[test]
fn a_full_store_says_so_and_loses_nothing() {
    let folder = store_of(1);
    let path = shop(&folder);
    let mut store = Store::open(&path).unwrap();
    store.limit_pages(0).unwrap();
    let mut error = None;
    let mut recorded = 1;
    for n in 0..200 {
        match store.append(draft(n, &photos(&["one"]))) {
            Ok(appended) => recorded = appended.number + 1,
            Err(failed) => {
                error = Some(failed.to_string());
                break;
            }
        }
    }
    let error = error.unwrap();
    assert!(error.contains("no room left") && error.contains("nothing was recorded"), "{error}");
    drop(store);
    let mut store = Store::open(&path).unwrap();
    assert_eq!(store.head().unwrap().size, recorded);
    assert_eq!(store.append(draft(9, &photos(&["one"]))).unwrap().number, recorded);
    assert_eq!(verified(&path).findings, []);
}

#[test]
fn a_locked_store_says_so() {
    let folder = store_of(1);
    let other = raw(&shop(&folder));
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.wait_for(std::time::Duration::from_millis(50)).unwrap();
    let error = store.append(draft(1, &photos(&["one"]))).unwrap_err().to_string();
    assert!(error.contains("locked by another program") && error.contains("nothing was recorded"), "{error}");
    assert_eq!(store.list(5).unwrap().len(), 1, "reading goes on");
    other.execute_batch("ROLLBACK").unwrap();
    store.append(draft(1, &photos(&["one"]))).unwrap();
}

#[test]
fn a_store_that_is_open_to_read_records_nothing() {
    let folder = store_of(1);
    let mut store = Store::read(&shop(&folder)).unwrap();
    let error = store.append(draft(1, &photos(&["one"]))).unwrap_err().to_string();
    assert!(error.contains("cannot be written to"), "{error}");
}

/// A disk that is read-only: nothing can be made beside the database. The super-user is not bound by rights.
#[cfg(unix)]
#[test]
fn a_store_on_a_read_only_disk_can_be_read() {
    use std::os::unix::fs::PermissionsExt;
    let folder = store_of(2);
    let path = shop(&folder);
    let set = |mode: u32| {
        fs::set_permissions(&path, fs::Permissions::from_mode(mode & 0o777 | 0o111)).unwrap();
        fs::set_permissions(path.join(DATABASE), fs::Permissions::from_mode(mode)).unwrap();
    };
    set(0o444);
    let is_bound = fs::write(path.join("probe"), b"").is_err();
    if is_bound {
        assert!(Store::open(&path).unwrap_err().to_string().contains("cannot be written to"));
    }
    let rows = Store::read(&path).unwrap().list(5).unwrap().len();
    set(0o644);
    assert_eq!(rows, 2);
}

#[test]
fn what_is_no_store_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("other");
    assert!(Store::open(&path).unwrap_err().to_string().contains("holds no records.sqlite"));
    fs::create_dir(&path).unwrap();
    raw(&path).execute_batch("CREATE TABLE t (x)").unwrap();
    for error in [Store::open(&path).unwrap_err(), Store::read(&path).unwrap_err(), Store::create(&path).unwrap_err()] {
        let text = error.to_string();
        assert!(text.contains("is no store") || text.contains("is not empty"), "{text}");
    }
    fs::write(path.join(DATABASE), b"no database at all, but long enough to be looked at as if it were one").unwrap();
    assert!(Store::open(&path).unwrap_err().to_string().contains("damaged"));
    let newer = store_of(1);
    raw(&shop(&newer)).execute_batch("PRAGMA user_version = 99").unwrap();
    assert!(Store::open(&shop(&newer)).unwrap_err().to_string().contains("version 99"));
}

/// Killed while it was made: the file is there, its tables are not.
#[test]
fn a_store_that_was_never_finished_is_finished_when_it_is_opened() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join(DATABASE), b"").unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    store.append(draft(0, &photos(&["one"]))).unwrap();
    assert_eq!(verify(&store, &VerifyOptions::default()).unwrap().findings, []);
}

#[test]
fn two_programs_record_at_once() {
    let folder = store_of(0);
    let path = shop(&folder);
    std::thread::scope(|scope| {
        for writer in 0..2 {
            let path = &path;
            scope.spawn(move || {
                let mut store = Store::open(path).unwrap();
                for n in 0..20 {
                    store.append(draft(100 * writer + n, &photos(&["one"]))).unwrap();
                }
            });
        }
    });
    let whole = verified(&path);
    assert_eq!((whole.findings, whole.head.size), (vec![], 40));
}

/// A correction that is written while a lamp is being measured must not be undone by what was read before it.
#[test]
fn what_follows_a_record_that_is_not_the_newest_any_more_is_refused() {
    let folder = store_of(1);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let mut measured = draft(0, &photos(&["0-before", "new"]));
    measured.inspection.follows = Some(store.follow("0", How::Continues, "AB", None).unwrap());
    let mut corrected = draft(7, &photos(&["0-before"]));
    corrected.inspection.follows =
        Some(store.follow("0", How::Corrects, "CD", Some("typed wrong".to_owned())).unwrap());
    store.append(corrected).unwrap();
    let error = store.append(measured.clone()).unwrap_err().to_string();
    assert!(error.contains("record 1 is newer") && error.contains("nothing was recorded"), "{error}");
    assert_eq!(store.newest("0").unwrap().inspection.vehicle, "order 7");
    measured.inspection.follows = Some(store.follow("1", How::Continues, "AB", None).unwrap());
    assert_eq!(store.append(measured).unwrap().number, 2);
    let mut nothing = draft(0, &photos(&["new"]));
    nothing.inspection.follows = store.inspection("2").unwrap().inspection.follows;
    nothing.inspection.follows.as_mut().unwrap().first = "gone".to_owned();
    assert!(store.append(nothing).unwrap_err().to_string().contains("has no record"));
    assert_eq!(verified(&shop(&folder)).head.size, 3);
}

#[test]
fn a_draft_that_names_what_is_not_there_is_refused() {
    let folder = store_of(1);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let mut missing_photo = draft(1, &photos(&["new"]));
    missing_photo.files.clear();
    assert!(store.append(missing_photo).unwrap_err().to_string().contains("left-0.jpg is not in the store"));
    let mut missing_parameter = draft(1, &photos(&["new"]));
    missing_parameter.inspection.lamps[0].readings[0].parameters.screws = Some(lampwright::record::Hash::of(b"x"));
    assert!(store.append(missing_parameter).unwrap_err().to_string().contains("parameter"));
    assert_eq!(store.head().unwrap().size, 1);
    let whole = verified(&shop(&folder));
    assert!(whole.findings.is_empty() && whole.notes.len() == 1, "{:?}", whole.notes);
}

#[test]
fn a_copied_store_is_the_same() {
    let folder = store_of(2);
    let copied = folder.path().join("copy");
    copy(&shop(&folder), &copied);
    assert_eq!(verified(&copied), verified(&shop(&folder)));
}

#[test]
fn a_backup_is_whole_and_leaves_the_key_out() {
    let folder = store_of(2);
    let store = Store::open(&shop(&folder)).unwrap();
    store.make_key().unwrap();
    let to = folder.path().join("backup");
    let outcome = lampwright::record::backup(&store, &to).unwrap();
    assert_eq!((outcome.findings, outcome.head), (vec![], store.head().unwrap()));
    assert!(!to.join(KEY_FILE).exists());
    let mut copied = Store::open(&to).unwrap();
    assert_eq!(copied.inspection("1").unwrap(), store.inspection("1").unwrap());
    copied.append(draft(5, &photos(&["one"]))).unwrap();
    let error = lampwright::record::backup(&store, &to).unwrap_err().to_string();
    assert!(error.contains("is not empty"), "{error}");
}

/// The published schema is the one that the program prints; `UPDATE_GOLDEN=1` writes it anew and fails.
#[test]
fn the_published_schema_is_the_program_s() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/record/schema/export-1.json");
    let text = serde_json::to_string_pretty(&lampwright::record::export::json_schema()).unwrap() + "\n";
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        fs::write(&path, &text).unwrap();
        panic!("written anew");
    }
    assert_eq!(fs::read_to_string(path).unwrap(), text);
}

#[test]
fn an_export_fits_the_schema_and_holds_the_very_bytes() {
    let folder = store_of(3);
    let mut store = Store::open(&shop(&folder)).unwrap();
    store.erase("1", "AB", "asked for").unwrap();
    let made = lampwright::record::export::export(&store, &[0, 1, 2, 3]).unwrap();
    let document: serde_json::Value = serde_json::from_str(&made.json).unwrap();
    let schema = serde_json::to_value(lampwright::record::export::json_schema()).unwrap();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    let errors: Vec<String> = validator.iter_errors(&document).map(|error| error.to_string()).collect();
    assert!(errors.is_empty(), "{errors:?}");
    for broken in ["/records/0/entry/who", "/records/0/leaf", "/records/0/entry/lamps/0/readings/0/reading/setup"] {
        let mut changed = document.clone();
        *changed.pointer_mut(broken).unwrap() = serde_json::json!(7);
        assert!(!validator.is_valid(&changed), "{broken}");
    }
    for number in 0..4 {
        let bytes = store.entry_bytes(number).unwrap();
        assert!(made.json.contains(std::str::from_utf8(&bytes).unwrap()), "entry {number}");
    }
    assert_eq!(document["records"][0]["plate"], "PLATE-0");
    assert_eq!(document["records"][1]["plate"], serde_json::Value::Null);
    assert_eq!(made.files.len(), 6);
    assert_eq!(made.files[1].0, "000000-left-low-2-photo.jpg");
}

/// Each photo of a reading has the ending of its own format.
#[test]
fn exported_photos_have_their_own_endings() {
    let folder = store_of(0);
    let mut store = Store::open(&shop(&folder)).unwrap();
    let mut draft = draft(0, &photos(&["one"]));
    let reading = &mut draft.inspection.lamps[0].readings[0];
    let named = |name: &str| FiledFile { name: name.to_owned(), ..reading.photo.clone() };
    let others = [named("marks.PNG"), named("dark.dng"), named("b.JPEG"), named("without")];
    let [marks, ambient, second, third] = others;
    (reading.marks_photo, reading.ambient_photo) = (Some(marks), Some(ambient));
    reading.bracket = vec![second, third];
    store.append(draft).unwrap();
    let made = lampwright::record::export::export(&store, &[0]).unwrap();
    let names: Vec<&str> = made.files.iter().map(|(name, _)| name.trim_start_matches("000000-left-low-1-")).collect();
    assert_eq!(names, ["photo.jpg", "marks.png", "ambient.dng", "bracket-2.jpg", "bracket-3.jpg"]);
}

#[test]
fn the_table_is_read_by_rfc_4180_and_holds_no_formula() {
    let folder = store_of(1);
    let store = Store::read(&shop(&folder)).unwrap();
    let made = lampwright::record::export::export(&store, &[0]).unwrap();
    let text = String::from_utf8(made.csv.clone()).unwrap();
    assert!(text.ends_with("\r\n") && text.matches("\r\n").count() == 3, "{text}");
    let mut reader = csv::Reader::from_reader(made.csv.as_slice());
    let names = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let cell =
        |row: usize, name: &str| rows[row].get(names.iter().position(|n| n == name).unwrap()).unwrap().to_owned();
    assert_eq!((cell(0, "customer").as_str(), cell(1, "role").as_str()), ("'=Customer 0", "after"));
    let axis = record_sample::reading().verdict.unwrap().vertical.unwrap();
    assert_eq!(cell(1, "vertical_deg").parse::<f64>().unwrap().to_bits(), axis.value_deg.to_bits());
    assert_eq!(cell(1, "turned_vertical_quarters"), "3");
    assert_eq!((cell(0, "turned_vertical_quarters"), cell(1, "turned_horizontal_quarters")), ("0".into(), "0".into()));
    for row in &rows {
        for cell in row {
            let is_number = cell.parse::<f64>().is_ok();
            assert!(is_number || !cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell}");
        }
    }
}
