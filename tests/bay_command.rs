//! `lampwright bay` from outside: exit status, what is written, what is said; a fresh folder for every run.

#![allow(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use lampwright::bay::Bay;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

const DEMO: &str = include_str!("../calib/bays/demo.survey.toml");

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

/// Status, standard output and standard error.
fn run(folder: &Path, words: &[&str], typed: &str) -> (i32, String, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_lampwright"))
        .args(words)
        .current_dir(folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that ends without reading closes the pipe.
    let _ = child.stdin.take().unwrap().write_all(typed.as_bytes());
    let output = child.wait_with_output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
}

fn survey(text: &str) -> (tempfile::TempDir, (i32, String, String)) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("s.toml"), text).unwrap();
    let words = ["bay", "survey", "--from", "s.toml", "--out", "bay.toml", "--picture", "bay.svg"];
    let ended = run(folder.path(), &words, "");
    (folder, ended)
}

fn bay(folder: &Path) -> Bay {
    Bay::parse(&fs::read_to_string(folder.join("bay.toml")).unwrap(), "bay.toml").unwrap()
}

#[test]
fn the_demo_survey_gives_a_bay_that_is_shown_and_checked() {
    let (folder, (status, text, errors)) = survey(DEMO);
    assert_eq!(status, 0, "{text}{errors}");
    assert!(text.contains("rises towards the wall"), "{text}");
    let bay = bay(folder.path());
    assert_eq!((bay.marks.len(), bay.survey.as_ref().unwrap().surveyor.as_deref()), (5, Some("AB")));
    // By hand: the two wheel distances differ by 11 mm over 1522 mm, asin of which is 0.414°.
    assert!((bay.wall.yaw_deg - 0.414).abs() < 0.002, "{}", bay.wall.yaw_deg);
    assert!(fs::read_to_string(folder.path().join("bay.svg")).unwrap().starts_with("<svg"));
    let (status, text, _) = run(folder.path(), &["bay", "show", "bay.toml"], "");
    assert!(status == 0 && text.contains("next check 2027-03-14") && text.contains("uncertainties"), "{text}");
    let words = ["bay", "survey", "--from", "s.toml", "--out", "other.toml", "--picture", "bay.png"];
    let (status, _, errors) = run(folder.path(), &words, "");
    assert!(status == 2 && errors.contains("end its name in .svg"), "{errors}");
    assert!(!folder.path().join("other.toml").exists());
    for (today, expected, word) in [("2027-03-14", 0, "in 0 days"), ("2027-03-16", 1, "OVERDUE by 2 days")] {
        let (status, text, _) = run(folder.path(), &["bay", "check", "bay.toml", "--today", today], "");
        assert!(status == expected && text.contains(word), "{status} {text}");
    }
    let months = ["bay", "check", "bay.toml", "--today", "2026-10-01", "--recheck-months", "6"];
    assert_eq!(run(folder.path(), &months, "").0, 1);
    let flat = ["bay", "check", "bay.toml", "--today", "2026-10-01", "--flatness-limit-mm", "0.1"];
    let (status, text, _) = run(folder.path(), &flat, "");
    assert!(status == 1 && text.contains("NOT FLAT"), "{text}");
    assert_eq!(run(folder.path(), &["bay", "check", "bay.toml", "--today", "tomorrow"], "").0, 2);
}

#[test]
fn a_mistyped_tape_is_a_finding_and_an_absurd_one_an_error() {
    let (folder, (status, text, _)) = survey(&DEMO.replace("mm = 3811.6", "mm = 3881.6"));
    assert!(status == 1 && text.contains("LEFT OUT  tape from mark 0 to mark 2 (3881.6 mm): 381"), "{text}");
    assert_eq!(bay(folder.path()).survey.unwrap().left_out.len(), 1);
    // Two distances and no third that checks them: nothing tells which of a pair of level readings is wrong.
    let twice = DEMO.replace(
        "    { at = \"lamps\", mm = 1204.0 },",
        "    { at = \"lamps\", mm = 1204.0 },\n    { at = \"lamps\", mm = 1240.0 },",
    );
    let (folder, (status, text, _)) = survey(&twice);
    assert!(status == 1 && text.contains("DISAGREE") && text.contains("level reading at lamps (1204 mm)"), "{text}");
    assert!(!folder.path().join("bay.toml").exists());
    let (folder, (status, _, errors)) = survey(&DEMO.replace("front_left_mm = 760.0", "front_left_mm = 76.0"));
    assert!(status == 2 && errors.contains("need 300 to 1500"), "{errors}");
    assert!(!folder.path().join("bay.toml").exists());
}

