//! The registry of flags against what readers are told of it, and against the code that raises them.

#![expect(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use lampwright::flag::{FlagCode, Severity};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

const TABLE_FROM: &str = "<!-- flags:";
const TABLE_TO: &str = "<!-- end of flags -->";

/// Flags that the registry names and nothing raises yet, and why; one that is raised must leave this list.
const NOT_RAISED: &[(&str, &str)] =
    &[("CutoffNotStraight", "a bent flat part widens the fit's scatter and is not named yet")];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

#[test]
fn the_readme_lists_every_flag_as_the_registry_has_it() {
    let mut expected = "| flag | weight | meaning |\n|---|---|---|\n".to_owned();
    for code in FlagCode::ALL {
        writeln!(expected, "| `{}` | {} | {} |", code.as_str(), code.severity().as_str(), code.meaning()).unwrap();
    }
    let readme = fs::read_to_string(root().join("README.md")).unwrap();
    let from = readme.find(TABLE_FROM).unwrap();
    let from = from + readme[from..].find('\n').unwrap() + 1;
    let table = &readme[from..from + readme[from..].find(TABLE_TO).unwrap()];
    assert_eq!(table, expected, "put this table into README.md:\n{expected}");
}

#[test]
fn codes_are_unique_and_kebab_case() {
    let codes: Vec<&str> = FlagCode::ALL.iter().map(|code| code.as_str()).collect();
    for code in &codes {
        assert!(code.chars().all(|c| c.is_ascii_lowercase() || c == '-'), "{code}");
        assert_eq!(codes.iter().filter(|other| *other == code).count(), 1, "{code} twice");
    }
}

/// The refusals that outside checks know by name.
#[test]
fn refusals_are_the_documented_ones() {
    let refusals: Vec<&str> =
        FlagCode::ALL.iter().filter(|code| code.severity() == Severity::Refusal).map(|code| code.as_str()).collect();
    let documented = [
        "marks-missing",
        "bay-mismatch",
        "pair-moved",
        "no-beam",
        "elbow-off-wall",
        "blurred",
        "clipped-at-cutoff",
        "ambient-too-strong",
        "all-white",
    ];
    assert_eq!(refusals, documented);
}

#[test]
fn every_flag_is_raised_somewhere() {
    let mut files = Vec::new();
    sources(&root().join("src"), &mut files);
    let code: String = files
        .iter()
        .filter(|path| !path.ends_with("flag.rs"))
        .map(|path| fs::read_to_string(path).unwrap())
        .map(|text| text.split("#[cfg(test)]").next().unwrap_or_default().to_owned())
        .collect();
    for flag in FlagCode::ALL {
        let name = format!("{flag:?}");
        let is_raised = code.contains(&format!("FlagCode::{name},"))
            || code.contains(&format!("FlagCode::{name})"))
            || code.contains(&format!("FlagCode::{name}\n"))
            || code.contains(&format!("FlagCode::{name} "));
        let listed = NOT_RAISED.iter().find(|(listed, _)| *listed == name);
        assert!(is_raised || listed.is_some(), "{name} is in the registry and nothing raises it");
        if let Some((_, reason)) = listed {
            assert!(!is_raised, "{name} is raised now: take it out of NOT_RAISED ({reason})");
        }
    }
}
