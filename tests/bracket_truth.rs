//! Truth: rendered brackets of one still scene, whose single photos lose either the marks or the hot spot, give the truth merged.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a failed check must stop the test, and each test prints the figures that it judges"
)]

use lampwright::scene::{SceneSpec, ToneKind, render, sample};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// Levels of the hot spot, from right to far beyond full scale; not in their order, because nobody must sort them.
const PEAKS: [f64; 3] = [4.0, 0.7, 24.0];

/// A dark wall whose marks stand in what little the lamp and the room leave them.
fn spec(seed: u64) -> SceneSpec {
    let mut spec = sample("clean", seed, Some((1600, 1200))).unwrap();
    spec.room.least_mark_level = 0.0;
    spec.room.ambient_lux = 0.01;
    spec.beam.contrast = 180.0;
    spec.sensor.read_noise_e = 5.0;
    spec.floor.texture = 0.0;
    (spec.sensor.tone, spec.sensor.tone_strength, spec.sensor.tone_centre) = (ToneKind::Smooth, 0.4, 0.5);
    spec
}

/// The scene at each exposure, the camera moved along by so many mm from photo to photo; the names, and what `measure` needs.
fn shots(folder: &Path, seed: u64, moved_mm: f64) -> (Vec<String>, Vec<String>, Value) {
    let mut needed = (Vec::new(), Value::Null);
    let mut names = Vec::new();
    for (index, peak) in PEAKS.into_iter().enumerate() {
        let mut spec = spec(seed);
        spec.sensor.peak_level = peak;
        spec.seed += index as u64;
        let moved = moved_mm * index as f64;
        (spec.camera.x_mm, spec.camera.target_x_mm) = (spec.camera.x_mm + moved, spec.camera.target_x_mm + moved);
        let scene = render(&spec).unwrap();
        let name = format!("{index}.jpg");
        fs::write(folder.join(&name), &scene.photo).unwrap();
        if index == 0 {
            fs::write(folder.join(format!("{}.bay.toml", scene.name)), &scene.bay_toml).unwrap();
            let truth: Value = serde_json::from_str(&scene.truth_json).unwrap();
            let words = truth["args"].as_array().unwrap().iter().map(|word| word.as_str().unwrap().to_owned());
            let photo = format!("{}.jpg", scene.name);
            needed = (words.filter(|word| *word != photo && word != "measure").collect(), truth);
        }
        names.push(name);
    }
    (names, needed.0, needed.1)
}

fn run(folder: &Path, before: &[&str], words: &[String]) -> (Output, Value) {
    let output = Command::new(env!("CARGO_BIN_EXE_lampwright"))
        .current_dir(folder)
        .arg("measure")
        .args(before)
        .args(words)
        .args(["--json", "o.json"])
        .output()
        .unwrap();
    let text = fs::read_to_string(folder.join("o.json")).unwrap_or_default();
    let _ = fs::remove_file(folder.join("o.json"));
    (output, serde_json::from_str(&text).unwrap_or_default())
}

fn has(reading: &Value, code: &str) -> bool {
    reading["flags"].as_array().is_some_and(|flags| flags.iter().any(|flag| flag["code"] == code))
}

/// The truth's cutoff, between its listed places.
fn cutoff_at(truth: &Value, h_deg: f64) -> f64 {
    let list = |name: &str| -> Vec<f64> {
        truth["cutoff"][name].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
    };
    let (h, v) = (list("h_deg"), list("v_deg"));
    let next = h.iter().position(|place| *place >= h_deg).unwrap().max(1);
    v[next - 1] + (v[next] - v[next - 1]) * (h_deg - h[next - 1]) / (h[next] - h[next - 1])
}

