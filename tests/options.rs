//! What developers look into and turn: the trace, the options file, a sweep; a fresh folder for every run.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test's helpers must fail loudly, as the tests do")]

mod cases;

use cases::{fixtures, run};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Output;

/// Measures a shipped photo with further words; gives status, standard output and standard error.
fn measure(folder: &Path, id: &str, more: &[&str]) -> (i32, String, String) {
    fs::copy(fixtures().join(format!("shots/{id}.jpg")), folder.join("photo.jpg")).unwrap();
    fs::copy(fixtures().join(format!("bays/{id}.toml")), folder.join("bay.toml")).unwrap();
    let args = cases::prepare(&cases::case(id), folder).args.split_off(3);
    let mut words = vec!["measure", "photo.jpg", "--bay", "bay.toml"];
    words.extend(args.iter().map(String::as_str));
    words.extend(more);
    told(run(folder, &words))
}

fn told(Output { status, stdout, stderr }: Output) -> (i32, String, String) {
    (status.code().unwrap(), String::from_utf8(stdout).unwrap(), String::from_utf8(stderr).unwrap())
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

fn json(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

const PICTURES: [&str; 5] = ["1-candidates.png", "2-marks.png", "3-grid.png", "4-edges.png", "5-fit.png"];

/// The trace shows every stage, and watching changes nothing of the reading.
#[test]
fn a_trace_shows_every_stage_and_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (status, ..) = measure(folder.path(), "shot-clean", &["--trace", "seen", "--json", "watched.json"]);
    assert_eq!(status, 1);
    let seen = folder.path().join("seen");
    assert_eq!(names(&seen), [&PICTURES[..], &["trace.json"]].concat());
    for name in PICTURES {
        let picture = image::open(seen.join(name)).unwrap();
        assert!(picture.width() == 1600 && picture.height() > 500, "{name}");
    }
    let trace = json(&seen.join("trace.json"));
    assert_eq!(trace["schema"], "lampwright/trace/1");
    assert!(trace["refused"].is_null());
    let stages: Vec<&str> = trace["stages"].as_array().unwrap().iter().map(|s| s["stage"].as_str().unwrap()).collect();
    assert_eq!(stages, ["decode", "marks", "wall", "grid", "beam", "aim"]);
    measure(folder.path(), "shot-clean", &["--json", "plain.json"]);
    let reading = |name: &str| {
        let mut reading = json(&folder.path().join(name));
        reading["command"].take();
        reading
    };
    assert_eq!(reading("watched.json"), reading("plain.json"));
    assert!(reading("plain.json").get("options").is_none());
    // The fit that is shown is the one that was read.
    let flat = &trace["numbers"]["beam"]["lines"]["flat"];
    let read = reading("plain.json")["features"]["cutoff"]["v_deg"].as_f64().unwrap();
    assert!((flat["v0_deg"].as_f64().unwrap() - read).abs() < 2e-5, "{flat} {read}");
    let kept = trace["numbers"]["marks"]["candidates"].as_array().unwrap().iter().filter(|c| c["fate"] == "kept");
    assert_eq!(kept.count(), trace["numbers"]["marks"]["found"].as_array().unwrap().len());
}

/// A refused photo leaves what was reached.
#[test]
fn a_refused_photo_is_traced_as_far_as_it_came() {
    let folder = tempfile::tempdir().unwrap();
    let photo = image::GrayImage::from_fn(1200, 900, |x, y| image::Luma([100 + ((x * 7 + y * 13) % 23) as u8]));
    photo.save(folder.path().join("blank.png")).unwrap();
    fs::copy(fixtures().join("bays/shot-clean.toml"), folder.path().join("bay.toml")).unwrap();
    let words = "measure blank.png --bay bay.toml --lamp right --height-mm 699 --trace seen";
    let (status, ..) = told(run(folder.path(), &words.split(' ').collect::<Vec<_>>()));
    assert_eq!(status, 3);
    let seen = folder.path().join("seen");
    assert_eq!(names(&seen), ["1-candidates.png", "2-marks.png", "trace.json"]);
    assert_eq!(json(&seen.join("trace.json"))["refused"]["code"], "marks-missing");
}

#[test]
fn a_reading_with_other_options_says_so_and_slips_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("o.toml");
    let with = |body: &str| {
        fs::write(&file, format!("schema = \"lampwright/options/1\"\n{body}\n")).unwrap();
        measure(folder.path(), "shot-clean", &["--options", "o.toml", "--json", "-"])
    };
    let (status, out, _) = with("[beam.cutoff]\nabove_deg = 1.1");
    let reading: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((status, &reading["options"]["beam.cutoff.above_deg"]), (1, &Value::from(1.1)));
    assert_eq!(reading["options"].as_object().unwrap().len(), 1);
    let (status, out, error) = with("[beam.cutof]\nabove_deg = 1.1");
    assert!(status == 2 && out.is_empty(), "{out}");
    assert!(error.contains("beam.cutof.above_deg is no option") && error.contains("beam.cutoff.above_deg"), "{error}");
    let (status, _, error) = with("beam.cutoff.above_deg = 40");
    assert!(status == 2 && error.contains("beam.cutoff.above_deg = 40: need 0.3 to 4 deg"), "{error}");
}

