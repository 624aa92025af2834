//! `lampwright batch` through the program: order, rows that fail, an output that was cut off, the same figures as `measure`.

#![allow(clippy::unwrap_used, reason = "a test's helpers must fail loudly, as the tests do")]

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

fn lampwright(folder: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_lampwright")).args(words).current_dir(folder).output().unwrap()
}

fn lines(path: &Path) -> Vec<Value> {
    fs::read_to_string(path).unwrap().lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// A folder with two photos, their bays, and a table of four rows: good, not there, refused, good.
fn shop() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["shot-clean", "shot-one-mark-missing"] {
        fs::copy(fixtures().join(format!("shots/{name}.jpg")), folder.path().join(format!("{name}.jpg"))).unwrap();
        fs::copy(fixtures().join(format!("bays/{name}.toml")), folder.path().join(format!("{name}.toml"))).unwrap();
    }
    let table = "file,bay,lamp,height_mm,offset_mm\n\
         shot-clean.jpg,shot-clean.toml,right,699,571\n\
         away.jpg,shot-clean.toml,right,699,571\n\
         shot-one-mark-missing.jpg,shot-one-mark-missing.toml,right,699,571\n\
         shot-clean.jpg,shot-clean.toml,right,699,571\n";
    fs::write(folder.path().join("jobs.csv"), table).unwrap();
    folder
}

#[test]
fn lines_come_in_order_and_say_what_measure_says() {
    let folder = shop();
    let at = folder.path();
    let ended = lampwright(at, &["batch", "jobs.csv", "--out", "out.jsonl", "--summary", "all.csv"]);
    // The highest of pass or finding, error and refused.
    assert_eq!(ended.status.code(), Some(3), "{}", String::from_utf8_lossy(&ended.stderr));
    let found = lines(&at.join("out.jsonl"));
    let status: Vec<_> = found.iter().map(|line| line["status"].as_str().unwrap()).collect();
    assert_eq!(status, ["measured", "error", "refused", "measured"]);
    assert_eq!(found[1]["row"], 2);
    assert!(found[1]["error"]["found"].as_str().unwrap().contains("away.jpg"));
    let alone = lampwright(
        at,
        &[
            "measure",
            "shot-clean.jpg",
            "--bay",
            "shot-clean.toml",
            "--lamp",
            "right",
            "--height-mm",
            "699",
            "--offset-mm",
            "571",
            "--json",
            "-",
        ],
    );
    let alone: Value = serde_json::from_slice(&alone.stdout).unwrap();
    for part in ["features", "budget", "verdict", "marks", "flags", "photo"] {
        assert_eq!(found[0][part], alone[part], "{part}");
        assert_eq!(found[3][part], alone[part], "{part}");
    }
    let summary = fs::read_to_string(at.join("all.csv")).unwrap();
    assert_eq!(summary.lines().count(), 5);
    assert!(summary.contains("\r\n2,away.jpg,error,"), "{summary}");
}

#[test]
fn what_was_cut_off_is_done_again_and_what_is_whole_is_not() {
    let folder = shop();
    let at = folder.path();
    let refused = fs::read_to_string(at.join("jobs.csv")).unwrap();
    // The first row's line is whole and marked, so that it is seen whether it was written anew; the second is cut off.
    let marked = r#"{"schema":"lampwright/reading/1","status":"measured","photo":{"file":"shot-clean.jpg"},"verdict":{"overall":"pass"},"marked":1}"#;
    fs::write(at.join("out.jsonl"), format!("{marked}\n{{\"schema\":\"lampw")).unwrap();
    fs::write(at.join("jobs.csv"), refused.lines().take(3).collect::<Vec<_>>().join("\n")).unwrap();
    let without = lampwright(at, &["batch", "jobs.csv", "--out", "out.jsonl"]);
    assert_eq!(without.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&without.stderr).contains("--resume"));
    let ended = lampwright(at, &["batch", "jobs.csv", "--out", "out.jsonl", "--resume"]);
    assert_eq!(ended.status.code(), Some(2), "{}", String::from_utf8_lossy(&ended.stderr));
    let found = lines(&at.join("out.jsonl"));
    assert_eq!(found.len(), 2);
    assert_eq!(found[0]["marked"], 1);
    assert_eq!(found[1]["status"], "error");
    // Lines of other jobs are left alone.
    fs::write(at.join("out.jsonl"), marked.replace("shot-clean", "other") + "\n").unwrap();
    let other = lampwright(at, &["batch", "jobs.csv", "--out", "out.jsonl", "--resume"]);
    assert_eq!(other.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&other.stderr).contains("other.jpg"));
}

#[test]
fn a_column_without_meaning_stops_it_before_anything_is_measured() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("jobs.csv"), "file,bay,lamp,hight_mm\na.jpg,b.toml,left,600\n").unwrap();
    let ended = lampwright(folder.path(), &["batch", "jobs.csv", "--out", "out.jsonl"]);
    assert_eq!(ended.status.code(), Some(2));
    let said = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert!(said.contains("hight_mm") && said.contains("height-mm"), "{said}");
    assert!(!folder.path().join("out.jsonl").exists());
}

#[test]
fn a_folder_takes_what_all_photos_share_and_what_one_says_of_itself() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    fs::copy(fixtures().join("shots/shot-clean.jpg"), at.join("a.jpg")).unwrap();
    fs::copy(fixtures().join("bays/shot-clean.toml"), at.join("north.bay.toml")).unwrap();
    fs::write(at.join("b.png"), "no picture").unwrap();
    fs::write(at.join("job.toml"), "bay = \"north.bay.toml\"\nlamp = \"left\"\nheight_mm = 699\n").unwrap();
    fs::write(at.join("a.job.toml"), "lamp = \"right\"\noffset_mm = 571.0\n").unwrap();
    let ended = lampwright(at, &["batch", "--dir", "."]);
    assert_eq!(ended.status.code(), Some(2), "{}", String::from_utf8_lossy(&ended.stderr));
    let said = String::from_utf8(ended.stdout).unwrap();
    let found: Vec<Value> = said.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(found[0]["status"], "measured");
    assert_eq!(
        (found[0]["setup"]["lamp"].as_str(), found[0]["setup"]["offset_mm"].as_f64()),
        (Some("right"), Some(571.0))
    );
    assert_eq!(found[1]["status"], "error");
}
