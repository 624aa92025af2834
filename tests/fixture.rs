//! `lampwright fixture add` from outside: what is written, what is said, and that an error writes nothing.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test's helpers must fail loudly, as the tests do"
)]

mod cases;

use cases::{fixtures, path_text, run};
use lampwright::bench::fixture_manifest::{Manifest, Source};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Output;
use tempfile::TempDir;

/// The cutoff of `shot-clean` alone, from the manifest (exact), with an uncertainty as a tape would have.
const TRUTH: &str = "schema = \"lampwright/hand-truth/1\"\n[cutoff]\nh_deg = [-4.4, -1.7, -0.2]\n\
                     v_deg = [-1.382, -1.383, -1.388]\nsigma_deg = 0.02\n";
const LAMP: [&str; 6] = ["--lamp", "right", "--height-mm", "699", "--offset-mm", "571"];

struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut photo = fs::read(fixtures().join("shots/shot-clean.jpg")).unwrap();
        photo.extend_from_slice(b"SECRET behind the picture");
        fs::write(folder.path().join("IMG 1.jpg"), photo).unwrap();
        fs::copy(fixtures().join("bays/shot-clean.toml"), folder.path().join("bay.toml")).unwrap();
        fs::write(folder.path().join("truth.toml"), TRUTH).unwrap();
        Self { folder }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn add(&self, words: &[&str], lamp: &[&str]) -> Output {
        let start = ["fixture", "add", "IMG 1.jpg", "--bay", "bay.toml", "--into", "cases"];
        run(self.path(), &[&start[..], words, &["--"], lamp].concat())
    }

    /// Everything in the folder of cases; empty where there is none.
    fn written(&self) -> BTreeMap<String, Vec<u8>> {
        let mut found = BTreeMap::new();
        let mut folders = vec![self.path().join("cases")];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(&folder).into_iter().flatten() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    let name = path_text(path.strip_prefix(self.path().join("cases")).unwrap());
                    found.insert(name, fs::read(&path).unwrap());
                }
            }
        }
        found
    }
}

fn said(output: &Output) -> String {
    format!(
        "status {:?}\n{}{}",
        output.status.code(),
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    )
}

#[test]
fn a_photo_with_a_partial_truth_becomes_a_case() {
    let desk = Desk::new();
    let words = ["--truth", "truth.toml", "--known", "photometer", "--tolerance", "0.05", "--why", "the slide's play"];
    let more = ["--origin", "own photo", "--licence", "CC0-1.0", "--verdict", "fail"];
    let output = desk.add(&[&words[..], &more].concat(), &LAMP);
    let text = said(&output);
    assert_eq!(output.status.code(), Some(0), "{text}");
    for part in ["case img-1 added", "verdict fail", "cutoff V", "the case holds", "taken out: ", "number plates"] {
        assert!(text.contains(part), "{part}:\n{text}");
    }
    let written = desk.written();
    let names: Vec<&str> = written.keys().map(String::as_str).collect();
    assert_eq!(names, ["bays/img-1.toml", "manifest.toml", "shots/img-1.jpg"]);
    assert!(!written["shots/img-1.jpg"].windows(6).any(|part| part == b"SECRET"));
    assert_eq!(written["bays/img-1.toml"], fs::read(desk.path().join("bay.toml")).unwrap());
    let manifest = Manifest::parse(std::str::from_utf8(&written["manifest.toml"]).unwrap(), "manifest.toml").unwrap();
    let case = &manifest.cases[0];
    let truth = case.truth.as_ref().unwrap();
    assert_eq!((truth.flat_side, truth.cutoff_sigma_deg, truth.elbow), (-1, Some(0.02), None));
    assert_eq!(manifest.tolerances["img-1"].why, "the slide's play");
    assert!(matches!(&case.source, Source::Shot { args, .. } if args == &LAMP));

    // Once more: the id is taken, then the photo is; neither changes anything.
    let again = desk.add(&words, &LAMP);
    assert!(again.status.code() == Some(2) && said(&again).contains("a case img-1 already"), "{}", said(&again));
    let again = desk.add(&[&words[..], &["--id", "other"]].concat(), &LAMP);
    assert!(again.status.code() == Some(2) && said(&again).contains("this very photo"), "{}", said(&again));
    assert_eq!(desk.written(), written);
}

#[test]
fn the_projects_own_manifest_can_grow_and_keeps_its_comments() {
    let desk = Desk::new();
    fs::create_dir(desk.path().join("cases")).unwrap();
    let old = fs::read_to_string(fixtures().join("manifest.toml")).unwrap();
    fs::write(desk.path().join("cases/manifest.toml"), &old).unwrap();
    let output = desk.add(&["--truth", "truth.toml", "--known", "photometer", "--verdict", "pass"], &LAMP);
    let text = said(&output);
    // The lamp is set too low: a case that does not hold is written, and said.
    assert_eq!(output.status.code(), Some(1), "{text}");
    for part in ["! verdict", "known_failure", "origin is not stated", "licence is not stated"] {
        assert!(text.contains(part), "{part}:\n{text}");
    }
    let new = fs::read_to_string(desk.path().join("cases/manifest.toml")).unwrap();
    assert!(new.starts_with(&old));
    let manifest = Manifest::parse(&new, "manifest.toml").unwrap();
    assert_eq!(manifest.cases.last().unwrap().tolerance.as_deref(), Some("hard"));
}

#[test]
fn an_error_writes_nothing() {
    let desk = Desk::new();
    let good = ["--truth", "truth.toml", "--known", "tape", "--tolerance", "0.05", "--why", "tape"];
    let with = |more: &[&'static str]| [&good[..], more].concat();
    let wrong: [(Vec<&str>, &[&str], &str); 9] = [
        (with(&[]), &[], "--lamp"),
        (with(&[]), &LAMP[..2], "--height-mm"),
        (with(&[]), &[&LAMP[..], &["--json", "-"]].concat(), "--json behind --"),
        (with(&[]), &[&LAMP[..], &["--pattern", "spot"]].concat(), "pattern spot has none"),
        (with(&[]), &[&LAMP[..], &["--pattern", "right-cutoff"]].concat(), "read somewhere"),
        (with(&["--flag", "no-such"]), &LAMP, "no such flag"),
        (with(&["--expect", "refused"]), &LAMP, "the truth states some"),
        (vec![], &LAMP, "needs --truth"),
        (good[..6].to_vec(), &LAMP, "without --why"),
    ];
    for (words, lamp, part) in wrong {
        let output = desk.add(&words, lamp);
        assert!(output.status.code() == Some(2) && said(&output).contains(part), "{part}: {}", said(&output));
    }
    assert!(!desk.path().join("cases").exists());
}
