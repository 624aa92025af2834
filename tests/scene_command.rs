//! `lampwright scene` from outside: where scenes come from, what is written, what is refused.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test's helpers must fail loudly, as the tests do"
)]

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;

/// Exit status, standard output, standard error.
fn scene(folder: &Path, words: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_lampwright"))
        .current_dir(folder)
        .arg("scene")
        .args(words)
        .args(["--out", "out"])
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

fn files(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// A lamp of 8,000 cd with a level cutoff at 0.6 down.
fn flat_lamp() -> String {
    let mut text = String::from("v_deg/h_deg,-12,-6,0,6,12\n");
    for i in -30..=20_i32 {
        let v = f64::from(i) / 10.0;
        let cd = 150.0 + 8_000.0 / (1.0 + ((v + 0.6) / 0.12).exp());
        writeln!(text, "{v},{cd},{cd},{cd},{cd},{cd}").unwrap();
    }
    text
}

const OWN: &str = "extends = \"clean\"\nseed = 5\npattern = \"flat\"\nbeam_name = \"fog\"\n[picture]\nlong_px = 400\n\
                   short_px = 300\n[beam]\nshape = \"flat\"\ntable = \"lamp.csv\"\naim_h_deg = 0.0\naim_v_deg = 0.0\n\
                   tilt_deg = 0.0\n";

#[test]
fn one_scene_with_a_measured_lamp() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("mine")).unwrap();
    fs::write(folder.path().join("mine/own.toml"), OWN).unwrap();
    fs::write(folder.path().join("mine/lamp.csv"), flat_lamp()).unwrap();
    let (status, stdout, stderr) = scene(folder.path(), &["--spec", "mine/own.toml"]);
    // Nothing is said where standard error is no terminal.
    assert_eq!((status, stdout.as_str(), stderr.as_str()), (0, "", ""));
    let out = folder.path().join("out");
    assert_eq!(files(&out), ["own.bay.toml", "own.jpg", "own.truth.json"]);
    let truth: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(out.join("own.truth.json")).unwrap()).unwrap();
    // Closed form, edge algebra: the log cutoff stands (s/2) ln(H/L) over the middle, here 0.06 ln(8150/150) = 0.240.
    let v = truth["cutoff"]["v_deg"][20].as_f64().unwrap();
    assert!((v + 0.6 - 0.240).abs() < 0.004, "{v}");
    let first = fs::read(out.join("own.jpg")).unwrap();
    assert_eq!(image::load_from_memory(&first).unwrap().width(), 400);
    assert_eq!(scene(folder.path(), &["--spec", "mine/own.toml"]).0, 0);
    assert!(first == fs::read(out.join("own.jpg")).unwrap(), "same seed, same bytes");
}

#[test]
fn a_family_of_ones_own_and_any_size() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("yard.toml"), "extends = \"typical\"\n[wall]\nkind = \"brick\"\n").unwrap();
    let (status, _, stderr) =
        scene(folder.path(), &["--family", "yard.toml", "--seed", "4", "--n", "2", "--size", "320x200"]);
    assert_eq!((status, stderr.as_str()), (0, ""));
    let out = folder.path().join("out");
    assert_eq!(files(&out).iter().filter(|name| name.ends_with("truth.json")).count(), 2);
    let photo = image::open(out.join("yard-004.jpg")).unwrap();
    assert_eq!((photo.width(), photo.height()), (320, 200));
}

#[test]
fn all_stands_for_every_family() {
    let folder = tempfile::tempdir().unwrap();
    let (status, _, stderr) = scene(folder.path(), &["--family", "all", "--size", "96x72"]);
    assert_eq!((status, stderr.as_str()), (0, ""));
    let found = files(&folder.path().join("out"));
    assert_eq!(found.iter().filter(|name| name.ends_with(".truth.json")).count(), lampwright::scene::families().len());
}

#[test]
fn each_fault_has_one_message() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("own.toml"), OWN).unwrap();
    fs::write(folder.path().join("odd.toml"), OWN.replace("lamp.csv", "lamp.xyz")).unwrap();
    fs::write(folder.path().join("lamp.xyz"), "1").unwrap();
    let size = ["--size", "96x72"];
    for (words, word) in [
        (vec!["--spec", "own.toml"], "lamp.csv: cannot be read"),
        (vec!["--spec", "odd.toml"], ".csv or .ies"),
        (vec!["--spec", "none.toml"], "none.toml: cannot be read"),
        (vec!["--family", "nonesuch"], "nonesuch"),
        (vec!["--family", "none.toml"], "none.toml: cannot be read"),
        (vec!["--spec", "own.toml", "--seed", "4"], "--seed"),
        (vec!["--spec", "own.toml", "--family", "clean"], "--family"),
        (vec!["--family", "clean", "--size", "3mp"], "WIDTHxHEIGHT"),
        (vec![], "--family"),
    ] {
        let more: &[&str] = if words.contains(&"--size") { &[] } else { &size };
        let (status, stdout, stderr) = scene(folder.path(), &[&words[..], more].concat());
        assert_eq!((status, stdout.as_str()), (2, ""), "{words:?}: {stderr}");
        assert!(stderr.contains(word), "{words:?} need \"{word}\": {stderr}");
    }
}