/// Cutoff, elbow and hot spot are the truth within u, nothing is clipped, and the photos are named with their hashes.
fn check_merged(folder: &Path, names: &[String], reading: &Value, truth: &Value) {
    let features = &reading["features"];
    let number = |value: &Value| value.as_f64().unwrap_or_else(|| panic!("{reading:#}"));
    let cutoff = &features["cutoff"];
    let pairs = [
        ("cutoff", &cutoff["v_deg"], cutoff_at(truth, number(&cutoff["scan_h_deg"])), &cutoff["u_deg"]),
        ("elbow h", &features["elbow"]["h_deg"], number(&truth["elbow"]["h_deg"]), &features["elbow"]["u_h_deg"]),
        (
            "spot h",
            &features["hot_spot"]["h_deg"],
            number(&truth["hot_spot"]["h_deg"]),
            &features["hot_spot"]["u_h_deg"],
        ),
        (
            "spot v",
            &features["hot_spot"]["v_deg"],
            number(&truth["hot_spot"]["v_deg"]),
            &features["hot_spot"]["u_v_deg"],
        ),
    ];
    for (name, found, truth, u) in pairs {
        let (error, u) = (number(found) - truth, number(u));
        eprintln!("{name}: off by {error:.4}, u {u:.4}");
        assert!(error.abs() <= u, "{name}: off by {error}, u {u}");
    }
    assert_eq!(features["hot_spot"]["clipped"], false);
    assert!(!has(reading, "hot-spot-clipped") && has(reading, "bracket-merged"), "{:#}", reading["flags"]);
    assert!(!has(reading, "bracket-uneven"), "{:#}", reading["flags"]);
    let merged = reading["photo"]["merged"].as_array().unwrap();
    assert_eq!(merged.len(), names.len());
    for ((one, name), peak) in merged.iter().zip(names).zip(PEAKS) {
        let hash = Sha256::digest(fs::read(folder.join(name)).unwrap())
            .iter()
            .fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"));
        assert_eq!((one["file"].as_str(), one["sha256"].as_str()), (Some(name.as_str()), Some(hash.as_str())));
        // 3 %: the response's own error over a factor of 34.
        let exposure = number(&one["exposure"]) / (peak / PEAKS[1]);
        assert!((exposure - 1.0).abs() < 0.03, "{name}: {exposure}");
    }
}

#[test]
fn neither_marks_nor_hot_spot_are_lost() {
    let folder = tempfile::tempdir().unwrap();
    let (names, words, truth) = shots(folder.path(), 3, 0.0);
    // Alone: marks are missing in the short one, the hot spot in the others, if not marks too.
    for (name, peak) in names.iter().zip(PEAKS) {
        let (_, reading) = run(folder.path(), &[name], &words);
        eprintln!("{name}: {} {:#}", reading["status"], reading["flags"]);
        let is_spot_lost = reading["features"]["hot_spot"]["clipped"] != false;
        let is_lost = if peak < 1.0 { has(&reading, "marks-missing") } else { is_spot_lost };
        assert!(is_lost, "{name} alone: {reading:#}");
    }
    let list: Vec<&str> = names.iter().map(String::as_str).collect();
    let (output, reading) = run(folder.path(), &[&["--bracket"], &list[..]].concat(), &words);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{output:?}");
    check_merged(folder.path(), &names, &reading, &truth);
    // The first photo as PHOTO is the same.
    let (_, other) = run(folder.path(), &[list[0], "--bracket", list[1], list[2]], &words);
    assert_eq!(other["features"], reading["features"]);
}

/// A phone that moved by 2 mm from photo to photo, a pixel or so.
#[test]
fn a_small_movement_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let (names, words, truth) = shots(folder.path(), 5, 2.0);
    let list: Vec<&str> = names.iter().map(String::as_str).collect();
    let (output, reading) = run(folder.path(), &[&["--bracket"], &list[..]].concat(), &words);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{output:?}");
    check_merged(folder.path(), &names, &reading, &truth);
}

#[test]
fn what_is_no_bracket_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let (names, words, _) = shots(folder.path(), 3, 400.0);
    let list: Vec<&str> = names.iter().map(String::as_str).collect();
    let (output, reading) = run(folder.path(), &[&["--bracket"], &list[..]].concat(), &words);
    assert!(output.status.code() == Some(3) && has(&reading, "pair-moved"), "{output:?}");
    // What is said of the marks is what this photo shows, and not that there are none.
    assert!(reading["marks"]["found"].as_array().unwrap().len() >= 4, "{}", reading["marks"]);
    let failing = |before: &[&str], expected: &str| {
        let (output, reading) = run(folder.path(), before, &words);
        let text = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.code() == Some(2) && text.contains(expected) && reading.is_null(), "{expected}: {text}");
    };
    failing(&["--bracket", list[0]], "two or more");
    failing(&["--bracket", list[0], list[0]], "named twice");
    failing(&[list[0], "--bracket", list[1], "--marks-photo", list[2]], "cannot be used with");
    fs::copy(folder.path().join(list[0]), folder.path().join("copy.jpg")).unwrap();
    failing(&["--bracket", list[0], "copy.jpg"], "1.00 times the shortest");
}
