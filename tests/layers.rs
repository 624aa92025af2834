//! Who may import whom: the `crate::` paths of `src`, read as text, against the order in which data flows.
//!
//! Code under `#[cfg(test)]` is left out: a test may look at anything.

#![expect(clippy::unwrap_used, reason = "a test's helpers may unwrap as the tests do")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Vocabulary: every stage may import these.
const BASE: &[&str] = &["units", "measured", "flag", "error", "tunable", "bay"];
/// Stages in the order in which data flows; `camera` is knowledge, the first stage is `photo`.
const STAGES: &[&str] = &["camera", "photo", "marks", "wall", "grid", "beam", "aim"];
/// Folders that show what was measured: they may import vocabulary, every stage and the one before them; nothing imports
/// them but the program.
const SHOWING: &[&str] = &["reading", "draw"];

/// Functions or inner modules of an earlier stage that a later one imports nevertheless; types are free.
const SHARED_KNOWLEDGE: &[(&str, &str, &str)] = &[
    ("grid", "wall::geometry", "the bay's plain geometry (lamp, wall, angles) is knowledge, not a step"),
    ("beam", "wall::geometry", "the set-up's budget moves the lamp and asks the same geometry again"),
    ("beam", "photo::linear", "sRGB's own curve and luminance weights, under which the tone curve is laid"),
    ("wall", "camera::profile::focal_px", "what a 35 mm equivalent means in pixels is knowledge of the camera"),
    ("draw", "wall::geometry", "what is drawn at an angle stands where the same geometry puts it on the wall"),
    ("draw", "photo::linear", "a raw photo's light is shown by sRGB's own curve"),
    ("marks", "photo::linear", "thresholds and fits work on light by sRGB's own curve"),
];

/// Modules that `module` may import, itself apart.
fn allowed(module: &str) -> Vec<&'static str> {
    let before = |list: &'static [&'static str], name: &str| {
        list.iter().copied().take_while(|other| *other != name).collect::<Vec<_>>()
    };
    match module {
        "units" | "flag" | "tunable" => vec![],
        "measured" => vec!["units"],
        "error" => vec!["flag"],
        "bay" => vec!["units", "measured", "flag", "error"],
        // Truth must not come from the code under test.
        "scene" => vec!["units", "camera", "bay", "error"],
        "options" => [BASE, STAGES].concat(),
        "measurement" => [BASE, STAGES, &["options"]].concat(),
        // What a shop needs around the photo shows rules and bays, and prints marks; it measures nothing.
        "kit" => vec!["units", "measured", "error", "bay", "marks", "beam", "aim", "reading"],
        // The store keeps readings and what was turned between them; it measures and draws nothing.
        "record" => vec!["error", "reading", "kit"],
        // Reports show what the store keeps, in other units; the views of a picture are found by whoever drew it.
        "report" => vec!["units", "error", "reading", "draw", "kit", "record"],
        // The developer's bench scores readings, measuring only through a function that it is given, and cleans photos,
        // which it decodes to see that nothing was lost.
        "bench" => vec!["flag", "error", "bay", "photo", "beam", "reading", "scene"],
        "cli" => {
            [BASE, STAGES, SHOWING, &["options", "measurement", "kit", "record", "report", "scene", "bench"]].concat()
        }
        // The page runs the same plan, driver and recorder as the command line, and shows what they gave.
        "page" => [BASE, STAGES, SHOWING, &["options", "measurement", "kit", "record", "report", "cli"]].concat(),
        "main" => vec!["cli", "page", "error"],
        name if STAGES.contains(&name) => [BASE.to_vec(), before(STAGES, name)].concat(),
        name if SHOWING.contains(&name) => [BASE, STAGES, &["measurement"], &before(SHOWING, name)].concat(),
        _ => vec![],
    }
}

/// One path `crate::a::b::C` in one file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Import {
    file: String,
    module: String,
    path: Vec<String>,
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// Names of whole files that exist for tests only: `#[cfg(test)] mod name;` in the folder's `mod.rs`.
fn is_for_tests(path: &Path) -> bool {
    let stem = path.file_stem().unwrap().to_string_lossy().into_owned();
    let Ok(parent) = fs::read_to_string(path.with_file_name("mod.rs")) else { return false };
    let compact: String = parent.chars().filter(|c| !c.is_whitespace()).collect();
    [format!("#[cfg(test)]mod{stem};"), format!("#[cfg(test)]pub(crate)mod{stem};")].iter().any(|m| compact.contains(m))
}

/// The file's code without comments and without what stands behind `#[cfg(test)] mod`.
fn code(path: &Path) -> String {
    let text = fs::read_to_string(path).unwrap();
    let mut kept = String::new();
    let mut lines = text.lines().peekable();
    while let Some(line) = lines.next() {
        if line.trim() == "#[cfg(test)]" {
            if lines.peek().is_some_and(|next| next.contains("mod tests")) {
                break;
            }
            lines.next();
            continue;
        }
        kept.push_str(line.split("//").next().unwrap_or_default());
        kept.push('\n');
    }
    kept
}

/// Every path behind `crate::`, braces opened.
fn paths(code: &str, start: &str) -> Vec<Vec<String>> {
    let mut found = Vec::new();
    for (at, _) in code.match_indices(start) {
        expand(&code[at + start.len()..], &[], &mut found);
    }
    found
}