#[test]
fn questions_are_asked_again_and_go_on_where_they_were_stopped() {
    let folder = tempfile::tempdir().unwrap();
    let words = ["bay", "survey", "--interactive", "--out", "bay.toml", "--today", "2026-03-14"];
    let (status, _, errors) = run(folder.path(), &words, "bay-1\nNorth bay\n\n\n\n\n76\n760\n");
    assert!(status == 2 && errors.contains("need 300 to 1500") && errors.contains("kept in"), "{errors}");
    let rest = "\n\n760\n750\n750\n800\n2600\n10800\n10812\n\nlaser\n\n1200\n1200\n1210\n1210\n\n\n\n\n\n0\n160\n\n-1800\n1500\n\n1\n160\n\n1800\n\
                1500\n\n2\n\n\n1800\n250\nquadrant\n3\n120\n\n-1800\n250\n\n\n";
    let (status, text, errors) = run(folder.path(), &words, rest);
    assert_eq!(status, 0, "{text}{errors}");
    assert!(!errors.contains("front left wheel"), "asked again: {errors}");
    assert!(text.contains("tilt not measured") && text.contains("assumed 0 ± 0.3"), "{text}");
    let bay = bay(folder.path());
    assert_eq!((bay.id.as_str(), bay.marks.len(), bay.marks[3].id), ("bay-1", 4, 3));
    // 10 mm over 2600 mm rises to the wall.
    assert!((bay.floor.unwrap().slope.get() - 1000.0 / 2600.0).abs() < 1e-3);
    let kept = fs::read_to_string(folder.path().join("bay.survey.toml")).unwrap();
    assert!(kept.contains("front_left_mm = 760.0"), "{kept}");
}

/// By hand: marks 0 and 1 stand 1500 mm up at -1800 and 1800 mm; mark 2 at (1800, 250) is 1250 mm from mark 1 and
/// hypot(1800, 250) = 1817.28 mm from the foot; mark 3 at (-1800, 250) is hypot(3600, 1250) = 3810.84 mm from mark 1 along the
/// diagonal and 1250 mm from mark 0.
#[test]
fn marks_are_placed_by_tapes_and_checked_by_diagonals_as_they_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let words = ["bay", "survey", "--interactive", "--out", "bay.toml", "--today", "2026-03-14"];
    let floor = "bay-1\nNorth bay\n\n\n6\n2.5\n760\n760\n750\n750\n800\n2600\n10800\n10800\n\nlaser\n\n1200\n1200\n1210\n\
                 1210\n1197\n1195\n\n\n";
    // The first mark cannot be taped: there is nothing to tape from but the foot.
    let first = "\n0\n160\ntapes\nheights\n-1800\n1500\n\n1\n160\n\n1800\n1500\n";
    // A tape from nowhere, one that is a metre off, one that is there already; the run is stopped amid the tapes.
    let taped = "\n2\n160\ntapes\n1810\n240\nmark 7\n1\n2250\n1250.0\n1\nfoot\n";
    let (status, _, errors) = run(folder.path(), &words, &[floor, first, taped].concat());
    assert!(status == 2 && errors.contains("kept in"), "{errors}");
    for said in [
        "tapes need two points",
        "need one of: foot, mark 0, mark 1",
        "mark 1 and mark 2 are 1260 mm apart",
        "tape from mark 1 is there already",
    ] {
        assert!(errors.contains(said), "no {said}: {errors}");
    }
    let kept = fs::read_to_string(folder.path().join("bay.survey.toml")).unwrap();
    assert!(kept.contains("recheck_months = 6") && kept.contains("flatness_limit_mm = 2.5"), "{kept}");
    // It goes on: who surveyed and the plumb line are open still, then the tape from the foot.
    let rest = "\n\n\n\nfoot\n1817.28\n\n\n3\n120\n\n-1810\n260\n0\n1250.0\n1\n3810.84\n\n\n0-9\n0-1\n3900\n3600.0\n\n";
    let (status, text, errors) = run(folder.path(), &words, rest);
    assert_eq!(status, 0, "{text}{errors}");
    assert!(errors.contains("0-9 are not two of the marks") && errors.contains("3600 mm apart"), "{errors}");
    let bay = bay(folder.path());
    for (mark, place) in bay.marks.iter().zip([(-1800.0, 1500.0), (1800.0, 1500.0), (1800.0, 250.0), (-1800.0, 250.0)])
    {
        assert!(
            (mark.centre.x_mm - place.0).abs() < 2.0 && (mark.centre.y_mm - place.1).abs() < 2.0,
            "{mark:?} {place:?}"
        );
    }
    let note = bay.survey.unwrap();
    assert_eq!((note.next_check.as_deref(), note.flatness_limit_mm), (Some("2026-09-14"), Some(2.5)));
}