/// A run that is kept says by itself what was turned, whatever becomes of the options file.
#[test]
fn results_name_the_options_that_differ() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("o.toml"), "schema = \"lampwright/options/1\"\n[beam.cutoff]\nabove_deg = 1.1\n")
        .unwrap();
    for (more, wanted) in [(&["--options", "o.toml"][..], "beam.cutoff.above_deg = 1.1"), (&[][..], "")] {
        let words = "score --families all-white --n 1 --size 640x480 --worst 0 --out run";
        let (status, _, error) = told(run(folder.path(), &[&words.split(' ').collect::<Vec<_>>(), more].concat()));
        assert!(status <= 1, "{error}");
        assert_eq!(json(&folder.path().join("run/results.json"))["options"], wanted);
    }
}

/// The printed file given back is the defaults: the reading is the same and names no option.
#[test]
fn printed_options_are_the_defaults() {
    let folder = tempfile::tempdir().unwrap();
    let (status, printed, _) = told(run(folder.path(), &["options"]));
    assert_eq!(status, 0);
    fs::write(folder.path().join("all.toml"), &printed).unwrap();
    let (_, with, _) = measure(folder.path(), "shot-clean", &["--json", "-", "--options", "all.toml"]);
    let (_, without, _) = measure(folder.path(), "shot-clean", &["--json", "-"]);
    let reading = |text: &str| {
        let mut reading: Value = serde_json::from_str(text).unwrap();
        reading["command"].take();
        reading
    };
    assert_eq!(reading(&with), reading(&without));
}

#[test]
fn a_sweep_measures_the_same_scenes_at_every_value() {
    let folder = tempfile::tempdir().unwrap();
    let words =
        "score --families clean --n 1 --size 1280x960 --worst 0 --out run --sweep beam.cutoff.above_deg=0.8..1.4/2";
    let (status, out, error) = told(run(folder.path(), &words.split(' ').collect::<Vec<_>>()));
    assert!(status < 2, "{error}");
    assert!(out.contains("sweep of beam.cutoff.above_deg"), "{out}");
    let sweep = json(&folder.path().join("run/sweep.json"));
    let values: Vec<f64> = sweep["points"].as_array().unwrap().iter().map(|p| p["value"].as_f64().unwrap()).collect();
    assert_eq!(values, [0.8, 1.4]);
    let csv = fs::read_to_string(folder.path().join("run/sweep.csv")).unwrap();
    assert_eq!(csv.lines().filter(|line| line.contains(",all,") && line.contains("cutoff V")).count(), 2, "{csv}");
    // 1.4 is the default: that point is the run itself.
    let results = json(&folder.path().join("run/results.json"));
    let figures = |families: &Value| families[0]["quantities"].clone();
    assert_eq!(figures(&sweep["points"][1]["families"]), figures(&results["families"]));
    assert!(fs::read_to_string(folder.path().join("run/index.html")).unwrap().contains("Sweep"));
}