/// Reads `a::b`, `a::{b, c::d}` or `a` and returns what is left behind it.
fn expand<'a>(text: &'a str, before: &[String], found: &mut Vec<Vec<String>>) -> &'a str {
    let text = text.trim_start();
    if let Some(mut rest) = text.strip_prefix('{') {
        loop {
            rest = expand(rest, before, found).trim_start();
            match rest.strip_prefix(',') {
                Some(more) if !more.trim_start().starts_with('}') => rest = more,
                Some(more) => return more.trim_start().strip_prefix('}').unwrap_or(more),
                None => return rest.strip_prefix('}').unwrap_or(rest),
            }
        }
    }
    let end = text.find(|c: char| !(c.is_alphanumeric() || c == '_')).unwrap_or(text.len());
    let mut path = before.to_vec();
    if !text[..end].is_empty() && &text[..end] != "self" {
        path.push(text[..end].to_owned());
    }
    match text[end..].strip_prefix("::") {
        Some(rest) if rest.starts_with(|c: char| c.is_alphanumeric() || c == '_' || c == '{') => {
            expand(rest, &path, found)
        }
        _ => {
            found.push(path);
            &text[end..]
        }
    }
}

fn imports() -> Vec<Import> {
    let mut list = Vec::new();
    files(&root(), &mut list);
    let mut found = BTreeSet::new();
    for file in list.iter().filter(|path| !is_for_tests(path)) {
        let place = file.strip_prefix(root()).unwrap();
        let module = place.iter().next().unwrap().to_string_lossy().trim_end_matches(".rs").to_owned();
        let start = if module == "main" { "lampwright::" } else { "crate::" };
        for path in paths(&code(file), start) {
            found.insert(Import { file: place.display().to_string(), module: module.clone(), path });
        }
    }
    found.into_iter().collect()
}

#[test]
fn nothing_imports_against_the_flow() {
    let mut wrong = Vec::new();
    for import in imports().iter().filter(|import| import.module != "lib") {
        let target = import.path.first().map_or("", String::as_str);
        if target != import.module && !allowed(&import.module).contains(&target) {
            wrong.push(format!("{} imports crate::{}", import.file, import.path.join("::")));
        }
    }
    assert!(wrong.is_empty(), "against the flow:\n{}", wrong.join("\n"));
}

/// A later stage takes the types of an earlier one, never its steps: only the driver calls steps.
#[test]
fn stages_take_types_of_earlier_stages_only() {
    let mut wrong = Vec::new();
    let mut used = BTreeSet::new();
    for import in imports() {
        let is_stage = STAGES.contains(&import.module.as_str()) || SHOWING.contains(&import.module.as_str());
        let target = import.path.first().map_or("", String::as_str);
        if !is_stage || target == import.module || !(STAGES.contains(&target) || SHOWING.contains(&target)) {
            continue;
        }
        let is_type = |name: &String| name.starts_with(|c: char| c.is_ascii_uppercase());
        if import.path.iter().any(is_type) {
            continue;
        }
        let path = import.path.join("::");
        let known = SHARED_KNOWLEDGE.iter().find(|(from, to, _)| *from == import.module && path.starts_with(to));
        match known {
            Some((from, to, _)) => {
                used.insert((*from, *to));
            }
            None => wrong.push(format!("{} imports crate::{path}", import.file)),
        }
    }
    assert!(wrong.is_empty(), "steps of an earlier stage:\n{}", wrong.join("\n"));
    for (from, to, why) in SHARED_KNOWLEDGE {
        assert!(used.contains(&(*from, *to)), "{from} does not import {to} ({why}) any more: take it off the list");
    }
}

/// Who prints marks needs to know what is on them, not how they are found.
#[test]
fn the_kit_takes_the_tag_family_alone_from_the_marks() {
    let is_other = |import: &&Import| {
        import.module == "kit"
            && import.path[0] == "marks"
            && import.path.get(1).is_none_or(|inner| inner != "tag_family")
    };
    let wrong: Vec<String> = imports().iter().filter(is_other).map(|import| import.path.join("::")).collect();
    assert!(wrong.is_empty(), "the kit imports {wrong:?}");
}

#[test]
fn every_module_is_declared_in_the_order_of_the_flow() {
    let lib = fs::read_to_string(root().join("lib.rs")).unwrap();
    let declared: Vec<&str> = lib.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';')).collect();
    let place = |name: &str| declared.iter().position(|module| *module == name);
    for pair in [BASE, STAGES].concat().windows(2) {
        assert!(place(pair[0]) < place(pair[1]), "{} stands before {} in lib.rs", pair[0], pair[1]);
    }
    for module in declared {
        let is_known = !allowed(module).is_empty() || ["units", "flag", "tunable"].contains(&module);
        assert!(is_known, "{module} is not known to this test: say what it may import");
    }
}

#[test]
fn braces_and_nesting_are_opened() {
    let found = paths("use crate::a::{self, b, c::{D, e}};\nlet x = crate::f::g(1);", "crate::");
    let joined: Vec<String> = found.iter().map(|path| path.join("::")).collect();
    assert_eq!(joined, ["a", "a::b", "a::c::D", "a::c::e", "f::g"]);
}