#[test]
fn a_photo_tells_whether_marks_moved() {
    for (id, expected, word) in [("shot-clean", 0, "no mark moved"), ("shot-displaced-mark", 1, "MOVED")] {
        let bay = fixtures().join(format!("bays/{id}.toml")).display().to_string();
        let photo = fixtures().join(format!("shots/{id}.jpg")).display().to_string();
        let (status, text, errors) = run(Path::new("."), &["bay", "check", &bay, "--photo", &photo], "");
        assert!(status == expected && text.contains(word), "{id}: {status}\n{text}{errors}");
    }
}

#[test]
fn repeated_readings_are_logged_and_charted() {
    let folder = tempfile::tempdir().unwrap();
    let bay = fixtures().join("bays/shot-clean.toml");
    fs::copy(&bay, folder.path().join("bay.toml")).unwrap();
    let photo = fixtures().join("shots/shot-clean.jpg").display().to_string();
    let measure = ["measure", &photo, "--bay", "bay.toml", "--lamp", "right", "--height-mm", "699", "--json", "r.json"];
    assert_eq!(run(folder.path(), &measure, "").0, 1);
    let reading: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(folder.path().join("r.json")).unwrap()).unwrap();
    let mut names = Vec::new();
    for n in 0..12 {
        let mut one = reading.clone();
        // The ninth stands half a degree higher.
        let v = -0.6 + 0.01 * f64::from(n % 2) + if n == 8 { 0.5 } else { 0.0 };
        one["features"]["cutoff"]["v_deg"] = v.into();
        one["photo"]["sha256"] = format!("{n:064}").into();
        one["photo"]["file"] = format!("photo-{n}.jpg").into();
        let name = format!("r{n}.json");
        fs::write(folder.path().join(&name), one.to_string()).unwrap();
        names.push(name);
    }
    let check = |names: &[String]| {
        let mut words = vec!["bay", "check", "bay.toml", "--chart", "chart.svg", "--readings"];
        words.extend(names.iter().map(String::as_str));
        run(folder.path(), &words, "")
    };
    let (status, text, errors) = check(&names[..8]);
    assert!(status == 0 && text.contains("8 new in bay.readings.csv"), "{text}{errors}");
    // By hand: 4 of -0.60 and 4 of -0.59: variance 8 · 0.005² / 7.
    assert!(text.contains("standard deviation 0.0053°"), "{text}");
    let (status, text, _) = check(&names);
    assert!(status == 1 && text.contains("4 new in") && text.contains("reading 9 (photo-8.jpg"), "{text}");
    assert!(fs::read_to_string(folder.path().join("chart.svg")).unwrap().contains("</svg>"));
    assert_eq!(fs::read_to_string(folder.path().join("bay.readings.csv")).unwrap().lines().count(), 13);
    let mut other = reading.clone();
    other["setup"]["lamp"] = "left".into();
    fs::write(folder.path().join("other.json"), other.to_string()).unwrap();
    let (status, _, errors) = check(&["r0.json".to_owned(), "other.json".to_owned()]);
    assert!(status == 2 && errors.contains("another lamp"), "{errors}");
}
